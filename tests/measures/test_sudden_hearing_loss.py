import pytest
from hypothesis import given, settings

from audiogram_strategies import air, audiograms, with_bone
from decussate.errors import BadInput
from decussate.measures.answer import Answer
from decussate.measures.audiogram import Audiogram, Conduction, Threshold
from decussate.measures.sudden_hearing_loss import seen_within_hours, sudden_loss
from decussate.sides import Side

HZ = (500, 1000, 2000, 4000)


@given(audiograms(), audiograms())
@settings(max_examples=40)
def test_mirror(now, before):
    for earlier in (None, before):
        one = sudden_loss(now, Side.RIGHT, hours=10, earlier=earlier)
        two = sudden_loss(
            now.mirrored(), Side.LEFT, hours=10, earlier=earlier and earlier.mirrored()
        )
        assert (one.met, one.run_hz, one.sensorineural) == (two.met, two.run_hz, two.sensorineural)


def test_thirty_decibels_at_three_consecutive_frequencies():
    before, now = air([10, 10, 10, 10], 10), air([40, 40, 40, 10], 10)
    loss = sudden_loss(now, Side.RIGHT, hours=72, earlier=before)
    assert loss.met is Answer.YES
    assert loss.run_hz == (500, 1000, 2000)
    assert sudden_loss(now, Side.RIGHT, hours=73, earlier=before).met is Answer.NO


def test_three_that_are_not_neighbours_do_not_count():
    before, now = air([10, 10, 10, 10], 10), air([40, 40, 35, 40], 10)
    assert sudden_loss(now, Side.RIGHT, hours=10, earlier=before).met is Answer.NO


def test_without_a_baseline_the_other_ear_stands_in():
    loss = sudden_loss(air(60, 20), Side.RIGHT, hours=10)
    assert loss.compared_with == "other ear"
    assert loss.met is Answer.YES
    assert loss.sensorineural is Answer.UNKNOWN
    assert sudden_loss(air(60, 20), Side.LEFT, hours=10).met is Answer.NO


def test_too_few_frequencies_is_not_computable():
    assert sudden_loss(air(60, 20, (500, 1000)), Side.RIGHT, hours=1).met is Answer.UNKNOWN


def test_bone_conduction_tells_sensorineural_from_conductive():
    sn = with_bone(air(60, 20), 55, 20)
    assert sudden_loss(sn, Side.RIGHT, hours=1).sensorineural is Answer.YES
    conductive = with_bone(air(60, 20), 15, 20)
    assert sudden_loss(conductive, Side.RIGHT, hours=1).sensorineural is Answer.NO


def test_no_response_is_a_fall_of_at_least_that_much():
    quiet = tuple(
        Threshold(Side.RIGHT, hz, Conduction.AIR, 100, no_response=True) for hz in HZ
    ) + tuple(Threshold(Side.LEFT, hz, Conduction.AIR, 20) for hz in HZ)
    assert sudden_loss(Audiogram(quiet), Side.RIGHT, hours=1).met is Answer.YES


def test_times():
    assert seen_within_hours(fell_over_hours=72, days_since=30) == 24
    assert seen_within_hours(fell_over_hours=72, days_since=31) == 14 * 24
    assert seen_within_hours(fell_over_hours=90 * 24, days_since=0) == 14 * 24
    assert seen_within_hours(fell_over_hours=91 * 24, days_since=0) is None
    with pytest.raises(BadInput, match="zero or more"):
        seen_within_hours(fell_over_hours=-1, days_since=1)
    with pytest.raises(BadInput, match="hours"):
        sudden_loss(air(60, 20), Side.RIGHT, hours=-1)
