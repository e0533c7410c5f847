"""A field drawn by hand: the line becomes an outline and blind areas, and these become findings."""

import math

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.examination.document import Examination
from decussate.measures.as_findings.drawn_field import (
    TECHNIQUES,
    drawn_field_findings,
    drawn_field_in,
    drawn_field_words,
    drawn_pattern,
)
from decussate.measures.field_pattern import PatternKind
from decussate.measures.visual_field import FieldPosition, temporal_sign
from decussate.measures.visual_field_drawn import (
    MERIDIANS_DEG,
    BlindArea,
    drawn_from_extents,
    full_drawn_field,
)
from decussate.measures.visual_field_outline import normal_outline
from decussate.measures.visual_field_scotoma import physiological_blind_spot
from decussate.sides import Side

EYES = pytest.mark.parametrize("eye", list(Side))


def line(eye, *corners, points=14):
    """A hand's line round corners given as (temporal, up) in degrees, in small steps."""
    out = temporal_sign(eye)
    ring = zip(corners, (*corners[1:], corners[0]), strict=True)
    return [
        FieldPosition.from_chart(out * (a + (c - a) * k / points), b + (d - b) * k / points)
        for (a, b), (c, d) in ring
        for k in range(points)
    ]


def circle(eye, temporal, up, radius, wide=1.0):
    turns = [math.radians(8 * k) for k in range(45)]
    corners = [(temporal + wide * radius * math.cos(t), up + radius * math.sin(t)) for t in turns]
    return line(eye, *corners, points=1)


# As a hand draws them: a little over the meridian here, a little short of it there.
LOST = {
    "temporal half": [
        (-2, 80),
        (70, 75),
        (108, 0),
        (80, -75),
        (2, -90),
        (-3, -40),
        (3, 0),
        (1, 30),
    ],
    "upper temporal quadrant": [(-2, 60), (70, 60), (105, 3), (40, -3), (3, 2)],
    "upper half": [(-75, 3), (-60, 70), (60, 70), (105, -2), (50, 4), (0, 2), (-40, -4)],
}


@EYES
def test_a_half_drawn_out_ends_at_the_vertical_meridian(eye):
    drawn = full_drawn_field(eye).without(line(eye, *LOST["temporal half"]))
    extents, full = drawn.extents_deg, full_drawn_field(eye).extents_deg
    assert extents[90] == (0.0, 45.0)
    assert extents[270] == (65.0, 0.0)
    for meridian in MERIDIANS_DEG:
        if 90 < meridian < 270:
            assert extents[meridian] == full[meridian]
        elif meridian not in (90, 270):
            assert extents[meridian] == (0.0, 0.0)
    pattern = drawn_pattern(drawn)
    # A loss that ends at the vertical meridian is a hemianopia: Schiefer et al., compendium of
    # visual field defects.
    assert pattern.kind is PatternKind.HEMIANOPIA
    assert pattern.half == "temporal"
    assert pattern.meridians_respected == ("vertical",)


@EYES
def test_a_quadrant_drawn_slantwise_past_its_edge_leaves_nothing_inside(eye):
    slant = [(-2, 60), (60, 60), (95, 10), (60, 3), (3, 2), (-2, 20)]
    drawn = full_drawn_field(eye).without(line(eye, *slant))
    assert drawn.areas == ()
    assert drawn.extents_deg[0] == (85.0, 0.0)
    assert drawn.extents_deg[90] == (0.0, 45.0)


@EYES
def test_a_large_central_scotoma_does_not_reach_the_edge(eye):
    drawn = full_drawn_field(eye).without(circle(eye, 0, 0, 30))
    assert drawn.extents_deg == full_drawn_field(eye).extents_deg
    assert len(drawn.areas) == 1


def responses(drawn, technique="moving finger"):
    return {one.test: one.response for one in drawn_field_findings(drawn, technique)}


@EYES
def test_what_is_drawn_is_judged_quadrant_by_quadrant(eye):
    full = full_drawn_field(eye)
    quadrant = responses(full.without(line(eye, *LOST["upper temporal quadrant"])))
    assert quadrant == {
        "peripheral_upper_temporal": "absent",
        "peripheral_upper_nasal": "normal",
        "peripheral_lower_temporal": "normal",
        "peripheral_lower_nasal": "normal",
    }
    upper = responses(full.without(line(eye, *LOST["upper half"])))
    assert upper["peripheral_upper_nasal"] == upper["peripheral_upper_temporal"] == "absent"
    assert upper["peripheral_lower_nasal"] == upper["peripheral_lower_temporal"] == "normal"
    tunnel = responses(full.seen_within(circle(eye, 0, 0, 8)))
    assert set(tunnel.values()) == {"absent"}


@EYES
def test_only_a_pin_calls_the_centre_normal(eye):
    full = full_drawn_field(eye)
    assert "red_pin_centre" not in responses(full)
    assert responses(full, "white pin")["red_pin_centre"] == "normal"
    central = full.without(circle(eye, 1, 1, 9))
    assert len(central.areas) == 1
    assert central.extents_deg == full.extents_deg
    assert responses(central)["red_pin_centre"] == "present"
    assert set(responses(central).values()) == {"normal", "present"}


@EYES
def test_a_blind_spot_drawn_at_its_published_size_is_normal_and_at_twice_that_enlarged(eye):
    spot = physiological_blind_spot(eye)  # Rohrschneider 2004, Invest Ophthalmol Vis Sci 45:3257
    temporal = temporal_sign(eye) * spot.x_deg
    for times, response in ((1.0, "normal"), (2.2, "enlarged")):
        wide = spot.width_deg / spot.height_deg
        drawn = full_drawn_field(eye).without(
            circle(eye, temporal, spot.y_deg, times * spot.height_deg / 2, wide)
        )
        found = {one.test: one for one in drawn_field_findings(drawn, "white pin")}
        assert found["blind_spot"].response == response
        width = found["blind_spot"].measurement.value
        assert width == pytest.approx(times * spot.width_deg, rel=0.05)
        assert found["red_pin_centre"].response == "normal"


@EYES
def test_an_arc_round_fixation_is_not_taken_for_a_central_scotoma(eye):
    turns = [math.radians(angle) for angle in range(10, 171, 8)]
    outer = [(20 * math.cos(t), 20 * math.sin(t)) for t in turns]
    inner = [(10 * math.cos(t), 10 * math.sin(t)) for t in reversed(turns)]
    arc = full_drawn_field(eye).without(line(eye, *outer, *inner, points=1))
    assert not arc.areas[0].contains(FieldPosition(0.0, 0.0))
    assert responses(arc, "red pin").get("red_pin_centre") != "present"
    assert drawn_pattern(arc).kind is not PatternKind.CENTRAL


@EYES
def test_an_island_beside_fixation_leaves_fixation_blind(eye):
    drawn = full_drawn_field(eye).seen_within(circle(eye, 45, 0, 12))
    assert drawn.extents_deg[0][0] > 50
    assert drawn.extents_deg[180] == (0.0, 0.0)
    assert drawn.areas[0].contains(FieldPosition(0.0 if eye is Side.RIGHT else 180.0, 20.0))


@EYES
def test_a_second_line_takes_away_more_and_nothing_comes_back(eye):
    once = full_drawn_field(eye).without(line(eye, *LOST["upper temporal quadrant"]))
    twice = once.without(line(eye, *LOST["upper half"]))
    for meridian, (before, after) in twice.extents_deg.items():
        assert before <= once.extents_deg[meridian][0]
        assert after <= once.extents_deg[meridian][1]
    with pytest.raises(BadInput, match="still seen"):
        twice.without(circle(eye, 30, 20, 8))


def test_lines_that_say_nothing_are_refused():
    full = full_drawn_field(Side.RIGHT)
    with pytest.raises(BadInput):
        full.without([FieldPosition(10.0, 20.0)] * 5)
    with pytest.raises(BadInput):
        full.without([FieldPosition(10.0, 20.0), FieldPosition(12.0, 25.0)])
    extents = dict(full.extents_deg)
    with pytest.raises(BadInput, match="0 to 110"):
        drawn_from_extents(Side.RIGHT, extents | {45: (130.0, 130.0)})
    del extents[45]
    with pytest.raises(BadInput, match="no value at 45"):
        drawn_from_extents(Side.RIGHT, extents)


EXTENTS = st.fixed_dictionaries(
    {
        m: st.tuples(*[st.integers(0, 100).map(float)] * 2)
        if m % 90 == 0
        else st.integers(0, 100).map(lambda one: (float(one), float(one)))
        for m in MERIDIANS_DEG
    }
)
SPOTS = st.lists(
    st.tuples(st.integers(-30, 30), st.integers(-30, 30), st.integers(3, 12)), max_size=2
)


@settings(max_examples=25, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(EXTENTS, SPOTS, st.sampled_from(Side), st.sampled_from(TECHNIQUES))
def test_what_was_drawn_is_read_back_from_its_findings_and_mirrors(extents, spots, eye, technique):
    drawn = drawn_from_extents(eye, extents)
    for spot in spots:
        try:
            drawn = drawn.without(circle(eye, *spot))
        except BadInput:
            continue
    findings = drawn_field_findings(drawn, technique)
    assert len({(one.test, one.side) for one in findings}) == len(findings)
    assert {one.side for one in findings} == {eye}
    first = next(one for one in findings if one.test == "peripheral_upper_temporal")
    assert len(first.comment) < 5000
    examination = Examination(id="drawn", findings=findings)
    assert drawn_field_in(examination.latest(), eye) == (drawn, technique)
    assert drawn_field_in(examination.latest(), eye.other) is None
    turned = examination.mirrored()
    assert drawn_field_in(turned.latest(), eye.other) == (drawn.mirrored(), technique)


def test_a_quadrant_recorded_otherwise_since_ends_the_drawing():
    drawn = full_drawn_field(Side.LEFT)
    found = {(one.test, one.side): one for one in drawn_field_findings(drawn, "red pin")}
    assert drawn_field_in(found, Side.LEFT) is not None
    key = ("peripheral_lower_nasal", Side.LEFT)
    found[key] = found[key].model_copy(update={"response": "absent", "measurement": None})
    assert drawn_field_in(found, Side.LEFT) is None


def test_the_words_name_every_meridian_and_both_sides_of_a_step():
    drawn = full_drawn_field(Side.LEFT).without(line(Side.LEFT, *LOST["temporal half"]))
    words = drawn_field_words(drawn)
    assert "90: 0 then 45" in words
    assert "270: 65 then 0" in words
    assert words.count(": ") == len(MERIDIANS_DEG) + 1


@given(st.floats(0, 359), st.floats(0.5, 30))
@settings(max_examples=50)
def test_a_blind_area_holds_what_its_edge_encloses(meridian, reach):
    square = BlindArea(
        Side.RIGHT,
        tuple(FieldPosition.from_chart(x, y) for x, y in ((9, 9), (-9, 9), (-9, -9), (9, -9))),
    )
    place = FieldPosition(meridian, reach)
    largest = max(abs(place.x_deg), abs(place.y_deg))
    if abs(largest - 9) > 0.1:
        assert square.contains(place) is (largest < 9)


@EYES
def test_the_undrawn_field_is_the_published_normal_one(eye):
    # 38 CFR 4.76a Table III, by way of `normal_outline`.
    full = full_drawn_field(eye).outline
    assert full.area_sq_deg == pytest.approx(normal_outline(eye).area_sq_deg, rel=0.005)
