"""Options that several subcommands share: the database with its key, and who acts."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from decussate.errors import BadInput

if TYPE_CHECKING:
    from decussate.records import Store

__all__ = ["by_option", "database_option", "export_argument", "open_records"]

F = TypeVar("F", bound=Callable[..., Any])


def _offer_key(context: click.Context, _: click.Parameter, file: Path | None) -> None:
    """Open everything of this command with the key in a file."""
    if file is not None:
        from decussate.records.encryption import Key, unlocking

        context.with_resource(unlocking(Key.of_file(file)))


def _ask_for_key(context: click.Context, _: click.Parameter, value: Any) -> Any:  # noqa: ANN401
    """Ask for the passphrase of an encrypted file when a person is there and no key was given."""
    from decussate.records.encryption import Key, is_encrypted, present_key, unlocking

    there = "://" not in str(value) and is_encrypted(Path(value))
    if there and present_key() is None and _person_is_there():
        words = click.prompt(f"Passphrase of {value}", hide_input=True)
        context.with_resource(unlocking(Key.of_passphrase(words)))
    return value


def _person_is_there() -> bool:
    return sys.stdin.isatty()


def database_option(command: F) -> F:
    """Add ``--database`` and ``--key-file``: where examinations are kept, and what opens it."""
    command = click.option(
        "--database",
        default="decussate.sqlite",
        show_default=True,
        envvar="DECUSSATE_DATABASE",
        show_envvar=True,
        metavar="FILE|ADDRESS",
        callback=_ask_for_key,
        help="Where examinations are kept: a file, or postgresql+psycopg://name@host/database.",
    )(command)
    return click.option(
        "--key-file",
        type=click.Path(dir_okay=False, path_type=Path),
        is_eager=True,
        expose_value=False,
        callback=_offer_key,
        help="Holds the key of an encrypted database; DECUSSATE_KEY_FILE may name it, or "
        "DECUSSATE_PASSPHRASE hold a passphrase.",
    )(command)


export_argument = click.argument(
    "file", type=click.Path(dir_okay=False, path_type=Path), callback=_ask_for_key
)
"""An export or backup that is there."""

by_option = click.option(
    "--by",
    envvar="DECUSSATE_BY",
    show_envvar=True,
    metavar="NAME",
    help="Who acts, for the audit trail; by default the login name.",
)
"""Who acts."""


def open_records(database: str, by: str | None = None) -> Store:
    """Open a database that is there already; a wrong name should not make a new one.

    Parameters
    ----------
    database : str
        A file or an address.
    by : str, optional
        Who acts.

    Returns
    -------
    Store
        To be closed by the caller.

    Raises
    ------
    BadInput
        If there is no such file, or it cannot be opened.
    """
    from decussate.records import Store
    from decussate.records.database import is_address

    if not is_address(database) and not Path(database).exists():
        hint = "Name it with --database; decussate serve makes a new one."
        raise BadInput("database", database, "a file that is there", hint=hint)
    store = Store(database, by=by)
    if store.copied_to is not None:
        click.echo(f"The database was of an older layout; a copy of it is {store.copied_to}.")
    return store
