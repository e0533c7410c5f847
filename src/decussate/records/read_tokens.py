"""Read tokens: by which a program reads for a person through the read interface, and only reads.

A token has 256 random bits and is shown once, when it is made. Only its SHA-256 is kept, so that a
copy of the database lets nobody read. It has a name, ends a year after it was made, when the person
ends it, or when the account is closed, and can never do more than the person's role may.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from sqlalchemy import Connection, Row, insert, select

from decussate.errors import BadInput
from decussate.records.chain import add_link, present_actor
from decussate.records.people import Person, now_utc, person_of_row
from decussate.records.signed_in import SignedIn, Visit
from decussate.records.store import Store
from decussate.records.tables import persons, read_tokens

__all__ = ["GOOD_FOR", "MOST", "ReadToken", "ReadTokens"]

GOOD_FOR = timedelta(days=365)
"""After this a token no longer counts (judgement)."""
MOST = 20
"""Tokens of one person."""
LONGEST_NAME = 60
_MARK = "decussate-read-"
"""Begins every token, so that one left lying in a file can be found and recognised."""


@dataclass(frozen=True, slots=True)
class ReadToken:
    """A token as the person sees it on a list; never the token itself.

    Parameters
    ----------
    number : str
        What it is called on the list.
    name : str
        What it is for, in the person's words.
    made_at, until : datetime
        From when and until when it counts.
    """

    number: str
    name: str
    made_at: datetime
    until: datetime


class ReadTokens:
    """The read tokens of a store.

    Parameters
    ----------
    store : Store
        Where they are kept.
    clock : callable, optional
        Gives the present time in UTC.
    """

    def __init__(self, store: Store, clock: Callable[[], datetime] = now_utc) -> None:
        self._store = store
        self._clock = clock

    def make(self, person: Person, name: str) -> str:
        """Make a token for a person.

        Parameters
        ----------
        person : Person
            Whose it shall be.
        name : str
            What it is for.

        Returns
        -------
        str
            The token, to be handed to the program; it cannot be shown again.

        Raises
        ------
        BadInput
            If the name is empty, too long or in use, there are too many, or the person has no
            open account with a password of their own.
        """
        name = " ".join(name.split())
        if not 0 < len(name) <= LONGEST_NAME or not name.isprintable():
            raise BadInput("name of the token", name, f"1 to {LONGEST_NAME} letters")
        secret = _MARK + secrets.token_urlsafe(32)
        now = self._clock()
        row = {
            "mark": _digest(secret),
            "number": str(uuid4()),
            "person": person.id,
            "name": name,
            "made_at": now.isoformat(),
            "until": (now + GOOD_FOR).isoformat(),
        }
        by = present_actor(self._store.by)

        def job(connection: Connection) -> None:
            _require_able(connection, person)
            kept = [one.name for one in self._of(connection, person)]
            if len(kept) >= MOST:
                raise BadInput("read tokens", len(kept), f"at most {MOST}", hint="End one first.")
            if name in kept:
                expected = "a name that no other token of the person has"
                raise BadInput("name of the token", name, expected)
            connection.execute(insert(read_tokens), row)
            add_link(connection, "made", "read token", _about(row, person), by=by)

        self._store.write(job)
        return secret

    def of(self, person: Person) -> tuple[ReadToken, ...]:
        """Return the tokens of a person that still count, by name."""
        with self._store.database.reading() as connection:
            return self._of(connection, person)

    def _of(self, connection: Connection, person: Person) -> tuple[ReadToken, ...]:
        query = (
            select(read_tokens)
            .where(
                read_tokens.c.person == person.id,
                read_tokens.c.until > self._clock().isoformat(),
            )
            .order_by(read_tokens.c.name)
        )
        return tuple(_token(row) for row in connection.execute(query))

    def end(self, person: Person, number: str) -> None:
        """End a token of a person; that of another is left alone."""
        by = present_actor(self._store.by)

        def job(connection: Connection) -> None:
            mine = (read_tokens.c.number == number) & (read_tokens.c.person == person.id)
            row = connection.execute(select(read_tokens).where(mine)).mappings().first()
            if row is not None:
                connection.execute(read_tokens.delete().where(mine))
                add_link(connection, "ended", "read token", _about(dict(row), person), by=by)

        self._store.write(job)

    def visit(self, authorization: str) -> Visit | None:
        """Return the visit of a program.

        Parameters
        ----------
        authorization : str
            The header as sent: ``Bearer`` and the token (RFC 6750, section 2.1).

        Returns
        -------
        Visit or None
            None for anything else, and for the invented account of a demonstration.
        """
        kind, _, secret = authorization.partition(" ")
        found = self.whose(secret.strip()) if kind.lower() == "bearer" else None
        if found is None or found[0].demonstrator:
            return None
        person, token = found
        program = SignedIn(
            token.number, token.made_at, self._clock(), f"token {token.name}", "", locked=False
        )
        return Visit(_digest(secret.strip()), person, program, token=token.name)

    def whose(self, secret: str) -> tuple[Person, ReadToken] | None:
        """Return whose token it is; None when it never was one, has ended, or the account has."""
        query = (
            select(persons, *(read_tokens.c[name].label(f"token_{name}") for name in _SHOWN))
            .select_from(read_tokens.join(persons))
            .where(
                read_tokens.c.mark == _digest(secret),
                read_tokens.c.until > self._clock().isoformat(),
                persons.c.closed_at.is_(None),
            )
        )
        with self._store.database.reading() as connection:
            row = connection.execute(query).first()
        if row is None:
            return None
        return person_of_row(row), _token(row, "token_")


_SHOWN = ("number", "name", "made_at", "until")


def _require_able(connection: Connection, person: Person) -> None:
    """Refuse a token that would let nobody in, or that nobody would answer for."""
    row = connection.execute(select(persons).where(persons.c.id == person.id)).first()
    now = person_of_row(row) if row is not None else None
    if now is None or now.closed_at is not None or not now.has_password:
        raise BadInput("person", person.name, "a person with an open account and a password")
    if now.must_change:
        hint = "Sign in once as that person and choose a password; then make the token."
        raise BadInput("person", person.name, "one with a password of their own", hint=hint)


def _about(row: Mapping[str, Any], person: Person) -> str:
    """Return a token in the words of the trail: its name is gone from the list once it ended."""
    return f"{row['number']} of {person.id}: {row['name']}"


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "surrogateescape")).hexdigest()


def _token(row: Row[Any], prefix: str = "") -> ReadToken:
    number, name, made_at, until = (getattr(row, prefix + column) for column in _SHOWN)
    return ReadToken(number, name, datetime.fromisoformat(made_at), datetime.fromisoformat(until))
