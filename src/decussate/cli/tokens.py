"""``decussate tokens``: read tokens for other programs, by whoever may open the database."""

from __future__ import annotations

from contextlib import closing

import click

from decussate.cli.options import by_option, database_option, open_records
from decussate.errors import BadInput

__all__ = ["tokens"]

_for = click.option("--for", "purpose", required=True, metavar="WHAT", help="What it is for.")


@click.group()
def tokens() -> None:
    """Read tokens: by one another program reads through /api as PERSON, and changes nothing."""


@tokens.command("list")
@click.argument("person", required=False)
@database_option
def list_(person: str | None, database: str) -> None:
    """Print the tokens that count, of PERSON or of everybody; never the tokens themselves."""
    from decussate.records.people import People
    from decussate.records.read_tokens import ReadTokens

    with closing(open_records(database)) as store:
        people = People(store)
        kept = ReadTokens(store)
        for one in [people.get(person)] if person else people.all():
            for token in kept.of(one):
                click.echo(f"{one.name}  {token.name}  until {token.until:%Y-%m-%d}")


@tokens.command()
@click.argument("person")
@_for
@database_option
@by_option
def make(person: str, purpose: str, database: str, by: str | None) -> None:
    """Make a token with which a program reads what PERSON may read, and print it once."""
    from decussate.records.people import People
    from decussate.records.read_tokens import GOOD_FOR, ReadTokens

    with closing(open_records(database, by)) as store:
        found = People(store).get(person)
        token = ReadTokens(store).make(found, purpose)
    click.echo(token)
    click.echo(
        f"It reads as {found.name} ({found.role}) for {GOOD_FOR.days} days and is shown this once. "
        "Whoever has it can read as much.",
        err=True,
    )


@tokens.command()
@click.argument("person")
@_for
@database_option
@by_option
def end(person: str, purpose: str, database: str, by: str | None) -> None:
    """End a token of PERSON at once."""
    from decussate.records.people import People
    from decussate.records.read_tokens import ReadTokens

    with closing(open_records(database, by)) as store:
        found = People(store).get(person)
        kept = ReadTokens(store)
        wanted = " ".join(purpose.split())
        number = next((one.number for one in kept.of(found) if one.name == wanted), None)
        if number is None:
            hint = f"See: decussate tokens list {found.name!r}"
            expected = f"a token that {found.name} has"
            raise BadInput("token", purpose, expected, hint=hint)
        kept.end(found, number)
    click.echo(f"The token “{wanted}” of {found.name} has ended.")
