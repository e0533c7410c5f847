"""``decussate cohort``: many examinations at once, into files."""

from __future__ import annotations

import time
from pathlib import Path

import click

__all__ = ["cohort"]


@click.command()
@click.argument("source", type=click.Path(path_type=Path))
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.option(
    "--workers", type=click.IntRange(1, 64), default=1, show_default=True, help="Processes."
)
@click.option(
    "--top", type=click.IntRange(min=1), default=5, show_default=True, help="How many places."
)
@click.option(
    "--chunk",
    type=click.IntRange(1, 100_000),
    default=500,
    show_default=True,
    help="Examinations in a result file.",
)
def cohort(source: Path, folder: Path, workers: int, top: int, chunk: int) -> None:
    """Localise every examination of SOURCE, with results in FOLDER.

    SOURCE is a folder of examinations (.json, .txt) or a file with one JSON document a line.
    FOLDER gets files of JSON lines. Stopped halfway, the same command goes on where it was.
    """
    from decussate.cohort import run

    start = time.perf_counter()
    done = problems = new = 0
    for step in run(source, folder, chunk=chunk, top=top, workers=workers):
        done += step.done
        problems += step.problems
        new += 0 if step.resumed else step.done
        already = " (already there)" if step.resumed else ""
        click.echo(f"{done:>9}  {step.file.name}{already}")
    spent = time.perf_counter() - start
    click.echo(f"{done} examinations; {new} of them now, in {spent:.1f} s.")
    if problems:
        click.echo(f"{problems} could not be read: see the lines with a problem in {folder}.")
    click.echo("A licensed clinician decides.")
