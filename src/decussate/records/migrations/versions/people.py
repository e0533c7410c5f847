"""Accounts, and the browsers in which they are signed in."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make both tables, empty: the first start makes the owner."""
    op.create_table(
        "person",
        sa.Column("id", sa.String(36), primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("name_key", sa.String(200), nullable=False, unique=True),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("password", sa.Text, nullable=False),
        sa.Column("password_until", sa.String(32)),
        sa.Column("lock_minutes", sa.Integer, nullable=False),
        sa.Column("opened_at", sa.String(32), nullable=False),
        sa.Column("closed_at", sa.String(32)),
    )
    op.create_table(
        "signed_in",
        sa.Column("mark", sa.String(64), primary_key=True),
        sa.Column("number", sa.String(36), nullable=False, unique=True),
        sa.Column("person", sa.String(36), sa.ForeignKey("person.id"), nullable=False, index=True),
        sa.Column("began_at", sa.String(32), nullable=False),
        sa.Column("seen_at", sa.String(32), nullable=False),
        sa.Column("locked", sa.Boolean, nullable=False),
        sa.Column("device", sa.Text, nullable=False),
        sa.Column("address", sa.Text, nullable=False),
    )
