"""What the patient's screen shows, so that it outlives the program and is shared by several."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Make the table, empty."""
    op.create_table(
        "patient_screen",
        sa.Column("examination", sa.String(36), sa.ForeignKey("examination.id"), primary_key=True),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("shown", sa.Text, nullable=False),
        sa.Column("report", sa.Text),
        sa.Column("seen_at", sa.String(32)),
    )
