"""Who wrote an examination: derived from its entries and attachments, never kept apart."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import and_, select

from decussate.records.attachments import attachments_of
from decussate.records.entries import StoredEntry
from decussate.records.store import Store
from decussate.records.tables import audit, entries

__all__ = ["NOBODY", "Author", "authors_of", "writers_of"]

NOBODY = "not recorded"
"""Stands for the writer of an entry from before there was an audit trail."""


@dataclass(frozen=True, slots=True)
class Author:
    """A person who added to an examination.

    Parameters
    ----------
    name : str
        As the person was signed in or named.
    entries, attachments : int
        How many are theirs.
    first, last : datetime
        When the first and the last of them was added, in UTC.
    devices : tuple of str
        With what, as the browsers call themselves, in the order of their first use.
    """

    name: str
    entries: int
    attachments: int
    first: datetime
    last: datetime
    devices: tuple[str, ...]


def writers_of(store: Store, examination: str) -> dict[str, str]:
    """Return who wrote each entry of an examination.

    Parameters
    ----------
    store : Store
        Where it is kept.
    examination : str
        Its identity.

    Returns
    -------
    dict of str to str
        Identity of the entry to the name in it, or else in the audit trail.
    """
    spoken = and_(audit.c.kind == "entry", audit.c.subject == entries.c.id, audit.c.content != "")
    query = (
        select(entries.c.id, audit.c.by, audit.c.action)
        .outerjoin(audit, spoken)
        .where(entries.c.examination == examination)
    )
    with store.database.reading() as connection:
        trail = {row.id: row.by for row in connection.execute(query) if row.action == "added"}
    return {
        str(stored.entry.id): stored.entry.by or trail.get(str(stored.entry.id), NOBODY)
        for stored in store.history(examination)
    }


def authors_of(store: Store, examination: str) -> tuple[Author, ...]:
    """Return everybody who added to an examination.

    Parameters
    ----------
    store : Store
        Where it is kept.
    examination : str
        Its identity.

    Returns
    -------
    tuple of Author
        In the order in which they began.
    """
    writers = writers_of(store, examination)
    history = store.history(examination)
    acts = [_entry_act(stored, writers) for stored in history]
    acts += [(one.by, one.at, one.device, False) for one in attachments_of(store, examination)]
    by_name: dict[str, list[tuple[str, datetime, str, bool]]] = {}
    for act in sorted(acts, key=lambda act: act[1]):
        by_name.setdefault(act[0], []).append(act)
    return tuple(
        Author(
            name=name,
            entries=sum(act[3] for act in theirs),
            attachments=sum(not act[3] for act in theirs),
            first=theirs[0][1],
            last=theirs[-1][1],
            devices=tuple(dict.fromkeys(act[2] for act in theirs if act[2])),
        )
        for name, theirs in by_name.items()
    )


def _entry_act(stored: StoredEntry, writers: dict[str, str]) -> tuple[str, datetime, str, bool]:
    entry = stored.entry
    return writers[str(entry.id)], stored.at, entry.device or "", True
