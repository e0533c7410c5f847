"""Tokens by which programs read for a person."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Make the table, empty."""
    op.create_table(
        "read_token",
        sa.Column("mark", sa.String(64), primary_key=True),
        sa.Column("number", sa.String(36), nullable=False, unique=True),
        sa.Column("person", sa.String(36), sa.ForeignKey("person.id"), nullable=False, index=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("made_at", sa.String(32), nullable=False),
        sa.Column("until", sa.String(32), nullable=False),
    )
