"""Browsers in which people are signed in, on every kind of database.

Checked against: OWASP ASVS 5.0 V7.2 (random, kept as a hash), V7.3 (idle and absolute end).
"""

from datetime import timedelta

import pytest
from sqlalchemy import select

from decussate.records import Store
from decussate.records.backup import back_up, restore
from decussate.records.chain import links
from decussate.records.people import People
from decussate.records.read_tokens import ReadTokens
from decussate.records.roles import Role
from decussate.records.signed_in import ABSOLUTE, COARSE, Visits
from decussate.records.tables import persons, signed_in
from decussate.records.transfer import file_rows
from signing_in import Clock

WORDS = "an invented word of mouth"
BROWSER = {"device": "a test", "address": "192.0.2.1", "action": "signed in"}


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def people(store: Store, clock: Clock) -> People:
    return People(store, clock)


@pytest.fixture
def owner(people: People):
    return people.add_owner("Olga Example", WORDS)


@pytest.fixture
def visits(store: Store, clock: Clock) -> Visits:
    return Visits(store, clock)


def test_an_id_is_known_until_it_ends(visits: Visits, store: Store, owner):
    secret = visits.begin(owner, **BROWSER)
    with store.database.reading() as connection:
        kept = connection.execute(select(signed_in)).one()
    assert secret not in map(str, kept)
    found = visits.visit(secret, touched=True)
    assert found is not None
    assert (found.person, found.browser.address) == (owner, "192.0.2.1")
    for other in ("", "x", secret[:-1], secret.swapcase()):
        assert visits.visit(other, touched=True) is None
    visits.end(owner, found.browser.number)
    assert visits.visit(secret, touched=True) is None
    with store.database.reading() as connection:
        told = [(link.action, link.kind) for link, _ in links(connection)]
    assert told == [("added", "person"), ("signed in", "sign-in"), ("signed out", "sign-in")]


def test_a_new_sign_in_ends_the_one_before_in_the_same_browser(visits: Visits, owner):
    first = visits.begin(owner, **BROWSER)
    second = visits.begin(owner, instead=first, **BROWSER)
    assert first != second
    assert visits.visit(first, touched=True) is None
    assert visits.visit(second, touched=True) is not None
    assert len(visits.of(owner)) == 1


def test_it_locks_when_idle_and_ends_for_good(visits: Visits, people, owner, clock: Clock):
    secret = visits.begin(owner, **BROWSER)
    clock.now += timedelta(minutes=5) - COARSE
    assert not visits.visit(secret, touched=True).browser.locked
    clock.now += timedelta(minutes=5) - COARSE
    assert not visits.visit(secret, touched=False).browser.locked
    clock.now += 2 * COARSE
    assert visits.visit(secret, touched=True).browser.locked
    assert visits.visit(secret, touched=True).browser.locked  # no touch unlocks it
    people.set_lock("Olga Example", 15)
    clock.now += ABSOLUTE
    assert visits.visit(secret, touched=True) is None
    assert visits.of(owner) == ()


def test_one_cannot_end_anothers(visits: Visits, people, owner):
    ed, _ = people.add("Ed Example", Role.READER)
    secret = visits.begin(owner, **BROWSER)
    visits.end(ed, visits.of(owner)[0].number)
    assert visits.visit(secret, touched=True) is not None


def test_closing_and_a_new_password_end_everything(visits: Visits, people, owner, store: Store):
    ed, _ = people.add("Ed Example", Role.READER)
    secrets = [visits.begin(ed, **BROWSER) for _ in range(3)]
    people.reset_password("Ed Example")
    assert [visits.visit(one, touched=True) for one in secrets] == [None] * 3
    people.set_password("Ed Example", "quartz lantern 88 heron")
    tokens = ReadTokens(store)
    token = tokens.make(ed, "a program")
    assert tokens.whose(token) is not None
    people.reset_password("Ed Example")
    assert tokens.whose(token) is None
    secret = visits.begin(ed, **BROWSER)
    people.close("Ed Example")
    assert visits.visit(secret, touched=True) is None


def test_accounts_are_in_no_backup_and_what_they_did_is(store, people, owner, tmp_path):
    people.add("Ed Example", Role.READER)
    store.add_patient("Bed 1, invented", invented=True)
    file = tmp_path / "backup.jsonl"
    back_up(store, file)
    with store.database.reading() as connection:
        hashes = list(connection.scalars(select(persons.c.password)))
    assert not any(one.encode() in file.read_bytes() for one in hashes)
    assert not any(kind in ("person", "signed_in") for _, kind, _ in file_rows(file))
    restore(file, tmp_path / "restored.db")
    again = Store(tmp_path / "restored.db")
    assert not People(again).has_owner()  # the first start makes one
    assert again.verify().problems == ()
    with again.database.reading() as connection:
        assert "Olga Example" in {link.by for link, _ in links(connection)}
    again.close()
