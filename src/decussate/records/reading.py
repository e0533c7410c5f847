"""What the store holds, read from its tables: the entries of an examination, the list's lines."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import func, select

from decussate.records.answers import ExaminationHead
from decussate.records.database import Database
from decussate.records.entries import Entry, StoredEntry
from decussate.records.tables import entries, examinations, patients

__all__ = ["entries_of", "heads", "stored_entry"]


def entries_of(database: Database, examination: str) -> tuple[StoredEntry, ...]:
    """Return every entry of an examination, oldest first.

    Parameters
    ----------
    database : Database
        What it is kept in.
    examination : str
        The examination's identity.

    Returns
    -------
    tuple of StoredEntry
        None for an examination that is not there.
    """
    query = select(entries).where(entries.c.examination == examination).order_by(entries.c.sequence)
    with database.reading() as connection:
        return tuple(stored_entry(row) for row in connection.execute(query))


def heads(database: Database, examination: str | None = None) -> tuple[ExaminationHead, ...]:
    """Return the list lines of examinations, newest first.

    Parameters
    ----------
    database : Database
        What they are kept in.
    examination : str, optional
        The identity of the only one wanted; by default all are.

    Returns
    -------
    tuple of ExaminationHead
        One for each examination.
    """
    head = (
        examinations.c.id,
        examinations.c.patient,
        patients.c.label,
        patients.c.invented,
        examinations.c.opened_at,
    )
    query = (
        select(*head, func.count(entries.c.sequence).label("entry_count"))
        .select_from(examinations.join(patients).outerjoin(entries))
        .group_by(*head)
        .order_by(examinations.c.opened_at.desc(), examinations.c.id)
    )
    if examination is not None:
        query = query.where(examinations.c.id == examination)
    with database.reading() as connection:
        return tuple(
            ExaminationHead(
                row.id,
                row.patient,
                row.label,
                row.invented,
                datetime.fromisoformat(row.opened_at),
                row.entry_count,
            )
            for row in connection.execute(query)
        )


def stored_entry(row: Any) -> StoredEntry:  # noqa: ANN401
    """Return a row of the table of entries as the entry it holds.

    Parameters
    ----------
    row : Row
        With every column of `decussate.records.tables.entries`.

    Returns
    -------
    StoredEntry
    """
    return StoredEntry(
        row.sequence, datetime.fromisoformat(row.at), Entry.model_validate_json(row.body)
    )
