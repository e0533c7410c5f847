"""``decussate audit``: who did what and when, and whether anything was changed since."""

from __future__ import annotations

import sys
from contextlib import closing

import click

from decussate.cli.options import database_option, open_records
from decussate.cli.printing import visible

__all__ = ["audit"]


@click.command()
@database_option
@click.option("--verify", is_flag=True, help="Verify the chain and every record against it.")
@click.option(
    "--passes", metavar="HEAD", help="A head noted earlier, through which the chain must pass."
)
@click.option(
    "--last", type=click.IntRange(min=1), default=50, show_default=True, help="How many to print."
)
def audit(database: str, verify: bool, passes: str | None, last: int) -> None:
    """Print the audit trail, or verify it (exit code 1 when it does not hold).

    Note the head it prints somewhere else from time to time: only that shows whether the newest
    part of the trail was cut off, or all of it forged.
    """
    from collections import deque

    from decussate.records.chain import links

    with closing(open_records(database)) as store:
        if not (verify or passes):
            with store.database.reading() as connection:
                for link, _ in deque(links(connection), maxlen=last):
                    line = (
                        f"{link.sequence:>7}  {link.at[:19]}  {link.by}  "
                        f"{link.action} {link.kind} {link.subject}"
                    )
                    click.echo(visible(line))
            return
        verdict = store.verify(passes=passes)
    for problem in verdict.problems:
        click.echo(visible(problem))
    answer = f"does not hold (problems: {len(verdict.problems)})" if verdict.problems else "holds"
    click.echo(f"The audit trail {answer}. {verdict.links} links; head {verdict.head}")
    if verdict.problems:
        sys.exit(1)
