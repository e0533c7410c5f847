"""Files of lines, as exports and backups are: plain text, or the same lines under the owner's key.

An encrypted one is an SQLCipher file with one table of numbered lines, so that one cipher, with its
seal on every page, guards the database and everything written from it.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from decussate.errors import BadInput
from decussate.records.encryption import Key, is_encrypted, open_file, present_key

__all__ = ["LONGEST_LINE", "read_lines", "writing_lines"]

LONGEST_LINE = 16_000_000
"""Longest line read, in bytes."""


@contextmanager
def writing_lines(file: Path, key: Key | None) -> Iterator[Callable[[bytes], object]]:
    """Write lines to a new file, which is on disk when this ends.

    Parameters
    ----------
    file : Path
        It must not be there, not even as a link; made readable for its owner only.
    key : Key or None
        The key to encrypt it with; None for plain text.

    Yields
    ------
    callable
        Takes one line with its end.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with open(descriptor, "wb") as stream:
        if key is None:
            yield stream.write
            stream.flush()
        else:
            with _numbering_lines(file, key) as write:
                yield write
        os.fsync(stream.fileno())


@contextmanager
def _numbering_lines(file: Path, key: Key) -> Iterator[Callable[[bytes], object]]:
    import sqlcipher3.dbapi2 as sqlcipher

    try:
        with closing(open_file(file, key, new=True)) as connection:
            connection.execute("PRAGMA journal_mode = OFF")  # nobody sees an unfinished one
            connection.execute("CREATE TABLE line (number INTEGER PRIMARY KEY, held BLOB)")
            connection.execute("BEGIN")
            yield lambda line: connection.execute("INSERT INTO line (held) VALUES (?)", (line,))
            connection.execute("COMMIT")
    except sqlcipher.DatabaseError as problem:  # such as a full disk, as with a plain file
        raise OSError(str(problem)) from problem


def read_lines(file: Path) -> Iterator[tuple[int, bytes]]:
    """Give the lines of a file; an encrypted one is opened with the key that is offered now.

    Parameters
    ----------
    file : Path
        Plain or encrypted.

    Yields
    ------
    int
        Number of the line, from 1.
    bytes
        The line with its end.

    Raises
    ------
    BadInput
        If the file cannot be read, needs a key or another one, was changed, or a line is too long.
    """
    try:
        with file.open("rb") as stream:
            plain = stream.read(1) in (b"{", b"")
            stream.seek(0)
            number = 0
            while plain and (raw := stream.readline(LONGEST_LINE + 1)):
                number += 1
                _require_length(len(raw), file, number)
                yield number, raw
    except OSError as problem:
        hint = str(problem.strerror)
        raise BadInput("file", str(file), "a file that can be read", hint=hint) from None
    if not plain:
        yield from _encrypted_lines(file)


def _encrypted_lines(file: Path) -> Iterator[tuple[int, bytes]]:
    import sqlcipher3.dbapi2 as sqlcipher

    if not is_encrypted(file):
        hint = "Make an export or a backup of it: decussate export, decussate backup."
        raise BadInput("file", "a database", "an export", hint=hint, where=str(file))
    key = present_key()
    if key is None:
        hint = "Give the key by --key-file, DECUSSATE_KEY_FILE or DECUSSATE_PASSPHRASE."
        raise BadInput(
            "file", "encrypted, or no export", "its key, or an export", hint=hint, where=str(file)
        )
    query = "SELECT number, length(held), held FROM line ORDER BY number"
    try:
        with closing(open_file(file, key)) as connection:
            for number, length, held in connection.execute(query):
                _require_length(length, file, number)
                yield number, held
    except sqlcipher.DatabaseError as problem:
        hint = "The file was changed or damaged since it was made, or is no export."
        raise BadInput(
            "file", str(problem), "an export as it was made", hint=hint, where=str(file)
        ) from None


def _require_length(length: int, file: Path, number: int) -> None:
    if length > LONGEST_LINE:
        where = f"{file}, line {number}"
        raise BadInput("length of the line", "more", f"at most {LONGEST_LINE:,} bytes", where=where)
