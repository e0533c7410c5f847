"""Files that belong to an examination."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the table, empty."""
    op.create_table(
        "attachment",
        sa.Column("id", sa.String(36), primary_key=True),
        sa.Column(
            "examination",
            sa.String(36),
            sa.ForeignKey("examination.id"),
            nullable=False,
            index=True,
        ),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("device", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("media_type", sa.String(64), nullable=False),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("content", sa.Text, nullable=False),
    )
