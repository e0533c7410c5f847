"""Positions, outlines, areas and comparisons."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.visual_field import (
    FieldPosition,
    arc_offset_mm,
    chart_exaggeration,
    field_position,
    flat_offset_mm,
    growth_with_distance,
    shared_target_deg,
    target_diameter_deg,
)
from decussate.measures.visual_field_binocular import (
    DRIVING_WARNING,
    binocular_field,
    compare_driving_rules,
)
from decussate.measures.visual_field_comparison import (
    average_concentric_field_deg,
    compare_outlines,
    field_efficiency_percent,
    relative_to_examiner,
)
from decussate.measures.visual_field_directions import FieldDirection, Quadrant
from decussate.measures.visual_field_outline import (
    FieldOutline,
    combined_ring,
    normal_outline,
    outline_from_extents,
    outline_from_positions,
    outline_from_quadrants,
    solid_angle_sr,
)
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
eyes = st.sampled_from(Side)
fractions = st.fixed_dictionaries({q: st.floats(0.0, 1.0) for q in Quadrant})
extents = st.fixed_dictionaries({d: st.floats(0.0, 110.0) for d in FieldDirection})
meridians = st.floats(0.0, 359.9)


@settings(max_examples=50)
@given(st.floats(0.0, 359.0), st.floats(0.1, 110.0), st.floats(100.0, 3000.0))
def test_position_in_space_gives_back_its_angles(meridian, eccentricity, distance):
    r, t = math.radians(eccentricity), math.radians(meridian)
    found = field_position(
        distance * math.sin(r) * math.cos(t),
        distance * math.sin(r) * math.sin(t),
        distance * math.cos(r),
    )
    assert found.eccentricity_deg == pytest.approx(eccentricity)
    assert (found.meridian_deg - meridian + 180) % 360 - 180 == pytest.approx(0.0, abs=1e-6)


@settings(max_examples=30)
@given(st.floats(0.0, 75.0), st.floats(100.0, 2000.0))
def test_flat_screen_round_trips(eccentricity, distance):
    offset = flat_offset_mm(eccentricity, distance)
    assert field_position(offset, 0.0, distance).eccentricity_deg == pytest.approx(eccentricity)


@settings(max_examples=30)
@given(meridians, st.floats(0.0, 110.0))
def test_chart_position_round_trips_and_mirrors(meridian, eccentricity):
    p = FieldPosition(meridian, eccentricity)
    q = FieldPosition.from_chart(p.x_deg, p.y_deg)
    assert (q.x_deg, q.y_deg) == pytest.approx((p.x_deg, p.y_deg))
    m = p.mirrored()
    assert (m.x_deg, m.y_deg) == pytest.approx((-p.x_deg, p.y_deg))


@settings(max_examples=30)
@given(st.floats(-800.0, 800.0), st.floats(-800.0, 800.0), st.floats(200.0, 2000.0))
def test_mirrored_target_gives_the_mirrored_position(right_mm, up_mm, forward_mm):
    p = field_position(right_mm, up_mm, forward_mm)
    m = field_position(-right_mm, up_mm, forward_mm)
    assert (m.x_deg, m.y_deg) == pytest.approx((-p.x_deg, p.y_deg), abs=1e-9)


def test_target_beside_and_behind_the_eye():
    assert field_position(300.0, 0.0, -50.0).eccentricity_deg == pytest.approx(99.46, abs=0.01)


def test_shared_target_is_fair_only_midway():
    patient, examiner = shared_target_deg(200.0, 500.0, 500.0)
    assert patient == examiner
    patient, examiner = shared_target_deg(200.0, 350.0, 650.0)
    assert patient > examiner


@settings(max_examples=40)
@given(eyes, extents)
def test_mirrored_extents_give_the_mirrored_outline(eye, chosen):
    outline = outline_from_extents(eye, chosen)
    other = outline_from_extents(eye.other, chosen)
    mirrored = outline.mirrored()
    assert mirrored.eye is eye.other
    assert other.area_sr == pytest.approx(mirrored.area_sr) == pytest.approx(outline.area_sr)
    for d in FieldDirection:
        assert other.extent(d) == pytest.approx(mirrored.extent(d)) == pytest.approx(chosen[d])


@settings(max_examples=40)
@given(eyes, fractions, meridians)
def test_mirrored_quadrants_give_the_mirrored_outline(eye, seen, meridian):
    one = outline_from_quadrants(eye, seen)
    other = outline_from_quadrants(eye.other, seen)
    assert other.eccentricity_deg(180.0 - meridian) == pytest.approx(
        one.eccentricity_deg(meridian), abs=1e-6
    )
    assert one.mirrored().sides_deg(180.0 - meridian) == pytest.approx(
        one.sides_deg(meridian)[::-1], abs=1e-6
    )


@settings(max_examples=40)
@given(eyes, extents, extents)
def test_union_and_overlap_add_up(eye, first, second):
    one, other = outline_from_extents(eye, first), outline_from_extents(eye, second)
    both = solid_angle_sr(combined_ring(one, other, min))
    either = solid_angle_sr(combined_ring(one, other, max))
    assert both + either == pytest.approx(one.area_sr + other.area_sr)
    assert both <= min(one.area_sr, other.area_sr) + 1e-9


@settings(max_examples=30)
@given(fractions, fractions)
def test_mirrored_eyes_give_the_mirrored_binocular_field(right, left):
    one = binocular_field(outline_from_quadrants(RIGHT, right), outline_from_quadrants(LEFT, left))
    other = binocular_field(
        outline_from_quadrants(RIGHT, left), outline_from_quadrants(LEFT, right)
    )
    assert other.right_deg == pytest.approx(one.left_deg)
    assert other.overlap_left_deg == pytest.approx(one.overlap_right_deg)
    assert other.area_sq_deg == pytest.approx(one.area_sq_deg)


def test_area_is_true_on_the_sphere_and_larger_on_the_chart():
    normal = normal_outline(RIGHT)
    assert normal.chart_area_sq_deg > normal.area_sq_deg
    small = outline_from_quadrants(RIGHT, dict.fromkeys(Quadrant, 0.02))
    assert small.chart_area_sq_deg == pytest.approx(small.area_sq_deg, rel=1e-3)
    assert chart_exaggeration(0.0) == 1.0


def test_comparison_with_the_normal_field():
    seen = dict.fromkeys(Quadrant, 1.0) | {Quadrant.UPPER_TEMPORAL: 0.0}
    lost = compare_outlines(outline_from_quadrants(LEFT, seen), normal_outline(LEFT))
    assert lost.area_ratio == pytest.approx(0.768, abs=0.001)
    assert lost.deficit_deg[FieldDirection.UP_TEMPORAL] == 55.0
    assert lost.deficit_deg[FieldDirection.NASAL] == 0.0
    assert lost.reference == "normal extent: us_schedule"
    whole = compare_outlines(normal_outline(LEFT), normal_outline(LEFT))
    assert (whole.area_ratio, whole.lost_sq_deg) == (1.0, pytest.approx(0.0, abs=1e-9))


def test_the_examiners_facing_eye_is_turned_about():
    narrow = outline_from_quadrants(
        RIGHT, dict.fromkeys(Quadrant, 1.0) | {Quadrant.LOWER_NASAL: 0.5}
    )
    same_loss_in_the_examiner = narrow.mirrored()
    compared = relative_to_examiner(narrow, same_loss_in_the_examiner)
    assert compared.area_ratio == pytest.approx(1.0)
    assert compared.lost_sq_deg == pytest.approx(0.0, abs=1e-6)
    with pytest.raises(BadInput, match="facing the patient's right"):
        relative_to_examiner(narrow, normal_outline(RIGHT))


def test_summaries_of_the_normal_field():
    assert average_concentric_field_deg(normal_outline(LEFT)) == 62.5
    assert field_efficiency_percent(normal_outline(LEFT)) == 100.0


def test_extent_at_a_step_is_the_mean_and_its_sides_are_kept():
    seen = dict.fromkeys(Quadrant, 1.0) | {Quadrant.UPPER_TEMPORAL: 0.0}
    outline = outline_from_quadrants(RIGHT, seen)
    assert outline.sides_deg(0.0) == (85.0, 0.0)
    assert outline.extent(FieldDirection.TEMPORAL) == 42.5


def test_driving_rules_say_what_falls_short_and_always_warn():
    hemianopia = {
        eye: outline_from_quadrants(eye, {q: 0.0 if q.side(eye) is LEFT else 1.0 for q in Quadrant})
        for eye in Side
    }
    compared = compare_driving_rules(binocular_field(hemianopia[RIGHT], hemianopia[LEFT]))
    assert all(c.warning == DRIVING_WARNING for c in compared)
    assert all(any(s.startswith("to the left 0") for s in c.shortfalls) for c in compared)
    assert not any(s.startswith("to the right") for s in compared[0].shortfalls)
    whole = compare_driving_rules(binocular_field(normal_outline(RIGHT), normal_outline(LEFT)))
    assert all(len(c.shortfalls) == 1 and "formal test" in c.shortfalls[0] for c in whole)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: field_position(15.0, 0.0, 35.0), "centimetres or metres"),
        (lambda: field_position(300.0, 0.0, -300.0), "0 to 120 degrees"),
        (lambda: flat_offset_mm(90.0, 500.0), "flat screen cannot reach 90"),
        (lambda: flat_offset_mm(20.0, 0.5), "50 to 10000 mm"),
        (lambda: arc_offset_mm(130.0, 330.0), "0 to 120"),
        (lambda: target_diameter_deg(0.0, 330.0), "0.1 to 300 mm"),
        (lambda: shared_target_deg(-1.0, 500.0, 500.0), "0 mm or more"),
        (lambda: growth_with_distance(300.0, 2000.0, 300.0, 1000.0), "more than 2000 mm"),
        (lambda: growth_with_distance(0.0, 1000.0, 300.0, 2000.0), "near size"),
        (lambda: FieldPosition(float("nan"), 10.0), "angle in degrees"),
        (lambda: FieldPosition.from_chart(float("inf"), 1.0), "two numbers"),
        (lambda: normal_outline(RIGHT, "mine"), "us_schedule"),
        (
            lambda: outline_from_positions(RIGHT, [FieldPosition(m, 30.0) for m in (0, 90, 180)]),
            "gaps under 180",
        ),
        (lambda: outline_from_positions(RIGHT, []), "three different meridians"),
        (
            lambda: FieldOutline(RIGHT, tuple(FieldPosition(m, 9.0) for m in (270, 180, 90, 0))),
            "anticlockwise",
        ),
        (
            lambda: outline_from_quadrants(RIGHT, {Quadrant.UPPER_NASAL: 1.0}),
            "Not tested is not the same as seen",
        ),
        (
            lambda: outline_from_quadrants(RIGHT, dict.fromkeys(Quadrant, 80.0)),
            "percentage",
        ),
        (
            lambda: outline_from_quadrants(
                RIGHT, dict.fromkeys(Quadrant, 1.0), normal_outline(LEFT)
            ),
            "the right eye",
        ),
        (lambda: compare_outlines(normal_outline(RIGHT), normal_outline(LEFT)), "right eye"),
        (lambda: binocular_field(normal_outline(LEFT), normal_outline(RIGHT)), "the right eye"),
    ],
)
def test_bad_input_says_what_was_expected(call, message):
    with pytest.raises(BadInput, match=message):
        call()
