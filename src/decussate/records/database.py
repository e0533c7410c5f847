"""Opening a database: an SQLite file, or PostgreSQL by its address, each set to keep its word.

What is committed must be on disk. For SQLite that is the write-ahead log with ``synchronous=FULL``,
for PostgreSQL ``fsync``, ``full_page_writes`` and ``synchronous_commit``; both are asked at every
connection and a database that answers otherwise is refused. An SQLite file may be encrypted with a
key (`decussate.records.encryption`); everything else is then as it is without.

References
----------
SQLite documentation, "PRAGMA synchronous" and "Write-Ahead Logging".
PostgreSQL documentation, "Reliability and the Write-Ahead Log"; libpq "SSL Support".
"""

from __future__ import annotations

import contextlib
import ipaddress
import os
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from pathlib import Path
from queue import SimpleQueue
from typing import Any, TypeVar, cast
from uuid import uuid4

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import DBAPIError

from decussate.errors import BadInput
from decussate.records.encryption import Key, is_encrypted, open_file, set_key

__all__ = ["PRAGMAS", "SETTINGS", "STREAMED", "Database", "is_address"]

PRAGMAS = {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}
"""What every SQLite connection must answer (``synchronous`` 2 is FULL)."""

SETTINGS = ("fsync", "full_page_writes", "synchronous_commit")
"""What every PostgreSQL connection must answer ``on``."""

WRITERS = 0x0DEC_055A
"""Number of the PostgreSQL advisory lock that lets writers through one at a time."""


STREAMED = {"yield_per": 1000}
"""Option of a query that may give more rows than memory should hold."""


def is_address(database: Path | str) -> bool:
    """Return whether a database is named by an address rather than a file.

    Parameters
    ----------
    database : Path or str
        As given by the user.

    Returns
    -------
    bool
    """
    return isinstance(database, str) and "://" in database


T = TypeVar("T")


Job = tuple[Callable[[Connection], object], "Future[object]"]

TOGETHER = 50
"""At most so many jobs share a commit, so that the first does not wait for the last."""


class Database:
    """One database, with a way to read a consistent state and a way to write alone.

    Parameters
    ----------
    database : Path or str
        An SQLite file, made with its folder if it is not there, or an address that begins
        ``postgresql+psycopg://``.
    key : Key, optional
        The key of an encrypted SQLite file; a new file is encrypted with it. PostgreSQL keeps its
        own files, so there it encrypts only what is written beside: backups and exports.

    Raises
    ------
    BadInput
        If the address is not one of PostgreSQL, or would cross a network unencrypted; if the key
        is not that of the file, or is missing, or the file is not encrypted.
    """

    def __init__(self, database: Path | str, *, key: Key | None = None) -> None:
        self.path: Path | None = None
        self.key = key
        self._alone = threading.Lock()
        self._jobs: SimpleQueue[Job | None] = SimpleQueue()
        self._starting = threading.Lock()
        self._writer: threading.Thread | None = None
        if is_address(database):
            self.name, self.engine = _postgresql(str(database))
        else:
            self.path = Path(database)
            self.name = str(database)
            self.path.parent.mkdir(parents=True, exist_ok=True)
            _require_fitting(self.path, key)
            if key is not None:
                _make_encrypted(self.path, key)
            self.path.touch(mode=0o600)  # other users of this machine may not read it
            self.engine = _sqlite(self.path, key)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the whole database throughout."""
        level = {} if self.path else {"isolation_level": "REPEATABLE READ"}
        with self.engine.connect().execution_options(**level) as connection, connection.begin():
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give the only connection that writes; commit at the end, or leave all as it was.

        Writers pass one at a time, so the order of entries is the order in which they were
        committed, and the audit trail has one end to grow from.
        """
        with (
            self._alone,
            self.engine.connect().execution_options(writes=True) as connection,
            connection.begin(),
        ):
            if not self.path:
                connection.execute(text(f"SELECT pg_advisory_xact_lock({WRITERS})"))
            yield connection

    def write(self, run: Callable[[Connection], T]) -> T:
        """Run a job as the only writer and return once it is committed.

        Jobs of several threads that wait at the same time share one commit, and so one wait for
        the disk: with many examiners that wait is most of the time.

        Parameters
        ----------
        run : callable
            The job. What it returns is returned; when it raises, nothing of it is kept. It is
            run by another thread, and once more when a job beside it fails.

        Returns
        -------
        object
            What the job returned.
        """
        job: Job = (run, Future())
        with self._starting:
            if self._writer is None:
                self._writer = threading.Thread(
                    target=self._write_all, name="decussate writer", daemon=True
                )
                self._writer.start()
            self._jobs.put(job)
        return cast("T", job[1].result())

    def _write_all(self) -> None:
        """Run what comes in until `close`: all that waits together, else one by one."""
        while (first := self._jobs.get()) is not None:
            jobs = [first]
            while not self._jobs.empty() and len(jobs) < TOGETHER:
                if (job := self._jobs.get()) is None:
                    self._jobs.put(None)
                    break
                jobs.append(job)
            if len(jobs) == 1 or not self._run_together(jobs):
                for job in jobs:
                    self._run_together([job], last_try=True)

    def _run_together(self, jobs: list[Job], *, last_try: bool = False) -> bool:
        """Run jobs in one transaction; return whether each now has its result or its error."""
        try:
            with self.writing() as connection:
                results = [run(connection) for run, _ in jobs]
        except Exception as problem:
            broken = isinstance(problem, DBAPIError) and problem.connection_invalidated
            if not (last_try or broken):
                return False
            for _, future in jobs:
                future.set_exception(problem)
            return True
        for (_, future), result in zip(jobs, results, strict=True):
            future.set_result(result)
        return True

    def integrity(self) -> tuple[str, ...]:
        """Return what the database's own check finds wrong with its pages; nothing when sound.

        Returns
        -------
        tuple of str
            For PostgreSQL, whose pages carry checksums that are checked when read, always empty.
        """
        if not self.path:
            return ()
        with self.reading() as connection:
            if self.key is not None:
                seals = connection.exec_driver_sql("PRAGMA cipher_integrity_check").all()
                if seals:  # the check of the contents could not read them
                    return tuple(str(row[0]) for row in seals)
            found = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check")]
            found += [
                f"a row of {row[0]} without its {row[2]}"
                for row in connection.exec_driver_sql("PRAGMA foreign_key_check")
            ]
        return tuple(line for line in found if line != "ok")

    def close(self) -> None:
        """Finish what is being written and close every connection."""
        with self._starting:
            writer, self._writer = self._writer, None
            if writer is not None:
                self._jobs.put(None)
                writer.join()
        self.engine.dispose()


def _require_fitting(path: Path, key: Key | None) -> None:
    """Refuse a key for a plain file, and no key for one that is not plain."""
    encrypted = is_encrypted(path)
    if encrypted and key is None:
        raise BadInput(
            "database file",
            "encrypted, or no database at all",
            "its key, or a plain SQLite file",
            hint="Give the key by --key-file, DECUSSATE_KEY_FILE or DECUSSATE_PASSPHRASE.",
            where=str(path),
        )
    if not encrypted and key is not None and path.exists() and path.stat().st_size:
        raise BadInput(
            "database file",
            "not encrypted",
            "one that the given key opens",
            hint="Encrypt it with: decussate encryption on. Or leave the key out.",
            where=str(path),
        )


def _make_encrypted(path: Path, key: Key) -> None:
    """Make a new encrypted file whole before it has its name.

    Its salt lies in its first page: two programs that both began the file would not agree on it.
    """
    if path.exists():
        return
    part = path.with_name(f"{path.name}.{uuid4().hex}.part")
    part.touch(mode=0o600)
    try:
        connection = open_file(part, key, new=True)
        connection.execute("PRAGMA journal_mode = wal")  # writes the first page
        connection.close()
        # Another program was quicker, or files cannot be linked here: the store then makes it.
        with contextlib.suppress(OSError):
            os.link(part, path)
    finally:
        part.unlink()


def _sqlite(path: Path, key: Key | None) -> Engine:
    address = URL.create("sqlite", database=str(path))
    module = {}
    if key is not None:
        import sqlcipher3.dbapi2 as sqlcipher

        module = {"module": sqlcipher}
    engine = create_engine(
        address,
        connect_args={"timeout": 30},
        pool_size=20,
        hide_parameters=True,  # an error must not carry what was being written into a log
        **module,
    )

    @event.listens_for(engine, "connect")
    def _set_pragmas(connection: Any, _record: object) -> None:  # noqa: ANN401
        if key is not None:
            set_key(connection, path, key)
        connection.isolation_level = None  # transactions begin where `_begin` says, schema included
        for name, wanted in PRAGMAS.items():
            connection.execute(f"PRAGMA {name}={wanted}")
            found = connection.execute(f"PRAGMA {name}").fetchone()[0]
            _require(name, found, wanted, "Keep the database on a local disk that can be written.")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # A writer takes its turn at once: one that read first might be refused when it writes.
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _postgresql(address: str) -> tuple[str, Engine]:
    example = "postgresql+psycopg://name@host/database, or a file"
    try:
        url = make_url(address)
    except Exception:
        raise BadInput("database address", "something else", example) from None
    shown = url.render_as_string(hide_password=True)
    if url.drivername not in ("postgresql", "postgresql+psycopg"):
        raise BadInput("database address", shown, example)
    try:
        import psycopg  # noqa: F401
    except ImportError:
        hint = "Install it with: pip install 'decussate[postgres]'."
        raise BadInput("PostgreSQL driver", "nothing", "the library psycopg 3", hint=hint) from None
    url = url.set(drivername="postgresql+psycopg")
    secure = {}
    if url.host and not _on_this_machine(url.host) and "sslmode" not in url.query:
        secure = {"sslmode": "verify-full"}
    engine = create_engine(
        url,
        connect_args=secure,
        pool_size=10,
        max_overflow=10,
        pool_pre_ping=True,
        hide_parameters=True,
    )

    @event.listens_for(engine, "connect")
    def _check(connection: Any, _record: object) -> None:  # noqa: ANN401
        info = connection.info
        host = info.hostaddr or info.host
        if not (_on_this_machine(host) or connection.pgconn.ssl_in_use):
            hint = "Set up TLS on the server and add ?sslmode=verify-full to the address."
            raise BadInput("database connection", "not encrypted", "TLS to another host", hint=hint)
        with connection.cursor() as cursor:
            cursor.execute("SET synchronous_commit = on")
            for name in SETTINGS:
                found = cursor.execute(f"SHOW {name}").fetchone()[0]
                hint = "Without it an acknowledged entry can be lost; turn it on in the server."
                _require(name, found, "on", hint)
        connection.commit()

    return shown, engine


def _on_this_machine(host: str) -> bool:
    """Whether a host is a Unix socket or the loopback of this machine."""
    if not host or host.startswith(("/", "@")) or host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _require(name: str, found: object, wanted: object, hint: str) -> None:
    if found != wanted:
        raise BadInput("database setting", f"{name}={found}", f"{name}={wanted}", hint=hint)
