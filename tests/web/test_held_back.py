"""Tests that the record bars: shown as held back, with the reason, and never done by accident.

The bars themselves are checked in ``tests/localisation/test_next_test_bars.py``.
"""

import re
from uuid import uuid4

import pytest

from decussate.examination.record import Examination, Finding
from decussate.web.bedside import load_parts
from decussate.web.conclusions import begin_with
from decussate.web.held_back import holding_back
from decussate.web.view import sides_of

FRAGMENT = {"hx-request": "true"}


@pytest.fixture
def say(enter):
    """Record what bars a test, or lifts the bar, as one touch does."""

    def record(test: str, response: str, key: str = "whole"):
        answer = enter("findings", test=test, choice=f"record {key} {response}")
        assert answer.status_code == 200
        return answer

    return record


def cell_of(page: str, test: str) -> str:
    """The card of a test, from its name to its end."""
    return page.split(f'id="test-{test}"', 1)[1].split("</article>", 1)[0]


def test_an_unsafe_neck_holds_back_the_positional_test_everywhere(
    client, examination, say, enter, present
):
    answer = say("neck_safe", "unsafe")
    # The cards that are held back from now on come with the answer, without a reload.
    card = cell_of(answer.text, "positional_test")
    assert card.count("Held back:") == 2
    assert "the neck is not safe to move" in card
    assert "normal on both sides" not in card
    refused = enter("findings", test="positional_test", choice="record right normal")
    assert refused.status_code == 422
    assert "held back" in refused.text
    assert "positional_test" not in {test for test, _, _ in present()}
    page = client.get(f"/examinations/{examination}/timers").text
    assert "the neck is not safe to move" in page.split('id="swallow"')[0]


def test_what_was_done_all_the_same_is_recorded_with_bar_and_reason(say, enter, app, examination):
    say("neck_safe", "limited")
    answer = enter(
        "findings",
        test="positional_test",
        choice="record left upbeat_torsional",
        **{"although left": "side-lying form, neck not extended"},
    )
    assert answer.status_code == 200
    found = next(
        f for f in app.state.store.examination(examination).present() if f.test == "positional_test"
    )
    assert found.comment == (
        "done although the neck is not safe to move: side-lying form, neck not extended"
    )


def test_what_would_lift_a_bar_is_one_touch_away(client, examination, say):
    card = cell_of(
        client.get(f"/examinations/{examination}?test=positional_test").text, "positional_test"
    )
    assert f'href="/examinations/{examination}?test=neck_safe#test-neck_safe"' in card
    say("neck_safe", "unsafe")  # now it is known, and asking again lifts nothing
    card = cell_of(
        client.get(f"/examinations/{examination}?test=positional_test").text, "positional_test"
    )
    assert "#test-neck_safe" not in card


def test_a_reason_for_one_side_does_not_open_the_other(say, enter, present):
    say("neck_safe", "unsafe")
    form = {"although left": "asked by the specialist"}
    refused = enter("findings", test="head_impulse", choice="record both normal", **form)
    assert refused.status_code == 422
    assert "head_impulse" not in {test for test, _, _ in present()}


def test_what_is_held_back_is_left_with_one_touch(say, enter, app, examination):
    say("neck_safe", "unsafe")
    enter("findings", test="head_impulse", choice="leave right")
    (found,) = (
        f for f in app.state.store.examination(examination).present() if f.test == "head_impulse"
    )
    assert (found.response, found.reason) == (
        "could_not_be_tested",
        "the neck is not safe to move",
    )
    # Nothing bars a test of smell: it cannot be left this way.
    assert enter("findings", test="smell_detection", choice="leave right").status_code == 422


def test_a_sweep_passes_over_what_is_held_back(say, enter, present):
    say("neck_safe", "unsafe")
    answer = enter("sweep", group="balance")
    assert answer.status_code == 200
    assert "head_impulse" not in {test for test, _, _ in present()}
    assert ("stance", None, "normal") in present()
    assert re.search(r"Held back: [^<]*Head impulse", answer.text)


def test_the_path_for_vertigo_does_not_begin_with_what_the_neck_forbids():
    """With all before it done, the path goes on past what is held back."""
    done = [
        Finding(test=test.id, side=side, response="normal")
        for part in load_parts("vertigo")
        for test in part.routine
        for side in sides_of(test)
        if test.id not in ("neck_safe", "head_impulse", "positional_test", "walking")
    ]
    for neck, offered in (
        ("normal", ["head_impulse", "positional_test", "walking"]),
        ("unsafe", ["walking"]),
    ):
        found = Examination(id="x", findings=(*done, Finding(test="neck_safe", response=neck)))
        present = {(f.test, f.side): f for f in found.present()}
        listed = begin_with("vertigo", present, holding_back(found))
        assert [one.test for one in listed] == offered


def test_an_artificial_eye_is_passed_over_and_the_other_eye_named(client, examination, enter, say):
    say("artificial_eye", "artificial", "right")
    enter("path", path="visual_loss")
    page = client.get(f"/examinations/{examination}").text
    listed = page.split('id="next-title"')[1].split("</ol>")[0]
    assert "patient’s left" in listed
    assert "patient’s right" not in listed
    card = cell_of(page, "distance_acuity")
    right, left = card.split('class="cell left')
    assert "the eye is artificial" in right
    assert "Held back" not in left


@pytest.mark.parametrize(
    ("record", "why"),
    [
        ({}, "alertness is not recorded"),
        ({"alertness": "drowsy"}, "not fully awake"),
        ({"alertness": "normal"}, "small sips come first"),
        ({"alertness": "normal", "sip_swallow": "absent"}, "small sips were not safe"),
        ({"alertness": "normal", "sip_swallow": "normal", "voice_wet": "present"}, "wet voice"),
    ],
)
def test_a_glass_of_water_is_not_offered_before_it_is_safe(client, examination, say, record, why):
    for test, response in record.items():
        say(test, response)
    page = client.get(f"/examinations/{examination}/timers").text
    panel = page.split('id="swallow"')[1].split('id="whisper"')[0]
    assert why in panel
    form = {"given_ml": "150", "seconds": "10", "cough": "no", "wet_voice": "no", "stopped": "no"}
    address = f"/examinations/{examination}/timers/swallow"
    answer = client.post(address, data=form | {"entry": str(uuid4())}, headers=FRAGMENT)
    assert answer.status_code == 422
    assert why in answer.text
    reason = {"although": "asked by the speech therapist, who is present"}
    answer = client.post(address, data=form | reason | {"entry": str(uuid4())}, headers=FRAGMENT)
    assert answer.status_code == 200


def test_a_glass_of_water_is_offered_after_safe_sips(client, examination, say):
    say("alertness", "normal")
    say("sip_swallow", "normal")
    page = client.get(f"/examinations/{examination}/timers").text
    panel = page.split('id="swallow"')[1].split('id="whisper"')[0]
    assert "Held back" not in panel


def test_what_was_written_is_recorded_and_said_to_have_been_held_back(say, enter, present):
    say("neck_safe", "unsafe")
    answer = enter("shorthand", text="L positional test upbeat torsional")
    assert ("positional_test", "left", "upbeat_torsional") in present()
    assert "Recorded although held back" in answer.text


def test_the_same_touch_sent_again_after_a_bar_arose_is_still_one_entry(
    say, enter, app, examination
):
    say("alertness", "normal")
    say("sip_swallow", "normal")
    token = str(uuid4())
    touch = {"test": "water_swallow", "choice": "record whole normal"}
    assert enter("findings", token, **touch).status_code == 200
    before = len(app.state.store.history(examination))
    say("alertness", "drowsy")
    assert enter("findings", token, **touch).status_code == 200
    assert len(app.state.store.history(examination)) == before + 1
