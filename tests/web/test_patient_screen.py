"""The patient's screen: its charts, its shared state, and readings recorded.

Checked against: ISO 8596 (an optotype subtends five minutes of arc times the angle of resolution);
0.02 logMAR a letter (Rosser DA et al. Br J Ophthalmol 2001;85:432-436).
"""

import json
from concurrent.futures import ThreadPoolExecutor
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from decussate.errors import BadInput
from decussate.web.app import create_app
from decussate.web.patient_shown import Marks, chart_rows, mark_acuity
from patient_screen_pages import READ, send, size_mm, state
from signing_in import signed_in

FRAGMENT = {"hx-request": "true"}


@pytest.mark.parametrize("optotypes", ["ten letters", "twelve letters", "rings"])
def test_every_row_of_the_chart_has_its_true_size_and_five_optotypes(optotypes):
    rows = chart_rows(optotypes, 3)
    assert [row["tenths"] for row in rows] == list(range(13, -4, -1))
    for row in rows:
        assert row["mm_at_1_m"] == pytest.approx(size_mm(row["tenths"] / 10, 1.0), rel=1e-6)
        names = [symbol["name"] for symbol in row["symbols"]]
        assert len(set(names)) == 5
    assert chart_rows(optotypes, 4) != rows


def test_a_change_is_seen_by_the_other_view_and_only_changes_are_sent(client, examination):
    first = state(client, examination)
    send(client, examination, "state", {"view": "chart", "distance_m": 3})
    now = state(client, examination)
    assert now["version"] == first["version"] + 1
    assert (now["shown"]["view"], now["shown"]["distance_m"]) == ("chart", 3.0)
    known = f"?since={now['version']}"
    address = f"/examinations/{examination}/screen/state"
    assert client.get(address + known).status_code == 204
    assert client.get(address + f"?since={now['version'] - 1}").status_code == 200


def test_what_is_shown_outlives_the_program_and_is_the_same_for_a_second_one(tmp_path):
    """Two programs on one store, and one begun after both have ended, know the same."""
    database, examination = tmp_path / "screens.db", str(uuid4())

    def program():
        app = create_app(database, demo=False)
        browser = TestClient(
            app, base_url="http://127.0.0.1:8000", headers={"sec-fetch-site": "same-origin"}
        )
        browser.cookies.set("signed-in", signed_in(app))
        return app, browser

    first_app, first = program()
    form = {"examination": examination, "label": "Bed 3, invented", "invented": "yes"}
    first.post("/examinations", data=form)
    second_app, second = program()
    send(first, examination, "state", {"view": "chart", "distance_m": 3, "marks": {"right": READ}})
    report = {"width": 1280, "height": 800, "px_per_mm": 5.0, "ratio": 1.0}
    send(second, examination, "report", report)
    send(second, examination, "state", {"row": 3})
    assert state(first, examination) == state(second, examination)
    known = state(first, examination)
    assert known["shown"]["marks"]["right"]["rows"] == READ["rows"]
    assert (known["shown"]["row"], known["report"]["px_per_mm"]) == (3, 5.0)
    address = f"/examinations/{examination}/screen/state"
    second.get(address + "?patient=true")
    assert first.get(address).headers["patient-screen"] == "open"
    for app in (first_app, second_app):
        app.state.store.close()
    third_app, third = program()
    assert state(third, examination) == known
    assert third.get(address + f"?since={known['version']}").status_code == 204
    third_app.state.store.close()


def test_changes_made_at_the_same_time_are_all_kept(client, examination):
    before = state(client, examination)["version"]
    with ThreadPoolExecutor(8) as many:
        list(many.map(lambda n: send(client, examination, "state", {"row": n}), range(10)))
    assert state(client, examination)["version"] == before + 10


def test_the_screen_of_one_patient_is_not_that_of_another(client, examination):
    other = str(uuid4())
    form = {"examination": other, "label": "Bed 2, invented", "invented": "yes"}
    client.post("/examinations", data=form)
    send(client, examination, "state", {"own_words": "Please look up"})
    assert state(client, other)["shown"]["own_words"] == ""


def test_the_patients_page_carries_no_name(client, examination):
    page = client.get(f"/examinations/{examination}/screen/patient").text
    assert "Bed 9" not in page
    assert client.get(f"/examinations/{uuid4()}/screen/patient").status_code == 404
    assert client.get(f"/examinations/{uuid4()}/screen/state").status_code == 404


@pytest.mark.parametrize(
    "fields",
    [
        {"view": "film"},
        {"distance_m": 300},
        {"language": "xx"},
        {"test": "no_such_test"},
        {"row": 40},
        {"marks": {"right": READ | {"rows": {"3": "111"}}}},
        {"marks": {"third eye": READ}},
        {"unknown": 1},
        {"own_words": "x" * 301},
    ],
)
def test_what_cannot_be_shown_is_refused_and_changes_nothing(client, examination, fields):
    before = state(client, examination)
    assert send(client, examination, "state", fields).status_code == 422
    assert state(client, examination) == before


@pytest.mark.parametrize("body", ["[1]", "not json", ""])
def test_a_change_that_is_no_object_is_refused(client, examination, body):
    address = f"/examinations/{examination}/screen/state"
    assert client.post(address, content=body or " ").status_code == 422


@pytest.fixture
def record(client, examination):
    """Record as the examiner's page does."""

    def post(where: str, **form: str):
        data = {"entry": str(uuid4()), "px_per_mm": "5"} | form
        address = f"/examinations/{examination}/screen/{where}"
        return client.post(address, data=data, headers=FRAGMENT)

    return post


def test_what_was_read_is_scored_and_recorded_with_how_it_was_done(
    client, app, examination, record
):
    send(client, examination, "state", {"marks": {"right": READ}})
    # 0.3 whole; four letters of 0.2 and one of 0.1 gain 0.02 each (Rosser 2001).
    assert state(client, examination)["scores"]["right"]["words"].startswith("logMAR 0.20")
    token = str(uuid4())
    for _ in range(2):
        answer = record("acuity", entry=token, side="right", reading=json.dumps(READ))
        assert "logMAR 0.20" in answer.text
    (found,) = app.state.store.examination(examination).findings
    assert (found.test, found.side.value, found.response) == ("distance_acuity", "right", "reduced")
    assert found.measurement.value == "logMAR 0.20"
    assert "letters on a calibrated screen at 4 m" in found.technique


def test_a_pinhole_reading_goes_with_it(present, record):
    reading = READ | {"rows": {"5": "11111", "4": "00000"}}
    pinhole = READ | {"rows": {"-1": "11111", "-2": "00000"}}
    record("acuity", side="left", reading=json.dumps(reading), pinhole=json.dumps(pinhole))
    assert present() == {
        ("distance_acuity", "left", "reduced"),
        ("pinhole_acuity", "left", "present"),
    }


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({"px_per_mm": ""}, "not calibrated"),
        ({"side": "both"}, "right or left"),
        ({"reading": ""}, "nothing marked"),
        ({"reading": json.dumps(READ | {"rows": {}})}, "nothing marked"),
        ({"reading": "{"}, "JSON object"),
        ({"reading": json.dumps(READ | {"rows": {"3": "12345"}})}, "rows 3"),
        ({"reading": json.dumps(READ | {"rows": {"3": "11110"}})}, "one row read whole"),
    ],
)
def test_what_is_no_reading_of_a_measured_screen_is_not_recorded(present, record, form, says):
    answer = record("acuity", **{"side": "right", "reading": json.dumps(READ)} | form)
    assert answer.status_code == 422
    assert says in answer.text
    assert present() == set()


def test_an_unfinished_row_gives_no_score():
    with pytest.raises(BadInput, match="each read or not read"):
        mark_acuity(Marks(**READ | {"rows": {"3": "11111", "2": "11?11"}}))
    # A row only looked at is not a row read.
    shown = Marks(**READ | {"rows": {"3": "11111", "2": "?????"}})
    assert mark_acuity(shown).logmar == pytest.approx(0.3)


def test_a_short_distance_is_remarked_on():
    marks = Marks(**READ | {"distance_m": 1.0})
    assert any("nearer than 2 m" in remark for remark in mark_acuity(marks).remarks)


def test_near_acuity_keeps_its_distance(app, examination, record):
    form = {"side": "left", "n_size": "8", "held_cm": "35"}
    assert record("near", **form).status_code == 200
    (found,) = app.state.store.examination(examination).findings
    assert (found.test, found.side.value, found.response) == ("near_acuity", "left", "reduced")
    assert found.measurement.value == "N8 at 35 cm"
    for wrong in (
        {"n_size": "7"},
        {"held_cm": ""},
        {"held_cm": "35,5"},
        {"side": "both"},
        {"px_per_mm": ""},
    ):
        assert record("near", **form | wrong).status_code == 422
    assert len(app.state.store.examination(examination).findings) == 1
