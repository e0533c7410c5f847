"""``decussate letter``: a referral letter, a patient's summary, or the tests to request."""

from __future__ import annotations

from pathlib import Path

import click

from decussate.cli.printing import write_file
from decussate.cli.reading import file_argument, read_file
from decussate.errors import BadInput

__all__ = ["letter"]


@click.command()
@file_argument
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path), help="Write a PDF there.")
@click.option("--html", is_flag=True, help="Print HTML, drawings included.")
@click.option("--markdown", is_flag=True, help="Print Markdown (what is printed by default).")
@click.option("--summary", is_flag=True, help="The patient's summary in plain words instead.")
@click.option("--requests", is_flag=True, help="The formal tests to request instead.")
@click.option(
    "--details",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="YAML or JSON with names, salutation and free text.",
)
def letter(
    file: str,
    pdf: Path | None,
    html: bool,
    markdown: bool,
    summary: bool,
    requests: bool,
    details: Path | None,
) -> None:
    """Write a referral letter about an examination."""
    from decussate.documents.letter import referral_letter, request_sheet
    from decussate.documents.letter_details import read_details
    from decussate.documents.patient_summary import patient_summary
    from decussate.documents.typesetting import as_html, as_markdown, as_pdf
    from decussate.localisation import localise, two_lesions
    from decussate.urgency import evaluate

    if sum((pdf is not None, html, markdown)) > 1:
        raise click.UsageError("Choose one of --pdf, --html and --markdown.")
    if summary and requests:
        raise click.UsageError("Choose one of --summary and --requests.")
    given = read_details(_text(details), str(details)) if details else None
    examination = read_file(file)
    located = localise(examination)
    alerts = evaluate(examination, located)
    if summary or requests:
        document = (patient_summary if summary else request_sheet)(
            examination, located, alerts, given
        )
    else:
        second = two_lesions(examination) if located.findings_used else None
        document = referral_letter(examination, located, alerts, given, second=second)
    if pdf is not None:
        write_file(pdf, as_pdf(document, large=summary))
        click.echo(f"Written: {pdf}")
    else:
        click.echo(as_html(document) if html else as_markdown(document), nl=False)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        hint = f"Byte {error.start + 1} is not UTF-8: save the file as UTF-8."
        raise BadInput("file", str(path), "text in UTF-8", hint=hint) from error
