"""``decussate search``: examinations by the patient and by what was found."""

from __future__ import annotations

from contextlib import closing

import click

from decussate.cli.options import by_option, database_option, open_records
from decussate.cli.printing import visible

__all__ = ["search"]


@click.command()
@click.argument("words", nargs=-1, required=True)
@database_option
@by_option
def search(words: tuple[str, ...], database: str, by: str | None) -> None:
    """Find examinations by WORDS: all words of each part between commas, in one place.

    A place is the patient's label, one finding that stands, the story, one text that was not
    understood, the name of one person who wrote, or of one attached file: bed 4, right lid partial.
    That a list was shown is in the audit trail.
    """
    from decussate.records.search import search as find

    with closing(open_records(database, by)) as store:
        hits = find(store, " ".join(words))
        store.record_act("seen", f"list of {len(hits)} found by the command search")
    for hit in hits:
        at = f"{hit.head.opened_at:%Y-%m-%d %H:%M}"
        click.echo(visible(f"{at}  {hit.head.label}  {hit.head.id}"))
        for finding in hit.findings:
            side = f"{finding.side.value} " if finding.side else ""
            click.echo(visible(f"    {side}{finding.test}: {finding.response}"))
    click.echo(f"{len(hits)} found.")
