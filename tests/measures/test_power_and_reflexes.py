"""Grades of power, whose muscle moves what, and the two reflex arcs."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.power import (
    GradeChange,
    MrcGrade,
    accessory_weakness,
    compare_grades,
    movement_muscle,
    read_grade,
    weak_side_from_deviation,
)
from decussate.measures.reflexes import (
    CORNEAL_PAIRS,
    CornealArcs,
    CornealPair,
    JawJerk,
    LimbReflexes,
    corneal_response,
    expected_jaw_jerk,
    explain_corneal,
    explain_jaw_jerk,
)
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
side_sets = st.frozensets(st.sampled_from(Side))
arcs = st.builds(CornealArcs, side_sets, side_sets)


@pytest.mark.parametrize(
    ("text", "grade"),
    [
        ("4+", MrcGrade.FOUR_PLUS),
        ("4 plus", MrcGrade.FOUR_PLUS),
        ("4 minus", MrcGrade.FOUR_MINUS),
        ("4\u2212", MrcGrade.FOUR_MINUS),
        ("MRC 4-/5", MrcGrade.FOUR_MINUS),
        ("4/5+", MrcGrade.FOUR_PLUS),
        (" 5/5 ", MrcGrade.FIVE),
        ("Grade 0", MrcGrade.ZERO),
    ],
)
def test_grades_as_written(text, grade):
    assert read_grade(text) is grade


@given(st.sampled_from(MrcGrade))
def test_grades_round_trip(grade):
    assert read_grade(str(grade)) is grade
    assert read_grade(f"{grade}/5") is grade
    assert grade.words


@pytest.mark.parametrize("text", ["3+", "5-", "6", "4.5", "3-4", "4/6", "4++", "4+/5+", "", "weak"])
def test_no_grade_lies_between_two_others(text):
    with pytest.raises(BadInput, match="never between two others"):
        read_grade(text)


@pytest.mark.parametrize("muscle", ["face", "Tongue", "palate", "eye movements"])
def test_muscles_without_gravity_are_not_graded(muscle):
    with pytest.raises(BadInput, match="its own scale"):
        read_grade("4", muscle)


def test_grades_have_order_but_no_arithmetic():
    assert sorted(MrcGrade, reverse=True)[0] is MrcGrade.FIVE
    with pytest.raises(TypeError):
        MrcGrade.FOUR + MrcGrade.FIVE  # type: ignore[operator]
    with pytest.raises(TypeError):
        MrcGrade.FOUR < 5  # type: ignore[operator]  # noqa: B015


@given(st.sampled_from(MrcGrade), st.sampled_from(MrcGrade))
def test_change_turned_about_is_the_opposite_change(before, after):
    opposite = {GradeChange.BETTER: GradeChange.WORSE, GradeChange.WORSE: GradeChange.BETTER}
    there, back = compare_grades(before, after), compare_grades(after, before)
    assert back is opposite.get(there, there)


def test_a_step_between_3_and_4_minus_counts_and_one_above_does_not():
    assert compare_grades(MrcGrade.THREE, MrcGrade.FOUR_MINUS) is GradeChange.BETTER
    assert compare_grades(MrcGrade.FIVE, MrcGrade.FOUR_PLUS) is GradeChange.WITHIN_DOUBT
    assert compare_grades(MrcGrade.FIVE, MrcGrade.FOUR) is GradeChange.WORSE


@given(st.sampled_from(Side))
def test_mirrored_movement_gives_the_mirrored_muscle(side):
    for movement in ("turn the face", "shrug the shoulder", "push the tongue into the cheek"):
        muscle, of = movement_muscle(movement, side)
        assert movement_muscle(movement, side.other) == (muscle, of.other)
    for part in ("jaw on opening", "tongue on protrusion"):
        assert weak_side_from_deviation(part, side) is side
    for lesion in ("accessory nerve", "cerebral hemisphere", "medulla"):
        one, other = accessory_weakness(lesion, side), accessory_weakness(lesion, side.other)
        assert {m: s and s.other for m, s in one.items()} == other


def test_posterior_triangle_spares_the_sternomastoid():
    weak = accessory_weakness("accessory nerve in the posterior triangle", LEFT)
    assert weak == {"sternomastoid": None, "trapezius": LEFT, "head turn": None}


@pytest.mark.parametrize(
    "call",
    [
        lambda: movement_muscle("wink", RIGHT),
        lambda: weak_side_from_deviation("uvula", RIGHT),
        lambda: accessory_weakness("thalamus", RIGHT),
    ],
)
def test_unknown_names_are_refused(call):
    with pytest.raises(BadInput, match="one of"):
        call()


@given(arcs)
def test_the_true_arcs_are_always_among_the_explanations(true_arcs):
    felt = {side: side not in true_arcs.afferent for side in Side}
    reading = explain_corneal(corneal_response(true_arcs), felt)
    assert true_arcs in reading.explanations
    assert all(corneal_response(a) == corneal_response(true_arcs) for a in reading.explanations)


@given(arcs)
def test_mirrored_arcs_give_mirrored_responses_and_explanations(true_arcs):
    response = corneal_response(true_arcs)
    mirrored = corneal_response(true_arcs.mirrored())
    assert mirrored == {p.mirrored(): b for p, b in response.items()}
    one, other = explain_corneal(response), explain_corneal(mirrored)
    assert {a.mirrored() for a in one.simplest} == set(other.simplest)


def test_single_lesions_are_told_apart_by_the_four_responses():
    for true_arcs in (
        CornealArcs(frozenset({RIGHT})),
        CornealArcs(frozenset({LEFT})),
        CornealArcs(efferent=frozenset({RIGHT})),
        CornealArcs(efferent=frozenset({LEFT})),
    ):
        assert explain_corneal(corneal_response(true_arcs)).simplest == (true_arcs,)


def test_one_response_alone_asks_for_the_rest():
    reading = explain_corneal({CornealPair(RIGHT, RIGHT): False})
    assert len(reading.simplest) == 2
    assert "touch the right cornea and watch the left lid" in reading.to_ask
    assert CornealPair(RIGHT, RIGHT).is_direct


def test_feeling_separates_both_v1_from_both_vii():
    silent = dict.fromkeys(CORNEAL_PAIRS, False)
    assert any("felt" in ask for ask in explain_corneal(silent).to_ask)
    numb = explain_corneal(silent, dict.fromkeys(Side, False)).simplest
    assert numb == (CornealArcs(afferent=frozenset(Side)),)


def test_impossible_responses_are_refused():
    blinked = dict.fromkeys(CORNEAL_PAIRS, True) | {CornealPair(RIGHT, LEFT): False}
    with pytest.raises(BadInput, match="filed under the lid"):
        explain_corneal(blinked)
    with pytest.raises(BadInput, match="at least one response"):
        explain_corneal({})


def test_jaw_jerk_truth_table():
    assert expected_jaw_jerk() == {JawJerk.ABSENT, JawJerk.SLIGHT}
    assert expected_jaw_jerk(released=True) == {JawJerk.BRISK, JawJerk.CLONIC}
    assert expected_jaw_jerk(frozenset({LEFT}), released=True) == {JawJerk.BRISK, JawJerk.CLONIC}
    assert expected_jaw_jerk(frozenset(Side), released=True) == {JawJerk.ABSENT}
    for jaw in JawJerk:
        for limbs in (None, *LimbReflexes):
            reading = explain_jaw_jerk(jaw, limbs)
            assert reading.abnormal is (jaw in expected_jaw_jerk(released=True))
            assert reading.reasons
    assert explain_jaw_jerk(JawJerk.SLIGHT, LimbReflexes.BRISK).mark == "from memory"
