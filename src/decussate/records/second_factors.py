"""The second factor: a code that changes every half minute, from an app on the person's phone.

A code counts once, and half a minute early or late, since clocks differ. It counts as a factor from
the moment a first code has shown that the app holds the secret. Recovery codes, each for one use,
are for whoever has lost the phone; only their Argon2id hashes are kept. The secret itself must be
kept as it is, because the codes follow from it: what protects it on the disk is the encryption of
the database.

References
----------
RFC 6238 (TOTP), RFC 4226 (HOTP). OWASP Application Security Verification Standard 5.0, chapters
V6.3 and V6.5. NIST SP 800-63B, section 3.1.4 and 3.1.2 (one-time codes, look-up secrets).
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, insert, select, update

from decussate.errors import BadInput
from decussate.records.chain import add_link, present_actor
from decussate.records.passwords import LETTERS, fits, hashed
from decussate.records.people import Person, now_utc
from decussate.records.store import Store
from decussate.records.tables import audit, recovery_codes, second_factors, signed_in

__all__ = ["RECOVERY_CODES", "SecondFactor", "SecondFactors", "code_at"]

STEP_S = 30
"""Seconds for which a code stands (RFC 6238, section 5.2, its recommendation)."""

DRIFT = 1
"""Steps early or late that are taken too (RFC 6238, section 5.2: at most one for the delay)."""

RECOVERY_CODES = 10
"""Recovery codes given at once (judgement)."""

MARK, SECRET = 2, 8
"""Letters of a recovery code that say which it is, and those that are secret: 39 bits."""

EVERYBODY = "everybody"
"""What the link of the trail is about that asks everybody for a second factor."""


@dataclass(frozen=True, slots=True)
class SecondFactor:
    """The second factor of a person.

    Parameters
    ----------
    since : datetime
        When a first code confirmed it.
    recovery_left : int
        Recovery codes not used yet.
    """

    since: datetime
    recovery_left: int


def code_at(secret: str, step: int) -> str:
    """Return the code of a step of time.

    Parameters
    ----------
    secret : str
        The secret, base 32.
    step : int
        Half minutes since 1970 began, UTC.

    Returns
    -------
    str
        Six digits.

    References
    ----------
    RFC 6238, section 4.2, with HMAC-SHA-1, which is what every app computes.
    """
    import pyotp  # loaded only where somebody has a second factor

    return pyotp.TOTP(secret, interval=STEP_S).generate_otp(step)


class SecondFactors:
    """The second factors of a store.

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

    def of(self, person: Person) -> SecondFactor | None:
        """Return the second factor of a person; None while there is none that was confirmed."""
        mine = select(second_factors.c.confirmed_at).where(second_factors.c.person == person.id)
        codes = select(recovery_codes.c.mark).where(recovery_codes.c.person == person.id)
        with self._store.database.reading() as connection:
            since = connection.scalar(mine)
            left = len(connection.execute(codes).all()) if since else 0
        return SecondFactor(datetime.fromisoformat(since), left) if since else None

    def holders(self) -> frozenset[str]:
        """Return the identities of everybody who has one."""
        query = select(second_factors.c.person).where(second_factors.c.confirmed_at.is_not(None))
        with self._store.database.reading() as connection:
            return frozenset(connection.scalars(query))

    def begin(self, person: Person) -> str:
        """Return a new secret for a person's app, which counts once a code has confirmed it.

        Raises
        ------
        BadInput
            If the person has a second factor already.
        """
        import pyotp

        secret = pyotp.random_base32()  # 160 bits, as RFC 4226, section 4, recommends
        row = {"person": person.id, "secret": secret, "made_at": self._clock().isoformat()}

        def job(connection: Connection) -> None:
            found = _factor(connection, person)
            if found is not None and found["confirmed_at"]:
                raise BadInput("second factor", "one already", "none yet")
            connection.execute(second_factors.delete().where(second_factors.c.person == person.id))
            connection.execute(insert(second_factors), {**row, "last_step": 0})

        self._store.write(job)
        return secret

    def begun(self, person: Person) -> str:
        """Return the secret that waits to be confirmed; empty when none does."""
        with self._store.database.reading() as connection:
            found = _factor(connection, person)
        return str(found["secret"]) if found and not found["confirmed_at"] else ""

    def address(self, person: Person, secret: str) -> str:
        """Return the secret as the address that an app reads from a QR code (``otpauth://``)."""
        import pyotp

        return pyotp.TOTP(secret, interval=STEP_S).provisioning_uri(
            name=person.name, issuer_name="Decussate"
        )

    def confirm(self, person: Person, typed: str, *, here: str = "") -> tuple[str, ...]:
        """Have the second factor count from now on, and sign the person out everywhere else.

        Parameters
        ----------
        person : Person
            Whose it is.
        typed : str
            A code of the app.
        here : str
            Mark of the browser that stays signed in.

        Returns
        -------
        tuple of str
            The recovery codes; they cannot be shown again.

        Raises
        ------
        BadInput
            If nothing was begun, or the code is not the app's.
        """
        codes, rows = _recovery(person)
        by, now = present_actor(self._store.by), self._clock()

        def job(connection: Connection) -> None:
            found = _factor(connection, person)
            if found is None or found["confirmed_at"]:
                raise BadInput("second factor", "none that waits", "one that was just begun")
            step = self._fitting(found, _digits(typed))
            if step is None:
                hint = "Wait for the next code of the app; its clock must be right."
                raise BadInput("code", "another one", "the one the app shows now", hint=hint)
            row = {**found, "confirmed_at": now.isoformat()}
            del row["last_step"]
            mine = second_factors.c.person == person.id
            connection.execute(
                update(second_factors)
                .where(mine)
                .values(confirmed_at=row["confirmed_at"], last_step=step)
            )
            _replace_recovery(connection, person, rows)
            elsewhere = (signed_in.c.person == person.id) & (signed_in.c.mark != here)
            connection.execute(signed_in.delete().where(elsewhere))
            add_link(connection, "set up", "second factor", person.id, row, by=by)

        self._store.write(job)
        return codes

    def new_recovery(self, person: Person) -> tuple[str, ...]:
        """Give a person new recovery codes in place of the old ones.

        Raises
        ------
        BadInput
            If there is no second factor.
        """
        if self.of(person) is None:
            raise BadInput("second factor", "none", "one that was set up")
        codes, rows = _recovery(person)
        by = present_actor(self._store.by)

        def job(connection: Connection) -> None:
            _replace_recovery(connection, person, rows)
            add_link(connection, "made", "recovery code", person.id, by=by)

        self._store.write(job)
        return codes

    def accept(self, person: Person, typed: str) -> bool:
        """Use a code up: one of the app, or a recovery code.

        Parameters
        ----------
        person : Person
            Who must have a second factor.
        typed : str
            As typed; spaces, dashes and case do not matter.

        Returns
        -------
        bool
            Whether it was right, and not used before.
        """
        digits = _digits(typed)
        if digits.isdigit():
            return self._store.write(lambda c: self._accept_step(c, person, digits))
        return self._accept_recovery(person, digits)

    def _accept_step(self, connection: Connection, person: Person, digits: str) -> bool:
        found = _factor(connection, person)
        if found is None or not found["confirmed_at"]:
            return False
        step = self._fitting(found, digits)
        if step is None:
            return False
        mine = second_factors.c.person == person.id
        connection.execute(update(second_factors).where(mine).values(last_step=step))
        return True

    def _fitting(self, row: dict[str, Any], digits: str) -> int | None:
        """Return the step of which digits are the code, later than any used before."""
        now = int(self._clock().timestamp()) // STEP_S
        for step in range(now - DRIFT, now + DRIFT + 1):
            # Encoded, since what is typed may hold any letter.
            same = hmac.compare_digest(code_at(row["secret"], step).encode(), digits.encode())
            if same and step > row["last_step"]:
                return step
        return None

    def _accept_recovery(self, person: Person, letters: str) -> bool:
        mine = (recovery_codes.c.person == person.id) & (recovery_codes.c.mark == letters[:MARK])
        with self._store.database.reading() as connection:
            kept = connection.scalar(select(recovery_codes.c.hash).where(mine)) or ""
        if not fits(letters[MARK:], kept)[0]:
            return False

        def job(connection: Connection) -> bool:
            used = recovery_codes.delete().where(mine, recovery_codes.c.hash == kept)
            if not connection.execute(used).rowcount:  # used by somebody else meanwhile
                return False
            add_link(connection, "used", "recovery code", person.id, by=person.name)
            return True

        return self._store.write(job)

    def remove(self, person: Person) -> None:
        """Take a person's second factor and recovery codes off.

        Raises
        ------
        BadInput
            If there is none.
        """
        by = present_actor(self._store.by)

        def job(connection: Connection) -> None:
            found = _factor(connection, person)
            if found is None or not found["confirmed_at"]:
                raise BadInput("second factor", f"none of {person.name}", "one that was set up")
            for table in (second_factors, recovery_codes):
                connection.execute(table.delete().where(table.c.person == person.id))
            add_link(connection, "taken off", "second factor", person.id, by=by)

        self._store.write(job)

    def require(self, *, wanted: bool) -> None:
        """Ask everybody for a second factor from the next sign-in on, or no longer."""
        by = present_actor(self._store.by)
        action = "required" if wanted else "not required"

        def job(connection: Connection) -> None:
            if (_required_since(connection) is not None) != wanted:
                add_link(connection, action, "second factor", EVERYBODY, by=by)

        self._store.write(job)

    def required_since(self) -> datetime | None:
        """Return since when everybody is asked for a second factor; None when nobody is.

        It is read from the trail, which nobody changes unseen.
        """
        with self._store.database.reading() as connection:
            return _required_since(connection)


def _required_since(connection: Connection) -> datetime | None:
    newest = (
        select(audit.c.action, audit.c.at)
        .where(audit.c.kind == "second factor", audit.c.subject == EVERYBODY)
        .order_by(audit.c.sequence.desc())
        .limit(1)
    )
    found = connection.execute(newest).first()
    if found is None or found.action != "required":
        return None
    return datetime.fromisoformat(found.at)


def _factor(connection: Connection, person: Person) -> dict[str, Any] | None:
    mine = select(second_factors).where(second_factors.c.person == person.id)
    found = connection.execute(mine).mappings().first()
    return dict(found) if found is not None else None


def _recovery(person: Person) -> tuple[tuple[str, ...], list[dict[str, str]]]:
    """Return new recovery codes, and the rows that are kept of them."""
    marks: set[str] = set()
    while len(marks) < RECOVERY_CODES:
        marks.add(_letters(MARK))
    codes, rows = [], []
    for mark in sorted(marks):
        secret = _letters(SECRET)
        codes.append(f"{mark}-{secret[:4]}-{secret[4:]}")
        rows.append({"person": person.id, "mark": mark, "hash": hashed(secret)})
    return tuple(codes), rows


def _letters(count: int) -> str:
    return "".join(secrets.choice(LETTERS) for _ in range(count))


def _replace_recovery(connection: Connection, person: Person, rows: list[dict[str, str]]) -> None:
    connection.execute(recovery_codes.delete().where(recovery_codes.c.person == person.id))
    connection.execute(insert(recovery_codes), rows)


def _digits(typed: str) -> str:
    """Return what was typed without what only makes it easier to read."""
    return "".join(sign for sign in typed.lower() if sign.isalnum())
