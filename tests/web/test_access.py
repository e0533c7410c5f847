"""Every route against every role and against nobody; what a page shows is in the trail first.

The two tables below are what is meant to be; they are compared with what the program says of itself
and with how it answers. A route that is in no line of the table fails the test: say what it needs
with `decussate.web.access.needs`, and add it here.

Checked against: OWASP ASVS 5.0 V8.2 (function and object level), V8.3 (decided on the server),
V8.1 (documented).
"""

import re
from uuid import uuid4

import pytest
from app_routes import every_route
from conftest import FRAGMENT, OWN_PAGE
from fastapi.testclient import TestClient

from decussate.records.chain import links
from decussate.records.roles import GRANTS, Role
from decussate.web.access import need_of
from decussate.web.app import create_app
from signing_in import PASSWORD, a_person, an_owner, signed_in

ROUTES = {
    "OPEN": """
        GET /away  GET /health  GET /manifest.webmanifest  GET /service-worker.js
        GET /sign-in  POST /sign-in  POST /unlock  POST /lock  POST /sign-out
        POST /first-owner  POST /demonstration  GET /patient  POST /patient
        POST /sign-in/code
        """,
    "OWN": """
        GET /account  POST /account/browsers  POST /account/lock  POST /account/password
        GET /settings  POST /settings  POST /still-here
        GET /account/tokens  POST /account/tokens  POST /account/tokens/end
        GET /account/second-factor  POST /account/second-factor
        POST /account/second-factor/confirm  POST /account/second-factor/recovery
        POST /account/second-factor/off
        """,
    "LEARN": """
        GET /about  GET /catalogue  GET /catalogue/{test_id}  GET /explore  GET /sources
        GET /api/openapi.json  GET /api/places  GET /api/sources  GET /api/tests
        GET /api/tests/{test_id}  GET /api/{rest:path}  POST /api/{rest:path}
        PUT /api/{rest:path}  PATCH /api/{rest:path}  DELETE /api/{rest:path}
        """,
    "READ": """
        GET /  GET /examinations/{examination_id}  GET /examinations/{examination_id}/attachments
        GET /examinations/{examination_id}/attachments/{attachment_id}
        GET /examinations/{examination_id}/changes  GET /examinations/{examination_id}/comparison
        GET /examinations/{examination_id}/examination.json
        GET /examinations/{examination_id}/history  GET /examinations/{examination_id}/letter
        GET /examinations/{examination_id}/letter.html
        GET /examinations/{examination_id}/letter.md  GET /examinations/{examination_id}/letter.pdf
        GET /examinations/{examination_id}/note  GET /examinations/{examination_id}/note.md
        GET /examinations/{examination_id}/note.txt
        GET /examinations/{examination_id}/parts/{key}
        GET /examinations/{examination_id}/summary.pdf  GET /examinations/{examination_id}/urgent
        GET /examinations/{examination_id}/where  GET /examinations/{examination_id}/where/finding
        GET /examinations/{examination_id}/where/place
        GET /api/patients  GET /api/examinations  GET /api/examinations/{examination_id}
        GET /api/examinations/{examination_id}/comparison/{earlier_id}
        GET /api/examinations/{examination_id}/fhir
        GET /api/examinations/{examination_id}/localisation
        """,
    "EXAMINE": """
        GET /new  POST /examinations  GET /examinations/{examination_id}/screen
        GET /examinations/{examination_id}/timers
        POST /examinations/{examination_id}/attachments
        POST /examinations/{examination_id}/attachments/{attachment_id}/findings
        POST /examinations/{examination_id}/audiogram
        POST /examinations/{examination_id}/field-outline
        POST /examinations/{examination_id}/findings  POST /examinations/{examination_id}/letter
        POST /examinations/{examination_id}/note  POST /examinations/{examination_id}/path
        POST /examinations/{examination_id}/screen/acuity
        POST /examinations/{examination_id}/screen/near
        POST /examinations/{examination_id}/screen/pair
        POST /examinations/{examination_id}/screen/unpair
        POST /examinations/{examination_id}/settled  POST /examinations/{examination_id}/shorthand
        POST /examinations/{examination_id}/story  POST /examinations/{examination_id}/sweep
        POST /examinations/{examination_id}/timers/{kind}
        POST /examinations/{examination_id}/undo
        """,
    "SCREEN": """
        GET /screen-content  GET /examinations/{examination_id}/screen/patient
        GET /examinations/{examination_id}/screen/state
        POST /examinations/{examination_id}/screen/state
        POST /examinations/{examination_id}/screen/report
        """,
    "PEOPLE": """
        GET /people  POST /people  POST /people/role  POST /people/password  POST /people/close
        POST /people/second-factor  POST /people/second-factor-for-all
        """,
    "TRAIL": "GET /trail",
}
"""What every route needs."""

MAY = {
    "nobody": {"OPEN"},
    "paired": {"OPEN", "SCREEN"},
    "owner": {"OPEN", "OWN", "LEARN", "READ", "EXAMINE", "SCREEN", "PEOPLE", "TRAIL"},
    "administrator": {"OPEN", "OWN", "LEARN", "PEOPLE", "TRAIL"},
    "examiner": {"OPEN", "OWN", "LEARN", "READ", "EXAMINE", "SCREEN"},
    "reader": {"OPEN", "OWN", "LEARN", "READ"},
    "teacher": {"OPEN", "OWN", "LEARN", "READ", "EXAMINE", "SCREEN"},
}
"""What each role may do; a teacher with invented patients alone."""

EXPECTED = {
    (method, path): permission
    for permission, lines in ROUTES.items()
    for method, path in re.findall(r"(GET|POST|PUT|PATCH|DELETE) (\S+)", lines)
}

PARTS_OF_A_PAGE = re.compile(r"/(changes|parts/\{key\}|urgent|where|where/finding|where/place)$")
"""Addresses that give parts of the page of an examination, which is in the trail already."""


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    """A database with invented patients, one who is not, and a person of each role."""
    made = create_app(tmp_path_factory.mktemp("access") / "records.db", demo=True)
    made.state.access.demonstration = False
    an_owner(made)
    return made


@pytest.fixture(scope="module")
def store(app):
    return app.state.store


@pytest.fixture(scope="module")
def invented(store) -> str:
    return next(head.id for head in store.examinations() if head.invented)


@pytest.fixture(scope="module")
def real(store) -> str:
    return store.begin(store.add_patient("Bed 3", invented=False))


def browser(app, who: str, examination: str = "") -> TestClient:
    """A new browser in which a role is signed in; nobody is, or a screen is paired."""
    client = TestClient(
        app, base_url="http://127.0.0.1:8000", headers=OWN_PAGE, follow_redirects=False
    )
    if who == "paired":
        code = app.state.access.pairings.new_code(examination)
        assert client.post("/patient", data={"code": code}).status_code == 303
    elif who != "nobody":
        person = an_owner(app) if who == "owner" else a_person(app, Role(who))
        client.cookies.set("signed-in", signed_in(app, person))
    return client


def address(path: str, examination: str) -> str:
    """An address of a route with something in every place."""
    given = {
        "examination_id": examination, "earlier_id": examination, "attachment_id": str(uuid4()),
        "test_id": "rinne", "key": "pupils", "kind": "whisper", "rest:path": "nowhere",
    }  # fmt: skip
    return re.sub(r"\{([^}]+)\}", lambda found: given[found[1]], path)


def test_every_route_says_what_it_needs_and_is_in_the_table(app):
    found = {
        (method, path): need_of(endpoint).permission.name if need_of(endpoint) else "NOTHING"
        for method, path, endpoint in every_route(app.routes)
    }
    assert found == EXPECTED


@pytest.mark.parametrize("who", MAY)
def test_every_route_against_every_role(app, who, invented, real):
    wrong = []
    client = browser(app, who, invented)
    for (method, path), permission in EXPECTED.items():
        if permission == "OPEN":
            continue
        examination = real if who != "teacher" and who != "paired" else invented
        length = {"content-length": "0"} if method == "DELETE" else {}
        answer = client.request(method, address(path, examination), headers=length)
        if who == "administrator" and path == "/":
            assert answer.headers["location"] == "/people"  # where the work of this role begins
            continue
        refused = answer.status_code in (401, 403)
        expected = permission not in MAY[who]
        if refused != expected or answer.status_code >= 500:
            wrong.append(f"{method} {path}: {answer.status_code}")
        elif refused:
            # Nobody is asked to sign in; whoever is signed in is told.
            assert answer.status_code == (401 if who in ("nobody", "paired") else 403)
            assert "Bed 3" not in answer.text
    assert wrong == []


def test_open_pages_show_nothing_of_a_patient(app):
    client = browser(app, "nobody")
    for (method, path), permission in EXPECTED.items():
        if permission == "OPEN":
            answer = client.request(method, path, data={} if method == "POST" else None)
            assert answer.status_code < 500
            assert "invented" not in answer.text.lower(), path  # every patient's label says so
            assert "Bed 3" not in answer.text


def test_a_teacher_meets_invented_patients_alone(app, invented, real, store):
    client = browser(app, "teacher")
    for (method, path), permission in EXPECTED.items():
        if "{examination_id}" in path and permission in MAY["teacher"]:
            answer = client.request(method, address(path, real))
            assert answer.status_code == 404, f"{method} {path}"
            assert "Bed 3" not in answer.text
    assert client.get(f"/examinations/{invented}").status_code == 200
    for listed in ("/", "/api/patients", "/api/examinations", "/api/examinations?q=Bed"):
        assert "Bed 3" not in client.get(listed).text
    patient = store.head(real).patient
    again = client.post("/examinations", data={"examination": str(uuid4()), "patient": patient})
    assert again.status_code == 422
    # Whatever the form says, a teacher's new patient is an invented one.
    identity = str(uuid4())
    form = {"examination": identity, "label": "Bed 8", "invented": ""}
    assert client.post("/examinations", data=form).status_code == 303
    assert store.head(identity).invented


def test_a_route_that_says_nothing_lets_nobody_in(app):
    local = create_app(app.state.store.database.path, demo=False)

    @local.get("/forgotten")
    def forgotten() -> str:
        return "open to all"

    client = browser(local, "owner")
    assert client.get("/forgotten").status_code == 403
    assert "open to all" not in client.get("/forgotten").text


def trail(store) -> list[tuple[str, str, str]]:
    with store.database.reading() as connection:
        return [(link.by, link.action, link.subject) for link, _ in links(connection)]


def test_what_is_shown_of_a_patient_is_in_the_trail_under_who_saw_it(app, store, real):
    for (method, path), permission in EXPECTED.items():
        if method != "GET" or permission != "READ":
            continue
        client = browser(app, "reader")
        before = len(trail(store))
        answer = client.get(address(path, real))
        new = [line for line in trail(store)[before:] if line[1] == "seen"]
        about = real if "{examination_id}" in path else "list"
        assert any(by == "Example, reader" and about in what for by, _, what in new), path
        if PARTS_OF_A_PAGE.search(path) and answer.status_code < 300:
            before = len(trail(store))
            client.get(address(path, real))
            assert len(trail(store)) == before, path  # the page is in the trail once


def test_nothing_is_shown_that_cannot_be_put_into_the_trail(app, real, monkeypatch):
    from decussate.records import NotSaved, Store

    def full(*_: object) -> None:
        raise NotSaved("database or disk is full")

    client = browser(app, "reader")
    monkeypatch.setattr(Store, "saw", full)
    answer = client.get(f"/examinations/{real}/note")
    assert answer.status_code == 507
    assert "Bed 3" not in answer.text


def test_an_entry_carries_the_name_of_who_is_signed_in(app, store, real):
    client = browser(app, "examiner")
    form = {"entry": str(uuid4()), "test": "weber", "choice": "record whole left"}
    url = f"/examinations/{real}/findings"
    assert client.post(url, data=form, headers=FRAGMENT).status_code == 200
    last = store.history(real)[-1]
    assert last.entry.by == "Example, examiner"
    assert store.examination(real).present()[-1].by == "Example, examiner"
    assert trail(store)[-1][:2] == ("Example, examiner", "added")
    # A page that is another person's records nothing in this one's name.
    other = FRAGMENT | {"signed-in-as": an_owner(app).id}
    form = {"entry": str(uuid4()), "test": "weber", "choice": "record whole right"}
    refused = client.post(url, data=form, headers=other)
    assert refused.status_code == 401
    assert refused.headers["not-admitted"] == "another"
    assert store.history(real)[-1] == last


def test_a_reader_records_nothing(app, store, real):
    client = browser(app, "reader")
    before = store.history(real)
    form = {"entry": str(uuid4()), "test": "weber", "choice": "record whole right"}
    answer = client.post(f"/examinations/{real}/findings", data=form, headers=FRAGMENT)
    assert answer.status_code == 403
    assert "reader" in answer.text
    plain = client.post(f"/examinations/{real}/findings", data=form)
    assert plain.status_code == 403
    assert "Nothing was recorded" in plain.text
    assert store.history(real) == before


def test_a_paired_screen_is_one_examinations_alone(app, invented, real):
    client = browser(app, "paired", invented)
    page = client.get(f"/examinations/{invented}/screen/patient")
    assert page.status_code == 200
    label = app.state.store.head(invented).label
    assert label not in page.text
    assert label not in client.get(f"/examinations/{invented}/screen/state").text
    assert client.get(f"/examinations/{real}/screen/patient").status_code == 401
    assert client.get(f"/examinations/{real}/screen/state").status_code == 401
    owner = browser(app, "owner")
    assert owner.post(f"/examinations/{invented}/screen/unpair").status_code == 200
    assert client.get(f"/examinations/{invented}/screen/state").status_code == 401


def test_a_paired_screen_marks_nothing_and_says_nothing_of_its_own(app, invented):
    """Whoever holds the device chooses what is shown on it, not what was read from it."""
    client = browser(app, "paired", invented)
    address = f"/examinations/{invented}/screen/state"
    before = client.get(address).json()["shown"]
    for fields in ({"marks": {}}, {"own_words": "Look up"}, {"eye": "left"}, {"language": "cy"}):
        assert client.post(address, json=fields).status_code == 422
    assert client.get(address).json()["shown"] == before
    changed = client.post(address, json={"view": "fixation", "row": 5, "distance_m": 3.0})
    assert changed.status_code == 200
    assert changed.json()["shown"]["view"] == "fixation"


def test_an_examiner_directs_the_screen_from_a_browser_that_was_paired_too(app, invented):
    client = browser(app, "paired", invented)
    client.cookies.set("signed-in", signed_in(app, a_person(app, Role.EXAMINER)))
    address = f"/examinations/{invented}/screen/state"
    assert client.post(address, json={"own_words": "Look up"}).status_code == 200


def test_a_code_pairs_once_and_guesses_are_slowed_down(app, invented):
    code = app.state.access.pairings.new_code(invented)
    first = browser(app, "nobody")
    assert first.post("/patient", data={"code": code.upper()}).status_code == 303
    second = browser(app, "nobody")
    assert second.post("/patient", data={"code": code}).status_code == 422
    answers = [second.post("/patient", data={"code": f"guess{n}"}).status_code for n in range(6)]
    assert answers[-1] == 429
    right = app.state.access.pairings.new_code(invented)
    assert second.post("/patient", data={"code": right}).status_code == 429
    app.state.access.guesses._failures.clear()


def test_an_administrator_cannot_make_or_touch_an_owner(app):
    people = app.state.access.people
    client = browser(app, "administrator")
    name = f"New {uuid4().hex[:6]}"
    assert client.post("/people", data={"name": name, "role": "owner"}).status_code == 403
    assert people.named(name) is None
    assert client.post("/people", data={"name": name, "role": "examiner"}).status_code == 200
    for deed in ("role", "password", "close"):
        form = {"name": an_owner(app).name, "role": "reader"}
        assert client.post(f"/people/{deed}", data=form).status_code == 403
    up = client.post("/people/role", data={"name": name, "role": "administrator"})
    assert up.status_code == 403
    assert people.get(name).role is Role.EXAMINER
    assert people.check(an_owner(app).name, PASSWORD) is not None


def test_a_role_counts_from_the_next_request(app, real):
    people = app.state.access.people
    client = browser(app, "examiner")
    assert client.get(f"/examinations/{real}/note").status_code == 200
    people.set_role("Example, examiner", Role.ADMINISTRATOR)
    assert client.get(f"/examinations/{real}/note").status_code == 403
    people.set_role("Example, examiner", Role.EXAMINER)
    assert client.get(f"/examinations/{real}/note").status_code == 200


@pytest.mark.parametrize(
    ("path", "method"),
    [
        ("/static/../../records/people.py", "GET"),
        ("/static/%2e%2e/%2e%2e/pyproject.toml", "GET"),
        ("/static/..%2f..%2fapp.py", "GET"),
        ("/static//etc/passwd", "GET"),
        ("/examinations/..%2f..%2fetc%2fpasswd/note", "GET"),
        ("/examinations/%00/note", "GET"),
        ("/catalogue/..%2f..%2fsources", "GET"),
        ("/examinations/' or '1'='1/note", "GET"),
    ],
)
def test_a_path_out_of_the_programs_own_is_not_there(app, path, method):
    answer = browser(app, "owner").request(method, path)
    assert answer.status_code in (404, 422)
    assert "root:" not in answer.text
    assert "import" not in answer.text


SCRIPT = "<script>document.title='taken'</script><img src=x onerror=alert(1)>"


def test_script_in_names_and_free_text_stays_text(app, store):
    client = browser(app, "owner")
    identity = str(uuid4())
    form = {"examination": identity, "label": SCRIPT, "invented": "yes"}
    client.post("/examinations", data=form)
    url = f"/examinations/{identity}"
    hinder = {"test": "weber", "choice": "hinder whole", "reason whole": SCRIPT}
    client.post(f"{url}/findings", data={"entry": str(uuid4())} | hinder)
    client.post(f"{url}/shorthand", data={"entry": str(uuid4()), "text": f"R ptosis {SCRIPT}"})
    client.post("/people", data={"name": SCRIPT, "role": "reader"})
    pages = ["/", url, f"{url}/history", f"{url}/note", f"{url}/where", f"{url}/screen"]
    pages += [f"{url}/timers", f"{url}/letter", "/people", "/trail", f"{url}/letter.html"]
    seen = 0
    for path in pages:
        text = client.get(path).text
        assert "<script>document" not in text, path
        assert "<img src=x" not in text, path
        seen += "&lt;script&gt;" in text
    assert seen >= 5  # it is shown, as text
    wrong = client.post("/sign-in", data={"name": SCRIPT, "password": "x"})
    assert "<script>document" not in wrong.text
    plain = client.get(f"{url}/note.txt")
    assert plain.headers["content-type"].startswith("text/plain")
    assert plain.headers["x-content-type-options"] == "nosniff"


def test_roles_in_the_program_are_those_of_the_table():
    granted = {
        role.value: {p.name for p in grant.may} - {"TAKE_OUT", "APPOINT"}
        for role, grant in GRANTS.items()
    }
    assert granted == {who: may for who, may in MAY.items() if who not in ("nobody", "paired")}
