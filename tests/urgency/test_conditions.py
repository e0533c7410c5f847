"""Three-valued conditions: what was not tested is unknown, never normal and never abnormal."""

from typing import Any

import pytest
from examinations import examination
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from decussate.sides import Side
from decussate.urgency.condition import Condition, Outcome, all_of, any_of
from decussate.urgency.conditions import AnyCondition
from decussate.urgency.evidence import Truth, gather_evidence

READ: TypeAdapter[Condition] = TypeAdapter(AnyCondition)
PTOSIS = {"sign": "ptosis", "side": "same"}
LARGE = {"sign": "pupil_size", "side": "same", "states": ["large"]}


def weigh(condition: dict[str, Any], findings: str = "", side: str = "right", **story: Any) -> str:
    evidence = gather_evidence(examination(findings, **story), None)
    return READ.validate_python(condition).weigh(evidence, Side(side), assume=True).truth.name


@pytest.mark.parametrize(
    ("condition", "findings", "expected"),
    [
        (PTOSIS, "", "UNKNOWN"),
        (PTOSIS, "upper_lid_position right normal", "NO"),
        (PTOSIS, "upper_lid_position right partial", "YES"),
        (PTOSIS, "upper_lid_position left complete", "UNKNOWN"),
        (PTOSIS, "upper_lid_position right could_not_be_tested", "UNKNOWN"),
        (PTOSIS, "upper_lid_position right abnormal", "YES"),
        ({"sign": "ptosis", "side": "other"}, "upper_lid_position left partial", "YES"),
        ({"sign": "ptosis", "side": "either"}, "upper_lid_position left partial", "YES"),
        ({"sign": "ptosis", "side": "both"}, "upper_lid_position left partial", "UNKNOWN"),
        ({"sign": "ptosis", "side": "both"}, "upper_lid_position both partial", "YES"),
        (LARGE, "pupil_size_light right small", "NO"),
        (LARGE, "pupil_size_light right large", "YES"),
        (LARGE, "pupil_size_light right abnormal", "YES"),
        (LARGE, "pupil_size_light right normal, pupil_size_dark right large", "YES"),
        ({"sign": "anisocoria", "towards": "same"}, "pupil_comparison right", "YES"),
        ({"sign": "anisocoria", "towards": "other"}, "pupil_comparison right", "NO"),
        ({"sign": "anisocoria", "towards": "other"}, "pupil_comparison left", "YES"),
        ({"normal": "head_impulse", "side": "both"}, "head_impulse right normal", "UNKNOWN"),
        ({"normal": "head_impulse", "side": "both"}, "head_impulse both normal", "YES"),
        ({"untested": "head_impulse", "side": "same"}, "", "YES"),
        ({"untested": "head_impulse", "side": "same"}, "head_impulse right normal", "NO"),
        (
            {"untested": "head_impulse", "side": "same"},
            "head_impulse right could_not_be_tested",
            "YES",
        ),
        ({"test": "alertness", "responses": ["drowsy"]}, "alertness drowsy", "YES"),
        ({"test": "alertness", "responses": ["drowsy"]}, "alertness normal", "NO"),
        ({"not": PTOSIS}, "", "UNKNOWN"),
        ({"not": PTOSIS}, "upper_lid_position right normal", "YES"),
        ({"not": LARGE}, "pupil_size_light right abnormal", "UNKNOWN"),
        ({"try": PTOSIS, "side": "either"}, "upper_lid_position left partial", "YES"),
        ({"try": PTOSIS, "side": "other"}, "upper_lid_position right partial", "UNKNOWN"),
    ],
)
def test_a_condition_on_findings(condition: dict[str, Any], findings: str, expected: str) -> None:
    assert weigh(condition, findings) == expected


@pytest.mark.parametrize(
    ("condition", "story", "expected"),
    [
        ({"onset": ["sudden"]}, {}, "UNKNOWN"),
        ({"onset": ["sudden"]}, {"onset": "sudden"}, "YES"),
        ({"onset": ["sudden"]}, {"onset": "weeks"}, "NO"),
        ({"course": ["attacks"]}, {"course": "attacks"}, "YES"),
        ({"age_from": 50}, {}, "UNKNOWN"),
        ({"age_from": 50}, {"age": 50}, "YES"),
        ({"age_below": 50}, {"age": 50}, "NO"),
        ({"context": ["cancer"]}, {}, "UNKNOWN"),
        ({"context": ["cancer"]}, {"context": ("cancer",)}, "YES"),
        ({"not_recorded": "onset"}, {}, "YES"),
        ({"places": ["normal"], "at_least": 0.5}, {}, "UNKNOWN"),
    ],
)
def test_a_condition_on_the_story(
    condition: dict[str, Any], story: dict[str, Any], expected: str
) -> None:
    assert weigh(condition, **story) == expected


def test_a_count_stays_unknown_while_it_could_still_be_reached() -> None:
    two_of_three = {"count": 2, "of": [PTOSIS, {"sign": "fever"}, {"sign": "headache"}]}
    assert weigh(two_of_three, "temperature present") == "UNKNOWN"
    assert weigh(two_of_three, "temperature present, ask_headache normal") == "UNKNOWN"
    nothing_else = "temperature present, ask_headache normal, upper_lid_position right normal"
    assert weigh(two_of_three, nothing_else) == "NO"
    assert weigh(two_of_three, "temperature present, ask_headache present") == "YES"


def test_a_known_old_deficit_is_neither_new_nor_unexamined() -> None:
    found = examination("upper_lid_position right complete")
    old = found.model_copy(update={"known_old": (("upper_lid_position", Side.RIGHT),)})
    evidence = gather_evidence(old, None)
    for condition, expected in (
        (PTOSIS, Truth.UNKNOWN),
        ({"untested": "ptosis", "side": "same"}, Truth.NO),
    ):
        outcome = READ.validate_python(condition).weigh(evidence, Side.RIGHT, assume=True)
        assert outcome.truth is expected


truths = st.lists(st.sampled_from(Truth), min_size=1, max_size=5)


@given(truths)
def test_all_and_any_obey_de_morgan(values: list[Truth]) -> None:
    outcomes = [Outcome(value) for value in values]
    denied = [Outcome(value.negated) for value in values]
    assert all_of(outcomes).truth.negated is any_of(denied).truth


@given(truths, st.integers(0, 4))
def test_learning_more_never_reverses_a_yes_or_a_no(values: list[Truth], where: int) -> None:
    """Replacing an unknown by a value may settle an answer but not turn yes into no."""
    place = where % len(values)
    if values[place] is not Truth.UNKNOWN:
        return
    for combine in (all_of, any_of):
        before = combine(Outcome(value) for value in values).truth
        for learned in (Truth.YES, Truth.NO):
            now = [learned if i == place else value for i, value in enumerate(values)]
            after = combine(Outcome(value) for value in now).truth
            assert before in (Truth.UNKNOWN, after)
