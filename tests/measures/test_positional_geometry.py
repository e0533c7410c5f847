"""Canal planes against a general rotation library, and the reading of positional tests."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from decussate.errors import BadInput
from decussate.measures.canal_geometry import (
    CANALS,
    Canal,
    CanalKind,
    HeadPosition,
    excitatory_normal,
    fast_phase_when_excited,
    gravity_out_of_plane_deg,
    head_hanging,
    lying_back_axis,
    plane_angle_deg,
    provocation,
    side_lying,
    supine,
    supine_roll,
    turned,
    upright,
)
from decussate.measures.nystagmus import FastPhase
from decussate.measures.positional_observation import (
    CentralClues,
    Manoeuvre,
    Mechanism,
    PositionalObservation,
)
from decussate.measures.positional_provocation import (
    NeckRange,
    cautions,
    position_options,
    provoked_canals,
    shortfall,
)
from decussate.measures.positional_test import (
    predicted_beat,
    predicted_roll,
    read_positional_test,
)
from decussate.sides import Side

sides = st.sampled_from(list(Side))
DOWN_IN_THE_ROOM = np.array([0.0, 0.0, -1.0])


def _gravity_in_head(head: Rotation) -> np.ndarray:
    return head.inv().apply(DOWN_IN_THE_ROOM)


@given(sides, st.floats(0.0, 90.0), st.floats(-45.0, 60.0))
@settings(deadline=None)
def test_lying_back_agrees_with_rotations(side: Side, turn: float, hang: float) -> None:
    # Sitting facing +x in the room: turn the head about the vertical, then lay trunk and head back
    # about the room's left-right axis until the crown is below the horizontal.
    towards = -1.0 if side is Side.RIGHT else 1.0
    turn_head = Rotation.from_euler("z", towards * turn, degrees=True)
    lie_back = Rotation.from_euler("y", -(90.0 + hang), degrees=True)
    gravity = _gravity_in_head(lie_back * turn_head)
    assert turned("x", side, turn, hang).gravity == pytest.approx(tuple(gravity), abs=1e-9)


@given(sides, st.floats(0.0, 80.0))
@settings(deadline=None)
def test_lying_on_the_side_agrees_with_rotations(side: Side, away: float) -> None:
    towards = -1.0 if side is Side.RIGHT else 1.0
    turn_head = Rotation.from_euler("z", -towards * away, degrees=True)
    # Rolling the trunk about the room's front-back axis brings that ear down.
    lie = Rotation.from_euler("x", -towards * 90.0, degrees=True)
    gravity = _gravity_in_head(lie * turn_head)
    assert side_lying(side, turn_away_deg=away).gravity == pytest.approx(tuple(gravity), abs=1e-9)


@given(sides, st.floats(0.0, 90.0))
@settings(deadline=None)
def test_the_axis_of_lying_back_agrees_with_rotations(side: Side, turn: float) -> None:
    towards = -1.0 if side is Side.RIGHT else 1.0
    turn_head = Rotation.from_euler("z", towards * turn, degrees=True)
    axis = turn_head.inv().apply([0.0, -1.0, 0.0])
    assert lying_back_axis(side, turn) == pytest.approx(axis, abs=1e-9)


@given(sides, st.sampled_from(CANALS), st.floats(0.0, 90.0), st.floats(-40.0, 60.0))
@settings(deadline=None)
def test_fall_and_travel_agree_with_rotations(
    side: Side, canal: Canal, turn: float, hang: float
) -> None:
    # Bring the canal's axis to z: the debris then rolls in the x-y plane.
    end = turned("x", side, turn, hang)
    flat, _ = Rotation.align_vectors([[0.0, 0.0, 1.0]], [excitatory_normal(canal)])
    before, after = flat.apply(upright().gravity)[:2], flat.apply(end.gravity)[:2]
    across = before[0] * after[1] - before[1] * after[0]
    angle = math.degrees(math.atan2(across, before @ after))
    found = provocation(upright(), end, canal)
    if abs(abs(angle) - 180.0) > 1e-3 and abs(angle) > 1e-6:
        assert found.travel_deg == pytest.approx(-angle, abs=1e-4)
    assert found.in_plane == pytest.approx(np.linalg.norm(after), abs=1e-9)
    drop = np.linalg.norm(after) * (1.0 - math.cos(math.radians(angle))) / 2.0
    assert abs(found.fall) == pytest.approx(drop, abs=1e-9)
    out = math.degrees(math.acos(min(1.0, found.in_plane)))
    assert gravity_out_of_plane_deg(end, canal) == pytest.approx(out, abs=1e-4)


@given(st.sampled_from(CANALS), st.floats(-60.0, 60.0))
@settings(deadline=None)
def test_the_fast_phase_agrees_with_rotations(canal: Canal, gaze_right: float) -> None:
    # Resolve the excitatory turn in an eye that looks to the side.
    eye = Rotation.from_euler("z", -gaze_right, degrees=True)
    roll, pitch, yaw = eye.inv().apply(excitatory_normal(canal))
    found = fast_phase_when_excited(canal, gaze_right_deg=gaze_right)
    assert (found.upper_pole_right, found.up, found.right) == pytest.approx((roll, -pitch, -yaw))


@given(st.sampled_from(CANALS), sides, st.floats(0.0, 90.0), st.floats(-40.0, 60.0))
@settings(deadline=None)
def test_provocation_mirrors_within_the_spread_of_the_planes(
    canal: Canal, side: Side, turn: float, hang: float
) -> None:
    # The published right and left planes differ by up to two degrees; Blanks' set is symmetric.
    one = provocation(upright(), turned("x", side, turn, hang), canal, planes="Blanks1975")
    two = provocation(
        upright(), turned("x", side.other, turn, hang), canal.mirrored, planes="Blanks1975"
    )
    assert abs(one.fall) == pytest.approx(abs(two.fall), abs=1e-9)
    if abs(abs(one.travel_deg) - 180.0) > 1e-3 and abs(one.travel_deg) > 1e-6:
        assert one.travel_deg == pytest.approx(two.travel_deg, abs=1e-6)


@given(st.sampled_from(CANALS))
@settings(deadline=None)
def test_predicted_beats_mirror(canal: Canal) -> None:
    for excited in (True, False):
        beat = predicted_beat(canal, excited=excited)
        assert predicted_beat(canal.mirrored, excited=excited) == beat.mirrored


def test_planes_meet_at_acute_angles() -> None:
    for first in CANALS:
        for second in CANALS:
            assert 0.0 <= plane_angle_deg(first, second) <= 90.0


@given(sides)
@settings(deadline=None)
def test_the_tested_posterior_canal_falls_farthest(side: Side) -> None:
    first = provoked_canals(upright(), head_hanging(side))[0]
    assert first.canal == Canal(side, CanalKind.POSTERIOR)
    assert first.fall > 0.0
    exciting = [p for p in provoked_canals(supine(), supine_roll(side)) if p.fall > 0.0]
    horizontal = [p.canal.side for p in exciting if p.canal.kind is CanalKind.HORIZONTAL]
    assert horizontal == [side]


@given(sides, st.floats(0.0, 45.0), st.floats(-20.0, 20.0))
@settings(deadline=None)
def test_less_hanging_means_less_fall(side: Side, turn: float, hang: float) -> None:
    less, more = shortfall(side, turn, hang), shortfall(side, turn, hang + 5.0)
    assert less.reached.fall < more.reached.fall


def test_too_little_turn_leaves_the_ear_in_doubt() -> None:
    assert not shortfall(Side.RIGHT, 45.0, 20.0).side_uncertain
    assert shortfall(Side.RIGHT, 10.0, 20.0).side_uncertain


@given(sides)
@settings(deadline=None)
def test_a_neck_that_cannot_turn_is_carried_by_the_trunk(side: Side) -> None:
    best = position_options(side, NeckRange(5.0, 5.0, 0.0))[0]
    assert best.name == "trunk rolled on a tilting couch"
    assert best.share_kept == pytest.approx(1.0)
    assert not best.side_uncertain


@given(sides, st.floats(0.0, 80.0), st.floats(0.0, 80.0), st.floats(0.0, 45.0))
@settings(max_examples=40, deadline=None)
def test_options_mirror(side: Side, right: float, left: float, extension: float) -> None:
    neck = NeckRange(right, left, extension)
    one = {o.name: o.share_kept for o in position_options(side, neck)}
    two = {o.name: o.share_kept for o in position_options(side.other, neck.mirrored)}
    assert one == pytest.approx(two, abs=0.03)


def test_cautions_that_stop_come_first() -> None:
    found = cautions()
    assert "dissection" in found[0].text
    assert [c.stop for c in found] == sorted((c.stop for c in found), reverse=True)


observed = st.builds(
    PositionalObservation,
    st.just(Manoeuvre.HEAD_HANGING),
    sides,
    st.none()
    | st.tuples(
        st.sampled_from([*Side, None]), st.sampled_from([-1, 0, 1]), st.sampled_from([*Side, None])
    )
    .filter(any)
    .map(lambda t: FastPhase(*t)),
    st.none() | st.floats(0.0, 60.0),
    st.none() | st.floats(0.0, 120.0),
)


@given(st.lists(observed, min_size=1, max_size=2, unique_by=lambda o: o.side))
@settings(deadline=None)
def test_readings_mirror(seen: list[PositionalObservation]) -> None:
    straight = read_positional_test(seen)
    mirrored = read_positional_test([o.mirrored for o in seen])
    assert {c.mirrored for c in straight.candidates} == set(mirrored.candidates)
    assert straight.central == mirrored.central
    assert straight.remarks == mirrored.remarks


@given(sides, st.booleans(), st.floats(1.5, 5.0), st.booleans())
@settings(deadline=None)
def test_roll_readings_mirror_and_follow_the_planes(
    side: Side, free: bool, ratio: float, swap: bool
) -> None:
    canal = Canal(side, CanalKind.HORIZONTAL)
    expected = predicted_roll(canal, free=free)
    seen = [
        PositionalObservation(
            Manoeuvre.ROLL,
            down,
            FastPhase(beat),
            duration_s=20.0 if free else 90.0,
            strength=ratio if strong else 1.0,
        )
        for down, (beat, strong) in expected.items()
    ]
    reading = read_positional_test(seen[::-1] if swap else seen)
    assert [c.canal for c in reading.candidates] == [canal]
    assert reading.candidates[0].mechanism is (Mechanism.FREE if free else Mechanism.ON_CUPULA)


def test_central_clues_are_listed() -> None:
    seen = PositionalObservation(
        Manoeuvre.HEAD_HANGING, Side.LEFT, FastPhase(upward=1, torsion=Side.LEFT), vertigo=False
    )
    clues = CentralClues(True, True, False, True)
    assert len(read_positional_test([seen], clues).central) == 5
    assert read_positional_test([seen]).central == (read_positional_test([seen], clues).central[0],)


def test_a_short_watch_is_to_be_repeated() -> None:
    seen = PositionalObservation(Manoeuvre.HEAD_HANGING, Side.LEFT, watched_s=8.0)
    assert any("repeat" in r for r in read_positional_test([seen]).remarks)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: excitatory_normal(CANALS[0], planes="ours"), "DellaSantina2005, Blanks1975"),
        (lambda: turned("x", Side.LEFT, 400.0, 0.0), "-180 to 180"),
        (lambda: head_hanging(Side.LEFT, below_horizontal_deg=120.0), "Hanging is positive"),
        (lambda: HeadPosition("x", (1.0, 1.0, 1.0)), "length 1"),
        (lambda: NeckRange(extension_deg=100.0), "0 to 60 degrees"),
        (lambda: PositionalObservation(Manoeuvre.HEAD_HANGING), "right or left"),
        (lambda: PositionalObservation(Manoeuvre.BOW, Side.LEFT), "no side"),
        (lambda: PositionalObservation(Manoeuvre.BOW, duration_s=-1.0), "seconds"),
        (lambda: read_positional_test([]), "at least one position"),
        (lambda: read_positional_test([PositionalObservation(Manoeuvre.BOW)] * 2), "each position"),
        (lambda: predicted_roll(CANALS[0], free=True), "horizontal canal"),
    ],
)
def test_bad_input_names_the_slip(call, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        call()
