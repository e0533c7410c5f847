"""Bringing a database to the present layout when it is opened.

The steps are in ``migrations``. Everything happens in one transaction, so that a program killed
halfway leaves the database as it was. An SQLite file is copied first; the copy stays beside it.
"""

from __future__ import annotations

import threading
from pathlib import Path

from sqlalchemy import Connection, inspect, text

from decussate.errors import BadInput
from decussate.records.database import Database
from decussate.records.encryption import Key, open_file

__all__ = ["REVISION", "REVISION_TABLE", "bring_up_to_date", "copy_sqlite", "revision_of"]

REVISION = "0007"
"""The present layout: the newest step of ``migrations``."""

REVISION_TABLE = "decussate_revision"
"""Table that names the layout of a database."""

OLDER = ("0001", "0002", "0003", "0004", "0005", "0006")
"""Layouts that can be brought to the present one."""

_one_at_a_time = threading.Lock()  # Alembic keeps the migration under way in a global


def revision_of(connection: Connection) -> str | None:
    """Return the layout of a database.

    Parameters
    ----------
    connection : Connection
        To read from.

    Returns
    -------
    str or None
        The name of a layout; None for an empty database.

    Raises
    ------
    BadInput
        If the database belongs to another program or a newer version.
    """
    names = set(inspect(connection).get_table_names())
    if not names:
        return None
    if REVISION_TABLE in names:
        found = connection.scalar(text(f"SELECT version_num FROM {REVISION_TABLE}"))  # noqa: S608
    elif "store_version" in names:
        version = connection.scalar(text("SELECT max(version) FROM store_version"))
        found = "0001" if version == 1 else f"version {version}"
    else:
        raise BadInput(
            "database",
            ", ".join(sorted(names)),
            "tables of this program, or none",
            hint="It belongs to another program; nothing in it was changed.",
        )
    if found not in (*OLDER, REVISION):
        raise BadInput(
            "database version",
            found,
            f"{REVISION} or older",
            hint="It was written by a newer Decussate; open it with that one.",
        )
    return str(found)


def bring_up_to_date(database: Database) -> Path | None:
    """Bring a database to the present layout.

    Parameters
    ----------
    database : Database
        Empty, of an older layout, or of the present one (then nothing is done).

    Returns
    -------
    Path or None
        The copy made before an SQLite file was changed.

    Raises
    ------
    BadInput
        If the database belongs to another program or a newer version.
    """
    with database.reading() as connection:
        if revision_of(connection) == REVISION:
            return None
    copy = None
    with _one_at_a_time, database.writing() as connection:
        found = revision_of(connection)  # another program may have been quicker
        if found == REVISION:
            return None
        if found is not None and database.path is not None:
            copy = _free_name(database.path, found)
            copy_sqlite(database.path, copy, database.key)
        _migrate(connection, found)
    return copy


def copy_sqlite(source: Path, copy: Path, key: Key | None = None) -> None:
    """Copy the committed state of an SQLite file, even while it is written.

    Parameters
    ----------
    source, copy : Path
        The file, and a new one.
    key : Key, optional
        Of an encrypted file; the copy is encrypted with it too.

    Raises
    ------
    BadInput
        If the copy is not sound.
    """
    copy.touch(mode=0o600, exist_ok=False)
    there, here = open_file(source, key), open_file(copy, key, new=True)
    try:
        there.backup(here)
        answer = here.execute("PRAGMA integrity_check").fetchone()[0]
    finally:
        here.close()
        there.close()
    if answer != "ok":
        raise BadInput("copy of the database", answer, "a sound file", where=str(copy))


def _free_name(path: Path, revision: str) -> Path:
    """Return a name for the copy that is not taken: ``records.db.of-0001``, ``...-2``."""
    copy = first = path.with_name(f"{path.name}.of-{revision}")
    number = 1
    while copy.exists():
        number += 1
        copy = first.with_name(f"{first.name}-{number}")
    return copy


def _migrate(connection: Connection, found: str | None) -> None:
    # Loaded only when there is something to do: opening a database should be quick.
    from alembic import command
    from alembic.config import Config

    config = Config()
    folder = Path(__file__).with_name("migrations")
    config.set_main_option("script_location", str(folder).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    if found == "0001" and not inspect(connection).has_table(REVISION_TABLE):
        command.stamp(config, found)  # the first layout did not name itself this way
    command.upgrade(config, REVISION)
