"""The rules as data, and the alerts an examination raises."""

import re
from pathlib import Path

import pytest
from examinations import examination
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.document import Examination, Finding, Story
from decussate.examination.record import read_examination
from decussate.sides import Side
from decussate.urgency import Alert, Level, evaluate, load_rules
from decussate.urgency.rules import read_rules

RULE = """
rules:
- id: example
  title: An example
  level: urgent
  time_frame: within days
  when: {sign: ptosis, side: same}
  advice: Can mean nothing.
  source: judgement
"""
THIRD_NERVE = "gaze_in right reduced, gaze_up right absent, upper_lid_position right complete"


def raised(found: Examination) -> set[str]:
    return {alert.rule for alert in evaluate(found)}


def alert(found: Examination, rule: str) -> Alert:
    return next(one for one in evaluate(found) if one.rule == rule)


def test_there_are_at_least_thirty_rules() -> None:
    assert len(load_rules()) >= 30


def test_every_rule_offers_a_possibility_and_an_action_and_states_no_diagnosis() -> None:
    for rule in load_rules():
        assert rule.advice.count(".") >= 1
        assert not re.search(r"\b(diagnosis is|has a|is caused by|confirms)\b", rule.advice), (
            rule.id
        )
        assert len(rule.title.split()) <= 15, rule.id
        assert len(rule.advice.split()) <= 24, rule.id


def test_the_most_urgent_come_first() -> None:
    """With every test abnormal on both sides many rules hold."""
    findings = [
        Finding(test=test.id, side=side, response="abnormal")
        for test in load_catalogue()
        if test.sign
        for side in (tuple(Side) if test.paired else (None,))
    ]
    alerts = evaluate(
        Examination(id="all", story=Story(onset="hours", age=70), findings=tuple(findings))
    )
    orders = [one.level.order for one in alerts]
    assert orders == sorted(orders)
    assert alerts[0].level is Level.EMERGENCY


def test_nothing_recorded_raises_nothing() -> None:
    assert evaluate(examination()) == ()


def test_all_normal_raises_nothing() -> None:
    findings = [
        Finding(test=test.id, side=side, response="normal")
        for test in load_catalogue()
        if test.responses
        for side in (tuple(Side) if test.paired else (None,))
    ]
    assert (
        evaluate(Examination(id="well", story=Story(onset="sudden"), findings=tuple(findings)))
        == ()
    )


@pytest.mark.parametrize("side", ["right", "left"])
def test_pupil_and_limitation_must_be_of_the_same_eye(side: str) -> None:
    third = f"gaze_in {side} reduced, gaze_up {side} absent"
    other = "left" if side == "right" else "right"
    found = alert(examination(f"{third}, pupil_size_light {side} large"), "third_nerve_pupil")
    assert found.sides == (Side(side),)
    assert "third_nerve_pupil" not in raised(
        examination(f"{third}, pupil_size_light {other} large, pupil_size_light {side} normal")
    )


def test_the_untested_pupil_is_asked_for_and_never_taken_as_normal() -> None:
    found = raised(examination(THIRD_NERVE))
    assert "third_nerve_pupil_unexamined" in found
    assert "third_nerve_pupil_spared" not in found
    assert (
        "pupil size in the light"
        in alert(examination(THIRD_NERVE), "third_nerve_pupil_unexamined").not_examined
    )


def test_a_tested_normal_pupil_changes_the_rule() -> None:
    found = raised(examination(f"{THIRD_NERVE}, pupil_size_light right normal"))
    assert "third_nerve_pupil_spared" in found
    assert "third_nerve_pupil_unexamined" not in found


def test_what_could_not_be_tested_is_still_asked_for() -> None:
    found = examination(f"{THIRD_NERVE}, pupil_size_light right could_not_be_tested")
    assert "third_nerve_pupil_unexamined" in raised(found)


def test_a_missing_age_never_silences_arteritis_but_a_young_age_does() -> None:
    assert "arteritis" in raised(examination("scalp_touch present"))
    assert "arteritis" in raised(examination("scalp_touch present", age=50))
    assert "arteritis" not in raised(examination("scalp_touch present", age=30))


def test_the_stronger_rule_is_not_repeated_by_the_weaker() -> None:
    found = raised(examination("scalp_touch present, distance_acuity left absent", age=71))
    assert "arteritis_vision" in found
    assert "arteritis" not in found


@pytest.mark.parametrize(
    ("findings", "rule"),
    [
        (f"{THIRD_NERVE}, pupil_size_light right large, gaze_in left reduced, gaze_up left absent",
         "third_nerve_pupil_unexamined"),
        ("close_eyes both absent, corneal_touch_felt right absent", "face_eye_exposed"),
        ("whisper_far both absent, touch_cheek right reduced", "sudden_deafness"),
    ],
)  # fmt: skip
def test_a_stronger_rule_of_one_side_never_hides_the_other_side(findings: str, rule: str) -> None:
    found = examination(findings, onset="days")
    assert alert(found, rule).sides == (Side.LEFT,)
    assert alert(found.mirrored(), rule).sides == (Side.RIGHT,)


def test_a_missing_onset_is_asked_for_with_what_it_would_decide() -> None:
    """That onset decides is published (NICE NG98: sudden hearing loss); that it is asked for at
    once is judgement."""
    found = alert(examination("whisper_far right absent"), "onset_not_recorded")
    assert found.time_frame == "ask now"
    assert "Sudden hearing loss" in found.advice
    assert found.level is Level.SAME_DAY
    assert found.sides == (Side.RIGHT,)
    assert not any("onset" in reason for reason in found.because)
    assert raised(examination("whisper_far right absent", onset="years")) == set()
    assert "onset_not_recorded" not in raised(examination("whisper_far right normal"))


def test_an_extensor_plantar_counts_among_the_signs_of_the_limbs() -> None:
    """Published case A59: sixth nerve with an extensor plantar of the other side, no onset."""
    case = Path(__file__).parents[1] / "published" / "cases" / "A59.json"
    assert "brain_signs_onset_unknown" in raised(read_examination(case))


def test_two_large_pupils_that_do_not_react_are_an_alert_alone_and_when_drowsy() -> None:
    pupils = "pupil_size_light both large, light_direct both absent"
    assert "both_pupils_large" in raised(examination(pupils))
    drowsy = raised(examination(f"{pupils}, consciousness present"))
    assert {"both_pupils_large", "drowsy_large_pupil"} <= drowsy
    one = "pupil_size_light both large, light_direct right absent, light_direct left normal"
    assert "both_pupils_large" not in raised(examination(one))


def test_attacks_of_vertigo_need_no_look_for_nystagmus() -> None:
    assert "vertigo_not_completed" in raised(examination("ask_vertigo present", onset="hours"))
    attacks = examination("ask_vertigo present", onset="hours", course="attacks")
    assert "vertigo_not_completed" not in raised(attacks)


def test_an_alert_says_why_in_words_with_sides() -> None:
    found = alert(examination(f"{THIRD_NERVE}, pupil_size_light right large"), "third_nerve_pupil")
    assert "right pupil size in the light: large" in found.because


def test_a_rule_holds_without_any_localisation() -> None:
    assert "both_cords" in raised(examination("larynx_view both absent"))


CODES = {test.id: list(test.codes) for test in load_catalogue() if test.responses and test.sign}


@st.composite
def examinations(draw: st.DrawFn) -> Examination:
    names = draw(st.lists(st.sampled_from(sorted(CODES)), max_size=12, unique=True))
    findings = []
    for name in names:
        sides = list(Side) if load_catalogue().test(name).paired else [None]
        for side in draw(st.lists(st.sampled_from(sides), min_size=1, unique=True)):
            response = draw(st.sampled_from(CODES[name]))
            findings.append(Finding(test=name, side=side, response=response))
    story = Story(
        onset=draw(st.sampled_from([None, "sudden", "days", "months"])),
        age=draw(st.sampled_from([None, 20, 60])),
    )
    return Examination(id="drawn", story=story, findings=tuple(findings))


@settings(max_examples=80, deadline=None)
@given(examinations())
def test_mirroring_the_patient_mirrors_the_alerts(found: Examination) -> None:
    here = {one.rule: set(one.sides) for one in evaluate(found)}
    there = {one.rule: {side.other for side in one.sides} for one in evaluate(found.mirrored())}
    assert here == there


@settings(max_examples=60, deadline=None)
@given(examinations(), st.randoms(use_true_random=False))
def test_order_of_entry_changes_nothing(found: Examination, random) -> None:
    shuffled = list(found.findings)
    random.shuffle(shuffled)
    other = found.model_copy(update={"findings": tuple(shuffled)})
    assert raised(found) == raised(other)


@pytest.mark.parametrize(
    ("was", "now", "field"),
    [
        ("sign: ptosis", "sign: ptosys", "sign"),
        ("{sign: ptosis, side: same}", "{sign: ptosis}", "side of ptosis"),
        ("{sign: ptosis, side: same}", "{sign: fever, side: same}", "side of fever"),
        ("{sign: ptosis, side: same}", "{sign: ptosis, side: upper}", "when.side"),
        ("side: same}", "side: same, states: [huge]}", "states"),
        ("{sign: ptosis, side: same}", "{symptom: ptosis}", "when"),
        ("{sign: ptosis, side: same}", "{context: [moonlight]}", "context"),
        ("{sign: ptosis, side: same}", "{places: [atlantis], at_least: 0.5}", "places"),
        ("source: judgement", "source: someone", "source"),
        ("level: urgent", "level: whenever", "level"),
        ("  source: judgement", "  source: judgement\n  colour: red", "colour"),
        ("  source: judgement", "  source: judgement\n  includes: [nobody]", "includes"),
        ("  source: judgement", "  source: judgement\n  would_change: [nothing]", "would_change"),
    ],
)
def test_a_row_that_cannot_be_used_is_refused_by_name(was: str, now: str, field: str) -> None:
    assert was in RULE
    with pytest.raises(BadInput) as caught:
        read_rules(RULE.replace(was, now, 1), "rules.yaml")
    assert caught.value.field == field
    assert "rules.yaml, rule example" in caught.value.where


def test_a_misspelt_sign_is_answered_with_the_nearest() -> None:
    with pytest.raises(BadInput, match="Did you mean ptosis"):
        read_rules(RULE.replace("ptosis", "ptosys"), "rules.yaml")


def test_an_id_is_used_once() -> None:
    twice = RULE + RULE.replace("\nrules:", "")
    with pytest.raises(BadInput, match="one rule only"):
        read_rules(twice, "rules.yaml")
