"""Nystagmus, gaze holding, accommodation and convergence."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.convergence import (
    AmplitudeBound,
    accommodation_amplitude_d,
    convergence_angle_deg,
    convergence_demand_pd,
    duane_amplitude_d,
    expected_amplitude_d,
    objective_amplitude_d,
    read_accommodation,
    read_near_point_of_convergence,
)
from decussate.measures.nystagmus import (
    FastPhase,
    Nystagmus,
    Waveform,
    alexander_degree,
    gaze_holding,
    read_nystagmus,
)
from decussate.measures.ocular_alignment import Gaze
from decussate.sides import Side

RIGHT_BEATING = FastPhase(Side.RIGHT)
sides = st.sampled_from([*Side, None])
beats = (
    st.tuples(sides, st.sampled_from([-1, 0, 1]), sides)
    .filter(lambda t: any(t))
    .map(lambda t: FastPhase(*t))
)


@given(
    st.builds(
        Nystagmus,
        st.dictionaries(st.sampled_from(list(Gaze)), st.none() | beats, min_size=1),
        st.dictionaries(st.sampled_from(list(Gaze)), st.floats(0.0, 60.0)),
        st.sampled_from(list(Waveform)),
        st.sampled_from([True, False, None]),
        sides,
        st.booleans(),
    )
)
@settings(deadline=None)
def test_the_mirrored_nystagmus_reads_mirrored(seen: Nystagmus) -> None:
    straight, mirrored = read_nystagmus(seen), read_nystagmus(seen.mirrored)
    assert mirrored.degree == straight.degree
    assert mirrored.follows_gaze_law is straight.follows_gaze_law
    assert mirrored.arguments == straight.arguments
    assert mirrored.weak_side is (straight.weak_side and straight.weak_side.other)
    assert mirrored.fast_phase == (straight.fast_phase and straight.fast_phase.mirrored)


@pytest.mark.parametrize(
    ("right", "ahead", "left", "degree"),
    [(1, 0, 0, 1), (1, 1, 0, 2), (1, 1, 1, 3), (0, 1, 0, None), (0, 0, 1, None), (1, 0, 1, None)],
)
def test_degrees_of_a_right_beating_nystagmus(right, ahead, left, degree) -> None:
    present = {Gaze.RIGHT: right, Gaze.AHEAD: ahead, Gaze.LEFT: left}
    assert alexander_degree({g: RIGHT_BEATING if p else None for g, p in present.items()}) == degree


def test_a_gaze_not_examined_leaves_the_degree_open() -> None:
    assert alexander_degree({Gaze.AHEAD: RIGHT_BEATING, Gaze.RIGHT: RIGHT_BEATING}) is None


def test_direction_changing_is_central_and_end_point_is_not() -> None:
    seen = {Gaze.RIGHT: FastPhase(Side.RIGHT), Gaze.LEFT: FastPhase(Side.LEFT)}
    assert [a.name for a in read_nystagmus(Nystagmus(seen)).speaking_for("central")] == [
        "direction changes with gaze"
    ]
    end = read_nystagmus(Nystagmus(seen, only_at_end_of_gaze=True))
    assert not end.speaking_for("central")
    assert [a.name for a in end.arguments] == ["end point only"]


def test_no_beat_no_argument() -> None:
    assert read_nystagmus(Nystagmus({Gaze.AHEAD: None})).arguments == ()


@given(st.floats(-15.0, 15.0), st.floats(1.0, 100.0))
@settings(deadline=None)
def test_gaze_holding_finds_the_bias_and_the_leak(bias: float, constant: float) -> None:
    found = gaze_holding({g: bias - g / constant for g in (-30.0, -15.0, 0.0, 15.0, 30.0)})
    assert found.bias_deg_per_s == pytest.approx(bias, abs=1e-6)
    assert found.time_constant_s == pytest.approx(constant, rel=1e-6)
    mirrored = gaze_holding({-g: -(bias - g / constant) for g in (-30.0, 0.0, 30.0)})
    assert mirrored.bias_deg_per_s == pytest.approx(-bias, abs=1e-6)
    assert mirrored.leaky is found.leaky or math.isclose(constant, 20.0, rel_tol=1e-6)


def test_steady_gaze_has_no_leak() -> None:
    assert not gaze_holding({-20.0: 3.0, 20.0: 3.0}).leaky


@given(st.floats(0.0, 120.0))
@settings(deadline=None)
def test_amplitude_bounds_keep_their_order(age: float) -> None:
    low, mean, high = (expected_amplitude_d(age, b) for b in AmplitudeBound)
    assert 0.0 <= low <= mean <= high
    assert expected_amplitude_d(age + 1.0 if age < 119.0 else age) <= mean


@given(st.floats(8.0, 64.0))
@settings(deadline=None)
def test_push_up_reads_higher_than_an_instrument(age: float) -> None:
    if age <= 40.0:
        assert duane_amplitude_d(age) > objective_amplitude_d(age)


@given(st.floats(3.0, 500.0), st.floats(-10.0, 10.0))
@settings(deadline=None)
def test_near_point_and_amplitude_round_trip(near_cm: float, refraction: float) -> None:
    amplitude = accommodation_amplitude_d(near_cm, refraction)
    assert 100.0 / (amplitude - refraction) == pytest.approx(near_cm)


def test_a_near_point_beyond_the_age_is_reduced() -> None:
    assert read_accommodation(20.0, 12.0).reduced
    assert not read_accommodation(45.0, 25.0).reduced


@given(st.floats(0.0, 50.0), st.floats(0.0, 5.0))
@settings(deadline=None)
def test_a_farther_break_never_reads_better(break_cm: float, more: float) -> None:
    near = read_near_point_of_convergence(30.0, break_cm)
    far = read_near_point_of_convergence(30.0, break_cm + more)
    assert near.receded <= far.receded
    assert near.clearly_receded <= far.clearly_receded


def test_a_late_recovery_counts() -> None:
    assert read_near_point_of_convergence(30.0, 5.0, 8.0).receded
    assert not read_near_point_of_convergence(30.0, 5.0, 7.0).receded


@given(st.floats(5.0, 600.0), st.floats(45.0, 75.0))
@settings(deadline=None)
def test_convergence_angle_is_the_angle_of_the_triangle(distance: float, pupils: float) -> None:
    # Law of cosines, an independent way to the same angle.
    leg = math.hypot(10.0 * distance, pupils / 2.0)
    cosine = (2.0 * leg**2 - pupils**2) / (2.0 * leg**2)
    angle = convergence_angle_deg(distance, pupils)
    assert angle == pytest.approx(math.degrees(math.acos(cosine)), rel=1e-6)
    assert convergence_demand_pd(distance, pupils) == pytest.approx(10.0 * pupils / distance)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: FastPhase(), "clock direction"),
        (lambda: FastPhase(upward=2), "1, 0 or -1"),
        (lambda: read_nystagmus(Nystagmus({})), "at least one direction"),
        (lambda: read_nystagmus(Nystagmus({Gaze.UP: None}, {Gaze.UP: -3.0})), "Give the size"),
        (lambda: gaze_holding({0.0: 1.0}), "at least two"),
        (lambda: expected_amplitude_d(1985.0), "year of birth"),
        (lambda: objective_amplitude_d(60.0), "3 to 40"),
        (lambda: accommodation_amplitude_d(0.1), "2 to 600 cm"),
        (lambda: accommodation_amplitude_d(10.0, 90.0), "dioptres"),
        (lambda: read_near_point_of_convergence(30.0, 300.0), "mm"),
        (lambda: read_near_point_of_convergence(30.0, 8.0, 5.0), "exchanged"),
        (lambda: convergence_angle_deg(40.0, 6.2), "cm"),
        (lambda: convergence_angle_deg(0.4, 62.0), "in m or mm"),
    ],
)
def test_bad_input_names_the_slip(call, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        call()
