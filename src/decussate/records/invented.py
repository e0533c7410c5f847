"""A store as seen by whoever may see invented patients alone."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import select

from decussate.errors import BadInput
from decussate.records.answers import ExaminationHead, Receipt
from decussate.records.entries import Entry, StoredEntry
from decussate.records.store import Store
from decussate.records.tables import patients

__all__ = ["InventedOnly"]


class InventedOnly(Store):
    """The invented patients of a store; the others are as if they were not there.

    Parameters
    ----------
    store : Store
        The whole store, which this one looks into and does not close.
    """

    def __init__(self, store: Store) -> None:
        self.by = store.by
        self.database = store.database
        self.copied_to = store.copied_to

    def close(self) -> None:
        """Leave the whole store open."""

    def add_patient(self, label: str, *, invented: bool, patient: str | None = None) -> str:
        """Add a patient, who is invented whatever was said."""
        return super().add_patient(label, invented=True, patient=patient)

    def begin(
        self, patient: str, *, examination: str | None = None, at: datetime | None = None
    ) -> str:
        """Begin an examination of an invented patient."""
        query = select(patients.c.invented).where(patients.c.id == patient)
        with self.database.reading() as connection:
            if not connection.scalar(query):
                raise BadInput("patient", patient, "a patient that is in the store")
        return super().begin(patient, examination=examination, at=at)

    def append(self, examination: str, entry: Entry) -> Receipt:
        """Save an entry about an invented patient."""
        self.head(examination)
        return super().append(examination, entry)

    def history(self, examination: str) -> tuple[StoredEntry, ...]:
        """Return every entry about an invented patient's examination."""
        self.head(examination)
        return super().history(examination)

    def _heads(self, examination: str | None) -> tuple[ExaminationHead, ...]:
        return tuple(head for head in super()._heads(examination) if head.invented)
