"""Signing in and out: the first owner, the id of a browser, locking, guessing, the demonstration.

Checked against: OWASP ASVS 5.0 V6.2 and V6.3 (passwords, guessing), V7.2 (random ids kept by the
server), V7.3 (idle and absolute end), V7.4 (ending); RFC 6265bis (cookie prefixes, SameSite).
"""

import logging
import statistics
import time
from datetime import timedelta
from uuid import uuid4

import pytest
from argon2 import PasswordHasher
from conftest import FRAGMENT, OWN_PAGE
from fastapi.testclient import TestClient
from sqlalchemy import select

from decussate.records import passwords
from decussate.records.chain import links
from decussate.records.demo import load_demo
from decussate.records.people import DEMONSTRATOR
from decussate.records.roles import Role
from decussate.records.signed_in import ABSOLUTE, COARSE
from decussate.records.tables import signed_in as browsers
from decussate.web.access import Access
from decussate.web.access_guesses import FREE, LONGEST_WAIT, TooManyGuesses
from decussate.web.app import create_app
from signing_in import PASSWORD, Clock, an_owner

OWNER = "Olga Example, invented owner"
ANOTHER = "another word, invented as well"
WRONG = "a wrong guess of twelve"
SECRET = "a canary of a secret"  # noqa: S105


@pytest.fixture(autouse=True)
def quick_hashes(request, monkeypatch):
    """Hashes that take little time, except where time is what is tested."""
    passwords._nobodys.cache_clear()
    if "as_slowly" not in request.node.name:
        quick = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
        monkeypatch.setattr(passwords, "_hasher", lambda: quick)
    yield
    passwords._nobodys.cache_clear()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def empty(tmp_path, clock):
    """A new database without an account."""
    made = create_app(tmp_path / "records.db", demo=False)
    made.state.access = Access(made.state.store, demonstration=False, tls=False, clock=clock)
    return made


@pytest.fixture
def app(empty):
    """The same with an owner."""
    an_owner(empty)
    return empty


@pytest.fixture
def examination(app) -> str:
    store = app.state.store
    return store.begin(store.add_patient("Bed 3, invented", invented=True))


def browser(app, **more) -> TestClient:
    return TestClient(
        app, base_url="http://127.0.0.1:8000", headers=OWN_PAGE, follow_redirects=False, **more
    )


def sign_in(client: TestClient, name=OWNER, password=PASSWORD, back="/"):
    form = {"name": name, "password": password, "back": back}
    return client.post("/sign-in", data=form)


@pytest.fixture
def client(app) -> TestClient:
    made = browser(app)
    assert sign_in(made).status_code == 303
    return made


def acts(app) -> list[tuple[str, str]]:
    with app.state.store.database.reading() as connection:
        return [(link.by, link.action) for link, _ in links(connection) if link.kind == "sign-in"]


# The first start.


def test_the_first_start_makes_the_owner_and_nothing_else_is_reached(empty):
    client = browser(empty)
    for path in ("/", "/catalogue", "/settings", "/people", "/api/patients", "/trail"):
        answer = client.get(path)
        assert answer.status_code == 401
        assert ("First start" in answer.text) == (not path.startswith("/api"))
    assert client.post("/demonstration").status_code == 401
    weak = client.post("/first-owner", data={"name": OWNER, "password": "short"})
    assert weak.status_code == 422
    assert "12 to 256 characters" in weak.text
    assert f'value="{OWNER}"' in weak.text  # what was typed is kept, the password is not
    assert "short" not in weak.text.replace("shorthand", "")
    form = {"name": OWNER, "password": PASSWORD}
    assert client.post("/first-owner", data=form).status_code == 303
    assert client.get("/").status_code == 200
    second = {"name": "Eve Example", "password": PASSWORD}
    assert browser(empty).post("/first-owner", data=second).status_code == 401
    assert empty.state.access.people.named("Eve Example") is None


# The id of a browser.


def test_an_id_is_random_new_at_every_sign_in_and_kept_only_as_a_hash(app):
    client = browser(app)
    sign_in(client)
    first = client.cookies["signed-in"]
    assert len(first) >= 43  # 256 bits in base64
    with app.state.store.database.reading() as connection:
        assert first not in connection.scalars(select(browsers.c.mark)).all()
    sign_in(client)
    second = client.cookies["signed-in"]
    assert second != first
    old = browser(app, cookies={"signed-in": first})
    assert old.get("/").status_code == 401  # the one before has ended


def test_an_id_that_a_stranger_chose_is_never_taken_over(app):
    chosen = "x" * 43
    client = browser(app, cookies={"signed-in": chosen})
    assert client.get("/").status_code == 401
    answer = sign_in(client)
    assert chosen not in answer.headers["set-cookie"]
    assert browser(app, cookies={"signed-in": chosen}).get("/").status_code == 401


def test_the_cookie_is_not_for_scripts_and_not_for_other_sites(app):
    told = sign_in(browser(app)).headers["set-cookie"].lower()
    assert told.startswith("signed-in=")
    assert {"httponly", "samesite=strict", "path=/"} <= set(told.split("; "))
    assert "max-age" not in told  # closing the browser signs out
    assert "expires" not in told
    assert "domain" not in told


def test_with_tls_the_cookie_is_this_hosts_alone_and_encrypted(tmp_path):
    app = create_app(tmp_path / "records.db", demo=False, hosts=("ward.example",), tls=True)
    an_owner(app)
    client = TestClient(
        app, base_url="https://ward.example", headers=OWN_PAGE, follow_redirects=False
    )
    answer = sign_in(client)
    told = answer.headers["set-cookie"].lower()
    assert told.startswith("__host-signed-in=")
    assert {"secure", "httponly", "samesite=strict", "path=/"} <= set(told.split("; "))
    assert "domain" not in told
    assert answer.headers["strict-transport-security"].startswith("max-age=31536000")
    assert client.get("/").status_code == 200
    plain = TestClient(
        app, base_url="https://ward.example", cookies={"signed-in": client.cookies.popitem()[1]}
    )
    assert plain.get("/").status_code == 401  # a cookie without the prefix does not count


def test_after_signing_out_the_id_is_worth_nothing(app, client):
    replayed = client.cookies["signed-in"]
    answer = client.post("/sign-out")
    assert answer.headers["location"] == "/sign-in"
    assert client.get("/").status_code == 401
    assert browser(app, cookies={"signed-in": replayed}).get("/").status_code == 401
    assert acts(app)[-2:] == [(OWNER, "signed in"), (OWNER, "signed out")]


def test_a_closed_account_is_signed_out_at_once(app, client):
    people = app.state.access.people
    people.add("Paul Example", Role.OWNER)
    people.close(OWNER)
    assert client.get("/").status_code == 401
    assert sign_in(browser(app)).status_code == 422


def test_own_browsers_are_listed_and_ended_and_those_of_others_are_not(app, client):
    other = browser(app)
    sign_in(other)
    mine = app.state.access.people.get(OWNER)
    listed = app.state.access.visits.of(mine)
    assert len(listed) == 2
    page = client.get("/account").text
    assert page.count("This browser") == 1
    assert page.count("Sign out there") == 1
    number = next(
        one.number for one in listed if f'value="{one.number}"' in page
    )  # only the other has a button
    eve, given = app.state.access.people.add("Eve Example", Role.EXAMINER)
    app.state.access.people.set_password(eve.name, ANOTHER)
    third = browser(app)
    sign_in(third, eve.name, ANOTHER)
    third.post("/account/browsers", data={"number": number, "password": ANOTHER})
    assert other.get("/").status_code == 200  # it is not Eve's to end
    assert client.post("/account/browsers", data={"number": number}).status_code == 422
    assert other.get("/").status_code == 200  # the password is asked for once more
    client.post("/account/browsers", data={"number": number, "password": PASSWORD})
    assert other.get("/").status_code == 401
    assert client.get("/").status_code == 200
    assert given not in page


def test_a_new_password_ends_every_other_browser(app, client):
    other = browser(app)
    sign_in(other)
    wrong = client.post("/account/password", data={"password": "no", "new": ANOTHER})
    assert wrong.status_code == 422
    same = client.post("/account/password", data={"password": PASSWORD, "new": PASSWORD})
    assert same.status_code == 422
    form = {"password": PASSWORD, "new": ANOTHER, "back": "/account"}
    assert client.post("/account/password", data=form).status_code == 303
    assert client.get("/").status_code == 200
    assert other.get("/").status_code == 401
    assert sign_in(browser(app)).status_code == 422
    assert sign_in(browser(app), password=ANOTHER).status_code == 303


def test_a_given_password_opens_nothing_but_its_own_change(app, examination):
    _, given = app.state.access.people.add("Ed Example", Role.EXAMINER)
    client = browser(app)
    assert sign_in(client, "Ed Example", given).status_code == 303
    answer = client.get(f"/examinations/{examination}")
    assert answer.status_code == 403
    assert "Choose a password of your own" in answer.text
    assert "Bed 3" not in answer.text
    form = {"password": given, "new": ANOTHER, "back": f"/examinations/{examination}"}
    changed = client.post("/account/password", data=form)
    assert changed.headers["location"] == f"/examinations/{examination}"
    assert client.get(f"/examinations/{examination}").status_code == 200


# Locking.


def test_it_locks_over_the_same_address_and_goes_on_where_it_was(app, client, clock, examination):
    address = f"/examinations/{examination}/note?from=page"
    assert client.get(address).status_code == 200
    clock.now += timedelta(minutes=5, seconds=1)
    locked = client.get(address)
    assert locked.status_code == 401
    assert "Locked" in locked.text
    assert "Bed 3" not in locked.text
    assert 'name="password"' in locked.text
    before = client.cookies["signed-in"]
    wrong = client.post("/unlock", data={"password": "no", "back": address})
    assert wrong.status_code == 422
    assert client.get(address).status_code == 401
    opened = client.post("/unlock", data={"password": PASSWORD, "back": address})
    assert opened.headers["location"] == address
    assert client.cookies["signed-in"] != before
    assert client.get(address).status_code == 200
    assert browser(app, cookies={"signed-in": before}).get("/").status_code == 401
    assert [action for _, action in acts(app)] == ["signed in", "refused", "unlocked"]


def test_touches_keep_it_open_and_a_page_that_looks_by_itself_does_not(client, clock, examination):
    place = f"/examinations/{examination}"
    for _ in range(4):  # sixteen minutes of work
        clock.now += timedelta(minutes=4)
        assert client.post("/still-here", data={"x": "y"}).status_code == 204
    for _ in range(5):
        clock.now += timedelta(minutes=1)
        assert client.get(f"{place}/changes?after=0").status_code in (200, 204)
        assert client.get(f"{place}/screen/state").status_code == 200
    clock.now += COARSE
    assert client.get(f"{place}/changes?after=0").status_code == 401


@pytest.mark.parametrize("minutes", [1, 15])
def test_the_time_is_each_persons_own_from_1_to_15_minutes(client, clock, minutes):
    assert client.post("/account/lock", data={"minutes": minutes}).status_code == 303
    clock.now += timedelta(minutes=minutes) - COARSE
    assert client.get("/").status_code == 200
    clock.now += timedelta(minutes=minutes, seconds=1)
    assert client.get("/").status_code == 401


@pytest.mark.parametrize("minutes", ["0", "16", "-1", "999999999999", "five", ""])
def test_no_other_time_is_taken(app, client, minutes):
    assert client.post("/account/lock", data={"minutes": minutes}).status_code == 422
    assert app.state.access.people.get(OWNER).lock_minutes == 5


def test_after_twelve_hours_it_is_signed_out_however_busy(app, client, clock):
    begun = clock.now
    while clock.now - begun <= ABSOLUTE:
        assert client.get("/settings").status_code == 200
        clock.now += timedelta(minutes=4)
    answer = client.get("/settings")
    assert answer.status_code == 401
    assert "Sign in" in answer.text  # not the lock page: name and password both
    assert client.post("/unlock", data={"password": PASSWORD}).status_code == 200
    assert client.get("/settings").status_code == 401
    sign_in(browser(app))  # what has ended is swept away
    with app.state.store.database.reading() as connection:
        assert len(connection.execute(select(browsers)).all()) == 1


def test_it_can_be_locked_by_hand(app, client):
    assert client.post("/lock", data={"back": "/settings"}).headers["location"] == "/settings"
    assert client.get("/settings").status_code == 401
    assert acts(app)[-1] == (OWNER, "locked")
    assert client.post("/account/lock", data={"minutes": "15"}).status_code == 401


def test_what_is_sent_to_a_locked_browser_is_refused_so_that_it_is_kept(
    app, client, clock, examination
):
    clock.now += timedelta(minutes=6)
    form = {"entry": str(uuid4()), "test": "weber", "choice": "record whole left"}
    address = f"/examinations/{examination}/findings"
    answer = client.post(address, data=form, headers=FRAGMENT)
    assert answer.status_code == 401
    assert answer.headers["not-admitted"] == "locked"
    assert app.state.store.history(examination) == ()
    plain = client.post(address, data=form)  # a page without its script
    assert "not recorded" in plain.text
    assert f'value="/examinations/{examination}"' in plain.text


@pytest.mark.parametrize(
    "back",
    [
        "https://elsewhere.example/", "//[x", "//elsewhere.example/", "/\\elsewhere.example",
        "javascript:alert(1)", "elsewhere", "", "/\t/elsewhere.example", "http:/x",
    ],
)  # fmt: skip
def test_signing_in_leads_to_no_other_site(app, back):
    assert sign_in(browser(app), back=back).headers["location"] == "/"


# Guessing.


def test_guesses_wait_longer_and_longer_and_the_owner_gets_in_after_a_minute(app, clock):
    client = browser(app)
    waits = []
    for _ in range(FREE["account"] + 8):
        answer = sign_in(client, password=WRONG)
        while answer.status_code == 429:
            clock.now += timedelta(seconds=1)
            waits.append(clock.now)
            answer = sign_in(client, password=WRONG)
        assert answer.status_code == 422
    assert sign_in(client).status_code == 429  # even the right one waits
    clock.now += LONGEST_WAIT
    assert sign_in(client).status_code == 303
    assert len(waits) >= 2 + 4 + 8 + 16 + 32
    refused = [action for _, action in acts(app) if action == "refused"]
    assert len(refused) == FREE["account"] + 8


def test_no_more_than_a_hundred_guesses_an_hour_at_one_account(app, clock):
    guesses = app.state.access.guesses
    end, made = clock.now + timedelta(hours=1), 0
    while clock.now < end:
        try:
            guesses.begin(("account", "olga"))
            made += 1
        except TooManyGuesses as early:
            clock.now += timedelta(seconds=early.wait_s)
    assert made <= 100  # OWASP ASVS 4.0.3, 2.2.1


def test_many_names_from_one_address_are_slowed_down_too(app):
    answers = [
        sign_in(browser(app), name=f"Guess {n}", password=WRONG).status_code
        for n in range(FREE["address"] + 3)
    ]
    assert answers[: FREE["address"]] == [422] * FREE["address"]
    assert answers[-1] == 429


def test_tries_at_the_same_moment_are_no_way_round(app):
    guesses = app.state.access.guesses
    made = 0
    for _ in range(50):  # none has had its answer yet
        try:
            guesses.begin(("account", "olga"))
            made += 1
        except TooManyGuesses:
            continue
    assert made == FREE["account"] + 1


def test_a_name_nobody_has_is_answered_alike_and_as_slowly(app):
    def said(name: str) -> str:
        app.state.access.guesses._failures.clear()
        return sign_in(browser(app), name=name, password="x" * 20).text.replace(name, "NAME")

    assert said(OWNER) == said("Nobody Example")

    def seconds(name: str) -> float:
        begun = time.process_time()
        app.state.access.people.check(name, "x" * 20)
        return time.process_time() - begun

    seconds("Nobody Example")  # makes the hash that stands in
    known = statistics.median(seconds(OWNER) for _ in range(5))
    unknown = statistics.median(seconds("Nobody Example") for _ in range(5))
    assert 0.5 < known / unknown < 2.0


def test_a_password_typed_in_place_of_the_name_is_not_written_down(app):
    sign_in(browser(app), name=PASSWORD, password="")
    with app.state.store.database.reading() as connection:
        told = [link.subject + link.by for link, _ in links(connection)]
    assert "unknown name" in told[-1]
    assert not any(PASSWORD in line for line in told)


# The demonstration.


def test_the_invented_examiner_is_signed_in_by_one_touch_on_a_demonstration(tmp_path):
    app = create_app(tmp_path / "demo.db", demo=True)
    client = browser(app)
    page = client.get("/")
    assert page.status_code == 401
    assert "Begin as the invented examiner" in page.text
    assert 'name="password"' not in page.text
    assert client.post("/demonstration").status_code == 303
    assert "No real person" in client.get("/").text
    # Whoever plays with it enters no real patient.
    identity = str(uuid4())
    client.post("/examinations", data={"examination": identity, "label": "Bed 1"})
    assert app.state.store.head(identity).invented


def test_no_demonstration_where_somebody_owns_the_database_or_others_can_reach_it(tmp_path):
    file = tmp_path / "demo.db"
    shown = create_app(file, demo=True)
    client = browser(shown)
    client.post("/demonstration")
    demonstrated = client.cookies["signed-in"]
    for app in (
        create_app(file, demo=False),
        create_app(file, demo=True, hosts=("ward.example", "127.0.0.1"), tls=False),
    ):
        assert not app.state.access.demonstration
        assert browser(app).post("/demonstration").status_code == 401
        # What was signed in at a demonstration is worth nothing here.
        again = browser(app, cookies={"signed-in": demonstrated})
        assert again.get("/").status_code == 401
    an_owner(shown)
    owned = create_app(file, demo=True)
    assert not owned.state.access.demonstration
    assert browser(owned).post("/demonstration").status_code == 401
    assert "Begin as" not in browser(owned).get("/").text


def test_a_demonstration_shows_no_real_patient(tmp_path):
    app = create_app(tmp_path / "demo.db", demo=True)
    store = app.state.store
    real = store.begin(store.add_patient("Bed 3", invented=False))
    client = browser(app)
    client.post("/demonstration")
    assert client.get(f"/examinations/{real}").status_code == 404
    assert "Bed 3" not in client.get("/").text
    assert app.state.access.people.get(DEMONSTRATOR).invented_only


# What is written elsewhere.


CANARY = "Quillon Vandersnoot"


def test_no_log_holds_patient_data_or_passwords(app, client, caplog, capfd, monkeypatch):
    from decussate.records import Store
    from decussate.web import pages

    caplog.set_level(logging.DEBUG)
    store = app.state.store
    load_demo(store)
    identity = str(uuid4())
    client.post("/examinations", data={"examination": identity, "label": CANARY})
    url = f"/examinations/{identity}"
    entry = {"entry": str(uuid4()), "text": f"R ptosis partial. {CANARY} says zig zag"}
    client.post(f"{url}/shorthand", data=entry, headers=FRAGMENT)
    client.post(f"{url}/findings", data={"entry": str(uuid4()), "test": CANARY})
    for path in (url, f"{url}/note", f"{url}/history", f"/api/patients?q={CANARY}", f"/{CANARY}"):
        client.get(path)
    sign_in(browser(app), name=CANARY, password=SECRET)

    def fault(*_: object, **__: object) -> None:
        raise ValueError(f"{CANARY} could not be written; {SECRET}")

    monkeypatch.setattr(pages, "bedside_state", fault)
    answer = client.get(url)
    assert answer.status_code == 500
    assert CANARY not in answer.text
    assert "Traceback" not in answer.text
    monkeypatch.setattr(Store, "history", fault)
    assert client.get(f"{url}/history").status_code == 500
    out, err = capfd.readouterr()
    told = caplog.text + out + err
    assert "ValueError at" in told  # the fault is told, by its kind and place
    assert "test_access_signing_in.py" in told
    assert CANARY not in told.replace(f"/{CANARY}", "").replace("q=" + CANARY.split()[0], "")
    assert SECRET not in told


def test_a_fault_of_the_database_does_not_log_what_was_being_written(app, client, caplog):
    from sqlalchemy import text

    with app.state.store.database.writing() as connection:
        connection.execute(text("alter table patient rename to elsewhere"))
    form = {"examination": str(uuid4()), "label": CANARY}
    answer = client.post("/examinations", data=form)
    assert answer.status_code in (500, 507)
    assert CANARY not in caplog.text
    assert CANARY not in answer.text
