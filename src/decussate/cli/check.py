"""``decussate check``: every problem of a file, with its position."""

from __future__ import annotations

import click

from decussate.cli.reading import file_argument, read_file_problems

__all__ = ["check"]


@click.command()
@file_argument
def check(file: str) -> None:
    """Read an examination and report every problem; exit code 1 when there is any."""
    examination, problems = read_file_problems(file)
    for problem in problems:
        click.echo(problem)
    count = len(examination.findings) if examination else 0
    click.echo(f"Findings read: {count}; problems: {len(problems)}.")
    if problems:
        raise SystemExit(1)
