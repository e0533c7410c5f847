"""``decussate compare``: what changed between examinations of one patient."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from decussate.cli.printing import print_json, write_file
from decussate.cli.reading import read_file

if TYPE_CHECKING:
    from decussate.comparison import Comparison, Course, Occasion

__all__ = ["compare"]


@click.command()
@click.argument("files", metavar="FILE FILE...", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON.")
@click.option("--unchanged", is_flag=True, help="List what did not change as well.")
@click.option(
    "--drawing",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the measurements over time as SVG to this file.",
)
def compare(files: tuple[str, ...], as_json: bool, unchanged: bool, drawing: Path | None) -> None:
    """Say what changed between two or more examinations of one patient, and where the lesion is.

    A change of a measurement is held against published repeatability; where none was found, that is
    said. Give the earliest file first if not every examination has a time.
    """
    from decussate.comparison import follow
    from decussate.drawings.over_time import draw_over_time
    from decussate.localisation import localise

    examinations = [read_file(file) for file in files]
    course = follow(examinations, places=[localise(one) for one in examinations])
    if drawing:
        write_file(drawing, draw_over_time(course).encode())
    if as_json:
        print_json(_as_json(course))
        return
    if any(one.invented for one in examinations):
        click.echo("Invented person.")
    for warning in course.warnings:
        click.echo(f"Note: {warning}")
    for step in course.steps:
        _print(step, unchanged)
    if len(course.steps) > 1:
        click.echo(f"From first to last\n{course.whole.sentence}\n")
    for occasion in course.occasions:
        if unread := len(occasion.examination.unread):
            click.echo(f"{occasion.name}: {unread} passages not understood (see decussate check).")
    click.echo("A licensed clinician decides.")


def _print(step: Comparison, unchanged: bool) -> None:
    from decussate.localisation.localise import in_100

    click.echo(f"{_heading(step.earlier)} -> {_heading(step.later)}")
    click.echo(step.sentence)
    for change in step.changes:
        if change.changed or unchanged:
            click.echo(f"  - {change.text}")
    if step.places:
        for words, shifts in (("gained", step.places.gained), ("lost", step.places.lost)):
            for shift in shifts:
                then, now = in_100(shift.then), in_100(shift.now)
                click.echo(f"  - {words}: {shift.name}, {now}, was {then}")
    click.echo()


def _heading(occasion: Occasion) -> str:
    when = f", {occasion.begun:%Y-%m-%d %H:%M}" if occasion.begun else ""
    return f"{occasion.name}{when}"


def _as_json(course: Course) -> dict[str, object]:
    return {
        "occasions": [
            {
                "id": occasion.examination.id,
                "label": occasion.examination.label,
                "begun": occasion.begun.isoformat() if occasion.begun else None,
                "ended": occasion.ended.isoformat() if occasion.ended else None,
                "examiners": occasion.examiners,
            }
            for occasion in course.occasions
        ],
        "warnings": course.warnings,
        "steps": [_step_as_json(step) for step in course.steps],
        "whole": _step_as_json(course.whole),
        "tracks": [
            {
                "test": track.test,
                "unit": track.unit,
                "lines": [
                    {
                        "side": line.side,
                        "values": [point.number for point in line.points],
                        "shown": [point.shown for point in line.points],
                        "band": line.band,
                    }
                    for line in track.lines
                ],
            }
            for track in course.tracks
        ],
    }


def _step_as_json(step: Comparison) -> dict[str, object]:
    places = step.places
    return {
        "earlier": step.earlier.examination.id,
        "later": step.later.examination.id,
        "sentence": step.sentence,
        "warnings": step.warnings,
        "changes": [
            {
                "test": change.test,
                "side": change.side,
                "kind": change.kind.name.lower(),
                "changed": change.changed,
                "text": change.text,
                "measured": change.measured,
                "remarks": change.remarks,
            }
            for change in step.changes
        ],
        "places": {
            "text": places.text,
            "gained": places.gained,
            "lost": places.lost,
            "shifts": places.shifts,
        }
        if places
        else None,
    }
