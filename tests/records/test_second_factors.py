"""The second factor: codes of an app, recovery codes, and that neither is used twice.

Checked against: RFC 6238, appendix B (its test vectors for HMAC-SHA-1; a code of six digits is the
end of the one of eight, RFC 4226, section 5.3); OWASP ASVS 5.0 V6.5 (used once, random, hashed).
"""

import base64
from datetime import UTC, datetime, timedelta
from math import log2
from threading import Barrier, Thread
from urllib.parse import parse_qs, urlsplit

import pyotp
import pytest
from sqlalchemy import select, text

from decussate.errors import BadInput
from decussate.records import Store, acting_as
from decussate.records.chain import links
from decussate.records.passwords import LETTERS
from decussate.records.people import People, Person
from decussate.records.roles import Role
from decussate.records.second_factors import (
    DRIFT,
    RECOVERY_CODES,
    SECRET,
    STEP_S,
    SecondFactors,
    code_at,
)
from decussate.records.signed_in import Visits
from decussate.records.tables import recovery_codes
from signing_in import Clock

VECTORS = {
    59: "94287082",
    1111111109: "07081804",
    1111111111: "14050471",
    1234567890: "89005924",
    2000000000: "69279037",
    20000000000: "65353130",
}
"""RFC 6238, appendix B: seconds since 1970, and the code for the secret 12345678901234567890."""


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def factors(store: Store, clock: Clock) -> SecondFactors:
    return SecondFactors(store, clock)


@pytest.fixture
def owner(store: Store, clock: Clock) -> Person:
    return People(store, clock).add_owner("Olga Example", "an invented word of mouth")


def shown(secret: str, clock: Clock, *, steps: int = 0) -> str:
    """What the app on the phone shows."""
    return code_at(secret, int(clock.now.timestamp()) // STEP_S + steps)


@pytest.fixture
def secret(factors: SecondFactors, owner: Person, clock: Clock) -> str:
    """Of a second factor that is set up; its first code has just been used."""
    made = factors.begin(owner)
    factors.confirm(owner, shown(made, clock))
    clock.now += timedelta(seconds=STEP_S * (DRIFT + 1))
    return made


@pytest.mark.parametrize("at", VECTORS)
def test_codes_are_those_of_the_standard(at: int):
    secret = base64.b32encode(b"12345678901234567890").decode()
    assert code_at(secret, at // 30) == VECTORS[at][-6:]


def test_a_secret_is_random_long_and_reaches_an_app_whole(factors: SecondFactors, owner: Person):
    secrets = {factors.begin(owner) for _ in range(50)}
    assert len(secrets) == 50
    for secret in secrets:
        assert len(base64.b32decode(secret)) * 8 >= 160  # RFC 4226, section 4, R6
        address = urlsplit(factors.address(owner, secret))
        assert (address.scheme, address.netloc) == ("otpauth", "totp")
        assert parse_qs(address.query)["secret"] == [secret]
        read = pyotp.parse_uri(address.geturl())
        assert isinstance(read, pyotp.TOTP)
        assert read.at(1111111109) == code_at(secret, 1111111109 // 30)


def test_it_counts_once_a_code_has_confirmed_it(factors, owner, clock):
    secret = factors.begin(owner)
    assert factors.of(owner) is None
    assert factors.begun(owner) == secret
    assert not factors.accept(owner, shown(secret, clock))
    with pytest.raises(BadInput, match="the one the app shows"):
        factors.confirm(owner, "000000")
    codes = factors.confirm(owner, shown(secret, clock))
    assert factors.holders() == {owner.id}
    found = factors.of(owner)
    assert (found.since, found.recovery_left) == (clock.now, RECOVERY_CODES)
    assert len(set(codes)) == RECOVERY_CODES
    assert factors.begun(owner) == ""
    with pytest.raises(BadInput, match="one already"):
        factors.begin(owner)
    with pytest.raises(BadInput, match="just begun"):
        factors.confirm(owner, shown(secret, clock, steps=1))


def test_a_code_counts_once_and_none_from_before_it_counts_later(factors, owner, secret, clock):
    first = shown(secret, clock)
    earlier = shown(secret, clock, steps=-1)
    assert factors.accept(owner, f" {first[:3]} {first[3:]} ")
    assert not factors.accept(owner, first)
    assert not factors.accept(owner, earlier)
    clock.now += timedelta(seconds=STEP_S)
    assert factors.accept(owner, shown(secret, clock))


def test_the_code_that_confirmed_is_used_up(factors, owner, clock):
    made = factors.begin(owner)
    code = shown(made, clock)
    factors.confirm(owner, code)
    assert not factors.accept(owner, code)


@pytest.mark.parametrize(
    ("steps", "taken"), [(-2, False), (-1, True), (0, True), (1, True), (2, False)]
)
def test_clocks_may_differ_by_half_a_minute(factors, owner, secret, clock, steps, taken):
    clock.now += timedelta(minutes=10)
    assert factors.accept(owner, shown(secret, clock, steps=steps)) == taken


@pytest.mark.parametrize(
    "typed", ["", "12345", "1234567", "abcdef", "²³⁴⁵⁶⁷", "x" * 10_000, "\x00"]
)
def test_anything_else_is_no_code(factors, owner, secret, typed):
    assert not factors.accept(owner, typed)


def test_two_at_once_with_one_code_let_one_in(factors, owner, secret, clock):
    code, together, answers = shown(secret, clock), Barrier(4), []

    def use() -> None:
        together.wait()
        answers.append(factors.accept(owner, code))

    threads = [Thread(target=use) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == [False, False, False, True]


def test_a_recovery_code_counts_once_and_is_kept_as_argon2id(factors, owner, secret, store):
    first, second, *_ = codes = factors.new_recovery(owner)
    with store.database.reading() as connection:
        kept = connection.execute(select(recovery_codes)).all()
    assert len(kept) == RECOVERY_CODES
    assert all(row.hash.startswith("$argon2id$") for row in kept)
    secrets = [code.replace("-", "")[2:] for code in codes]
    assert not any(one in row.hash for one in secrets for row in kept)
    assert factors.accept(owner, first.upper().replace("-", " "))
    assert not factors.accept(owner, first)
    assert factors.of(owner).recovery_left == RECOVERY_CODES - 1
    wrong = second[:-1] + ("a" if second[-1] != "a" else "b")
    assert not factors.accept(owner, wrong)
    factors.new_recovery(owner)
    assert not factors.accept(owner, second)  # the old ones have ended


def test_a_recovery_code_is_long_enough():
    """At least 20 bits (ASVS 5.0, V6.5.4), beside the mark by which it is found."""
    assert len(set(LETTERS)) == len(LETTERS)
    assert SECRET * log2(len(LETTERS)) >= 20


def test_a_code_of_one_person_is_worth_nothing_to_another(factors, store, owner, secret, clock):
    people = People(store, clock)
    ed, _ = people.add("Ed Example", Role.EXAMINER)
    made = factors.begin(ed)
    factors.confirm(ed, shown(made, clock))
    clock.now += timedelta(minutes=2)
    assert not factors.accept(ed, shown(secret, clock))
    mine = factors.new_recovery(owner)[0]
    assert not factors.accept(ed, mine)


def test_setting_up_signs_out_everywhere_else(factors, store, owner, clock):
    visits = Visits(store, clock)
    here, there = (visits.begin(owner, device="", address="", action="signed in") for _ in range(2))
    mark = visits.visit(here, touched=False).mark
    made = factors.begin(owner)
    factors.confirm(owner, shown(made, clock), here=mark)
    assert visits.visit(here, touched=False) is not None
    assert visits.visit(there, touched=False) is None


def test_it_is_taken_off_and_ends_with_the_account(factors, store, owner, secret, clock):
    people = People(store, clock)
    people.add("Paul Example", Role.OWNER)
    paul = people.get("Paul Example")
    factors.confirm(paul, shown(factors.begin(paul), clock))
    with acting_as("Paul Example"):
        factors.remove(owner)
    assert factors.of(owner) is None
    with pytest.raises(BadInput, match="none of Olga"):
        factors.remove(owner)
    people.close("Paul Example")
    assert factors.holders() == frozenset()
    with store.database.reading() as connection:
        assert connection.execute(select(recovery_codes)).all() == []
        told = [
            (link.by, link.action) for link, _ in links(connection) if link.kind == "second factor"
        ]
    assert told[-1] == ("Paul Example", "taken off")
    assert store.verify().problems == ()


def test_everybody_is_asked_from_a_moment_that_the_trail_holds(factors, store):
    assert factors.required_since() is None
    factors.require(wanted=True)
    since = factors.required_since()
    assert datetime.now(UTC) - since < timedelta(minutes=1)
    factors.require(wanted=True)  # again changes nothing
    assert factors.required_since() == since
    factors.require(wanted=False)
    assert factors.required_since() is None
    with store.database.reading() as connection:
        told = [link.action for link, _ in links(connection) if link.kind == "second factor"]
    assert told == ["required", "not required"]


@pytest.mark.parametrize(
    "change",
    [
        "delete from second_factor",
        "update second_factor set confirmed_at = null",
        "update second_factor set secret = 'JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP'",
    ],
)
def test_one_changed_past_the_program_is_found(factors, store, owner, secret, clock, change):
    factors.accept(owner, shown(secret, clock))
    assert store.verify().problems == ()  # a code that was used changes nothing
    with store.database.writing() as connection:
        connection.execute(text(change))
    assert "second factor" in store.verify().problems[0]


def test_no_secret_is_in_the_trail(factors, store, owner, secret, clock):
    codes = factors.new_recovery(owner)
    factors.accept(owner, codes[0])
    factors.accept(owner, codes[1][:-1])
    with store.database.reading() as connection:
        told = " ".join(f"{link.by} {link.subject}" for link, _ in links(connection))
    assert secret not in told
    assert not any(code in told for code in codes)
