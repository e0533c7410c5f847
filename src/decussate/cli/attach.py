"""``decussate attach``: a file put with an examination, and a table read into findings."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import click

from decussate.cli.options import by_option, database_option, open_records
from decussate.errors import BadInput

__all__ = ["attach"]


@click.command()
@click.argument("examination", metavar="EXAMINATION")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--read", is_flag=True, help="Record what follows from a table, as one entry.")
@click.option(
    "--eye", type=click.Choice(["right", "left"]), help="Which eye a perimetry table is of."
)
@database_option
@by_option
def attach(
    examination: str, file: Path, read: bool, eye: str | None, database: str, by: str | None
) -> None:
    """Attach FILE to EXAMINATION, which decussate search names.

    FILE is an audiogram or perimetry table (CSV), a picture (PNG, JPEG) or a document (PDF). It is
    kept in the database and is never changed or deleted.
    """
    from uuid import uuid4

    from decussate.measures.as_findings.tables import (
        audiogram_table_findings,
        perimetry_table_findings,
    )
    from decussate.records import Entry
    from decussate.records.attachments import KINDS_IN_WORDS, LARGEST, kind_of
    from decussate.records.attachments import attach as attach_file
    from decussate.sides import Side

    try:
        with file.open("rb") as stream:
            content = stream.read(LARGEST + 1)
    except OSError as problem:
        hint = f"{problem.strerror}."
        raise BadInput("file", str(file), "a file that can be read", hint=hint) from None
    kind, _ = kind_of(file.name, content)
    findings = None
    if read:  # before anything is kept, so that a table with a fault leaves nothing behind
        text = content.decode("utf-8-sig") if kind in ("audiogram", "perimetry") else ""
        if kind == "audiogram":
            findings = audiogram_table_findings(text)
        elif kind == "perimetry" and eye:
            findings = perimetry_table_findings(text, Side(eye))
        elif kind == "perimetry":
            raise BadInput("eye", "none", "--eye right or --eye left")
        else:
            raise BadInput("file to read", KINDS_IN_WORDS[kind], "a table")
    with closing(open_records(database, by)) as store:
        made = attach_file(store, examination, file.name, content)
        if findings is not None:
            store.append(examination, Entry(id=uuid4(), findings=findings, by=by))
    click.echo(f"{made.name} is attached: {KINDS_IN_WORDS[made.kind]}, {made.size} bytes.")
    if findings is not None:
        click.echo(f"Findings recorded from it: {len(findings)}.")
