"""The audit trail: who did what, when, each link holding the hash of the one before.

A link is made in the transaction of the row it speaks of, so that neither is there without the
other. It holds a digest of that row. A row that is changed, added or removed behind the program's
back no longer fits its link; a link that is changed, moved or removed breaks the chain.

What it cannot show: someone who can write the database can also remove the newest links together
with their rows, or forge the whole chain anew. Against that, write the head down somewhere else
from time to time; `verify` says whether the chain still passes through it.

The forms of the digest and of the hash are fixed: every database and export depends on them.

References
----------
NIST FIPS 180-4, Secure Hash Standard (SHA-256). RFC 8259 (JSON).
"""

from __future__ import annotations

import getpass
import hashlib
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, and_, func, insert, select

from decussate.errors import BadInput
from decussate.records.database import STREAMED
from decussate.records.tables import KINDS, audit, persons, second_factors, streamed

__all__ = [
    "FIRST",
    "Link",
    "Verdict",
    "acting_as",
    "add_link",
    "links",
    "login_name",
    "present_actor",
    "present_device",
    "row_digest",
    "timestamp",
    "verify",
]

FIRST = "0" * 64
"""What the first link holds in place of a hash before it."""

_actor: ContextVar[str | None] = ContextVar("decussate_actor", default=None)
_device: ContextVar[str] = ContextVar("decussate_device", default="")


@dataclass(frozen=True, slots=True)
class Link:
    """One link of the audit trail.

    Parameters
    ----------
    sequence : int
        Its number, from 1 without a gap.
    at : str
        When, ISO 8601 in UTC.
    by : str
        Who, as named to the program.
    action : str
        ``added``, ``adopted`` (found when the trail began), ``imported``, ``restored``, ``seen``,
        ``exported``; for a person also what changed, for a sign-in what came of it.
    kind : str
        ``patient``, ``examination``, ``entry``, ``attachment``, ``person``, ``sign-in``,
        ``second factor``, ``recovery code``, ``read token``, ``request``, or ``store`` for all of
        it.
    subject : str
        Identity of the row; for a sign-in, of the person; for a store, more about the act.
    content : str
        SHA-256 of the row, in hexadecimal; empty when no row was written.
    previous : str
        Hash of the link before.
    """

    sequence: int
    at: str
    by: str
    action: str
    kind: str
    subject: str
    content: str
    previous: str

    @property
    def hash(self) -> str:
        """SHA-256 over all fields, in hexadecimal."""
        return _sha256(
            [
                self.sequence, self.at, self.by, self.action,
                self.kind, self.subject, self.content, self.previous,
            ]
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the verification of an audit trail found.

    Parameters
    ----------
    links : int
        How many links there are.
    head : str
        Hash of the last one.
    problems : tuple of str
        Everything that does not fit, in plain words; empty when the trail is sound.
    """

    links: int
    head: str
    problems: tuple[str, ...]


@contextmanager
def acting_as(name: str, *, device: str = "") -> Iterator[None]:
    """Name who acts in the present thread or request, for the audit trail.

    Parameters
    ----------
    name : str
        The person, as the trail shall name them.
    device : str
        What the person acts with, for the entries; empty where it is not known.
    """
    actor, held = _actor.set(" ".join(name.split()) or None), _device.set(device[:200])
    try:
        yield
    finally:
        _actor.reset(actor)
        _device.reset(held)


def present_actor(default: str) -> str:
    """Return who acts now.

    Parameters
    ----------
    default : str
        The name when `acting_as` names nobody.

    Returns
    -------
    str
    """
    return _actor.get() or default


def present_device() -> str:
    """Return what the person who acts now acts with.

    Returns
    -------
    str
        Empty where it is not known.
    """
    return _device.get()


def login_name() -> str:
    """Return the name under which this program runs on the machine.

    Returns
    -------
    str
    """
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a user number without a name
        return "unknown"


def timestamp(at: datetime | None = None) -> str:
    """Return a time as the store writes it, ISO 8601 in UTC.

    Parameters
    ----------
    at : datetime, optional
        A time that has passed, with its zone; by default the present.

    Returns
    -------
    str

    Raises
    ------
    BadInput
        If the zone is missing, or the time is yet to come.
    """
    now = datetime.now(UTC)
    if at is not None and (at.tzinfo is None or at > now):
        raise BadInput("time", at.isoformat(), "a time that has passed, with its zone")
    return (at or now).astimezone(UTC).isoformat()


def row_digest(row: Mapping[str, Any]) -> str:
    """Return the digest of a row: SHA-256 of its columns as JSON with sorted keys.

    Parameters
    ----------
    row : mapping
        Column to value. The sequence number is left out: it is the database's own.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    return _sha256({name: value for name, value in row.items() if name != "sequence"})


def _sha256(value: object) -> str:
    written = json.dumps(value, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(written.encode("ascii")).hexdigest()


def add_link(
    connection: Connection,
    action: str,
    kind: str,
    subject: str,
    row: Mapping[str, Any] | None = None,
    *,
    by: str,
    at: str | None = None,
) -> Link:
    """Add a link at the end of the trail, in the transaction of what it speaks of.

    Parameters
    ----------
    connection : Connection
        From `Database.writing`, so that no other link is added meanwhile.
    action, kind, subject : str
        As in `Link`.
    row : mapping, optional
        The row written.
    by : str
        Who.
    at : str, optional
        When; by default now.

    Returns
    -------
    Link
        As added.
    """
    last = connection.execute(
        select(audit.c.sequence, audit.c.hash).order_by(audit.c.sequence.desc()).limit(1)
    ).first()
    link = Link(
        sequence=1 if last is None else last.sequence + 1,
        at=at or timestamp(),
        by=by,
        action=action,
        kind=kind,
        subject=subject,
        content="" if row is None else row_digest(row),
        previous=FIRST if last is None else last.hash,
    )
    connection.execute(insert(audit), {**_fields(link), "hash": link.hash})
    return link


def _fields(link: Link) -> dict[str, Any]:
    return {name: getattr(link, name) for name in Link.__slots__}


def links(connection: Connection) -> Iterator[tuple[Link, str]]:
    """Give the trail from its beginning.

    Parameters
    ----------
    connection : Connection
        To read from.

    Yields
    ------
    Link
        As its fields stand.
    str
        The hash that stands beside them, equal to the link's own when nothing was changed.
    """
    query = select(audit).order_by(audit.c.sequence)
    for row in connection.execute(query, execution_options=STREAMED):
        yield Link(*row[:-1]), row.hash


def verify(connection: Connection, *, passes: str | None = None) -> Verdict:
    """Verify the audit trail and that every row of the store fits it.

    Parameters
    ----------
    connection : Connection
        From `Database.reading`, so that all is seen at one moment.
    passes : str, optional
        A head written down earlier, through which the chain must pass.

    Returns
    -------
    Verdict
    """
    problems: list[str] = []
    number, head, passed = 0, FIRST, passes in (None, FIRST)
    for link, hashed in links(connection):
        number += 1
        if link.sequence != number:
            problems.append(f"link {number} is missing: found number {link.sequence}")
            number = link.sequence
        if link.previous != head:
            problems.append(f"link {number} does not follow the one before it")
        if link.hash != hashed:
            problems.append(f"link {number} was changed ({link.action} {link.kind})")
        head = hashed
        passed = passed or hashed == passes
    for kind in KINDS:
        problems += _misfits(connection, kind)
    problems += _changed_people(connection)
    problems += _changed_factors(connection)
    if not passed:
        problems.append(f"the chain does not pass through the head {passes}")
    return Verdict(number, head, tuple(problems))


def _changed_people(connection: Connection) -> Iterator[str]:
    """Give the accounts that are not as the newest link about them says.

    Accounts change, each time with a link. One that is missing is not reported: exports and backups
    leave accounts out.
    """
    query = select(audit.c.subject, audit.c.content).where(
        audit.c.kind == "person", audit.c.content != ""
    )
    newest = {
        row.subject: row.content for row in connection.execute(query.order_by(audit.c.sequence))
    }
    for found in connection.execute(select(persons)).mappings():
        if found["id"] not in newest:
            yield f"person {found['id']} was added without a link"
        elif newest[found["id"]] != row_digest(dict(found)):
            yield f"person {found['id']} was changed"


def _changed_factors(connection: Connection) -> Iterator[str]:
    """Give the second factors that are not as the newest link about them says.

    Those of accounts that are closed, or that a backup left out, have nobody to protect.
    """
    query = select(audit.c.subject, audit.c.content).where(audit.c.kind == "second factor")
    newest = {
        row.subject: row.content for row in connection.execute(query.order_by(audit.c.sequence))
    }
    known = second_factors.c
    held = {
        row["person"]: row_digest(dict(row))
        for row in connection.execute(
            select(known.person, known.secret, known.made_at, known.confirmed_at).where(
                known.confirmed_at.is_not(None)
            )
        ).mappings()
    }
    open_accounts = select(persons.c.id).where(persons.c.closed_at.is_(None))
    for person in connection.scalars(open_accounts):
        if held.get(person, "") != newest.get(person, ""):
            yield f"the second factor of person {person} was changed"


def _misfits(connection: Connection, kind: str) -> Iterator[str]:
    """Give the rows that do not fit their link, and links whose row is gone."""
    table = KINDS[kind]
    speaks = and_(audit.c.kind == kind, audit.c.content != "")
    query = select(table, audit.c.content.label("audit_content")).outerjoin(
        audit, and_(speaks, audit.c.subject == table.c.id)
    )
    for found in connection.execute(query, execution_options=streamed(table)).mappings():
        row = {name: found[name] for name in table.c.keys()}  # noqa: SIM118  (no mapping)
        if found["audit_content"] is None:
            yield f"{kind} {row['id']} was added without a link"
        elif found["audit_content"] != row_digest(row):
            yield f"{kind} {row['id']} was changed"
    gone = (
        select(audit.c.subject)
        .outerjoin(table, table.c.id == audit.c.subject)
        .where(speaks, table.c.id.is_(None))
    )
    for (subject,) in connection.execute(gone):
        yield f"{kind} {subject} was removed"
    twice = select(audit.c.subject).where(speaks).group_by(audit.c.subject).having(func.count() > 1)
    for (subject,) in connection.execute(twice):
        yield f"{kind} {subject} has more than one link"
