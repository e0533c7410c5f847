"""People and their accounts: who they are, what they are, and whether a password is theirs.

A name is a person's for good: it stands in the audit trail, so that it is never given to another,
even after the account was closed. Every change of an account is a link of the trail.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

from sqlalchemy import Connection, Row, Table, insert, select, update

from decussate.errors import BadInput
from decussate.records.chain import add_link, present_actor
from decussate.records.passwords import check_password, fits, hashed, one_time_password
from decussate.records.roles import GRANTS, Permission, Role
from decussate.records.store import Store
from decussate.records.tables import (
    persons,
    read_tokens,
    recovery_codes,
    second_factors,
    signed_in,
)

__all__ = [
    "DEMONSTRATOR",
    "LOCK_MINUTES",
    "People",
    "Person",
    "name_key",
    "now_utc",
    "person_of_row",
]

LOCK_MINUTES = (1, 15)
"""Least and most minutes without a touch after which a browser locks."""

USUAL_LOCK = 5

ONE_TIME_FOR = timedelta(days=7)
"""How long a password given by another person may be used (judgement)."""

LONGEST_NAME = 100
LONGEST_KEY = 2 * LONGEST_NAME

DEMONSTRATOR = "Invented examiner"
"""Name of the invented account of a demonstration; it has no password."""


USES = (signed_in, read_tokens)
"""What ends with a password: browsers signed in, and read tokens."""


def now_utc() -> datetime:
    """Return the present time in UTC.

    Returns
    -------
    datetime
    """
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Person:
    """An account.

    Parameters
    ----------
    id, name : str
        Identity, and the name that the trail and the entries carry.
    role : Role
        What the person is to this program.
    lock_minutes : int
        Minutes without a touch after which a browser locks.
    must_change : bool
        Whether the password was given by another person and must be changed first.
    has_password : bool
        Whether there is a password at all.
    opened_at : datetime
        When the account was made.
    closed_at : datetime, optional
        When it was closed.
    """

    id: str
    name: str
    role: Role
    lock_minutes: int
    must_change: bool
    has_password: bool
    opened_at: datetime
    closed_at: datetime | None

    @property
    def demonstrator(self) -> bool:
        """Whether it is the invented account of a demonstration."""
        return self.name == DEMONSTRATOR

    @property
    def invented_only(self) -> bool:
        """Whether invented patients are all it sees."""
        return self.demonstrator or GRANTS[self.role].invented_only

    def may(self, permission: Permission) -> bool:
        """Whether the role gives a permission."""
        return permission in GRANTS[self.role].may


class People:
    """The accounts of a store.

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

    def all(self) -> tuple[Person, ...]:
        """Return every account, closed ones too, in the order of their names."""
        with self._store.database.reading() as connection:
            return tuple(
                person_of_row(row)
                for row in connection.execute(select(persons).order_by(persons.c.name_key))
            )

    def named(self, name: str) -> Person | None:
        """Return the account of a name, however its case and spaces were typed."""
        with self._store.database.reading() as connection:
            row = _row_named(connection, name)
        return row and person_of_row(row)

    def get(self, name: str) -> Person:
        """Return the account of a name.

        Raises
        ------
        BadInput
            If there is none.
        """
        found = self.named(name)
        if found is None:
            raise BadInput("person", name, "a person with an account")
        return found

    def has_owner(self) -> bool:
        """Whether anyone can sign in as owner."""
        return any(
            one.role is Role.OWNER and one.has_password and one.closed_at is None
            for one in self.all()
        )

    def add_owner(self, name: str, password: str) -> Person:
        """Make the first owner.

        Raises
        ------
        BadInput
            If there is an owner already, or the name or password is not accepted.
        """
        check_password(password, name)
        kept = hashed(password)

        def job(connection: Connection) -> Person:
            query = select(persons.c.id).where(
                persons.c.role == Role.OWNER,
                persons.c.password != "",
                persons.c.closed_at.is_(None),
            )
            if connection.execute(query).first() is not None:
                raise BadInput("owner", "another one", "a database without an owner")
            return self._insert(connection, name, Role.OWNER, kept, None, by=name)

        return self._store.write(job)

    def add(self, name: str, role: Role) -> tuple[Person, str]:
        """Make an account with a password for its first use.

        Parameters
        ----------
        name : str
            Of the person.
        role : Role
            What the person shall be.

        Returns
        -------
        Person
            The account.
        str
            The password, to be handed over and changed at the first use.

        Raises
        ------
        BadInput
            If the name is empty, too long, or taken.
        """
        password = one_time_password()
        kept = hashed(password)
        until = (self._clock() + ONE_TIME_FOR).isoformat()
        by = present_actor(self._store.by)
        job = self._insert
        person = self._store.write(lambda c: job(c, name, role, kept, until, by=by))
        return person, password

    def demonstrator(self) -> Person:
        """Return the invented account of a demonstration, made when it is not there."""
        found = self.named(DEMONSTRATOR)
        if found is not None:
            return found
        by = self._store.by
        return self._store.write(
            lambda c: self._insert(c, DEMONSTRATOR, Role.OWNER, "", None, by=by)
        )

    def set_role(self, name: str, role: Role) -> None:
        """Change what a person is.

        Raises
        ------
        BadInput
            If there is no such person, or nobody would be owner any more.
        """
        self._change(name, "role set", {"role": role.value})

    def reset_password(self, name: str) -> str:
        """Give a person a password for one use; browsers and read tokens of before end.

        Returns
        -------
        str
            The password, valid for a week.
        """
        password = one_time_password()
        until = (self._clock() + ONE_TIME_FOR).isoformat()
        new = {"password": hashed(password), "password_until": until}
        self._change(name, "password reset", new, end=USES)
        return password

    def set_password(self, name: str, password: str) -> None:
        """Set the password that a person chose; browsers and read tokens of before end.

        Raises
        ------
        BadInput
            If the password is not accepted.
        """
        check_password(password, name)
        new = {"password": hashed(password), "password_until": None}
        self._change(name, "password set", new, end=USES)

    def set_lock(self, name: str, minutes: int) -> None:
        """Set after how many minutes without a touch a person's browsers lock.

        Raises
        ------
        BadInput
            Outside 1 to 15.
        """
        least, most = LOCK_MINUTES
        if not least <= minutes <= most:
            raise BadInput("minutes until it locks", minutes, f"{least} to {most}")
        self._change(name, "lock set", {"lock_minutes": minutes})

    def close(self, name: str) -> None:
        """Close an account: its name stays taken, and it is signed out everywhere.

        Raises
        ------
        BadInput
            If there is no such person, or nobody would be owner any more.
        """
        new = {"closed_at": self._clock().isoformat(), "password": "", "password_until": None}
        self._change(name, "closed", new, end=(*USES, second_factors, recovery_codes))

    def check(self, name: str, password: str) -> Person | None:
        """Return the person whose name and password these are; nobody's take as long.

        Parameters
        ----------
        name, password : str
            As typed.

        Returns
        -------
        Person or None
        """
        with self._store.database.reading() as connection:
            row = _row_named(connection, name)
        fit, old = fits(password, row.password if row is not None else "")
        if row is None or not fit or row.closed_at is not None:
            return None
        if row.password_until and datetime.fromisoformat(row.password_until) < self._clock():
            return None
        if old:
            self._change(row.name, "hash renewed", {"password": hashed(password)})
        return person_of_row(row)

    def _insert(
        self,
        connection: Connection,
        name: str,
        role: Role,
        password: str,
        until: str | None,
        *,
        by: str,
    ) -> Person:
        name = " ".join(name.split())
        # Some single letters are words once compared: their key must fit its column, too.
        if not name or len(name) > LONGEST_NAME or len(name_key(name)) > LONGEST_KEY:
            raise BadInput("name", name, f"1 to {LONGEST_NAME} letters")
        if any(unicodedata.category(letter) in ("Cc", "Cf", "Cs") for letter in name):
            raise BadInput("name", name, "letters, without control characters")
        if _row_named(connection, name) is not None or (password and _demonstrators(name)):
            hint = "Names stand in the audit trail, so that each is one person's for good."
            raise BadInput("name", name, "a name that no account has or had", hint=hint)
        row: dict[str, Any] = {
            "id": str(uuid4()),
            "name": name,
            "name_key": name_key(name),
            "role": role.value,
            "password": password,
            "password_until": until,
            "lock_minutes": USUAL_LOCK,
            "opened_at": self._clock().isoformat(),
            "closed_at": None,
        }
        connection.execute(insert(persons), row)
        add_link(connection, "added", "person", row["id"], row, by=" ".join(by.split()))
        found = _row_named(connection, name)
        assert found is not None  # noqa: S101  (inserted above)
        return person_of_row(found)

    def _change(
        self, name: str, action: str, new: dict[str, Any], *, end: tuple[Table, ...] = ()
    ) -> None:
        by = present_actor(self._store.by)

        def job(connection: Connection) -> None:
            found = _row_named(connection, name)
            if found is None or found.closed_at is not None:
                raise BadInput("person", name, "a person with an open account")
            row = dict(found._mapping) | new
            connection.execute(update(persons).where(persons.c.id == row["id"]).values(**new))
            for held in end:
                connection.execute(held.delete().where(held.c.person == row["id"]))
            owners = select(persons.c.id).where(
                persons.c.role == Role.OWNER,
                persons.c.closed_at.is_(None),
                persons.c.password != "",
            )
            if found.role == Role.OWNER and connection.execute(owners).first() is None:
                hint = "Make another person owner first."
                raise BadInput("owner", name, "at least one owner", hint=hint)
            add_link(connection, action, "person", row["id"], row, by=by)

        self._store.write(job)


def name_key(name: str) -> str:
    """Return a name as names are compared: spaces, case and forms of letters aside."""
    return unicodedata.normalize("NFKC", " ".join(name.split())).casefold()


def _demonstrators(name: str) -> bool:
    return name_key(name) == name_key(DEMONSTRATOR)


def _row_named(connection: Connection, name: str) -> Row[Any] | None:
    return connection.execute(select(persons).where(persons.c.name_key == name_key(name))).first()


def person_of_row(row: Row[Any]) -> Person:
    """Return the account that a row of its table holds."""
    return Person(
        id=row.id,
        name=row.name,
        role=Role(row.role),
        lock_minutes=row.lock_minutes,
        must_change=row.password_until is not None,
        has_password=bool(row.password),
        opened_at=datetime.fromisoformat(row.opened_at),
        closed_at=row.closed_at and datetime.fromisoformat(row.closed_at),
    )
