"""``decussate localise``: where the lesion is likely to be, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from decussate.cli.printing import print_json
from decussate.cli.reading import file_argument, read_file

if TYPE_CHECKING:
    from decussate.examination.document import Examination
    from decussate.localisation import Candidate, Localisation
    from decussate.localisation.sensitivity import ProbabilityBand
    from decussate.urgency import Alert

__all__ = ["localise"]


@click.command()
@file_argument
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON.")
@click.option(
    "--top", type=click.IntRange(min=1), default=5, show_default=True, help="How many places."
)
@click.option(
    "--band",
    is_flag=True,
    help="Show how far each probability moves with the accuracies and incidences.",
)
def localise(file: str, as_json: bool, top: int, band: bool) -> None:
    """Say where the lesion is likely to be, with reasons, urgency and the next test."""
    from decussate.documents.note import proposed_in_words, proposed_tests
    from decussate.localisation import localise as locate
    from decussate.urgency import evaluate
    from decussate.urgency.reservations import reservations

    examination = read_file(file)
    located = locate(examination)
    alerts = evaluate(examination, located)
    bands = _bands(examination, top) if band else ()
    if as_json:
        said = _as_json(examination.id, located, alerts, top)
        said |= {"invented": examination.invented, "reservations": reservations(examination)}
        print_json({**said, "bands": bands} if band else said)
        return
    for alert in alerts:
        click.echo(_alert_in_line(alert))
    if alerts:
        click.echo()
    if examination.invented:
        click.echo("Invented person.")
    for sentence in reservations(examination):
        click.echo(f"Note: {sentence}")
    click.echo(located.text)
    for rank, candidate in enumerate(located.candidates[:top], 1):
        click.echo(_in_lines(rank, candidate))
        if band:
            click.echo(_band_in_line(bands[rank - 1]))
    if located.unexplained:
        click.echo(f"Not explained: {'; '.join(reason.text for reason in located.unexplained)}")
    if located.next_tests:
        wanted = proposed_tests(located.next_tests, 3)
        proposed = "; ".join(proposed_in_words(test) for test in wanted)
        click.echo(f"Test next: {proposed}")
    if examination.unread:
        click.echo(f"Passages not understood: {len(examination.unread)} (see decussate check).")
    click.echo("A licensed clinician decides.")


def _bands(examination: Examination, top: int) -> tuple[ProbabilityBand, ...]:
    from decussate.localisation.sensitivity import sensitivity

    return sensitivity(examination, most=top)


def _band_in_line(band: ProbabilityBand) -> str:
    return (
        f"              moves between {100 * band.low:.0f} and {100 * band.high:.0f} % with the"
        f" accuracies and incidences; first in {100 * band.first:.0f} of 100 tries"
    )


def _alert_in_line(alert: Alert) -> str:
    side = f", {' and '.join(alert.sides)}" if alert.sides else ""
    source = alert.source + (f", {alert.mark}" if alert.mark else "")
    return (
        f"{alert.level.value.upper()} ({alert.time_frame}): {alert.title}{side}. {alert.advice}"
        f" [{alert.rule}; {source}]"
    )


def _in_lines(rank: int, candidate: Candidate) -> str:
    lines = [f"{rank:>2}. {100 * candidate.probability:5.1f} %  {candidate.name}"]
    for word, reasons in (("for", candidate.supports), ("against", candidate.against)):
        if reasons:
            said = "; ".join(f"{reason.text} ({reason.log10:+.1f})" for reason in reasons[:4])
            lines.append(f"              {word}: {said}")
    return "\n".join(lines)


def _as_json(
    name: str, located: Localisation, alerts: tuple[Alert, ...], top: int
) -> dict[str, object]:
    return {
        "id": name,
        "text": located.text,
        "candidates": located.candidates[:top],
        "side_probability": dict(located.side_probability),
        "unexplained": located.unexplained,
        "next_tests": located.next_tests[:top],
        "findings_used": located.findings_used,
        "entropy_bits": located.entropy_bits,
        "alerts": alerts,
    }
