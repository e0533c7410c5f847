"""Three steps, double vision and gaze patterns: the model's answers, mirrored and in bad input."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.double_vision import (
    DoubleVision,
    Orientation,
    images,
    muscles_behind_double_vision,
)
from decussate.measures.eye_excursion import Excursion
from decussate.measures.gaze_patterns import (
    EyeMovement,
    HorizontalSigns,
    gaze_patterns,
    internuclear_cause_shares,
)
from decussate.measures.muscle_mechanics import Muscle
from decussate.measures.ocular_alignment import EYE_MUSCLES, EyeMuscle, Gaze, field_of_action
from decussate.measures.three_step import (
    ThreeSteps,
    predicted_steps,
    steps_from_measurements,
    suggests_skew_deviation,
    three_step_test,
)
from decussate.sides import Side

HORIZONTAL = (Muscle.LATERAL_RECTUS, Muscle.MEDIAL_RECTUS)
vertical_muscles = st.sampled_from([m for m in EYE_MUSCLES if m.muscle not in HORIZONTAL])
maybe_side = st.sampled_from([*Side, None])


@given(vertical_muscles)
@settings(max_examples=8, deadline=None)
def test_the_three_steps_of_a_palsy_lead_back_to_it(muscle: EyeMuscle) -> None:
    assert three_step_test(predicted_steps(muscle)).muscle == muscle
    assert predicted_steps(muscle.mirrored) == predicted_steps(muscle).mirrored


@given(st.tuples(maybe_side, maybe_side, maybe_side))
@settings(deadline=None)
def test_each_step_narrows_and_mirrors(
    sides: tuple[Side | None, Side | None, Side | None],
) -> None:
    steps = ThreeSteps(*sides)
    reading = three_step_test(steps)
    sizes = [8, *(len(left) for left in reading.after_step)]
    for before, after, side in zip(sizes, sizes[1:], sides, strict=False):
        assert after == (before if side is None else before // 2)
    mirrored = three_step_test(steps.mirrored)
    assert {m.mirrored for m in reading.after_step[-1]} == set(mirrored.after_step[-1])


def test_small_differences_are_left_undecided() -> None:
    steps = steps_from_measurements(6.0, 5.0, 6.0, 12.0, 4.0)
    assert steps == ThreeSteps(Side.RIGHT, None, Side.RIGHT)
    assert len(three_step_test(steps).after_step[-1]) == 2


@given(st.floats(1.0, 40.0), st.floats(0.0, 40.0))
@settings(deadline=None)
def test_lying_down_is_compared_by_size(upright: float, supine: float) -> None:
    assert suggests_skew_deviation(upright, supine) is suggests_skew_deviation(-upright, -supine)
    assert suggests_skew_deviation(upright, supine) is (supine <= upright / 2.0)


@given(st.sampled_from(EYE_MUSCLES))
@settings(max_examples=12, deadline=None)
def test_the_account_of_a_palsy_leads_back_to_its_muscle(muscle: EyeMuscle) -> None:
    gaze = field_of_action(muscle)
    seen = images(muscle)[gaze]
    account = DoubleVision(gaze, seen.orientation, seen.outer(gaze))
    first = muscles_behind_double_vision(account)[0]
    assert first.muscle == muscle
    assert not first.against
    # The eye whose muscle is weak lags behind and sees the outer image.
    assert seen.outer(gaze) is muscle.side
    assert muscles_behind_double_vision(account.mirrored)[0].muscle == muscle.mirrored


def test_a_tilted_image_speaks_against_a_horizontal_muscle() -> None:
    account = DoubleVision(Gaze.RIGHT, Orientation.HORIZONTAL, Side.RIGHT, tilted=True)
    ranked = muscles_behind_double_vision(account)
    lateral = next(m for m in ranked if m.muscle == EyeMuscle(Side.RIGHT, Muscle.LATERAL_RECTUS))
    assert any("tilt" in reason for reason in lateral.against)


def test_double_vision_of_one_eye_is_no_muscle() -> None:
    account = DoubleVision(Gaze.DOWN, remains_with_one_eye_covered=True)
    assert muscles_behind_double_vision(account) == ()


movements = st.sampled_from([EyeMovement(s, e) for s in Side for e in Excursion])


@given(st.sets(movements, min_size=1))
@settings(max_examples=60, deadline=None)
def test_gaze_patterns_mirror(weak: set[EyeMovement]) -> None:
    straight = gaze_patterns(weak)
    mirrored = gaze_patterns({m.mirrored for m in weak})

    def described(patterns, turn: bool) -> set[tuple[str, Side | None, bool]]:
        return {
            (p.name, p.side.other if turn and p.side else p.side, p.fits_exactly) for p in patterns
        }

    assert described(straight, True) == described(mirrored, False)
    for pattern in straight:
        assert set(pattern.explains) | set(pattern.leaves) == weak


def test_a_movement_not_tested_counts_neither_way() -> None:
    weak = {EyeMovement(Side.RIGHT, Excursion.ADDUCTION)}
    pattern = next(
        p
        for p in gaze_patterns(weak, tested=weak)
        if p.name == "one and a half" and p.side is Side.RIGHT
    )
    assert pattern.fits_exactly


def test_nothing_weak_gives_no_pattern() -> None:
    assert gaze_patterns([]) == ()


def test_missing_helpers_are_said() -> None:
    weak = {EyeMovement(Side.LEFT, Excursion.ADDUCTION)}
    signs = HorizontalSigns(abducting_eye_beats=True, convergence_spared=False)
    first = gaze_patterns(weak, signs=signs)[0]
    assert (first.name, first.side) == ("internuclear ophthalmoplegia", Side.LEFT)
    assert first.supported_by == ("abducting eye beats",)
    assert first.weakened_by == ("no sign of: convergence spared",)
    assert "left" in first.where


@pytest.mark.parametrize("both", [True, False])
def test_cause_shares_add_to_one(both: bool) -> None:
    assert sum(internuclear_cause_shares(both_sides=both).values()) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: predicted_steps(EYE_MUSCLES[0]), "vertical rectus or an oblique"),
        (lambda: steps_from_measurements(500.0), "prism dioptres"),
        (lambda: suggests_skew_deviation(0.0, 0.0), "other than zero"),
        (
            lambda: muscles_behind_double_vision(DoubleVision(Gaze.AHEAD, outer_image=Side.LEFT)),
            "away from straight ahead",
        ),
        (
            lambda: gaze_patterns([EyeMovement(Side.LEFT, Excursion.ELEVATION)], tested=[]),
            "listed as tested",
        ),
    ],
)
def test_bad_input_names_the_slip(call, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        call()
