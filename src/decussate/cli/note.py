"""``decussate note``: the clinical note of an examination."""

from __future__ import annotations

import click

from decussate.cli.reading import file_argument, read_file

__all__ = ["note"]


@click.command()
@file_argument
@click.option("--markdown", is_flag=True, help="Markdown instead of plain text.")
def note(file: str, markdown: bool) -> None:
    """Write the clinical note of an examination."""
    from decussate.documents.note import write_note
    from decussate.localisation import localise, two_lesions
    from decussate.urgency import evaluate

    examination = read_file(file)
    located = localise(examination)
    alerts = evaluate(examination, located)
    second = two_lesions(examination) if located.findings_used else None
    click.echo(write_note(examination, located, alerts, markdown=markdown, second=second), nl=False)
