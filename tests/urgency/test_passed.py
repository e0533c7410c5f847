"""What has passed leaves no sign, and is still among what cannot wait.

Checked against: National clinical guideline for stroke 2023 (suspected transient ischaemic attack:
specialist within 24 hours; more than a week ago: within 7 days), as quoted by the Greater
Manchester stroke network; NICE NG128 1.1.5 (2022), the same 24 hours.
"""

import pytest
from examinations import examination

from decussate.localisation import localise
from decussate.urgency import Level, evaluate

PASSED = ("ask_passed_weakness", "ask_passed_double_vision")


def alerts(findings: str, **story):
    found = examination(findings, **story)
    return {alert.rule: alert for alert in evaluate(found, localise(found))}


@pytest.mark.parametrize("test", [*PASSED, "ask_passed_sight right", "ask_passed_sight left"])
def test_an_attack_of_the_last_week_is_seen_within_a_day_and_an_older_one_within_a_week(test):
    """A patient of 70 with nothing left to find: before, nothing was raised."""
    recent = alerts(f"{test} recent, distance_acuity both normal, scalp_touch normal", age=70)
    assert recent["passed_attack_recent"].level is Level.SAME_DAY
    assert "24 hours" in recent["passed_attack_recent"].time_frame
    older = alerts(f"{test} earlier, scalp_touch normal", age=70)
    assert "7 days" in older["passed_attack_earlier"].time_frame
    assert "passed_attack_recent" not in older
    assert not alerts(f"{test} normal", age=70)


@pytest.mark.parametrize(("age", "asked"), [(49, False), (50, True), (80, True)])
def test_from_fifty_arteritis_is_asked_about_when_sight_went_for_a_while(age, asked):
    found = alerts("ask_passed_sight left recent", age=age)
    assert ("passed_sight_arteritis_not_asked" in found) is asked
    answered = alerts("ask_passed_sight left recent, scalp_touch normal", age=age)
    assert "passed_sight_arteritis_not_asked" not in answered


def test_what_passed_says_nothing_of_a_place():
    """It reveals no sign that could be seen now, so it may not move the localisation."""
    with_it = examination("ask_passed_weakness recent, weber right")
    without = examination("weber right")
    assert [c.probability for c in localise(with_it).candidates] == [
        c.probability for c in localise(without).candidates
    ]
