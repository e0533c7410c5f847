"""Prism and angle conversions, the corneal reflection, comitance and excursions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from decussate.errors import BadInput
from decussate.measures.comitance import (
    Comitance,
    comitance,
    is_real_change,
    weak_eye_by_secondary_deviation,
)
from decussate.measures.eye_alignment import (
    deg_to_pd,
    oblique_deviation,
    pd_to_deg,
    prisms_before_both_eyes_pd,
    reflection_angle,
    reflection_fraction_pd,
)
from decussate.measures.eye_excursion import Excursion, excursion_grade, excursion_z_score
from decussate.measures.ocular_alignment import Deviation, Gaze
from decussate.sides import Side

angles = st.floats(-80.0, 80.0)


@given(angles)
@settings(deadline=None)
def test_degrees_and_prism_dioptres_round_trip(angle_deg: float) -> None:
    assert pd_to_deg(deg_to_pd(angle_deg)) == pytest.approx(angle_deg, abs=1e-9)
    assert deg_to_pd(-angle_deg) == pytest.approx(-deg_to_pd(angle_deg))


@given(angles)
@settings(deadline=None)
def test_prism_dioptres_are_the_offset_of_a_rotated_line_of_sight(angle_deg: float) -> None:
    # The definition by a general rotation library: centimetres across a wall one metre away.
    sight = Rotation.from_euler("z", angle_deg, degrees=True).apply([1.0, 0.0, 0.0])
    assert deg_to_pd(angle_deg) == pytest.approx(100.0 * sight[1] / sight[0], rel=1e-9, abs=1e-9)


@given(st.floats(-40.0, 40.0), st.floats(-40.0, 40.0))
@settings(deadline=None)
def test_prisms_before_both_eyes_add_as_rotations(right_deg: float, left_deg: float) -> None:
    both = Rotation.from_euler("z", right_deg, degrees=True) * Rotation.from_euler(
        "z", left_deg, degrees=True
    )
    x, y, _ = both.apply([1.0, 0.0, 0.0])
    joined = prisms_before_both_eyes_pd(deg_to_pd(right_deg), deg_to_pd(left_deg))
    assert joined == pytest.approx(100.0 * y / x, rel=1e-9, abs=1e-7)


def test_prisms_before_both_eyes_are_more_than_their_sum() -> None:
    assert prisms_before_both_eyes_pd(50.0, 50.0) > 100.0


def test_oblique_deviation_is_the_vector_sum() -> None:
    assert oblique_deviation(3.0, -4.0) == pytest.approx((5.0, 53.1301), abs=1e-3)


@given(st.sampled_from(list(Side)), st.floats(-5.0, 5.0), st.floats(-5.0, 5.0))
@settings(deadline=None)
def test_reflection_reads_the_same_in_either_eye(side: Side, out: float, down: float) -> None:
    one, other = reflection_angle(side, out, down), reflection_angle(side.other, out, down)
    assert (one.eso_pd, one.hyper_pd) == (other.eso_pd, other.hyper_pd)
    assert other.side is side.other
    # The reflection is carried outwards when the eye turns inwards, and downwards when it is high.
    assert math.copysign(1.0, one.eso_pd) == math.copysign(1.0, out)


@pytest.mark.parametrize(
    ("call", "found", "hint"),
    [
        (lambda: deg_to_pd(100.0), "100.0", "prism dioptres"),
        (lambda: pd_to_deg(float("nan")), "nan", "finite"),
        (lambda: reflection_angle(Side.RIGHT, 12.0), "12.0", "angle itself"),
        (lambda: reflection_angle(Side.RIGHT, 1.0, deg_per_mm=21.0), "21.0", "prism dioptres"),
        (lambda: reflection_angle(Side.RIGHT, 1.0, measured_from="pupil"), "pupil", "limbus"),
        (lambda: reflection_fraction_pd(2.0), "2.0", "mm"),
        (lambda: excursion_z_score(Excursion.ADDUCTION, 100.0), "100.0", "prism dioptres"),
    ],
)
def test_bad_input_says_what_was_found_and_the_usual_slip(call, found: str, hint: str) -> None:
    with pytest.raises(BadInput) as caught:
        call()
    assert found in caught.value.sentence
    assert hint in caught.value.sentence


@given(st.floats(0.0, 0.75), st.floats(0.0, 0.75))
@settings(deadline=None)
def test_reflection_fraction_grows(first: float, second: float) -> None:
    low, high = sorted((first, second))
    assert reflection_fraction_pd(low) <= reflection_fraction_pd(high)


@given(st.lists(st.floats(-30.0, 30.0), min_size=18, max_size=18))
@settings(deadline=None)
def test_comitance_mirrors(values: list[float]) -> None:
    seen = [Deviation(g, values[2 * i], values[2 * i + 1]) for i, g in enumerate(Gaze)]
    straight, mirrored = comitance(seen), comitance([d.mirrored for d in seen])
    assert mirrored.horizontal is straight.horizontal
    assert mirrored.vertical is straight.vertical
    assert mirrored.vertical_range_pd == pytest.approx(straight.vertical_range_pd)
    # Ties may fall either way; the deviation where it is greatest must be the same.
    by_gaze = {d.gaze: d for d in seen}
    assert by_gaze[straight.greatest_eso].eso_pd == by_gaze[mirrored.greatest_eso.mirrored].eso_pd


def test_comitance_limits() -> None:
    def spread(pd: float) -> Comitance:
        return comitance(
            [Deviation(Gaze.LEFT, 10.0, 0.0), Deviation(Gaze.RIGHT, 10.0 + pd, 0.0)]
        ).horizontal

    assert [spread(v) for v in (4.9, 5.0, 9.9, 10.0)] == [
        Comitance.COMITANT,
        Comitance.BETWEEN,
        Comitance.BETWEEN,
        Comitance.INCOMITANT,
    ]
    with pytest.raises(BadInput, match="at least two"):
        comitance([Deviation(Gaze.LEFT, 1.0, 0.0)])


def test_secondary_deviation_names_the_weak_eye() -> None:
    small, large = Deviation(Gaze.AHEAD, 20.0, 0.0), Deviation(Gaze.AHEAD, 35.0, 0.0)
    assert weak_eye_by_secondary_deviation(large, small) is Side.RIGHT
    assert weak_eye_by_secondary_deviation(small, large) is Side.LEFT
    assert weak_eye_by_secondary_deviation(small, small) is None
    with pytest.raises(BadInput, match="the same as with the right eye"):
        weak_eye_by_secondary_deviation(small, Deviation(Gaze.LEFT, 20.0, 0.0))


@given(st.floats(-90.0, 90.0), st.floats(-90.0, 90.0))
@settings(deadline=None)
def test_real_change_does_not_depend_on_order_or_sign(before: float, after: float) -> None:
    assert is_real_change(before, after) is is_real_change(after, before)
    assert is_real_change(before, after) is is_real_change(-before, -after)


@given(st.sampled_from(list(Excursion)), st.floats(-30.0, 74.0))
@settings(deadline=None)
def test_less_reach_never_grades_better(excursion: Excursion, reached: float) -> None:
    assert excursion_grade(excursion, reached) <= excursion_grade(excursion, reached + 1.0)
    assert excursion_z_score(excursion, reached) < excursion_z_score(excursion, reached + 1.0)


def test_short_of_the_midline_is_its_own_grade() -> None:
    assert excursion_grade(Excursion.ABDUCTION, -5.0) == -5
    assert excursion_grade(Excursion.ABDUCTION, 0.0) == -4
    assert np.isclose(excursion_z_score(Excursion.ELEVATION, 27.9), 0.0)
