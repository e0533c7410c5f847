"""Who is signed in, in which browser: kept by the server, known to the browser by a random id.

The id has 256 random bits. Only its SHA-256 is kept, so that a copy of the database signs nobody
in. It is new at every sign-in and every unlocking. A browser locks when it was not touched for the
person's own minutes, and is signed out for good after twelve hours.

References
----------
OWASP Application Security Verification Standard 5.0, chapter V7.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from sqlalchemy import Connection, Row, insert, select, update

from decussate.records.chain import add_link
from decussate.records.people import Person, now_utc, person_of_row
from decussate.records.store import Store
from decussate.records.tables import persons, signed_in

__all__ = ["ABSOLUTE", "SignedIn", "Visit", "Visits"]

ABSOLUTE = timedelta(hours=12)
"""After this a browser is signed out, however busy it was."""

COARSE = timedelta(seconds=5)
"""A touch is written down only so long after the last: a browser may lock this much early."""


@dataclass(frozen=True, slots=True)
class SignedIn:
    """A browser in which a person is signed in, as the person sees it on a list.

    Parameters
    ----------
    number : str
        What it is called on the list; not the id that the browser holds.
    began_at, seen_at : datetime
        When it was signed in, and last touched.
    device, address : str
        What the browser said of itself, and where it asked from.
    locked : bool
        Whether it asks for the password before anything else.
    """

    number: str
    began_at: datetime
    seen_at: datetime
    device: str
    address: str
    locked: bool


@dataclass(frozen=True, slots=True)
class Visit:
    """A person in a browser.

    Parameters
    ----------
    mark : str
        SHA-256 of the id the browser holds.
    person : Person
        Who.
    browser : SignedIn
        Where.
    token : str
        Name of the read token with which a program asks for the person; empty for a browser.
    """

    mark: str
    person: Person
    browser: SignedIn
    token: str = ""


class Visits:
    """The browsers in which people are signed in.

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

    def begin(
        self, person: Person, *, device: str, address: str, instead: str = "", action: str
    ) -> str:
        """Sign a person in.

        Parameters
        ----------
        person : Person
            Whose password was right.
        device, address : str
            What the browser says of itself, and where it asks from.
        instead : str
            The id that the browser held until now; it ends.
        action : str
            For the audit trail: ``signed in`` or ``unlocked``.

        Returns
        -------
        str
            The new id, for the browser alone.
        """
        secret = secrets.token_urlsafe(32)
        now = self._clock()
        row = {
            "mark": _mark(secret),
            "number": str(uuid4()),
            "person": person.id,
            "began_at": now.isoformat(),
            "seen_at": now.isoformat(),
            "locked": False,
            "device": device[:200],
            "address": address,
        }

        def job(connection: Connection) -> None:
            oldest = (now - ABSOLUTE).isoformat()
            ended = (signed_in.c.began_at < oldest) | (signed_in.c.mark == _mark(instead))
            connection.execute(signed_in.delete().where(ended))
            connection.execute(insert(signed_in), row)
            about = f"{person.id} from {address}"
            add_link(connection, action, "sign-in", about, by=person.name)

        self._store.write(job)
        return secret

    def visit(self, secret: str, *, touched: bool) -> Visit | None:
        """Return who is signed in under an id.

        Parameters
        ----------
        secret : str
            As the browser sent it.
        touched : bool
            Whether this request shows that somebody is there; a page that only looks for news does
            not.

        Returns
        -------
        Visit or None
            None when it never was, has ended, or the account was closed.
        """
        if not secret:
            return None
        mark, now = _mark(secret), self._clock()
        query = (
            select(persons, *(signed_in.c[name].label(f"browser_{name}") for name in _SHOWN))
            .select_from(signed_in.join(persons))
            .where(signed_in.c.mark == mark, persons.c.closed_at.is_(None))
        )
        with self._store.database.reading() as connection:
            row = connection.execute(query).first()
        if row is None:
            return None
        person = person_of_row(row)
        browser = _browser(row, person.lock_minutes, now)
        if now - browser.began_at > ABSOLUTE:
            return None
        if touched and not browser.locked and now - browser.seen_at >= COARSE:
            touch = update(signed_in).where(signed_in.c.mark == mark)
            self._store.write(lambda c: c.execute(touch.values(seen_at=now.isoformat())))
        return Visit(mark, person, browser)

    def of(self, person: Person) -> tuple[SignedIn, ...]:
        """Return every browser in which a person is signed in, the last touched first."""
        now = self._clock()
        query = (
            select(*(signed_in.c[name].label(f"browser_{name}") for name in _SHOWN))
            .where(
                signed_in.c.person == person.id,
                signed_in.c.began_at >= (now - ABSOLUTE).isoformat(),
            )
            .order_by(signed_in.c.seen_at.desc())
        )
        with self._store.database.reading() as connection:
            return tuple(
                _browser(row, person.lock_minutes, now) for row in connection.execute(query)
            )

    def lock(self, visit: Visit) -> None:
        """Have a browser ask for the password before anything else."""
        self._store.write(lambda c: _lock(c, visit))

    def end(self, person: Person, number: str) -> None:
        """Sign a person out of one browser.

        Parameters
        ----------
        person : Person
            Whose browser it must be; that of another is left alone.
        number : str
            Its `SignedIn.number`.
        """

        def job(connection: Connection) -> None:
            mine = (signed_in.c.number == number) & (signed_in.c.person == person.id)
            if connection.execute(signed_in.delete().where(mine)).rowcount:
                add_link(connection, "signed out", "sign-in", person.id, by=person.name)

        self._store.write(job)

    def refused(self, person: Person | None, address: str) -> None:
        """Put into the audit trail that a sign-in failed; a name nobody has is not written down.

        People type their password where the name belongs.
        """
        who = person.name if person else "nobody known"
        about = f"{person.id if person else 'unknown name'} from {address}"
        self._store.write(lambda c: add_link(c, "refused", "sign-in", about, by=who))


_SHOWN = ("number", "began_at", "seen_at", "device", "address", "locked")


def _lock(connection: Connection, visit: Visit) -> None:
    mine = signed_in.c.mark == visit.mark
    connection.execute(update(signed_in).where(mine).values(locked=True))
    add_link(connection, "locked", "sign-in", visit.person.id, by=visit.person.name)


def _mark(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _browser(row: Row[Any], lock_minutes: int, now: datetime) -> SignedIn:
    seen_at = datetime.fromisoformat(row.browser_seen_at)
    idle = now - seen_at > timedelta(minutes=lock_minutes)
    return SignedIn(
        number=row.browser_number,
        began_at=datetime.fromisoformat(row.browser_began_at),
        seen_at=seen_at,
        device=row.browser_device,
        address=row.browser_address,
        locked=bool(row.browser_locked) or idle,
    )
