"""Patterns of loss in one eye and in both, from every way of testing."""

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.field_pattern import PatternKind, classify_eye
from decussate.measures.field_pattern_both import BothKind, classify_fields, congruity
from decussate.measures.visual_field import FieldPosition
from decussate.measures.visual_field_confrontation import red_desaturation
from decussate.measures.visual_field_directions import FieldDirection, Quadrant
from decussate.measures.visual_field_map import (
    FieldMap,
    map_from_outline,
    map_from_points,
    map_from_red,
)
from decussate.measures.visual_field_outline import (
    FieldOutline,
    normal_outline,
    outline_from_extents,
    outline_from_positions,
    outline_from_quadrants,
)
from decussate.measures.visual_field_points import PerimetryPoint, central_pattern
from decussate.measures.visual_field_scotoma import Scotoma
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT


def quadrants(eye, lost, part=0.0):
    seen = {q: part if q.value in lost else 1.0 for q in Quadrant}
    return map_from_outline(outline_from_quadrants(eye, seen))


def perimetry(eye, lost, db=0.0, noise=None):
    points = []
    for x, y in sorted(central_pattern(eye, "24-2")):
        value = db if lost(x, y) else 31.0 - 0.3 * math.hypot(x, y)
        if noise is not None:
            value = max(0.0, round(value + noise.gauss(0.0, 2.0)))
        points.append(PerimetryPoint(x, y, value, value > 0.0))
    return map_from_points(eye, points)


@pytest.mark.parametrize(
    ("lost", "kind", "side", "upper"),
    [
        ((), PatternKind.NORMAL, None, None),
        (tuple(q.value for q in Quadrant), PatternKind.TOTAL, None, None),
        (("upper_temporal", "lower_temporal"), PatternKind.HEMIANOPIA, RIGHT, None),
        (("upper_nasal", "lower_nasal"), PatternKind.HEMIANOPIA, LEFT, None),
        (("upper_temporal",), PatternKind.QUADRANTANOPIA, RIGHT, True),
        (("lower_nasal",), PatternKind.QUADRANTANOPIA, LEFT, False),
        (("upper_temporal", "upper_nasal"), PatternKind.ALTITUDINAL, None, True),
        (("lower_temporal", "lower_nasal"), PatternKind.ALTITUDINAL, None, False),
    ],
)
def test_quadrants_of_the_right_eye(lost, kind, side, upper):
    found = classify_eye(quadrants(RIGHT, lost))
    assert (found.kind, found.side, found.upper) == (kind, side, upper)
    assert found.reasons


def test_partial_hemianopia_is_denser_where_it_is():
    seen = dict.fromkeys(Quadrant, 1.0)
    seen |= {Quadrant.LOWER_TEMPORAL: 0.0, Quadrant.UPPER_TEMPORAL: 0.6}
    found = classify_eye(map_from_outline(outline_from_quadrants(LEFT, seen)))
    assert (found.kind, found.side, found.upper) == (PatternKind.PARTIAL_HEMIANOPIA, LEFT, False)
    assert found.half == "temporal"


@pytest.mark.parametrize(
    ("scotoma", "kind"),
    [
        (Scotoma(RIGHT, 0, 0, 14, 14), PatternKind.CENTRAL),
        (Scotoma(RIGHT, 8, 0, 26, 14), PatternKind.CENTROCAECAL),
        (Scotoma(RIGHT, 15.5, -1.5, 12, 16), PatternKind.ENLARGED_BLIND_SPOT),
    ],
)
def test_scotomas_inside_a_whole_outline(scotoma, kind):
    assert classify_eye(map_from_outline(normal_outline(RIGHT), [scotoma])).kind is kind


def test_constriction_and_crescent():
    narrow = outline_from_quadrants(LEFT, dict.fromkeys(Quadrant, 0.3))
    assert classify_eye(map_from_outline(narrow)).kind is PatternKind.CONSTRICTION
    within_60 = [
        FieldPosition(m, min(59.9, normal_outline(LEFT).eccentricity_deg(m)))
        for m in range(0, 360, 5)
    ]
    no_crescent = outline_from_positions(LEFT, within_60)
    assert classify_eye(map_from_outline(no_crescent)).kind is PatternKind.CRESCENT


def test_kinetic_points_with_a_step_respect_the_vertical():
    normal = normal_outline(LEFT)
    stops = [*range(0, 91, 15), *range(90, 271, 15), *range(270, 360, 15)]
    seen = [
        FieldPosition(m, 0.0 if k < 7 or k >= 20 else normal.eccentricity_deg(m))
        for k, m in enumerate(stops)
    ]
    found = classify_eye(map_from_outline(FieldOutline(LEFT, tuple(seen))))
    assert (found.kind, found.side) == (PatternKind.HEMIANOPIA, RIGHT)
    assert found.meridians_respected == ("vertical",)


def test_eight_directions_blur_but_keep_a_hemianopia():
    extents = {d: normal_outline(RIGHT).extent(d) for d in FieldDirection}
    extents |= {d: 0.0 for d in FieldDirection if "temporal" in d}
    found = classify_eye(map_from_outline(outline_from_extents(RIGHT, extents)))
    assert (found.kind, found.side) == (PatternKind.HEMIANOPIA, RIGHT)


PERIMETRY = [
    (lambda x, y: x > 0, PatternKind.HEMIANOPIA),
    (lambda x, y: x < 0 and y < 0, PatternKind.QUADRANTANOPIA),
    (lambda x, y: y > 0, PatternKind.ALTITUDINAL),
    (lambda x, y: y > 0 and 9 < math.hypot(x, y) < 21 and x < 14, PatternKind.ARCUATE),
    (lambda x, y: y > 0 and x < -9 and y < 12, PatternKind.NASAL_STEP),
    (lambda x, y: math.hypot(x, y) < 5, PatternKind.CENTRAL),
    (lambda x, y: math.hypot(x, y) < 5 or (0 < x < 18 and abs(y) <= 3), PatternKind.CENTROCAECAL),
    (lambda x, y: math.hypot(x, y) > 12, PatternKind.CONSTRICTION),
    (lambda x, y: x > 0 and math.hypot(x, y) < 8, PatternKind.HEMIANOPIC_SCOTOMA),
    (lambda x, y: True, PatternKind.TOTAL),
    (lambda x, y: False, PatternKind.NORMAL),
]


@pytest.mark.parametrize(("lost", "kind"), PERIMETRY)
def test_perimetry_points_of_the_right_eye_and_mirrored_of_the_left(lost, kind):
    assert classify_eye(perimetry(RIGHT, lost)).kind is kind
    assert classify_eye(perimetry(LEFT, lambda x, y: lost(-x, y))).kind is kind


@pytest.mark.parametrize(("lost", "kind"), PERIMETRY[:3])
def test_large_patterns_survive_noise_of_2_db(lost, kind):
    noise = random.Random(7)
    kinds = [classify_eye(perimetry(RIGHT, lost, noise=noise)).kind for _ in range(25)]
    assert kinds.count(kind) >= 24


def test_normal_fields_with_noise_of_2_db_are_seldom_called_abnormal():
    noise = random.Random(8)
    kinds = [classify_eye(perimetry(LEFT, lambda x, y: False, noise=noise)).kind for _ in range(50)]
    assert kinds.count(PatternKind.NORMAL) >= 45


def test_relative_loss_is_found():
    found = classify_eye(perimetry(RIGHT, lambda x, y: x > 0 and y > 0, db=14.0))
    assert (found.kind, found.side, found.upper) == (PatternKind.QUADRANTANOPIA, RIGHT, True)


def test_sparing_is_not_claimed_on_a_coarse_grid():
    found = classify_eye(perimetry(RIGHT, lambda x, y: x > 0))
    assert found.sparing.present is None
    assert any("cannot be judged" in reason for reason in found.reasons)


def test_split_fixation_and_sparing_are_measured():
    split = classify_eye(quadrants(RIGHT, ("upper_temporal", "lower_temporal")))
    assert (split.sparing.present, split.sparing.seen_to_deg) == (False, 0.0)
    whole = map_from_outline(normal_outline(RIGHT))
    spared = FieldMap(
        RIGHT,
        tuple(
            type(s)(s.x_deg, s.y_deg, float(s.x_deg < 0 and s.eccentricity_deg > 4), s.weight_sr)
            for s in whole.samples
        ),
    )
    found = classify_eye(spared).sparing
    assert found.present
    assert found.seen_to_deg == 3.5
    assert found.lost_from_deg == 4.5


def test_red_by_quadrant_is_classified():
    dull = {q: 30.0 if "temporal" in q else 100.0 for q in Quadrant}
    both = classify_fields(
        map_from_red(red_desaturation(RIGHT, dull)), map_from_red(red_desaturation(LEFT, dull))
    )
    assert both.kind is BothKind.BITEMPORAL


TEMPORAL, NASAL = ("upper_temporal", "lower_temporal"), ("upper_nasal", "lower_nasal")
UPPER = ("upper_temporal", "upper_nasal")


@pytest.mark.parametrize(
    ("right", "left", "kind", "side"),
    [
        ((), (), BothKind.NORMAL, None),
        (TEMPORAL, NASAL, BothKind.HOMONYMOUS, RIGHT),
        (NASAL, TEMPORAL, BothKind.HOMONYMOUS, LEFT),
        (("upper_nasal",), ("upper_temporal",), BothKind.HOMONYMOUS, LEFT),
        (TEMPORAL, TEMPORAL, BothKind.BITEMPORAL, None),
        (("upper_temporal",), ("upper_temporal",), BothKind.BITEMPORAL, None),
        (NASAL, NASAL, BothKind.BINASAL, None),
        (UPPER, UPPER, BothKind.BILATERAL_ALTITUDINAL, None),
        (TEMPORAL, (), BothKind.ONE_EYE, None),
        ((*TEMPORAL, *NASAL), TEMPORAL, BothKind.JUNCTIONAL, None),
        (UPPER, TEMPORAL, BothKind.TWO_UNLIKE, None),
    ],
)
def test_both_eyes(right, left, kind, side):
    found = classify_fields(quadrants(RIGHT, right), quadrants(LEFT, left))
    assert (found.kind, found.side) == (kind, side)


def test_central_and_constricted_in_both():
    central = [
        map_from_outline(normal_outline(e), [Scotoma(e, 0, 0, 14, 14)]) for e in (RIGHT, LEFT)
    ]
    assert classify_fields(*central).kind is BothKind.BILATERAL_CENTRAL
    narrow = [quadrants(e, tuple(q.value for q in Quadrant), 0.3) for e in (RIGHT, LEFT)]
    assert classify_fields(*narrow).kind is BothKind.BILATERAL_CONSTRICTION


def test_congruity_runs_from_none_to_one():
    whole = quadrants(RIGHT, ()), quadrants(LEFT, ())
    assert congruity(*whole) is None
    same = quadrants(RIGHT, TEMPORAL), quadrants(LEFT, NASAL)
    assert congruity(*same) == pytest.approx(1.0)
    apart = quadrants(RIGHT, ("upper_temporal",)), quadrants(LEFT, ("lower_nasal",))
    assert congruity(*apart) == 0.0
    half = quadrants(RIGHT, TEMPORAL), quadrants(LEFT, ("upper_nasal",))
    assert 0.4 < congruity(*half) < 0.6


def test_complete_loss_warns_that_its_shape_says_nothing():
    found = classify_fields(quadrants(RIGHT, TEMPORAL), quadrants(LEFT, NASAL))
    assert found.complete
    assert "congruity says nothing" in found.cautions[0]
    partial = classify_fields(
        quadrants(RIGHT, ("upper_temporal",)), quadrants(LEFT, ("upper_nasal",))
    )
    assert not partial.complete
    assert "tract" in partial.cautions[0]
    assert (
        "does not exclude" in classify_fields(quadrants(RIGHT, ()), quadrants(LEFT, ())).cautions[0]
    )


parts = st.fixed_dictionaries({q: st.sampled_from([0.0, 0.3, 0.6, 1.0]) for q in Quadrant})


@settings(max_examples=25, deadline=None)
@given(parts, parts)
def test_mirrored_fields_give_the_mirrored_pattern(right, left):
    one_right = map_from_outline(outline_from_quadrants(RIGHT, right))
    one_left = map_from_outline(outline_from_quadrants(LEFT, left))
    one = classify_fields(one_right, one_left)
    other = classify_fields(one_left.mirrored(), one_right.mirrored())
    assert other.kind is one.kind
    assert other.side is (None if one.side is None else one.side.other)
    assert other.congruity == pytest.approx(one.congruity)
    assert (other.left.kind, other.right.kind) == (one.right.kind, one.left.kind)
    assert other.left.upper == one.right.upper
    assert other.left.side is (None if one.right.side is None else one.right.side.other)


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(Side), parts)
def test_map_of_the_mirrored_outline_is_the_mirrored_map(eye, seen):
    outline = outline_from_quadrants(eye, seen)
    here = {
        (round(s.x_deg, 6), round(s.y_deg, 6)): s.loss
        for s in map_from_outline(outline.mirrored()).samples
    }
    there = {
        (round(s.x_deg, 6), round(s.y_deg, 6)): s.loss
        for s in map_from_outline(outline).mirrored().samples
    }
    assert here == there


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: classify_eye(FieldMap(RIGHT, ())), "at least one tested direction"),
        (
            lambda: classify_fields(quadrants(LEFT, ()), quadrants(RIGHT, ())),
            "right eye first",
        ),
        (
            lambda: map_from_outline(normal_outline(RIGHT), [Scotoma(LEFT, 0, 0, 5, 5)]),
            "all of the right eye",
        ),
    ],
)
def test_bad_input_says_what_was_expected(call, message):
    with pytest.raises(BadInput, match=message):
        call()
