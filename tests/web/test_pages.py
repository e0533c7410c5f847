"""Every page answers, says whose right and left it shows, and who decides."""

import json
from datetime import UTC, datetime
from html import unescape
from uuid import uuid4

import jsonschema
import pytest
from fastapi.testclient import TestClient

from decussate.bibliography import load_sources
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import json_schema
from decussate.records import Store
from decussate.records.demo import demo_examinations, load_demo
from decussate.web.app import create_app
from decussate.web.bedside import chance_words, load_parts, load_paths, part_of
from decussate.web.rendering import slug
from decussate.web.view import finding_words
from signing_in import an_owner, signed_in

DECIDES = "A licensed clinician decides"


def test_the_list_names_every_demo_patient_and_marks_them(client):
    page = client.get("/").text
    for examination in demo_examinations():
        assert examination.label in page
    assert "Invented patients are marked. No real person." in page
    assert DECIDES in page


def test_a_second_start_keeps_what_was_entered_and_adds_nothing(tmp_path):
    file = tmp_path / "demo.db"
    first = create_app(file, demo=True).state.store
    heads = first.examinations()
    assert len(heads) == len(demo_examinations()) >= 6
    first.close()
    store = Store(file)
    assert load_demo(store) == 0
    assert {h.id for h in store.examinations()} == {h.id for h in heads}
    store.close()


def test_without_demo_the_list_is_empty(tmp_path):
    assert create_app(tmp_path / "a.db", demo=False).state.store.examinations() == ()


def test_the_examination_page_says_whose_side_and_shows_every_part(client, examination):
    page = client.get(f"/examinations/{examination}").text
    assert "as you face the patient" in page
    assert page.index("patient’s right") < page.index("patient’s left")
    for part in load_parts():
        assert f'id="group-{part.key}"' in page
        for test in part.routine:
            assert f'id="test-{test.id}"' in page
    assert DECIDES in page
    assert "Invented patient" in page
    # No test is shown as normal before it was recorded.
    assert 'aria-pressed="true"' not in page.split('id="story"')[1]


def test_right_stands_before_left_in_every_test(client, examination):
    for part in load_parts():
        address = f"/examinations/{examination}/parts/{part.key}"
        page = client.get(address).text
        for piece in page.split("<article")[1:]:
            if "cell right" in piece:
                assert piece.index("cell right") < piece.index("cell left")
                assert "Patient’s right" in piece
            if "whole right" in piece:
                assert piece.index("whole right") < piece.index("whole left")


def test_every_test_of_the_catalogue_stands_once_on_the_page():
    on_page = [test.id for part in load_parts() for test in part.tests]
    assert len(on_page) == len(set(on_page)) == len(part_of())
    assert set(on_page) == {test.id for test in load_catalogue() if test.story is None}


@pytest.mark.parametrize("path", list(load_paths()))
def test_a_short_path_puts_its_tests_first_and_loses_none(path):
    parts = load_parts(path)
    assert {t.id for part in parts for t in part.routine} == load_paths()[path].tests
    assert sorted(t.id for part in parts for t in part.tests) == sorted(part_of())
    asked_for = [bool(part.routine) for part in parts]
    assert asked_for == sorted(asked_for, reverse=True)


def test_cautions_stand_before_the_buttons_of_their_test(client, examination):
    catalogue = load_catalogue()
    seen = 0
    for part in load_parts():
        page = client.get(f"/examinations/{examination}?test={part.tests[-1].id}").text
        for test in part.tests:
            if not test.cautions or f'id="test-{test.id}"' not in page:
                continue
            card = unescape(page.split(f'id="test-{test.id}"')[1].split("</article>")[0])
            for key in test.cautions:
                caution = catalogue.cautions[key]
                for words in (caution.name, caution.text):
                    assert words in card
                    assert card.index(words) < card.index("<fieldset")
                seen += 1
    assert seen > 20


@pytest.mark.parametrize("page", ["new", "about", "sources", "catalogue", "health"])
def test_pages_without_a_patient_answer(client, page):
    assert client.get(f"/{page}").status_code == 200


def test_every_test_has_a_page_that_names_its_source(client):
    sources = client.get("/sources").text
    for key in load_sources():
        assert f'id="{slug(key)}"' in sources
    for test in load_catalogue():
        page = client.get(f"/catalogue/{test.id}")
        assert page.status_code == 200
        assert f"/sources#{slug(test.source)}" in page.text
        if test.accuracy:
            assert f"/sources#{slug(test.accuracy.source)}" in page.text


def test_words_for_probabilities_follow_the_published_scale():
    # Mastrandrea et al., IPCC guidance note 2010, table 1.
    published = {
        0.95: "very likely",
        0.90: "very likely",
        0.70: "likely",
        0.50: "about as likely as not",
        0.20: "unlikely",
        0.05: "very unlikely",
    }
    for probability, words in published.items():
        named = next(word.words for word in chance_words() if probability >= word.start)
        assert named == words


def test_demo_examinations_open_with_note_history_and_data(client, app):
    labels = {examination.label for examination in demo_examinations()}
    heads = [head for head in app.state.store.examinations() if head.label in labels]
    assert {head.label for head in heads} == labels
    for head in heads:
        place = f"/examinations/{head.id}"
        assert client.get(place).status_code == 200
        note = client.get(f"{place}/note")
        assert DECIDES in note.text
        assert client.get(f"{place}/note.txt").text.strip()
        assert client.get(f"{place}/note.md").headers["content-type"].startswith("text/markdown")
        document = json.loads(client.get(f"{place}/examination.json").text)
        jsonschema.validate(document, json_schema())
        assert client.get(f"{place}/history").status_code == 200


def test_unknown_pages_and_records_are_said_to_be_unknown(client):
    for address in ("/examinations/none", "/examinations/none/note", "/catalogue/none", "/none"):
        answer = client.get(address)
        assert answer.status_code == 404
        assert "found <code>" in answer.text


def test_times_are_shown_as_the_clock_of_this_machine(client, app, enter, examination):
    enter("findings", test="weber", choice="record whole normal")
    at = app.state.store.history(examination)[0].at
    shown = client.get(f"/examinations/{examination}/history").text
    assert at.astimezone().strftime("%H:%M:%S") in shown
    assert abs((datetime.now(UTC) - at).total_seconds()) < 60


def test_a_finding_in_words_never_leaves_the_side_open():
    for examination in demo_examinations():
        for finding in examination.findings:
            if finding.side is not None:
                assert f"patient’s {finding.side.value}" in finding_words(finding)


def test_a_label_already_on_the_list_is_asked_about_before_it_is_used_again(app):
    """Two people under one name would be taken for one (hazard log, wrong patient)."""
    label = f"Anna Example {uuid4()}"
    owner = TestClient(
        app, base_url="http://127.0.0.1:8000", headers={"sec-fetch-site": "same-origin"}
    )
    owner.cookies.set("signed-in", signed_in(app, an_owner(app)))

    def begin(**more: str):
        form = {"examination": str(uuid4()), "label": label} | more
        return owner.post("/examinations", data=form, follow_redirects=False)

    def patients() -> set[str]:
        heads = app.state.store.examinations()
        return {head.patient for head in heads if head.label == label}

    assert begin().status_code == 303
    asked = begin(label=f" {label.upper()} ")
    assert asked.status_code == 409
    assert "is already on the list" in asked.text
    assert len(patients()) == 1
    (known,) = patients()
    assert f'name="patient" value="{known}"' in asked.text
    assert begin(another="yes").status_code == 303
    assert len(patients()) == 2


def test_every_page_names_the_program_and_its_data(client, examination):
    from decussate.documents.note import made_with

    for place in (
        "/",
        "/new",
        "/about",
        "/settings",
        "/sources",
        "/catalogue",
        "/explore",
        f"/examinations/{examination}",
        f"/examinations/{examination}/note",
        f"/examinations/{examination}/timers",
        f"/examinations/{examination}/screen",
        f"/examinations/{examination}/screen/patient",
        f"/examinations/{uuid4()}",
    ):
        assert made_with() in client.get(place).text, place
