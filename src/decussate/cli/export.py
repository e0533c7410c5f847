"""``decussate export``: everything in one file."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import click

from decussate.cli.options import by_option, database_option, open_records

__all__ = ["export"]


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--plain", is_flag=True, help="Leave FILE unencrypted, although there is a key.")
@click.option(
    "--without-identity",
    is_flag=True,
    help="Leave out who the patients are; a table if FILE ends in .csv, else for decussate cohort.",
)
@database_option
@by_option
def export(file: Path, plain: bool, without_identity: bool, database: str, by: str | None) -> None:
    """Write every patient, examination, entry and the audit trail to FILE, a JSON object a line.

    With a key (--key-file) FILE is encrypted with it, unless --plain is given. Without, it names
    its patients to whoever has it: keep it where records may be kept.
    """
    if without_identity:
        from decussate.records.deidentified import export_without_identity

        with closing(open_records(database, by)) as store:
            click.echo(export_without_identity(store, file).text, nl=False)
        return
    from decussate.records.transfer import export_records

    with closing(open_records(database, by)) as store:
        made = export_records(store, file, plain=plain)
    click.echo(
        f"{made.patients} patients, {made.examinations} examinations, {made.entries} entries and "
        f"{made.links} links of the audit trail are in {file}."
    )
