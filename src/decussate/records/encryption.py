"""Encryption at rest: the owner's key, where it is taken from, and files opened with it.

The cipher is SQLCipher: every page of the file, of its write-ahead log and of its journal is
encrypted with AES-256 and carries an HMAC-SHA512. A passphrase is stretched as SQLCipher does it,
so that a file made here opens with any SQLCipher 4 and that passphrase; a key file holds 256 random
bits and needs no stretching. The key is never kept beside what it opens.

References
----------
SQLCipher documentation, "SQLCipher Design" and "SQLCipher API" (PBKDF2-HMAC-SHA512, 256,000
rounds; the salt is the first 16 bytes of the file).
OWASP Password Storage Cheat Sheet (at least 210,000 rounds of PBKDF2-HMAC-SHA512).
NIST SP 800-63B-4, section 3.1.1.2: at least 15 characters where a password stands alone.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import sqlite3
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from decussate.errors import BadInput

__all__ = [
    "KEY_FILE",
    "LEAST_PASSPHRASE",
    "PASSPHRASE",
    "Key",
    "is_encrypted",
    "new_key_file",
    "new_passphrase",
    "open_file",
    "present_key",
    "set_key",
    "unlocking",
]

KEY_FILE, PASSPHRASE = "DECUSSATE_KEY_FILE", "DECUSSATE_PASSPHRASE"
"""Environment variables that may name the key file or hold the passphrase."""

LEAST_PASSPHRASE = 15
"""Fewest characters of a new passphrase."""

SALT = 16
ROUNDS = 256_000
PLAIN_HEADER = b"SQLite format 3\0"

_offered: ContextVar[tuple[Key | None] | None] = ContextVar("decussate_key", default=None)


@dataclass(frozen=True, slots=True)
class Key:
    """What opens an encrypted file. It does not show itself when printed.

    Parameters
    ----------
    secret : bytes
        The passphrase in UTF-8, or 32 random bytes.
    stretched : bool
        Whether it is a passphrase, to be stretched with the salt of each file.
    """

    secret: bytes = field(repr=False)
    stretched: bool

    @classmethod
    def of_passphrase(cls, passphrase: str) -> Key:
        """Return the key of a passphrase.

        Parameters
        ----------
        passphrase : str
            As typed; the same letters typed on another system give the same key.

        Returns
        -------
        Key

        Raises
        ------
        BadInput
            If it is empty.
        """
        if not passphrase:
            raise BadInput("passphrase", "nothing", "the passphrase of the database")
        return cls(unicodedata.normalize("NFC", passphrase).encode(), stretched=True)

    @classmethod
    def of_file(cls, file: Path) -> Key:
        """Return the key in a key file.

        Parameters
        ----------
        file : Path
            Holds 64 hexadecimal digits; readable for its owner only.

        Returns
        -------
        Key

        Raises
        ------
        BadInput
            If it cannot be read, others may read it, or it holds something else.
        """
        try:
            with file.open("rb") as stream:
                mode = os.fstat(stream.fileno()).st_mode
                held = stream.read(100).strip()
        except OSError as problem:
            hint = f"{problem.strerror}."
            raise BadInput("key file", str(file), "a file that can be read", hint=hint) from None
        if os.name == "posix" and mode & 0o077:
            hint = f"Keep it from others with: chmod 600 {file}"
            raise BadInput(
                "key file", f"mode {mode & 0o777:o}", "one that only its owner may read", hint=hint
            )
        try:
            secret = bytes.fromhex(held.decode("ascii"))
        except ValueError:
            secret = b""
        if len(secret) != 32:
            hint = "Make one with: decussate encryption new-key FILE"
            raise BadInput("key file", str(file), "64 hexadecimal digits in it", hint=hint)
        return cls(secret, stretched=False)

    def written(self, salt: bytes) -> str:
        """Return the key of one file as SQLCipher takes it.

        Parameters
        ----------
        salt : bytes
            The first 16 bytes of the file.

        Returns
        -------
        str
            An SQL literal.
        """
        raw = _stretch(self.secret, salt) if self.stretched else self.secret
        return f"\"x'{raw.hex()}{salt.hex()}'\""


@lru_cache(maxsize=8)  # every connection asks, and the answer takes a tenth of a second
def _stretch(secret: bytes, salt: bytes) -> bytes:
    return hashlib.pbkdf2_hmac("sha512", secret, salt, ROUNDS, 32)


def new_key_file(file: Path) -> Key:
    """Make a key file with 256 random bits.

    Parameters
    ----------
    file : Path
        A new file; made readable for its owner only.

    Returns
    -------
    Key

    Raises
    ------
    BadInput
        If the file is there already or cannot be made.
    """
    try:
        descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except OSError as problem:
        raise BadInput(
            "key file", str(file), "a new file that can be made", hint=f"{problem.strerror}."
        ) from None
    with open(descriptor, "w", encoding="ascii") as stream:
        stream.write(secrets.token_hex(32) + "\n")
        stream.flush()
        os.fsync(stream.fileno())
    return Key.of_file(file)


def new_passphrase(passphrase: str) -> Key:
    """Return the key of a passphrase that is chosen anew.

    Parameters
    ----------
    passphrase : str
        As typed.

    Returns
    -------
    Key

    Raises
    ------
    BadInput
        If it is too short to keep a stolen file shut.
    """
    if len(passphrase) < LEAST_PASSPHRASE:
        raise BadInput(
            "passphrase",
            f"{len(passphrase)} characters",
            f"at least {LEAST_PASSPHRASE}",
            hint="Four or five words picked at random are easily remembered.",
        )
    return Key.of_passphrase(passphrase)


@contextmanager
def unlocking(key: Key | None) -> Iterator[None]:
    """Offer a key to every store, backup and export opened in the present thread.

    Parameters
    ----------
    key : Key or None
        None opens plain files alone, whatever the environment offers.
    """
    token = _offered.set((key,))
    try:
        yield
    finally:
        _offered.reset(token)


def present_key() -> Key | None:
    """Return the key offered by `unlocking`, or else by the environment.

    Returns
    -------
    Key or None

    Raises
    ------
    BadInput
        If the environment names a key file that cannot be used, or a passphrase beside it.
    """
    if (offered := _offered.get()) is not None:
        return offered[0]
    file, passphrase = os.environ.get(KEY_FILE), os.environ.get(PASSPHRASE)
    if file and passphrase:
        raise BadInput("key", f"{KEY_FILE} and {PASSPHRASE}", "one of them")
    if file:
        return Key.of_file(Path(file))
    return Key.of_passphrase(passphrase) if passphrase else None


def is_encrypted(file: Path) -> bool:
    """Return whether a file does not begin as plain SQLite does.

    Parameters
    ----------
    file : Path

    Returns
    -------
    bool
        False for a file that is empty or not there.

    Raises
    ------
    BadInput
        If it cannot be read.
    """
    head = _head(file)
    return bool(head) and head != PLAIN_HEADER


def _head(file: Path) -> bytes:
    try:
        with file.open("rb") as stream:
            return stream.read(SALT)
    except FileNotFoundError:
        return b""
    except OSError as problem:
        hint = f"{problem.strerror}."
        raise BadInput("file", str(file), "a file that can be read", hint=hint) from None


def set_key(connection: Any, file: Path, key: Key) -> None:  # noqa: ANN401
    """Give a new SQLCipher connection its key, and make sure that it fits.

    Parameters
    ----------
    connection : DB-API connection
        Of the module ``sqlcipher3``, with nothing done on it yet.
    file : Path
        What it is connected to.
    key : Key
        Its key; a new or empty file gets a salt of its own.

    Raises
    ------
    BadInput
        If the key is not that of the file.
    """
    import sqlcipher3.dbapi2 as sqlcipher

    connection.execute("PRAGMA cipher_log_level = NONE")  # it would write to standard error
    salt = _head(file) or secrets.token_bytes(SALT)
    connection.execute(f"PRAGMA key = {key.written(salt.ljust(SALT, b'?'))}")
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlcipher.DatabaseError as problem:
        if problem.sqlite_errorname != "SQLITE_NOTADB":
            raise
        raise BadInput(
            "key",
            "one that does not open it",
            "the key with which the file was encrypted",
            hint="Nothing was changed. If the key is right, the beginning of the file is damaged.",
            where=str(file),
        ) from None


def open_file(file: Path, key: Key | None, *, new: bool = False) -> Any:  # noqa: ANN401
    """Open an SQLite file past the store, by the library it needs.

    Parameters
    ----------
    file : Path
        Plain or encrypted.
    key : Key or None
        None for a plain file.
    new : bool
        Open for writing; otherwise the file is only read.

    Returns
    -------
    DB-API connection
        In autocommit mode.
    """
    address = f"{file.absolute().as_uri()}?mode={'rwc' if new else 'ro'}"
    if key is None:
        return sqlite3.connect(address, uri=True, isolation_level=None)
    import sqlcipher3.dbapi2 as sqlcipher

    connection = sqlcipher.connect(address, uri=True, isolation_level=None)
    try:
        set_key(connection, file, key)
    except BaseException:
        connection.close()
        raise
    return connection
