"""What makes a conclusion less sure is said beside it, and changes neither number nor alert."""

import json

import pytest
from click.testing import CliRunner

from decussate.cli import main
from decussate.documents.letter import referral_letter
from decussate.documents.note import write_note
from decussate.documents.typesetting import as_markdown
from decussate.examination.record import Examination, Finding, Story, write_examination
from decussate.localisation import localise
from decussate.sides import Side
from decussate.urgency import evaluate
from decussate.urgency.reservations import reservations

LARGE = (
    Finding(test="pupil_size_light", side=Side.LEFT, response="large"),
    Finding(test="light_direct", side=Side.LEFT, response="absent"),
    Finding(test="upper_lid_position", side=Side.LEFT, response="partial"),
)


def drops(side: Side, response: str) -> Finding:
    return Finding(test="eye_drops_and_drugs", side=side, response=response)


def examined(*findings: Finding, **story: object) -> Examination:
    return Examination(
        id="a", invented=True, story=Story.model_validate(story), findings=(*LARGE, *findings)
    )


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize(
    ("response", "said"),
    [("widening", "widens the pupil"), ("narrowing", "narrows the pupil"), ("abnormal", "acts on")],
)
def test_a_drug_on_a_side_is_said_with_that_side(side: Side, response: str, said: str) -> None:
    (sentence,) = reservations(examined(drops(side, response)))
    assert said in sentence
    assert f", {side}:" in sentence
    assert f"{side.other}" not in sentence


def test_both_sides_are_named_and_none_when_none_was_given() -> None:
    both = examined(*(drops(side, "widening") for side in Side))
    assert ", right and left:" in reservations(both)[0]
    assert reservations(examined(*(drops(side, "normal") for side in Side))) == ()
    assert reservations(examined()) == ()


@pytest.mark.parametrize(("age", "said"), [(0.5, True), (15.9, True), (16, False), (None, False)])
def test_it_is_said_of_a_child_that_everything_is_for_adults(age, said: bool) -> None:
    assert bool(reservations(examined(age=age))) == said


def test_it_stands_beside_the_place_everywhere_and_changes_nothing(tmp_path) -> None:
    plain, reserved = examined(), examined(drops(Side.LEFT, "widening"))
    (sentence,) = reservations(reserved)
    located = localise(reserved)
    assert located.candidates[0].probability == localise(plain).candidates[0].probability
    alerts = evaluate(reserved, located)
    assert {alert.rule for alert in alerts} >= {
        alert.rule for alert in evaluate(plain, localise(plain))
    }
    assert alerts
    assert sentence in write_note(reserved, located, alerts)
    assert sentence in as_markdown(referral_letter(reserved, located, alerts)).replace("\\", "")
    file = tmp_path / "a.json"
    file.write_text(write_examination(reserved))
    printed = CliRunner().invoke(main, ["localise", str(file)]).output
    assert f"Note: {sentence}" in printed
    assert "Invented person." in printed
    as_json = json.loads(CliRunner().invoke(main, ["localise", str(file), "--json"]).output)
    assert as_json["reservations"] == [sentence]
    assert as_json["invented"] is True
