"""What the store answers: a line of the list, and whether an entry is saved."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from decussate.records.entries import StoredEntry

__all__ = ["ExaminationHead", "NotSaved", "Receipt"]


@dataclass(frozen=True, slots=True)
class ExaminationHead:
    """One line of the list of examinations.

    Parameters
    ----------
    id, patient : str
        Identities of the examination and of the patient.
    label : str
        The words that name the patient on a list.
    invented : bool
        Whether the patient is invented.
    opened_at : datetime
        When the examination was begun, in UTC.
    entries : int
        How many entries it holds.
    """

    id: str
    patient: str
    label: str
    invented: bool
    opened_at: datetime
    entries: int


@dataclass(frozen=True, slots=True)
class Receipt:
    """The store's word that an entry is saved.

    Parameters
    ----------
    stored : StoredEntry
        The entry as saved.
    resent : bool
        True when it had been saved before and was not added again.
    """

    stored: StoredEntry
    resent: bool


class NotSaved(OSError):
    """The database did not take an entry.

    Parameters
    ----------
    reason : str
        What the database said (``database or disk is full``).
    uncertain : bool
        True when the connection broke, so that nobody knows whether it was saved.
    """

    def __init__(self, reason: str, *, uncertain: bool = False) -> None:
        self.reason = reason
        self.uncertain = uncertain
        what = (
            "It may have been recorded all the same: send it again, it is never recorded twice."
            if uncertain
            else "Nothing was recorded."
        )
        super().__init__(f"Not saved: {reason}. {what}")
