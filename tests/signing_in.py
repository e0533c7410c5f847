"""Signing people in for tests of the pages, past the page that asks for the password."""

from datetime import UTC, datetime

from decussate.records.people import DEMONSTRATOR, Person
from decussate.records.roles import Role

PASSWORD = "an invented word of mouth"  # noqa: S105


class Clock:
    """A clock that a test sets: nine in the morning of an invented day, until it is moved."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 1, 9, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


def signed_in(app, person: Person | None = None) -> str:
    """The id of a new browser in which a person, or the invented examiner, is signed in."""
    access = app.state.access
    who = person or access.people.named(DEMONSTRATOR) or an_owner(app)
    return access.visits.begin(who, device="a test", address="127.0.0.1", action="signed in")


def signed_in_cookie(app, address: str, person: Person | None = None) -> dict[str, str]:
    """The same as a cookie for a browser of Playwright."""
    return {"name": "signed-in", "value": signed_in(app, person), "url": address}


def an_owner(app) -> Person:
    """The owner of a database without a demonstration, made when there is none."""
    people = app.state.access.people
    name = "Olga Example, invented owner"
    return people.named(name) or people.add_owner(name, PASSWORD)


def a_person(app, role: Role) -> Person:
    """A person of a role who has chosen a password."""
    people = app.state.access.people
    name = f"Example, {role}"
    if people.named(name) is None:
        people.add(name, role)
        people.set_password(name, PASSWORD)
    return people.get(name)
