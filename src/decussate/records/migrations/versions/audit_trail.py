"""The audit trail, begun with a link for every row that is there."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from decussate.records.chain import add_link, login_name, timestamp

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the trail and take the rows into it in the order in which they depend."""
    op.create_table(
        "audit",
        sa.Column("sequence", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("action", sa.String(16), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("subject", sa.Text, nullable=False),
        sa.Column("content", sa.String(64), nullable=False),
        sa.Column("previous", sa.String(64), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
    )
    op.create_index("ix_audit_subject", "audit", ["kind", "subject"])
    connection = op.get_bind()
    # A program from before the trail would write past it: make it refuse.
    connection.execute(sa.text("UPDATE store_version SET version = 2"))
    columns = {
        "patient": ("id", "label", "invented", "opened_at"),
        "examination": ("id", "patient", "opened_at"),
        "entry": ("id", "examination", "at", "body"),
    }
    order = {"patient": ("opened_at", "id"), "examination": ("opened_at", "id")}
    at, by = timestamp(), login_name()
    for kind, names in columns.items():
        table = sa.table(
            kind,
            *(sa.column(name, sa.Boolean() if name == "invented" else sa.Text()) for name in names),
            sa.column("sequence", sa.Integer()),
        )
        query = sa.select(*(table.c[name] for name in names)).order_by(
            *(table.c[name] for name in order.get(kind, ("sequence",)))
        )
        for row in connection.execute(query).mappings():
            add_link(connection, "adopted", kind, row["id"], dict(row), by=by, at=at)
