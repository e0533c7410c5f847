"""Encrypting an SQLite database, giving it another key, and making it plain again.

Each is the same act: everything is copied into a new file beside the old one, the copy is read back
and compared, and only then takes the name of the old file. Stopped at any moment, there is one
whole database under that name. The old file is overwritten afterwards; on a solid-state disk, or
where snapshots are kept, its blocks may live on all the same.
"""

from __future__ import annotations

import hashlib
import os
import stat
from pathlib import Path
from typing import Any

from decussate.errors import BadInput
from decussate.records.encryption import Key, is_encrypted, set_key

__all__ = ["rewrite"]

MEGABYTE = 1 << 20


def rewrite(path: Path, old: Key | None, new: Key | None) -> None:
    """Write a database anew under another key, and put it in the place of the old one.

    Parameters
    ----------
    path : Path
        The SQLite file; no program may have it open. Of a link it is the file that is meant. Owner
        and group stay as they are, and what they may do; others may do nothing with it.
    old, new : Key or None
        Its present key, and the one it shall have; None for a plain file.

    Raises
    ------
    BadInput
        If the key is not that of the file, the database is in use, the copy does not equal it, the
        file has a second name, or is another user's. Nothing was changed then.
    """
    import sqlcipher3.dbapi2 as sqlcipher

    path = path.resolve()
    if is_encrypted(path) != (old is not None):
        words = ("not encrypted", "encrypted")
        found, expected = words if old is not None else words[::-1]
        raise BadInput("database", found, f"one that is {expected}", where=str(path))
    part = path.with_name(f"{path.name}.rewritten")
    spoiling = os.open(path, os.O_RDWR)
    try:
        _begin(part, os.fstat(spoiling))
    except BaseException:
        os.close(spoiling)
        raise
    # SQLCipher reads plain files too, and one library must hold the lock on both.
    source = sqlcipher.connect(path, isolation_level=None, timeout=2)
    try:
        if old is not None:
            set_key(source, path, old)
        _hold_alone(source, path)
        _copy(source, part, new)
        _sync(part)
        part.rename(path)
        _sync(path.parent)
        _overwrite(spoiling)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    finally:
        # In this order: closing a file ends every lock that this program holds on it.
        source.close()
        os.close(spoiling)


def _begin(part: Path, old: os.stat_result) -> None:
    """Begin the new file with the owner and the permissions of the old one."""
    if old.st_nlink > 1:
        hint = "The old file is overwritten, under every name it has. Copy it, or remove the link."
        raise BadInput("database", "a file with a second name (a hard link)", "one name", hint=hint)
    part.unlink(missing_ok=True)  # of an earlier attempt that was stopped
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        new = os.fstat(descriptor)
        if os.name != "posix":
            return
        if (new.st_uid, new.st_gid) != (old.st_uid, old.st_gid):
            os.fchown(descriptor, old.st_uid, old.st_gid)
        os.fchmod(descriptor, stat.S_IMODE(old.st_mode) & ~0o007)
    except PermissionError:
        part.unlink()
        hint = "Do it as the user whom the file belongs to, under whom the program runs."
        raise BadInput("database", "another user’s file", "one of your own", hint=hint) from None
    finally:
        os.close(descriptor)


def _hold_alone(source: Any, path: Path) -> None:  # noqa: ANN401
    """Lock the file for good and fold its write-ahead log into it."""
    source.execute("PRAGMA locking_mode = EXCLUSIVE")
    try:
        mode = source.execute("PRAGMA journal_mode = DELETE").fetchone()[0]
        source.execute("BEGIN EXCLUSIVE")
        source.execute("COMMIT")  # the lock stays
    except source.OperationalError as problem:
        mode = str(problem)
    if mode != "delete":
        hint = "Stop decussate serve and every other command, then try again."
        raise BadInput("database", "in use", "no program at it", hint=hint, where=str(path))


def _copy(source: Any, part: Path, new: Key | None) -> None:  # noqa: ANN401
    """Copy everything into a new file, read it back, and compare."""
    salt = os.urandom(16)
    key = new.written(salt) if new is not None else "''"
    source.execute(f"ATTACH DATABASE ? AS rewritten KEY {key}", (str(part),))
    source.execute("SELECT sqlcipher_export('rewritten')").fetchall()
    source.execute("DETACH DATABASE rewritten")
    source.execute(f"ATTACH DATABASE ? AS rewritten KEY {key}", (str(part),))  # read from the disk
    check = source.execute("PRAGMA rewritten.integrity_check").fetchone()[0]
    same = _digest(source, "main") == _digest(source, "rewritten")
    if check != "ok" or not same:
        found = check if check != "ok" else "other rows than the database"
        raise BadInput("copy of the database", found, "the same as the database", where=str(part))
    source.execute("DETACH DATABASE rewritten")


def _digest(connection: Any, schema: str) -> str:  # noqa: ANN401
    """Return the SHA-256 of every table and row of a database."""
    digest = hashlib.sha256()
    tables = connection.execute(
        f"SELECT type, name, sql FROM {schema}.sqlite_master ORDER BY type, name"  # noqa: S608
    ).fetchall()
    for kind, name, written in tables:
        digest.update(repr((kind, name, written)).encode())
        if kind == "table":
            for row in connection.execute(f'SELECT rowid, * FROM {schema}."{name}" ORDER BY rowid'):  # noqa: S608
                digest.update(repr(row).encode())
    return digest.hexdigest()


def _overwrite(descriptor: int) -> None:
    """Fill a file that has lost its name: a program that still waits for it must not write there.

    Its first page is no longer that of a database, so such a program is refused, not deceived.
    """
    length = os.fstat(descriptor).st_size
    for start in range(0, length, MEGABYTE):
        os.pwrite(descriptor, bytes(min(MEGABYTE, length - start)), start)
    os.fsync(descriptor)


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
