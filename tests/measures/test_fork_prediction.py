import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audiogram_strategies import air, audiograms, with_bone
from decussate.measures.audiogram import Audiogram, Conduction, Threshold
from decussate.measures.fork_prediction import (
    Fork,
    predicted_rinne,
    predicted_weber,
    probability_rinne_negative,
)
from decussate.measures.tuning_forks import Weber
from decussate.sides import Side

F = Fork.F512_STEEL
BOTH = (250, 500)


@given(audiograms(), st.sampled_from(Fork))
@settings(max_examples=60)
def test_mirror(audiogram, fork):
    m = audiogram.mirrored()
    for side in Side:
        one, two = predicted_rinne(audiogram, side, fork), predicted_rinne(m, side.other, fork)
        assert (one is None) == (two is None)
        if one and two:
            assert one.probability_negative == two.probability_negative
            assert one.false_negative == two.false_negative
    one, two = predicted_weber(audiogram, fork), predicted_weber(m, fork)
    assert (one is None) == (two is None)
    if one and two:
        assert {w.mirrored for w in one.possible} == two.possible
        assert one.possible


@given(st.floats(-20, 60), st.floats(0, 20), st.sampled_from(Fork))
def test_a_wider_gap_is_likelier_to_turn_the_rinne(gap, more, fork):
    one, two = (probability_rinne_negative(g, fork) for g in (gap, gap + more))
    assert 0 < one <= two < 1


@pytest.mark.parametrize(
    ("right_air", "left_air", "right_bone", "left_bone", "weber"),
    [
        (10, 10, 5, 5, Weber.MIDLINE),
        (50, 10, 10, 5, Weber.RIGHT),
        (60, 10, 60, 10, Weber.LEFT),
        (10, 60, 10, 60, Weber.RIGHT),
    ],
)
def test_weber_of_plain_losses(right_air, left_air, right_bone, left_bone, weber):
    a = with_bone(air(right_air, left_air, BOTH), right_bone, left_bone, BOTH)
    assert weber in predicted_weber(a, F).possible
    if weber is not Weber.MIDLINE:
        assert predicted_weber(a, F).possible == {weber}


def test_dead_ear_gives_a_false_negative_rinne_and_the_weber_in_the_other():
    a = Audiogram(
        tuple(
            t
            for hz in BOTH
            for t in (
                Threshold(Side.RIGHT, hz, Conduction.AIR, 110, masked=True, no_response=True),
                Threshold(Side.LEFT, hz, Conduction.AIR, 10),
                Threshold(Side.RIGHT, hz, Conduction.BONE, 60, masked=True, no_response=True),
                Threshold(Side.LEFT, hz, Conduction.BONE, 5),
            )
        )
    )
    right = predicted_rinne(a, Side.RIGHT, F)
    assert right.false_negative
    assert right.probability_negative >= 0.9
    assert not predicted_rinne(a, Side.LEFT, F).false_negative
    assert predicted_weber(a, F).possible == {Weber.LEFT}


def test_two_dead_ears_hear_nothing():
    a = Audiogram(
        tuple(
            Threshold(side, 500, conduction, 70, masked=True, no_response=True)
            for side in Side
            for conduction in Conduction
        )
    )
    assert predicted_weber(a, F).possible == {Weber.NOT_HEARD}


def test_without_bone_conduction_nothing_is_predicted():
    assert predicted_rinne(air(50, 10), Side.RIGHT, F) is None
    assert predicted_weber(air(50, 10), F) is None


def test_an_unmasked_gap_is_not_taken_as_this_ears():
    a = with_bone(air(45, 10, BOTH), 10, None, BOTH, masked=False)
    right = predicted_rinne(a, Side.RIGHT, F)
    assert not right.ear_certain
    assert "if the unmasked" in right.because
    assert predicted_weber(a, F).possible > {Weber.RIGHT}
