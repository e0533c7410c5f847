"""``decussate encryption``: the database under a key that its owner holds."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decussate.cli.options import by_option, database_option
from decussate.errors import BadInput

if TYPE_CHECKING:
    from decussate.records.encryption import Key

__all__ = ["encryption"]

KEEP = (
    "Keep a copy of the key apart from this machine: without it nobody can read the database, "
    "and nobody can help."
)


@click.group()
def encryption() -> None:
    """Encrypt a database file with a key that you hold, and change or take off the key.

    A key is a passphrase or a key file, never a word on the command line. It protects a lost or
    stolen disk and a copied file; it does not protect from whoever uses this machine while the
    program runs.
    """


@encryption.command("new-key")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
def new_key(file: Path) -> None:
    """Make a key FILE of 256 random bits, readable for you only."""
    from decussate.records.encryption import new_key_file

    new_key_file(file)
    click.echo(f"The key is in {file}. {KEEP}")


@encryption.command()
@database_option
@by_option
def on(database: str, by: str | None) -> None:
    """Encrypt a database, or make a new one that is encrypted.

    The key is that of --key-file, DECUSSATE_KEY_FILE or DECUSSATE_PASSPHRASE; without any of them a
    new passphrase is asked for. No program may be using the database.
    """
    from decussate.records.encryption import present_key

    path = _file(database)
    key = present_key() or _ask_new()
    _rewrite(path, None, key, "encrypted", by)
    click.echo(f"{path} is encrypted. {KEEP}")
    older = sorted(path.parent.glob(f"{path.name}.of-*"))
    if older:
        click.echo(f"Not encrypted, made before: {', '.join(map(str, older))}.")
    click.echo("Backups and exports made before are as they were: destroy or lock away each.")


@encryption.command()
@database_option
@by_option
def off(database: str, by: str | None) -> None:
    """Make an encrypted database plain again. No program may be using it."""
    path = _file(database, there=True)
    _rewrite(path, _present(), None, "decrypted", by)
    click.echo(
        f"{path} is no longer encrypted. Backups made before need the key they were made with."
    )


@encryption.command()
@click.option(
    "--new-key-file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Holds the new key; without it a new passphrase is asked for.",
)
@database_option
@by_option
def change(new_key_file: Path | None, database: str, by: str | None) -> None:
    """Give an encrypted database another key. No program may be using it."""
    from decussate.records.encryption import Key

    path = _file(database, there=True)
    present = _present()
    new = Key.of_file(new_key_file) if new_key_file else _ask_new()
    if new == present:
        raise BadInput("new key", "the present one", "another key", hint="Nothing was changed.")
    _rewrite(path, present, new, "rekeyed", by)
    click.echo(f"{path} has the new key. Backups made before still need the old one. {KEEP}")


@encryption.command()
@database_option
def state(database: str) -> None:
    """Say what is encrypted: the database file, and the disk under it."""
    from decussate.records.database import Database, is_address
    from decussate.records.disk import disk_in_words
    from decussate.records.encryption import is_encrypted

    if is_address(database):
        click.echo("PostgreSQL keeps its own files; this program encrypts its backups and exports.")
        with closing(Database(database)) as server:
            click.echo(disk_in_words(server))
    else:
        path = _file(database, there=True)
        answer = "is" if is_encrypted(path) else "is not"
        click.echo(f"{path} {answer} encrypted by this program.")
        click.echo(disk_in_words(path))


def _file(database: str, *, there: bool = False) -> Path:
    from decussate.records.database import is_address

    if is_address(database):
        hint = "PostgreSQL keeps its own files: encrypt the disk of the server."
        raise BadInput("database", database, "an SQLite file", hint=hint)
    path = Path(database)
    if there and not path.exists():
        raise BadInput("database", database, "a file that is there")
    return path


def _present() -> Key:
    from decussate.records.encryption import present_key

    key = present_key()
    if key is None:
        hint = "Give it by --key-file, DECUSSATE_KEY_FILE or DECUSSATE_PASSPHRASE."
        raise BadInput("key", "none", "the present key of the database", hint=hint)
    return key


def _ask_new() -> Key:
    from decussate.records.encryption import new_passphrase

    words = click.prompt("New passphrase", hide_input=True, confirmation_prompt="Once more")
    return new_passphrase(words)


def _rewrite(path: Path, old: Key | None, new: Key | None, action: str, by: str | None) -> None:
    from decussate.records import Store
    from decussate.records.encryption import unlocking
    from decussate.records.rewriting import rewrite

    if path.exists():
        rewrite(path, old, new)
    with unlocking(new), closing(Store(path, by=by)) as store:
        store.record_act(action, path.name)
