"""What the page sends becomes one entry, saved before it is answered."""

from concurrent.futures import ThreadPoolExecutor
from uuid import uuid4

import pytest

from decussate.examination.catalogue import load_catalogue
from decussate.records import NotSaved, Store
from decussate.web.bedside import load_parts
from decussate.web.view import sides_of

FRAGMENT = {"hx-request": "true"}


def test_one_touch_records_one_finding_and_answers_with_the_parts_that_change(enter, present):
    answer = enter("findings", test="light_direct", choice="record right reduced")
    assert answer.status_code == 200
    assert present() == {("light_direct", "right", "reduced")}
    for part in ("#test-light_direct", "#conclusion", "#alerts", "#dock", "#count-pupils"):
        assert f'hx-target="{part}"' in answer.text
    assert (
        "test-light_consensual" not in answer.text.split('id="conclusion"')[0].split("#alerts")[0]
    )


def test_a_plain_form_is_sent_back_to_its_test(client, examination, present):
    form = {"entry": str(uuid4()), "test": "weber", "choice": "record whole left"}
    answer = client.post(f"/examinations/{examination}/findings", data=form, follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/examinations/{examination}#test-weber"
    assert present() == {("weber", None, "left")}


def test_the_same_touch_sent_twice_is_one_entry(enter, app, examination):
    token = str(uuid4())
    for _ in range(2):
        enter("findings", token, test="weber", choice="record whole left")
    assert len(app.state.store.history(examination)) == 1
    enter("findings", token, test="weber", choice="record whole right")
    assert len(app.state.store.history(examination)) == 2


def test_both_sides_normal_with_one_touch(enter, present):
    enter("findings", test="light_direct", choice="record both normal")
    assert present() == {("light_direct", s, "normal") for s in ("right", "left")}


def test_the_whole_usual_examination_takes_one_touch_a_part(enter, present):
    touches = 0
    for part in load_parts():
        assert enter("sweep", group=part.key).status_code == 200
        touches += 1
    expected = {
        (test.id, side and side.value, "normal")
        for part in load_parts()
        for test in part.routine
        for side in sides_of(test)
    }
    assert present() == expected
    assert touches <= 90  # the most a full normal examination may take


def test_the_note_says_what_was_recorded_together_until_it_is_recorded_alone(
    enter, client, examination, app
):
    """Normal for what nobody looked at is the slip of a sweep: whoever reads can see where."""
    enter("sweep", group="tongue")
    enter("findings", test="light_direct", choice="record both normal")
    said = "Recorded together as normal, not one by one: "
    note = client.get(f"/examinations/{examination}/note.md").text.replace("\\", "")
    (line,) = (line for line in note.splitlines() if said in line)
    assert "Tongue (XII)" in line
    assert "Pupils" not in line
    for found in app.state.store.examination(examination).present():
        side = found.side.value if found.side else "whole"
        enter("findings", test=found.test, choice=f"record {side} normal")
    assert said not in client.get(f"/examinations/{examination}/note.md").text


def test_a_sweep_leaves_what_is_recorded(enter, present):
    enter("findings", test="light_direct", choice="record right absent")
    enter("sweep", group="pupils")
    assert ("light_direct", "right", "absent") in present()
    assert ("light_direct", "left", "normal") in present()


def test_undo_takes_back_exactly_the_last_act(enter, present, app, examination):
    enter("findings", test="weber", choice="record whole left")
    enter("sweep", group="pupils")
    last = app.state.store.history(examination)[-1].entry
    answer = enter("undo", undoes=str(last.id))
    assert present() == {("weber", None, "left")}
    assert 'hx-target="#test-light_direct"' in answer.text
    assert len(app.state.store.history(examination)) == 3


def test_back_to_not_tested_and_known_for_long(enter, present, app, examination):
    enter("findings", test="light_direct", choice="record right absent")
    enter("findings", test="light_direct", choice="old right")
    assert app.state.store.examination(examination).known_old == (("light_direct", "right"),)
    enter("findings", test="light_direct", choice="new right")
    assert app.state.store.examination(examination).known_old == ()
    enter("findings", test="light_direct", choice="withdraw right")
    assert present() == set()


def test_a_measurement_becomes_the_response_its_band_says(enter, present, app, examination):
    test = load_catalogue().test("upper_lid_position")
    form = {"test": test.id, "choice": "measure right", "value right": "1.5"}
    assert enter("findings", **form).status_code == 200
    band = next(b for b in test.measurement.bands if b.low <= 1.5 < b.high)
    assert present() == {(test.id, "right", band.response)}
    found = app.state.store.examination(examination).present()[0]
    assert found.measurement.value == 1.5
    assert found.measurement.unit == "mm"


def test_acuity_is_taken_as_it_is_written_on_the_chart(enter, present):
    # 6/6 resolves 1 minute of arc, logMAR 0; 6/36 resolves 6, logMAR 0.78 (Bailey and Lovie 1976).
    enter("findings", test="distance_acuity", choice="measure left", **{"value left": "6/36"})
    enter("findings", test="distance_acuity", choice="measure right", **{"value right": "6/6"})
    assert present() == {
        ("distance_acuity", "left", "reduced"),
        ("distance_acuity", "right", "normal"),
    }


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"test": "light_direct", "choice": "record whole normal"}, "right or left"),
        ({"test": "weber", "choice": "record right normal"}, "whole"),
        ({"test": "light_direct", "choice": "record right sideways"}, "sideways"),
        ({"test": "no_such_test", "choice": "record right normal"}, "no_such_test"),
        ({"test": "light_direct", "choice": "dance right normal"}, "dance"),
        ({"test": "light_direct", "choice": "measure right", "value right": "3"}, "measurement"),
        ({"test": "pupil_size_light", "choice": "measure right", "value right": "40"}, "40"),
        ({"test": "pupil_size_light", "choice": "measure right", "value right": "3,5"}, "point"),
        ({"test": "pupil_size_light", "choice": "measure right", "value right": ""}, "nothing"),
        ({"test": "distance_acuity", "choice": "measure right", "value right": "6/0"}, "6/0"),
        ({"test": "light_direct", "choice": "hinder right", "reason right": " "}, "why"),
        ({"test": "weber", "choice": "record whole normal", "entry": "twice"}, "UUID"),
    ],
)
def test_bad_input_is_refused_with_the_reason_and_nothing_is_saved(
    client, examination, app, form, said
):
    data = {"entry": str(uuid4())} | form
    address = f"/examinations/{examination}/findings"
    answer = client.post(address, data=data, headers={"hx-request": "true"})
    assert answer.status_code == 422
    assert "Nothing was recorded" in answer.text
    assert said in answer.text
    assert 'hx-target="#message"' in answer.text
    page = client.post(address, data=data)
    assert page.status_code == 422
    assert f'href="/examinations/{examination}"' in page.text
    assert app.state.store.history(examination) == ()


def test_could_not_be_tested_keeps_its_reason_and_is_not_normal(enter, app, examination):
    reason = {"reason left": "prosthetic eye"}
    enter("findings", test="light_direct", choice="hinder left", **reason)
    found = app.state.store.examination(examination).present()[0]
    assert (found.response, found.reason) == ("could_not_be_tested", "prosthetic eye")


def test_the_story_is_kept_and_changed(enter, app, examination):
    enter("story", age="61", sex="male", onset="sudden", context=["hypertension", "diabetes"])
    story = app.state.store.examination(examination).story
    assert (story.age, story.sex, story.onset, story.course) == (61, "male", "sudden", None)
    assert set(story.context) == {"hypertension", "diabetes"}
    enter("story", age="61", sex="male", onset="sudden", context=["hypertension", "diabetes"])
    assert len(app.state.store.history(examination)) == 1
    answer = enter("story", age="610")
    assert answer.status_code == 422
    assert "years from 0 to 120" in answer.text


def test_shorthand_keeps_what_is_not_understood_until_it_is_dealt_with(
    enter, app, examination, client
):
    answer = enter("shorthand", text="R ptosis partial\nzzqx blorbium")
    assert answer.status_code == 200
    now = app.state.store.examination(examination)
    assert ("upper_lid_position", "right", "partial") in {
        (f.test, f.side, f.response) for f in now.present()
    }
    assert now.unread
    page = client.get(f"/examinations/{examination}").text
    assert "not understood" in page
    for text in now.unread:
        assert f"Line {text.line}, column {text.column}" in page
        assert f"<mark>{text.text}</mark>" in page
        enter("settled", text=text.text, line=text.line, column=text.column, reason=text.reason)
    assert app.state.store.examination(examination).unread == ()
    assert enter("shorthand", text="   ").status_code == 422


def test_old_deficits_in_the_box_are_set_aside(enter, app, examination):
    enter("shorthand", text="old: R ptosis partial")
    now = app.state.store.examination(examination)
    assert now.known_old == (("upper_lid_position", "right"),)
    assert [f.response for f in now.present()] == ["partial"]


def test_circumstances_read_from_the_box_are_joined(enter, app, examination):
    enter("shorthand", text="cancer; diabetes")
    enter("shorthand", text="injury")
    assert app.state.store.examination(examination).story.context == (
        "cancer",
        "diabetes",
        "injury",
    )


def test_names_with_markup_are_shown_as_text(client):
    identity = str(uuid4())
    form = {"examination": identity, "label": "<script>alert(1)</script>", "invented": "yes"}
    client.post("/examinations", data=form)
    for address in ("/", f"/examinations/{identity}", f"/examinations/{identity}/note"):
        page = client.get(address).text
        assert "<script>alert" not in page
        assert "&lt;script&gt;alert(1)" in page


def test_a_database_that_cannot_be_written_is_said(enter, monkeypatch):
    def full(*_: object) -> None:
        raise NotSaved("database or disk is full")

    monkeypatch.setattr(Store, "append", full)
    answer = enter("findings", test="weber", choice="record whole left")
    assert answer.status_code == 507
    assert "Nothing was recorded" in answer.text
    assert "disk is full" in answer.text


def test_a_short_path_is_kept_swept_and_taken_back(client, enter, present, app, examination):
    form = {"entry": str(uuid4()), "path": "double_vision"}
    answer = client.post(f"/examinations/{examination}/path", data=form, follow_redirects=False)
    assert answer.status_code == 303
    page = client.get(f"/examinations/{examination}").text
    assert "Beyond this short path" in page
    assert page.index('id="group-movements"') < page.index('id="group-smell"')
    enter("sweep", group="throat")  # asks for nothing on this path
    assert present() == set()
    enter("sweep", group="pupils")
    assert {test for test, _, _ in present()} == {"pupil_comparison", "light_direct"}
    chosen = app.state.store.history(examination)[0].entry
    answer = enter("undo", undoes=str(chosen.id))
    assert answer.headers["hx-refresh"] == "true"
    assert "Beyond this short path" not in client.get(f"/examinations/{examination}").text
    form = {"entry": str(uuid4()), "path": "no_such_path"}
    assert client.post(f"/examinations/{examination}/path", data=form).status_code == 422


def test_two_devices_on_one_examination_lose_and_double_nothing(client, app, examination):
    tests = [test.id for part in load_parts() for test in part.routine if test.paired][:12]

    def device(side: str) -> None:
        for test in tests:
            form = {"entry": str(uuid4()), "test": test, "choice": f"record {side} normal"}
            address = f"/examinations/{examination}/findings"
            for _ in range(2):  # each sent twice, as after a dropped answer
                assert client.post(address, data=form, headers=FRAGMENT).status_code == 200

    with ThreadPoolExecutor(2) as devices:
        list(devices.map(device, ("right", "left")))
    history = app.state.store.history(examination)
    assert len(history) == 2 * len(tests)
    found = app.state.store.examination(examination).present()
    assert {(f.test, f.side) for f in found} == {(t, s) for t in tests for s in ("right", "left")}
