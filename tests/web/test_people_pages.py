"""The page of people: accounts made, changed and closed; the trail page; what a reader is offered.

Checked against: OWASP ASVS 5.0 V6.4.1 (given passwords), V8.3 (a change of role counts at once).
"""

import re

import pytest
from conftest import OWN_PAGE
from fastapi.testclient import TestClient

from decussate.records.demo import load_demo
from decussate.records.roles import Role
from decussate.web.app import create_app
from signing_in import a_person, an_owner, signed_in, signed_in_cookie


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    made = create_app(tmp_path_factory.mktemp("people") / "records.db", demo=False)
    load_demo(made.state.store)
    an_owner(made)
    return made


@pytest.fixture
def client(app) -> TestClient:
    made = TestClient(app, base_url="http://127.0.0.1:8000", headers=OWN_PAGE)
    made.cookies.set("signed-in", signed_in(app, an_owner(app)))
    return made


def given_in(page: str) -> str:
    return re.search(r"<code>([a-z2-9-]{19})</code>", page)[1]


def test_an_account_is_made_changed_and_closed(app, client):
    people = app.state.access.people
    made = client.post("/people", data={"name": "Ed Example", "role": "reader"})
    assert made.status_code == 200
    given = given_in(made.text)
    assert people.check("Ed Example", given).role is Role.READER
    assert given not in client.get("/people").text  # shown this once
    twice = client.post("/people", data={"name": "ed example", "role": "reader"})
    assert twice.status_code == 422
    assert "no account has or had" in twice.text
    changed = client.post("/people/role", data={"name": "Ed Example", "role": "examiner"})
    assert "Ed Example is examiner now" in changed.text
    reset = client.post("/people/password", data={"name": "Ed Example"})
    assert people.check("Ed Example", given) is None
    assert people.check("Ed Example", given_in(reset.text)).role is Role.EXAMINER
    closed = client.post("/people/close", data={"name": "Ed Example"})
    assert "is closed" in closed.text
    assert people.check("Ed Example", given_in(reset.text)) is None
    assert "Closed" in client.get("/people").text


@pytest.mark.parametrize(
    ("path", "form", "said"),
    [
        ("/people", {"name": "", "role": "reader"}, "1 to 100 letters"),
        ("/people", {"name": "New Example", "role": "king"}, "one of owner"),
        ("/people", {"name": "New Example"}, "one of owner"),
        ("/people/role", {"name": "Nobody", "role": "reader"}, "a person with an account"),
        ("/people/close", {"name": "Olga Example, invented owner"}, "at least one owner"),
        ("/people", {"name": "Invented examiner", "role": "owner"}, "no account has or had"),
    ],
)
def test_what_cannot_be_is_said_and_changes_nothing(app, client, path, form, said):
    before = app.state.access.people.all()
    answer = client.post(path, data=form)
    assert answer.status_code == 422
    assert said in answer.text
    assert app.state.access.people.all() == before


def test_the_trail_page_names_people_and_no_patient(app, client):
    head = app.state.store.examinations()[0]
    client.get(f"/examinations/{head.id}/note")
    page = client.get("/trail").text
    assert f"{head.id} note" in page
    assert "Olga Example, invented owner" in page
    assert not any(one.label in page for one in app.state.store.examinations())


@pytest.mark.browser
def test_a_reader_is_offered_nothing_that_would_be_refused(app, browser):
    import socket
    import threading
    import time

    import uvicorn

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    address = f"http://127.0.0.1:{port}"
    context = browser.new_context(viewport={"width": 360, "height": 780})
    context.add_cookies([signed_in_cookie(app, address, a_person(app, Role.READER))])
    page = context.new_page()
    page.set_default_timeout(20000)
    page.goto(address)
    page.get_by_text("Reading only").wait_for()
    assert page.get_by_role("link", name="New patient").count() == 0
    page.locator("a.open").first.click()
    page.locator("#group-pupils > details > summary").click()
    page.locator("#group-pupils .choice").first.wait_for()
    assert page.locator("#group-pupils .choice:enabled").count() == 0
    assert page.get_by_role("link", name="Timers").count() == 0
    page.locator(".dock").wait_for()
    context.close()
    server.should_exit = True
    thread.join(10)
