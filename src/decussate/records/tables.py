"""The tables of the store as they are now; how older ones become these is in ``migrations``.

Times are ISO 8601 text in UTC, so that what is read is letter for letter what was written, on
every database.
"""

from __future__ import annotations

from sqlalchemy import Boolean, Column, ForeignKey, Index, Integer, MetaData, String, Table, Text

__all__ = ["KINDS", "audit", "entries", "examinations", "metadata", "patients", "store_version"]

metadata = MetaData()

store_version = Table(
    "store_version", metadata, Column("version", Integer, primary_key=True, autoincrement=False)
)
"""Kept only so that a program from before the audit trail refuses this database."""

patients = Table(
    "patient",
    metadata,
    Column("id", String(36), primary_key=True),
    Column("label", Text, nullable=False),
    Column("invented", Boolean, nullable=False),
    Column("opened_at", String(32), nullable=False),
)

examinations = Table(
    "examination",
    metadata,
    Column("id", String(36), primary_key=True),
    Column("patient", ForeignKey("patient.id"), nullable=False, index=True),
    Column("opened_at", String(32), nullable=False),
)

entries = Table(
    "entry",
    metadata,
    Column("sequence", Integer, primary_key=True, autoincrement=True),
    Column("id", String(36), nullable=False, unique=True),
    Column("examination", ForeignKey("examination.id"), nullable=False, index=True),
    Column("at", String(32), nullable=False),
    Column("body", Text, nullable=False),
    sqlite_autoincrement=True,
)

audit = Table(
    "audit",
    metadata,
    Column("sequence", Integer, primary_key=True, autoincrement=False),
    Column("at", String(32), nullable=False),
    Column("by", Text, nullable=False),
    Column("action", String(16), nullable=False),
    Column("kind", String(16), nullable=False),
    Column("subject", Text, nullable=False),
    Column("content", String(64), nullable=False),
    Column("previous", String(64), nullable=False),
    Column("hash", String(64), nullable=False),
    Index("ix_audit_subject", "kind", "subject"),
)
"""The audit trail; `decussate.records.chain` says what its columns hold."""

KINDS = {"patient": patients, "examination": examinations, "entry": entries}
"""Tables whose every row has a link in the audit trail, in the order in which they depend."""
