"""``decussate people``: the accounts of a database, for whoever may open the database itself."""

from __future__ import annotations

from contextlib import closing

import click

from decussate.cli.options import by_option, database_option, open_records

__all__ = ["people"]

ROLES = ("owner", "administrator", "examiner", "reader", "teacher")
"""As in `decussate.records.roles`, which is loaded only when it is needed."""

_role = click.Choice(ROLES)


@click.group()
def people() -> None:
    """Accounts: who may sign in on the pages, and what they may do there."""


@people.command("list")
@database_option
def list_(database: str) -> None:
    """Print every account with its role."""
    from decussate.records.people import People

    with closing(open_records(database)) as store:
        everybody = People(store).all()
    for person in everybody:
        state = "closed" if person.closed_at else "given password" if person.must_change else ""
        state = state or ("" if person.has_password else "no password")
        click.echo(f"{person.name}  {person.role}  {state}".rstrip())


@people.command()
@click.argument("name")
@click.option("--role", type=_role, required=True, help="What the person may do.")
@database_option
@by_option
def add(name: str, role: str, database: str, by: str | None) -> None:
    """Make an account and print the password for its first use.

    An owner can also be added to a database that is not there yet, which is then made.
    """
    from decussate.records import Store
    from decussate.records.people import People
    from decussate.records.roles import Role

    opened = Store(database, by=by) if role == Role.OWNER else open_records(database, by)
    with closing(opened) as store:
        person, password = People(store).add(name, Role(role))
    _print_password(person.name, password)


@people.command()
@click.argument("name")
@click.argument("role", type=_role)
@database_option
@by_option
def role(name: str, role: str, database: str, by: str | None) -> None:
    """Change what a person may do."""
    from decussate.records.people import People
    from decussate.records.roles import Role

    with closing(open_records(database, by)) as store:
        People(store).set_role(name, Role(role))
    click.echo(f"{name} is {role} now.")


@people.command()
@click.argument("name")
@database_option
@by_option
def password(name: str, database: str, by: str | None) -> None:
    """Give a person a new password for one use, and sign the person out everywhere."""
    from decussate.records.people import People

    with closing(open_records(database, by)) as store:
        given = People(store).reset_password(name)
    _print_password(name, given)


@people.command()
@click.argument("name")
@database_option
@by_option
def close(name: str, database: str, by: str | None) -> None:
    """Close an account: signed out everywhere, its name kept for the audit trail."""
    from decussate.records.people import People

    with closing(open_records(database, by)) as store:
        People(store).close(name)
    click.echo(f"The account of {name} is closed.")


@people.command("second-factor")
@click.argument("name")
@database_option
@by_option
def second_factor(name: str, database: str, by: str | None) -> None:
    """Take the second factor of a person off who has lost phone and recovery codes."""
    from decussate.records.people import People
    from decussate.records.second_factors import SecondFactors

    with closing(open_records(database, by)) as store:
        SecondFactors(store).remove(People(store).get(name))
    click.echo(f"{name} signs in by the password alone until a new one is set up.")


def _print_password(name: str, password: str) -> None:
    click.echo(f"Password of {name}, for the first use within a week: {password}")
    click.echo("It is shown this once. A password of one’s own is chosen at the first sign-in.")
