"""What the patient's screen of each examination shows: kept, but no part of the record.

It outlives the program and is the same for every program that serves the store. It is neither in
the audit trail nor in exports: a finding is saved when the examiner records it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select, update

from decussate.records.store import Store
from decussate.records.tables import patient_screens

__all__ = ["KeptScreen", "change_screen", "kept_screen"]


@dataclass(frozen=True, slots=True)
class KeptScreen:
    """The state of one patient's screen.

    Parameters
    ----------
    version : int
        Grows with every change; 0 before the first.
    shown, report : str
        What is shown, and what the screen says of itself, as JSON; empty before the first.
    seen_at : datetime or None
        When a patient's screen last asked.
    """

    version: int = 0
    shown: str = ""
    report: str = ""
    seen_at: datetime | None = None


def kept_screen(store: Store, examination: str) -> KeptScreen:
    """Return the state of the screen of an examination; that of a new one where none was kept."""
    with store.database.reading() as connection:
        return _kept(connection, examination)


def change_screen(
    store: Store, examination: str, change: Callable[[KeptScreen], KeptScreen]
) -> KeptScreen:
    """Change the state of a screen; changes made at the same time follow one another.

    Parameters
    ----------
    store : Store
        Where it is kept.
    examination : str
        The examination, which must be in the store.
    change : callable
        Makes the new state of the one that stands.

    Returns
    -------
    KeptScreen
        As it now stands.
    """

    def write(connection: Connection) -> KeptScreen:
        before = _kept(connection, examination)
        after = change(before)
        if after == before:
            return after
        row = {
            "version": after.version,
            "shown": after.shown,
            "report": after.report,
            "seen_at": after.seen_at.isoformat() if after.seen_at else None,
        }
        its = patient_screens.c.examination == examination
        if not connection.execute(update(patient_screens).where(its).values(row)).rowcount:
            connection.execute(insert(patient_screens), row | {"examination": examination})
        return after

    return store.write(write)


def _kept(connection: Connection, examination: str) -> KeptScreen:
    query = select(patient_screens).where(patient_screens.c.examination == examination)
    row = connection.execute(query).first()
    if row is None:
        return KeptScreen()
    seen = datetime.fromisoformat(row.seen_at) if row.seen_at else None
    return KeptScreen(row.version, row.shown, row.report or "", seen)
