"""The first layout: patients, examinations, entries."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    version = op.create_table(
        "store_version",
        sa.Column("version", sa.Integer, primary_key=True, autoincrement=False),
    )
    op.create_table(
        "patient",
        sa.Column("id", sa.String(36), primary_key=True),
        sa.Column("label", sa.Text, nullable=False),
        sa.Column("invented", sa.Boolean, nullable=False),
        sa.Column("opened_at", sa.String(32), nullable=False),
    )
    op.create_table(
        "examination",
        sa.Column("id", sa.String(36), primary_key=True),
        sa.Column(
            "patient", sa.String(36), sa.ForeignKey("patient.id"), nullable=False, index=True
        ),
        sa.Column("opened_at", sa.String(32), nullable=False),
    )
    op.create_table(
        "entry",
        sa.Column("sequence", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        sa.Column(
            "examination",
            sa.String(36),
            sa.ForeignKey("examination.id"),
            nullable=False,
            index=True,
        ),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.bulk_insert(version, [{"version": 1}])
