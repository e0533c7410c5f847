"""Too many requests, refused ones, and what comes from elsewhere.

Checked against: RFC 6585, section 4 (429, Retry-After); RFC 9110, section 15.5.6 (405 with Allow);
OWASP ASVS 5.0 V2.4.1, V4.1.3, V13.4.4, V16.3.2, V16.3.3.
"""

import pytest
from conftest import OWN_PAGE
from fastapi.testclient import TestClient

from decussate.records.chain import links
from decussate.records.roles import Role
from decussate.web.access_rate import A_MINUTE, RequestRate, TooManyRequests
from decussate.web.access_refusals import EACH_AN_HOUR
from decussate.web.app import create_app
from signing_in import a_person, an_owner, signed_in

TOUCHES_A_SECOND = 10
"""More than the hands of a quick examiner make (judgement)."""


@pytest.fixture
def app(tmp_path):
    made = create_app(tmp_path / "records.db", demo=True)
    made.state.access.demonstration = False
    an_owner(made)
    return made


def browser(app, person) -> TestClient:
    client = TestClient(app, base_url="http://127.0.0.1:8000", headers=OWN_PAGE)
    client.cookies.set("signed-in", signed_in(app, person), domain="127.0.0.1")
    return client


def refusals(app) -> list:
    with app.state.store.database.reading() as connection:
        return [link for link, _ in links(connection) if link.action == "refused"]


def test_quick_hands_are_never_held_off():
    rate = RequestRate()
    for _ in range(TOUCHES_A_SECOND * 60 * 2):  # each touch and what the page asks after it
        rate.count("person", "Example")
    assert A_MINUTE["address"] >= 5 * A_MINUTE["person"]  # several share an address


def test_too_many_requests_wait_and_lose_nothing(app):
    app.state.access.rate = RequestRate({"person": 3, "address": 1000})
    client = browser(app, a_person(app, Role.EXAMINER))
    examination = next(head.id for head in app.state.store.examinations())
    finding = {"test": "ask_vomiting", "response": "present"}
    for _ in range(3):
        client.get("/settings")
    before = len(app.state.store.examination(examination).findings)
    held = client.post(f"/examinations/{examination}/findings", data=finding)
    assert held.status_code == 429
    assert 1 <= int(held.headers["retry-after"]) <= 60
    assert "sent again" in held.text
    assert len(app.state.store.examination(examination).findings) == before
    assert browser(app, a_person(app, Role.READER)).get("/settings").status_code == 200


def test_the_limits_are_counted_apart():
    rate = RequestRate({"person": 2, "address": 2})
    for which in ("one", "other"):
        rate.count("person", which)
        rate.count("person", which)
        with pytest.raises(TooManyRequests):
            rate.count("person", which)
    rate.count("address", "one")


def test_what_was_refused_is_in_the_trail(app):
    reader = a_person(app, Role.READER)
    assert browser(app, reader).post("/examinations", data={}).status_code == 403
    foreign = TestClient(
        app, base_url="http://127.0.0.1:8000", headers={"origin": "https://evil.example"}
    )
    assert foreign.post("/sign-in", data={}).status_code == 403
    elsewhere = TestClient(app, base_url="http://evil.example")
    assert elsewhere.get("/").status_code == 421
    found = [(link.by, link.subject) for link in refusals(app)]
    assert any(by == reader.name and "role: POST /examinations" in about for by, about in found)
    assert any("another site: POST /sign-in" in about for _, about in found)
    assert any("another name: GET /" in about for _, about in found)


def test_a_flood_of_refusals_does_not_fill_the_trail(app):
    client = browser(app, a_person(app, Role.READER))
    for _ in range(EACH_AN_HOUR + 30):
        assert client.get("/trail").status_code == 403
    assert len(refusals(app)) == EACH_AN_HOUR


def test_trace_is_refused(app):
    client = TestClient(app, base_url="http://127.0.0.1:8000")
    answer = client.request("TRACE", "/sign-in", headers={"x-secret": "kept"})
    assert answer.status_code == 405
    assert "GET" in answer.headers["allow"]
    assert "kept" not in answer.text


def test_no_header_of_a_proxy_is_believed(app):
    forged = {
        **OWN_PAGE,
        "x-forwarded-for": "10.9.8.7",
        "x-forwarded-host": "evil.example",
        "forwarded": "for=10.9.8.7;host=evil.example",
        "x-real-ip": "10.9.8.7",
    }
    client = TestClient(app, base_url="http://127.0.0.1:8000", headers=forged)
    wrong = {"name": "Olga Example, invented owner", "password": "a wrong guess of twelve"}
    page = client.post("/sign-in", data=wrong)
    assert page.status_code == 422
    assert "evil.example" not in page.text
    with app.state.store.database.reading() as connection:
        assert not any("10.9.8.7" in str(link) for link in links(connection))
