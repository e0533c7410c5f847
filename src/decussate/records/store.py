"""The store of patients, examinations and their entries, in SQLite or PostgreSQL.

Entries are inserted and never changed or deleted: this class has no method that could. An entry
counts as saved only after its own transaction has been committed and synced to disk, together with
its link in the audit trail. The SQL is SQLAlchemy Core; what differs between databases is in
`decussate.records.database`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar
from uuid import uuid4

from sqlalchemy import Connection, Row, Table, insert, select
from sqlalchemy.exc import DBAPIError

from decussate.errors import BadInput
from decussate.examination.record import Examination
from decussate.records.answers import ExaminationHead, NotSaved, Receipt
from decussate.records.chain import (
    FIRST,
    Verdict,
    add_link,
    login_name,
    present_actor,
    present_device,
    timestamp,
    verify,
)
from decussate.records.database import Database
from decussate.records.encryption import Key, present_key
from decussate.records.entries import Entry, StoredEntry, present_state
from decussate.records.labels import checked_label
from decussate.records.reading import entries_of, heads, stored_entry
from decussate.records.schema import bring_up_to_date
from decussate.records.tables import KINDS, entries, examinations, patients

__all__ = ["Store"]

T = TypeVar("T")


class Store:
    """Patients, examinations and entries in one database.

    Parameters
    ----------
    database : Path or str
        An SQLite file, made with its folder if it is not there, or the address of a PostgreSQL
        database (``postgresql+psycopg://name@/records``). One of an earlier layout is brought to
        the present one, an SQLite file after a copy of it was made beside it.
    by : str, optional
        Who acts, for the audit trail, when `decussate.records.acting_as` names nobody; by default
        the name under which the program runs.
    key : Key, optional
        The owner's key, as for `Database`; by default the one that
        `decussate.records.encryption.unlocking` or the environment offers.

    Attributes
    ----------
    database : Database
        What it is kept in.
    by : str
        As above.
    copied_to : Path or None
        The copy made before the layout was changed.

    Raises
    ------
    BadInput
        If the database is another program's, belongs to a newer version, or cannot be opened
        safely.
    """

    def __init__(
        self, database: Path | str, *, by: str | None = None, key: Key | None = None
    ) -> None:
        self.by = by or login_name()
        kind = "database"
        try:
            self.database = Database(database, key=key or present_key())
            kind = "database file" if self.database.path else "database"
            self.copied_to = bring_up_to_date(self.database)
        except BadInput:
            raise
        except Exception as problem:
            raise BadInput(
                kind,
                self.database.name if hasattr(self, "database") else str(database),
                "a database this program made before, or a new one in a place that can be written",
                hint=str(problem).splitlines()[0],
            ) from problem

    def close(self) -> None:
        """Close every connection."""
        self.database.close()

    def add_patient(self, label: str, *, invented: bool, patient: str | None = None) -> str:
        """Add a patient.

        Parameters
        ----------
        label : str
            The words that name the patient on a list.
        invented : bool
            Whether the patient is invented.
        patient : str, optional
            Identity to use; a new one is made by default.

        Returns
        -------
        str
            The patient's identity.

        Raises
        ------
        BadInput
            If the label is empty, too long or has control characters, or the identity is taken.
        """
        label = checked_label(label)
        identity = patient or str(uuid4())
        row = {"id": identity, "label": label, "invented": invented, "opened_at": timestamp()}
        by = present_actor(self.by)

        def add(connection: Connection) -> str:
            if _row(connection, patients, identity) is not None:
                raise BadInput("patient", identity, "an identity that is not in the store yet")
            _add(connection, "patient", row, by)
            return identity

        return self.write(add)

    def begin(
        self, patient: str, *, examination: str | None = None, at: datetime | None = None
    ) -> str:
        """Begin an examination of a patient.

        Parameters
        ----------
        patient : str
            The patient's identity.
        examination : str, optional
            Identity to use; a new one is made by default. Beginning the same one twice begins it
            once.
        at : datetime, optional
            When it was begun, for one done earlier; the audit trail says when it was put in.

        Returns
        -------
        str
            The examination's identity.

        Raises
        ------
        BadInput
            If there is no such patient, or the time has no zone or is yet to come.
        """
        identity = examination or str(uuid4())
        by = present_actor(self.by)
        opened_at = timestamp(at)

        def begin(connection: Connection) -> str:
            begun = _row(connection, examinations, identity)
            known = _row(connection, patients, patient) is not None
            if not known or (begun is not None and begun.patient != patient):
                raise BadInput("patient", patient, "a patient that is in the store")
            if begun is None:
                row = {"id": identity, "patient": patient, "opened_at": opened_at}
                _add(connection, "examination", row, by)
            return identity

        return self.write(begin)

    def append(self, examination: str, entry: Entry) -> Receipt:
        """Save an entry and return only once it is on disk.

        Parameters
        ----------
        examination : str
            The examination's identity.
        entry : Entry
            What to add. An entry with an identity already saved is not added again.

        Returns
        -------
        Receipt
            The entry as saved.

        Raises
        ------
        BadInput
            If there is no such examination, or the identity belongs to a different entry.
        NotSaved
            If the database could not write it.
        """
        by = present_actor(entry.by or self.by)
        if named := present_actor(""):  # nobody enters in another's name
            entry = entry.model_copy(update={"by": named})
        if device := present_device():
            entry = entry.model_copy(update={"device": device})
        body = entry.model_dump_json(exclude_defaults=True)

        def add(connection: Connection) -> Receipt:
            saved = _row(connection, entries, str(entry.id))
            if saved is None:
                if _row(connection, examinations, examination) is None:
                    raise _no_such(examination)
                at = timestamp()
                row = {"id": str(entry.id), "examination": examination, "at": at, "body": body}
                sequence = _add(connection, "entry", row, by)
                return Receipt(StoredEntry(sequence, datetime.fromisoformat(at), entry), False)
            if saved.examination != examination or not _same(saved.body, entry):
                raise BadInput(
                    "entry identity",
                    str(entry.id),
                    "a new identity for a new entry",
                    hint="Reload the page and record it again; nothing was changed.",
                )
            return Receipt(stored_entry(saved), True)

        return self.write(add)

    def saw(self, examination: str, what: str) -> None:
        """Put into the audit trail that someone saw an examination.

        Parameters
        ----------
        examination : str
            The examination's identity.
        what : str
            What was shown (``page``, ``note``, ``letter``).

        Raises
        ------
        BadInput
            If there is no such examination.
        """
        self.head(examination)
        by, subject = present_actor(self.by), f"{examination} {what}"
        self.write(lambda c: add_link(c, "seen", "examination", subject, by=by))

    def record_act(self, action: str, about: str) -> None:
        """Put an act on the whole store into the audit trail.

        Parameters
        ----------
        action : str
            Such as ``exported``.
        about : str
            More about it.
        """
        by = present_actor(self.by)
        self.write(lambda c: add_link(c, action, "store", about, by=by))

    def verify(self, *, passes: str | None = None) -> Verdict:
        """Verify the audit trail, that every row fits it, and the database's own pages.

        Parameters
        ----------
        passes : str, optional
            A head written down earlier, through which the chain must pass.

        Returns
        -------
        Verdict
        """
        pages = self.database.integrity()
        try:
            with self.database.reading() as connection:
                verdict = verify(connection, passes=passes)
        except DBAPIError as problem:
            return Verdict(0, FIRST, (*pages, f"the rows cannot be read: {problem.orig}"))
        return Verdict(verdict.links, verdict.head, (*pages, *verdict.problems))

    def history(self, examination: str) -> tuple[StoredEntry, ...]:
        """Return every entry of an examination, oldest first.

        Parameters
        ----------
        examination : str
            The examination's identity.

        Returns
        -------
        tuple of StoredEntry
            Everything that was ever entered, undone or not.
        """
        return entries_of(self.database, examination)

    def head(self, examination: str) -> ExaminationHead:
        """Return the list line of one examination.

        Parameters
        ----------
        examination : str
            The examination's identity.

        Returns
        -------
        ExaminationHead
            Who is examined and when it began.

        Raises
        ------
        BadInput
            If there is no such examination.
        """
        found = self._heads(examination)
        if not found:
            raise _no_such(examination)
        return found[0]

    def examinations(self) -> tuple[ExaminationHead, ...]:
        """Return the list lines of all examinations, newest first.

        Returns
        -------
        tuple of ExaminationHead
            One for each examination.
        """
        return self._heads(None)

    def examination(self, examination: str) -> Examination:
        """Return an examination as it now stands.

        Parameters
        ----------
        examination : str
            The examination's identity.

        Returns
        -------
        Examination
            The present state, derived from the history.

        Raises
        ------
        BadInput
            If there is no such examination.
        """
        head = self.head(examination)
        return present_state(head.id, head.label, head.invented, self.history(examination))

    def _heads(self, examination: str | None) -> tuple[ExaminationHead, ...]:
        return heads(self.database, examination)

    def write(self, job: Callable[[Connection], T]) -> T:
        """Run a job that writes, as `Database.write` does.

        Parameters
        ----------
        job : callable
            What to do with the connection.

        Returns
        -------
        object
            What the job returned, once it is on disk.

        Raises
        ------
        NotSaved
            If the database could not write it.
        """
        try:
            return self.database.write(job)
        except DBAPIError as problem:
            reason = str(problem.orig).strip().splitlines()[0].rstrip(".")
            raise NotSaved(reason, uncertain=problem.connection_invalidated) from problem


def _add(connection: Connection, kind: str, row: Mapping[str, Any], by: str) -> Any:  # noqa: ANN401
    """Add a row and its link; return the key the database knows it by."""
    added = connection.execute(insert(KINDS[kind]), row).inserted_primary_key
    add_link(connection, "added", kind, row["id"], row, by=by)
    return added and added[0]


def _row(connection: Connection, table: Table, identity: str) -> Row[Any] | None:
    return connection.execute(select(table).where(table.c.id == identity)).first()


def _same(body: str, entry: Entry) -> bool:
    """Whether an entry says what a saved one says; sent again, it may come by another browser."""
    apart = {"by": None, "device": None}
    saved = Entry.model_validate_json(body)
    return saved.model_copy(update=apart) == entry.model_copy(update=apart)


def _no_such(examination: str) -> BadInput:
    hint = "Open it from the list."
    return BadInput("examination", examination, "one that is in the store", hint=hint)
