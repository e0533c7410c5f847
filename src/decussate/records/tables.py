"""The tables of the store as they are now; how older ones become these is in ``migrations``.

Times are ISO 8601 text in UTC, so that what is read is letter for letter what was written, on
every database.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Boolean, Column, ForeignKey, Index, Integer, MetaData, String, Table, Text

__all__ = [
    "KINDS",
    "attachments",
    "audit",
    "entries",
    "examinations",
    "metadata",
    "outbox_keys",
    "patient_screens",
    "patients",
    "persons",
    "read_tokens",
    "recovery_codes",
    "second_factors",
    "signed_in",
    "store_version",
    "streamed",
]

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

attachments = Table(
    "attachment",
    metadata,
    Column("id", String(36), primary_key=True),
    Column("examination", ForeignKey("examination.id"), nullable=False, index=True),
    Column("at", String(32), nullable=False),
    Column("by", Text, nullable=False),
    Column("device", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("kind", String(16), nullable=False),
    Column("media_type", String(64), nullable=False),
    Column("size", Integer, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("content", Text, nullable=False),
)
"""Files that belong to an examination. The content is base64, so that a row can be digested and
exported like every other."""

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

persons = Table(
    "person",
    metadata,
    Column("id", String(36), primary_key=True),
    Column("name", Text, nullable=False),
    Column("name_key", String(200), nullable=False, unique=True),
    Column("role", String(16), nullable=False),
    Column("password", Text, nullable=False),
    Column("password_until", String(32)),
    Column("lock_minutes", Integer, nullable=False),
    Column("opened_at", String(32), nullable=False),
    Column("closed_at", String(32)),
)
"""Accounts. A row may change; the newest link that speaks of it holds its digest."""

signed_in = Table(
    "signed_in",
    metadata,
    Column("mark", String(64), primary_key=True),
    Column("number", String(36), nullable=False, unique=True),
    Column("person", ForeignKey("person.id"), nullable=False, index=True),
    Column("began_at", String(32), nullable=False),
    Column("seen_at", String(32), nullable=False),
    Column("locked", Boolean, nullable=False),
    Column("device", Text, nullable=False),
    Column("address", Text, nullable=False),
)
"""Browsers in which a person is signed in. What ends is deleted; the trail tells that it was."""

patient_screens = Table(
    "patient_screen",
    metadata,
    Column("examination", ForeignKey("examination.id"), primary_key=True),
    Column("version", Integer, nullable=False),
    Column("shown", Text, nullable=False),
    Column("report", Text),
    Column("seen_at", String(32)),
)
"""What the patient's screen shows now; no part of the record."""

read_tokens = Table(
    "read_token",
    metadata,
    Column("mark", String(64), primary_key=True),
    Column("number", String(36), nullable=False, unique=True),
    Column("person", ForeignKey("person.id"), nullable=False, index=True),
    Column("name", Text, nullable=False),
    Column("made_at", String(32), nullable=False),
    Column("until", String(32), nullable=False),
)
"""Tokens by which programs read for a person. What ends is deleted; the trail tells that it was."""

second_factors = Table(
    "second_factor",
    metadata,
    Column("person", ForeignKey("person.id"), primary_key=True),
    Column("secret", String(64), nullable=False),
    Column("made_at", String(32), nullable=False),
    Column("confirmed_at", String(32)),
    Column("last_step", Integer, nullable=False),
)
"""What the codes of a person's app are made from; it counts once a first code has confirmed it.
The newest link that speaks of it holds its digest, without the step of the last code used."""

recovery_codes = Table(
    "recovery_code",
    metadata,
    Column("person", ForeignKey("person.id"), primary_key=True),
    Column("mark", String(4), primary_key=True),
    Column("hash", Text, nullable=False),
)
"""Codes for whoever has lost the app; one that was used is deleted."""

outbox_keys = Table(
    "outbox_key",
    metadata,
    Column("person", ForeignKey("person.id"), primary_key=True),
    Column("key", String(64), nullable=False),
)
"""With what a browser seals the entries of a person that wait in it."""

KINDS = {
    "patient": patients,
    "examination": examinations,
    "entry": entries,
    "attachment": attachments,
}
"""Tables whose every row has a link in the audit trail, in the order in which they depend."""


def streamed(table: Table) -> dict[str, Any]:
    """Return the option of a query that reads a table row by row, not into memory.

    Parameters
    ----------
    table : Table

    Returns
    -------
    dict
        How many rows are fetched together: few where a row may be some megabytes.
    """
    return {"yield_per": 4 if table is attachments else 1000}
