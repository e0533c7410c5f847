"""``decussate backup``: everything in one file that is known to be good."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import click

from decussate.cli.options import by_option, database_option, open_records

__all__ = ["backup"]


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@database_option
@by_option
def backup(file: Path, database: str, by: str | None) -> None:
    """Back up the database to FILE, and prove it by restoring it once, out of the way.

    The database may be in use meanwhile. With a key (--key-file) FILE is encrypted with it;
    without, keep it where records may be kept.
    """
    from decussate.records.backup import back_up

    with closing(open_records(database, by)) as store:
        made = back_up(store, file)
    click.echo(
        f"{made.patients} patients, {made.examinations} examinations and {made.entries} entries "
        f"are in {file}, restored once and found the same. Head of the trail: {made.head}"
    )
