"""Options that several subcommands share: the database, and who acts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from decussate.errors import BadInput

if TYPE_CHECKING:
    from decussate.records import Store

__all__ = ["by_option", "database_option", "open_records"]

database_option = click.option(
    "--database",
    default="decussate.sqlite",
    show_default=True,
    envvar="DECUSSATE_DATABASE",
    show_envvar=True,
    metavar="FILE|ADDRESS",
    help="Where examinations are kept: a file, or postgresql+psycopg://name@host/database.",
)
"""Where examinations are kept."""

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
