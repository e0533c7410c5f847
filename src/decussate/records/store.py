"""The store of patients, examinations and their entries, on one SQLite file.

Entries are inserted and never changed or deleted: this class has no method that could. An entry
counts as saved only after its own transaction has been committed with the log synced to disk
(write-ahead log, ``synchronous=FULL``). The SQL is SQLAlchemy Core throughout; only the pragmas at
the opening of a connection belong to SQLite.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

from sqlalchemy import (
    Boolean,
    Column,
    Engine,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    create_engine,
    event,
    func,
    insert,
    select,
)
from sqlalchemy.exc import DBAPIError, IntegrityError

from decussate.errors import BadInput
from decussate.examination.record import Examination
from decussate.records.entries import Entry, StoredEntry, present_state

__all__ = ["SCHEMA_VERSION", "ExaminationHead", "NotSaved", "Receipt", "Store"]

SCHEMA_VERSION = 1
"""Layout of the tables; a file written by a newer layout is refused rather than misread."""

PRAGMAS = {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}
"""What every SQLite connection must answer (``synchronous`` 2 is FULL)."""

metadata = MetaData()

store_version = Table(
    "store_version", metadata, Column("version", Integer, primary_key=True, autoincrement=False)
)

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
    """The database could not take an entry; it is as it was before.

    Parameters
    ----------
    reason : str
        What the database said (``database or disk is full``).
    """

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(f"Not saved: {reason}. Nothing was recorded.")


class Store:
    """Patients, examinations and entries in one database.

    Parameters
    ----------
    database : Path or str
        The file, made with its folder if it is not there.

    Raises
    ------
    BadInput
        If the file is not a database, belongs to a newer version, or cannot be opened safely.
    """

    def __init__(self, database: Path | str) -> None:
        path = Path(database)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.touch(mode=0o600)  # other users of this machine may not read it
            self._engine = _engine(path)
            metadata.create_all(self._engine)
            self._check_version()
        except BadInput:
            raise
        except Exception as problem:
            raise BadInput(
                "database file",
                str(path),
                "a file this program made before, or a new file in a folder that can be written",
                hint=str(problem).splitlines()[0],
            ) from problem

    def _check_version(self) -> None:
        with self._engine.begin() as connection:
            version = connection.scalar(select(func.max(store_version.c.version)))
            if version is None:
                connection.execute(insert(store_version).values(version=SCHEMA_VERSION))
        if version is not None and version > SCHEMA_VERSION:
            raise BadInput(
                "database version",
                version,
                f"{SCHEMA_VERSION} or older",
                hint="The file was written by a newer Decussate; open it with that one.",
            )

    def close(self) -> None:
        """Close every connection."""
        self._engine.dispose()

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
            If the label is empty.
        """
        label = " ".join(label.split())
        if not label:
            raise BadInput("patient", label, "a name or a bed, so that the list can be read")
        identity = patient or str(uuid4())
        with self._engine.begin() as connection:
            connection.execute(
                insert(patients).values(
                    id=identity, label=label, invented=invented, opened_at=_now()
                )
            )
        return identity

    def begin(self, patient: str, *, examination: str | None = None) -> str:
        """Begin an examination of a patient.

        Parameters
        ----------
        patient : str
            The patient's identity.
        examination : str, optional
            Identity to use; a new one is made by default. Beginning the same one twice begins it
            once.

        Returns
        -------
        str
            The examination's identity.

        Raises
        ------
        BadInput
            If there is no such patient.
        """
        identity = examination or str(uuid4())
        row = {"id": identity, "patient": patient, "opened_at": _now()}
        try:
            with self._engine.begin() as connection:
                connection.execute(insert(examinations).values(row))
        except IntegrityError:
            head = next((h for h in self.examinations() if h.id == identity), None)
            if head is None or head.patient != patient:
                raise BadInput("patient", patient, "a patient that is in the store") from None
        return identity

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
        body = entry.model_dump_json(exclude_defaults=True)
        row = {"id": str(entry.id), "examination": examination, "at": _now(), "body": body}
        try:
            with self._engine.begin() as connection:
                connection.execute(insert(entries).values(row))
            resent = False
        except IntegrityError:
            self.head(examination)
            resent = True
        except DBAPIError as problem:
            raise NotSaved(str(problem.orig)) from problem
        with self._engine.connect() as connection:
            saved = connection.execute(select(entries).where(entries.c.id == str(entry.id))).one()
        if saved.examination != examination or saved.body != body:
            raise BadInput(
                "entry identity",
                str(entry.id),
                "a new identity for a new entry",
                hint="Reload the page and record it again; nothing was changed.",
            )
        return Receipt(_stored(saved), resent)

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
        query = (
            select(entries).where(entries.c.examination == examination).order_by(entries.c.sequence)
        )
        with self._engine.connect() as connection:
            return tuple(_stored(row) for row in connection.execute(query))

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
        heads = self._heads(examination)
        if not heads:
            raise BadInput(
                "examination",
                examination,
                "one that is in the store",
                hint="Open it from the list.",
            )
        return heads[0]

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
        query = (
            select(
                examinations.c.id,
                examinations.c.patient,
                patients.c.label,
                patients.c.invented,
                examinations.c.opened_at,
                func.count(entries.c.sequence).label("entry_count"),
            )
            .select_from(examinations.join(patients).outerjoin(entries))
            .group_by(
                examinations.c.id,
                examinations.c.patient,
                patients.c.label,
                patients.c.invented,
                examinations.c.opened_at,
            )
            .order_by(examinations.c.opened_at.desc(), examinations.c.id)
        )
        if examination is not None:
            query = query.where(examinations.c.id == examination)
        with self._engine.connect() as connection:
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


def _engine(path: Path) -> Engine:
    engine = create_engine(f"sqlite:///{path}")

    @event.listens_for(engine, "connect")
    def _set_pragmas(connection: Any, _record: object) -> None:  # noqa: ANN401
        cursor = connection.cursor()
        for name, wanted in PRAGMAS.items():
            cursor.execute(f"PRAGMA {name}={wanted}")
            found = cursor.execute(f"PRAGMA {name}").fetchone()[0]
            if found != wanted:
                raise BadInput(
                    "database setting",
                    f"{name}={found}",
                    f"{name}={wanted}",
                    hint="Keep the database on a local disk that can be written.",
                )
        cursor.close()

    return engine


def _stored(row: Any) -> StoredEntry:  # noqa: ANN401
    return StoredEntry(
        row.sequence, datetime.fromisoformat(row.at), Entry.model_validate_json(row.body)
    )


def _now() -> str:
    return datetime.now(UTC).isoformat()
