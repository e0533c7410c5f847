"""``decussate import``: the records of an export, added to a database."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import click

from decussate.cli.options import by_option, database_option, export_argument

__all__ = ["import_"]


@click.command("import")
@export_argument
@database_option
@by_option
def import_(file: Path, database: str, by: str | None) -> None:
    """Add the records of the export FILE to a database; all of them or, if one cannot be, none.

    What is there already must be the same. A database that is not there is made.
    """
    from decussate.records import Store
    from decussate.records.importing import import_records
    from decussate.records.transfer import check_file

    check_file(file)  # before a database is made for it
    with closing(Store(database, by=by)) as store:
        done = import_records(store, file)
    click.echo(f"{done.added} records added, {done.already} were there already.")
    if not done.trail_kept:
        click.echo(
            f"The {done.manifest.links} links of the file's own audit trail stay in the file: "
            "keep it. The database's trail names its head."
        )
