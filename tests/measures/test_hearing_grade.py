import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audiogram_strategies import air, audiograms, with_bone
from decussate.errors import BadInput
from decussate.measures.answer import Answer
from decussate.measures.audiogram import Audiogram, Conduction, Threshold
from decussate.measures.hearing_grade import (
    LossType,
    air_bone_gap,
    grade_of,
    hearing_grade,
    loss_type,
    pure_tone_average,
    unilateral_loss,
)
from decussate.sides import Side

SCALES = ("WHO 2021", "WHO 1991", "BSA", "ASHA")


@given(st.floats(-20, 130), st.floats(0, 60), st.sampled_from(SCALES))
def test_more_loss_is_never_a_milder_grade(level, more, scale):
    order = list(dict.fromkeys(grade_of(x / 4, scale) for x in range(-80, 520)))
    assert order.index(grade_of(level, scale)) <= order.index(grade_of(level + more, scale))


@given(audiograms())
@settings(max_examples=40)
def test_mirror(audiogram):
    m = audiogram.mirrored()
    for side in Side:
        a, b = pure_tone_average(audiogram, side), pure_tone_average(m, side.other)
        assert (a.level_db_hl, a.missing_hz, a.at_least) == (
            b.level_db_hl,
            b.missing_hz,
            b.at_least,
        )
        for hz in (500, 4000):
            g, h = air_bone_gap(audiogram, side, hz), air_bone_gap(m, side.other, hz)
            assert (g is None) == (h is None)
            if g and h:
                assert (g.low_db, g.high_db, g.ear_certain) == (h.low_db, h.high_db, h.ear_certain)
            assert loss_type(audiogram, side, hz) is loss_type(m, side.other, hz)
    one, two = unilateral_loss(audiogram), unilateral_loss(m)
    assert two == (one.other if isinstance(one, Side) else one)
    assert hearing_grade(audiogram, "WHO 2021").grade == hearing_grade(m, "WHO 2021").grade


def test_a_missing_frequency_is_not_computable():
    average = pure_tone_average(air(40, 40), Side.RIGHT, "AAO-HNS")
    assert average.level_db_hl is None
    assert average.missing_hz == (3000,)
    assert hearing_grade(air(40, 40), "BSA", Side.RIGHT).grade is None


def test_no_response_makes_the_grade_a_lower_bound():
    a = air([30, 40, 50], [10, 10, 10], (500, 1000, 2000))
    a = Audiogram(
        (
            *a.thresholds,
            Threshold(Side.RIGHT, 4000, Conduction.AIR, 110, no_response=True),
            Threshold(Side.LEFT, 4000, Conduction.AIR, 10),
        )
    )
    average = pure_tone_average(a, Side.RIGHT)
    assert average.level_db_hl == pytest.approx(57.5)
    assert average.at_least
    assert not hearing_grade(a, "WHO 2021").at_least


def test_better_ear_scale_grades_total_loss_of_one_ear_as_normal_and_names_the_ear():
    a = air(100, 10)
    assert hearing_grade(a, "WHO 2021").grade == "normal"
    assert unilateral_loss(a) is Side.RIGHT
    assert unilateral_loss(air(34, 10)) is Answer.NO
    assert unilateral_loss(air([35, None, 35, 35], 10)) is Answer.UNKNOWN


def test_an_ear_that_is_not_computable_leaves_the_better_ear_unknown():
    assert hearing_grade(air([10, None, 10, 10], 60), "WHO 2021").grade is None


def test_scale_and_ear_must_fit():
    with pytest.raises(BadInput, match="better ear"):
        hearing_grade(air(20, 20), "WHO 2021", Side.RIGHT)
    with pytest.raises(BadInput, match="each ear"):
        hearing_grade(air(20, 20), "BSA")
    with pytest.raises(BadInput, match="WHO 2021"):
        grade_of(30, "WHO 1997")
    with pytest.raises(BadInput, match="AAO-HNS"):
        pure_tone_average(air(20, 20), Side.RIGHT, "mine")


def test_gap_of_tones_not_heard_is_a_bound():
    a = Audiogram(
        (
            Threshold(Side.RIGHT, 500, Conduction.AIR, 100, no_response=True),
            Threshold(Side.RIGHT, 500, Conduction.BONE, 40, masked=True),
            Threshold(Side.LEFT, 500, Conduction.AIR, 70),
            Threshold(Side.LEFT, 500, Conduction.BONE, 60, masked=True, no_response=True),
        )
    )
    right, left = (air_bone_gap(a, s, 500) for s in Side)
    assert (right.low_db, right.high_db) == (60, math.inf)
    assert (left.low_db, left.high_db) == (-math.inf, 10)
    assert loss_type(a, Side.LEFT, 500) is LossType.SENSORINEURAL


def test_a_negative_gap_is_kept():
    gap = air_bone_gap(with_bone(air(20, 20), 30, 20), Side.RIGHT, 500)
    assert gap.low_db == -10


@pytest.mark.parametrize(
    ("level", "bone", "masked", "expected"),
    [
        (10, 5, True, LossType.NORMAL),
        (20, 0, True, LossType.CONDUCTIVE),
        (45, 10, True, LossType.CONDUCTIVE),
        (45, 40, True, LossType.SENSORINEURAL),
        (65, 40, True, LossType.MIXED),
        (65, 40, False, LossType.UNKNOWN),
        (45, 40, False, LossType.SENSORINEURAL),
    ],
)
def test_types_of_loss(level, bone, masked, expected):
    a = with_bone(air(level, level), bone, bone, masked=masked)
    assert loss_type(a, Side.RIGHT, 1000) is expected


def test_type_without_bone_is_unknown():
    assert loss_type(air(50, 50), Side.RIGHT, 1000) is LossType.UNKNOWN
    assert loss_type(air(50, 50), Side.RIGHT, 8000) is LossType.UNKNOWN
