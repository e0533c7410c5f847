"""Read tokens: a program reads for a person, only reads, and only while the person lets it.

Checked against: RFC 6750 (bearer tokens: section 2.1 the header, section 3 the answer to none);
RFC 9457; OWASP ASVS 5.0 V7.2.3 (at least 128 random bits), V8.2.1, V8.2.2.
"""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from decussate.errors import BadInput
from decussate.records.people import now_utc
from decussate.records.read_tokens import GOOD_FOR, MOST, ReadTokens
from decussate.records.roles import Role
from decussate.records.tables import audit, read_tokens
from decussate.web.api_problems import PROBLEM_TYPE
from decussate.web.app import create_app
from signing_in import a_person, an_owner, signed_in


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    made = create_app(tmp_path_factory.mktemp("tokens") / "records.db", demo=True)
    made.state.access.demonstration = False
    an_owner(made)
    return made


@pytest.fixture(scope="module")
def real(app) -> str:
    store = app.state.store
    return store.begin(store.add_patient("Bed 3", invented=False))


def program(app, token: str = "", kind: str = "Bearer") -> TestClient:
    """A program that sends a token and no cookie."""
    headers = {"authorization": f"{kind} {token}"} if token else {}
    return TestClient(app, base_url="http://127.0.0.1:8000", headers=headers)


def token_of(app, role: Role, name: str) -> str:
    return app.state.access.tokens.make(a_person(app, role), name)


def test_without_a_token_nothing_is_read_and_the_answer_says_how(app, real):
    for address in (
        "/api/patients",
        f"/api/examinations/{real}",
        "/api/tests",
        "/api/openapi.json",
    ):
        answer = program(app).get(address)
        assert answer.status_code == 401
        assert answer.headers["www-authenticate"].startswith("Bearer")
        assert answer.headers["content-type"] == PROBLEM_TYPE
        assert "Bed 3" not in answer.text


@pytest.mark.parametrize("kind", ["Bearer", "bearer", "BEARER"])
def test_with_a_token_a_reader_reads(app, real, kind):
    client = program(app, token_of(app, Role.READER, f"reads {kind}"), kind)
    assert client.get(f"/api/examinations/{real}").json()["label"] == "Bed 3"
    assert client.get(f"/api/examinations/{real}/localisation").status_code == 200
    patients = {head.patient for head in app.state.store.examinations()}
    assert client.get("/api/patients").json()["total"] == len(patients)


@pytest.mark.parametrize("sent", ["wrong", "", "Bearer", "decussate-read-" + "A" * 43, "\xff" * 9])
def test_another_token_is_none(app, real, sent):
    client = program(app)
    answer = client.get(
        f"/api/examinations/{real}", headers={"authorization": f"Bearer {sent}".encode("latin-1")}
    )
    assert answer.status_code == 401


def test_a_token_is_no_password_and_no_way_to_the_pages(app, real):
    token = token_of(app, Role.EXAMINER, "pages")
    client = program(app, token)
    assert client.get(f"/examinations/{real}").status_code == 401
    client.headers["sec-fetch-site"] = "same-origin"
    assert client.post(f"/examinations/{real}/sweep", data={"group": "tongue"}).status_code == 401
    assert client.post(f"/api/examinations/{real}").status_code == 405
    assert program(app, token, "Basic").get("/api/tests").status_code == 401


@pytest.mark.parametrize(
    ("role", "status"), [(Role.ADMINISTRATOR, 403), (Role.TEACHER, 404), (Role.EXAMINER, 200)]
)
def test_a_token_can_no_more_than_the_role(app, real, role, status):
    client = program(app, token_of(app, role, f"as {role}"))
    answer = client.get(f"/api/examinations/{real}")
    assert answer.status_code == status
    assert ("Bed 3" in answer.text) == (status == 200)


def test_a_teacher_sees_invented_patients_alone(app, real):
    client = program(app, token_of(app, Role.TEACHER, "lists"))
    listed = client.get("/api/examinations", params={"size": 200}).json()["items"]
    assert listed
    assert all(line["invented"] for line in listed)
    found = client.get("/api/examinations", params={"q": "bed 3"})
    assert real not in found.text
    invented = listed[0]["id"]
    assert client.get(f"/api/examinations/{invented}/comparison/{real}").status_code == 404


def test_what_a_token_reads_is_in_the_trail_under_the_name(app, real):
    person = a_person(app, Role.READER)
    client = program(app, token_of(app, Role.READER, "trail"))
    client.get(f"/api/examinations/{real}/fhir")
    with app.state.store.database.reading() as connection:
        last = connection.execute(select(audit).order_by(audit.c.sequence.desc())).first()
    assert (last.action, last.by) == ("seen", person.name)
    assert real in last.subject
    assert "read interface" in last.subject
    assert last.subject.endswith("token trail")


def test_a_token_ends_by_its_person_by_time_and_with_the_account(app, real):
    person, address = a_person(app, Role.READER), f"/api/examinations/{real}"
    ended, closed = (token_of(app, Role.READER, name) for name in ("ended", "closed"))
    tokens = app.state.access.tokens
    number = next(one.number for one in tokens.of(person) if one.name == "ended")
    tokens.end(an_owner(app), number)  # another's is left alone
    assert program(app, ended).get(address).status_code == 200
    tokens.end(person, number)
    assert program(app, ended).get(address).status_code == 401
    later = ReadTokens(app.state.store, lambda: now_utc() + GOOD_FOR + timedelta(days=1))
    assert later.whose(closed) is None
    assert tokens.whose(closed) is not None
    app.state.access.people.close(person.name)
    assert program(app, closed).get(address).status_code == 401


def test_the_store_keeps_no_token(app):
    token = app.state.access.tokens.make(an_owner(app), "kept nowhere")
    assert len(token) > 50
    with app.state.store.database.reading() as connection:
        rows = str(connection.execute(select(read_tokens)).all())
        trail = str(connection.execute(select(audit)).all())
    assert token not in rows
    assert token not in trail
    assert token.removeprefix("decussate-read-") not in rows
    assert app.state.store.verify().problems == ()


def test_tokens_have_names_and_are_not_without_number(app):
    person, tokens = a_person(app, Role.EXAMINER), app.state.access.tokens
    for name in ("", " ", "x" * 61, "line\nbreak\0"):
        with pytest.raises(BadInput):
            tokens.make(person, name)
    while len(tokens.of(person)) < MOST:
        tokens.make(person, f"number {len(tokens.of(person))}")
    with pytest.raises(BadInput, match="at most"):
        tokens.make(person, "one more")


def test_nobody_gets_a_token_who_could_not_answer_for_it(app):
    """Closed meanwhile, given a password by another, or without one."""
    people, tokens = app.state.access.people, app.state.access.tokens
    given, _ = people.add("Given Example", Role.READER)
    with pytest.raises(BadInput, match="password of their own"):
        tokens.make(given, "too early")
    people.set_password(given.name, "quartz lantern 88 heron")
    tokens.make(given, "in time")
    people.close(given.name)
    for person in (given, people.demonstrator()):
        with pytest.raises(BadInput, match="open account"):
            tokens.make(person, "too late")


def test_a_person_makes_and_ends_one_on_the_page(app, real):
    client = program(app)
    client.headers["sec-fetch-site"] = "same-origin"
    client.cookies.set("signed-in", signed_in(app, an_owner(app)))
    page = client.post("/account/tokens", data={"name": "<b>ward</b> list"})
    (token,) = re.findall(r'value="(decussate-read-[^"]+)"', page.text)
    assert "<b>ward</b>" not in page.text
    assert program(app, token).get(f"/api/examinations/{real}").status_code == 200
    again = client.get("/account/tokens")
    assert token not in again.text
    number = re.search(r'name="number" value="([^"]+)"><button>End “&lt;b&gt;ward', again.text)[1]
    client.post("/account/tokens/end", data={"number": number})
    assert program(app, token).get(f"/api/examinations/{real}").status_code == 401
