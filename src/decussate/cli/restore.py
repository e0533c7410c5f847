"""``decussate restore``: a backup into a new or empty database."""

from __future__ import annotations

from pathlib import Path

import click

from decussate.cli.options import by_option, database_option, export_argument

__all__ = ["restore"]


@click.command()
@export_argument
@database_option
@by_option
def restore(file: Path, database: str, by: str | None) -> None:
    """Restore the backup FILE into a new or empty database, and verify it there."""
    from decussate.records.backup import restore as restore_backup

    made = restore_backup(file, database, by=by).manifest
    click.echo(
        f"{made.patients} patients, {made.examinations} examinations and {made.entries} entries "
        f"restored as they were on {made.made_at[:10]}; the audit trail holds."
    )
