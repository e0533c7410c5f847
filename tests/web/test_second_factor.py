"""The second factor on the pages: asked after the password, once a code, taken off by whoever may.

Checked against: OWASP ASVS 5.0 V6.3.3 (two factors), V6.5.1 (counts once), V6.6.3 (guessing);
the codes are made by pyotp, a general-purpose library for RFC 6238.
"""

import re
from datetime import UTC, datetime, timedelta

import pyotp
import pytest
from argon2 import PasswordHasher
from click.testing import CliRunner
from conftest import OWN_PAGE
from fastapi.testclient import TestClient

from decussate.cli import main
from decussate.records import passwords
from decussate.records.chain import links
from decussate.records.roles import Role
from decussate.records.second_factors import SecondFactors
from decussate.web.access import Access
from decussate.web.access_guesses import FREE
from decussate.web.access_tickets import TICKET_FOR, Tickets
from decussate.web.app import create_app
from signing_in import PASSWORD, Clock, a_person, an_owner, signed_in

EXAMINER = "Example, examiner"


@pytest.fixture(autouse=True)
def quick_hashes(monkeypatch):
    passwords._nobodys.cache_clear()
    quick = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
    monkeypatch.setattr(passwords, "_hasher", lambda: quick)
    yield
    passwords._nobodys.cache_clear()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def app(tmp_path, clock):
    made = create_app(tmp_path / "records.db", demo=False)
    made.state.access = Access(made.state.store, demonstration=False, tls=False, clock=clock)
    an_owner(made)
    return made


def browser(app, person=None) -> TestClient:
    client = TestClient(
        app, base_url="http://127.0.0.1:8000", headers=OWN_PAGE, follow_redirects=False
    )
    if person is not None:
        client.cookies.set("signed-in", signed_in(app, person), domain="127.0.0.1")
    return client


def set_up(app, person, clock) -> tuple[str, list[str]]:
    """Set a second factor up on the pages; return its secret and the recovery codes."""
    client = browser(app, person)
    page = client.post("/account/second-factor", data={"password": PASSWORD}).text
    secret = re.search(r'<p class="once"><code>([A-Z2-7 ]+)</code>', page).group(1).replace(" ", "")
    code = pyotp.TOTP(secret).at(clock.now)
    answer = client.post("/account/second-factor/confirm", data={"code": code})
    codes = re.findall(r"<li><code>([^<]+)</code></li>", answer.text)
    assert len(codes) == 10, answer.text
    clock.now += timedelta(minutes=1)  # the code that set it up is spent
    return secret, codes


def ask(client, name: str = EXAMINER) -> str:
    """Give the password; return the ticket of the page that asks for the code."""
    answer = client.post("/sign-in", data={"name": name, "password": PASSWORD})
    assert answer.status_code == 200
    return re.search(r'name="ticket" value="([^"]+)"', answer.text).group(1)


def give(client, ticket: str, code: str):
    return client.post("/sign-in/code", data={"ticket": ticket, "code": code})


def test_a_code_follows_the_password(app, clock):
    secret, _ = set_up(app, a_person(app, Role.EXAMINER), clock)
    client = browser(app)
    ticket = ask(client)
    assert client.get("/").status_code == 401  # the password alone does not let in
    assert give(client, ticket, "000000").status_code == 422
    assert client.get("/").status_code == 401
    answer = give(client, ticket, pyotp.TOTP(secret).at(clock.now))
    assert answer.status_code == 303
    assert client.get("/").status_code == 200


def test_a_code_counts_once(app, clock):
    secret, recovery = set_up(app, a_person(app, Role.EXAMINER), clock)
    code = pyotp.TOTP(secret).at(clock.now)
    first = browser(app)
    assert give(first, ask(first), code).status_code == 303
    again = browser(app)
    assert give(again, ask(again), code).status_code == 422
    lost = browser(app)
    assert give(lost, ask(lost), recovery[0]).status_code == 303
    assert give(again, ask(again), recovery[0]).status_code == 422


def test_a_ticket_is_good_once_and_for_minutes_only(app, clock):
    secret, _ = set_up(app, a_person(app, Role.EXAMINER), clock)
    client = browser(app)
    ticket = ask(client)
    clock.now += TICKET_FOR + timedelta(seconds=1)
    late = give(client, ticket, pyotp.TOTP(secret).at(clock.now))
    assert late.status_code == 422
    assert "too late" in late.text
    fresh = ask(client)
    assert give(client, fresh, pyotp.TOTP(secret).at(clock.now)).status_code == 303
    clock.now += timedelta(minutes=1)
    assert give(browser(app), fresh, pyotp.TOTP(secret).at(clock.now)).status_code == 422
    assert give(browser(app), "made up", "123456").status_code == 422


def test_guessed_codes_wait_as_guessed_passwords_do(app, clock):
    set_up(app, a_person(app, Role.EXAMINER), clock)
    client = browser(app)
    ticket = ask(client)
    answers = [give(client, ticket, f"{n:06}").status_code for n in range(FREE["code"] + 2)]
    assert answers == [422] * (FREE["code"] + 1) + [429]


def test_tickets_are_bounded():
    clock = Clock()
    tickets = Tickets(clock)
    first = tickets.give("Eve Example")
    for _ in range(1000):
        tickets.give("Eve Example")
    assert tickets.whose(first) is None


def test_setting_up_asks_for_the_password_and_is_in_the_trail(app, clock):
    person = a_person(app, Role.EXAMINER)
    client = browser(app, person)
    assert client.post("/account/second-factor", data={"password": "no"}).status_code == 422
    set_up(app, person, clock)
    with app.state.store.database.reading() as connection:
        found = [
            (one.action, one.by) for one, _ in links(connection) if one.kind == "second factor"
        ]
    assert ("set up", person.name) in found


def test_everybody_can_be_asked_for_one(app, clock):
    clock.now = datetime.now(UTC)  # the trail, which says since when, keeps the true time
    owner, person = an_owner(app), a_person(app, Role.EXAMINER)
    before = browser(app, person)
    assert before.get("/").status_code == 200
    browser(app, owner).post("/people/second-factor-for-all", data={"wanted": "yes"})
    assert before.get("/").status_code == 200  # from the next sign-in on
    clock.now += timedelta(minutes=1)
    after = browser(app, person)
    refused = after.get("/")
    assert refused.status_code == 403
    assert "/account/second-factor" in refused.text
    secret, _ = set_up(app, person, clock)
    client = browser(app)
    assert give(client, ask(client), pyotp.TOTP(secret).at(clock.now)).status_code == 303
    assert client.get("/").status_code == 200
    kept = client.post("/account/second-factor/off", data={"password": PASSWORD})
    assert kept.status_code == 422


def test_a_lost_factor_is_taken_off_on_the_page_or_by_the_command(app, clock, tmp_path):
    person = a_person(app, Role.EXAMINER)
    set_up(app, person, clock)
    not_allowed = browser(app, person).post("/people/second-factor", data={"name": person.name})
    assert not_allowed.status_code == 403
    owner = browser(app, an_owner(app))
    assert owner.post("/people/second-factor", data={"name": person.name}).status_code == 200
    assert app.state.access.factors.of(person) is None
    set_up(app, person, clock)
    app.state.store.close()
    database = ["--database", str(tmp_path / "records.db")]
    ran = CliRunner().invoke(main, ["people", "second-factor", person.name, *database])
    assert ran.exit_code == 0, ran.output
    again = create_app(tmp_path / "records.db", demo=False)
    assert SecondFactors(again.state.store).of(person) is None
