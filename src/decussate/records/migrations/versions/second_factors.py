"""Second factors with their recovery codes, and what seals the entries that wait in a browser."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Make the tables, empty."""
    op.create_table(
        "second_factor",
        sa.Column("person", sa.String(36), sa.ForeignKey("person.id"), primary_key=True),
        sa.Column("secret", sa.String(64), nullable=False),
        sa.Column("made_at", sa.String(32), nullable=False),
        sa.Column("confirmed_at", sa.String(32)),
        sa.Column("last_step", sa.Integer, nullable=False),
    )
    op.create_table(
        "recovery_code",
        sa.Column("person", sa.String(36), sa.ForeignKey("person.id"), primary_key=True),
        sa.Column("mark", sa.String(4), primary_key=True),
        sa.Column("hash", sa.Text, nullable=False),
    )
    op.create_table(
        "outbox_key",
        sa.Column("person", sa.String(36), sa.ForeignKey("person.id"), primary_key=True),
        sa.Column("key", sa.String(64), nullable=False),
    )
