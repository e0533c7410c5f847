"""The field drawing: sides, words, hatching, and nothing invented for an eye not tested."""

import re
from xml.etree import ElementTree as ET

import pytest

from decussate.drawings.visual_field import DrawnField, draw_visual_fields
from decussate.errors import BadInput
from decussate.measures.visual_field_directions import Quadrant
from decussate.measures.visual_field_outline import normal_outline, outline_from_quadrants
from decussate.measures.visual_field_points import PerimetryPoint, central_pattern
from decussate.measures.visual_field_scotoma import Scotoma
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
SVG = "{http://www.w3.org/2000/svg}"
WIDTH = 860


def parse(svg):
    return ET.fromstring(svg)


def lost(eye, *quadrants):
    return DrawnField(
        outline_from_quadrants(eye, {q: 0.0 if q in quadrants else 1.0 for q in Quadrant})
    )


def group(svg, eye):
    (found,) = (g for g in parse(svg).iter(f"{SVG}g") if g.get("id") == f"field-{eye}")
    return found


def outline_places(svg, eye):
    """Points of the heavy outline of one eye."""
    (path,) = (p for p in group(svg, eye).iter(f"{SVG}path") if p.get("stroke-width") == "2")
    return [tuple(map(float, xy)) for xy in re.findall(r"([\d.]+) ([\d.]+)", path.get("d"))]


def texts(element):
    return [t.text for t in element.iter(f"{SVG}text")]


def test_convention_stands_on_the_drawing_in_words():
    svg = draw_visual_fields(lost(RIGHT), lost(LEFT))
    words = " ".join(texts(parse(svg)))
    assert "As the patient sees" in words
    assert "right eye's field are on the right" in words
    assert {"Patient's right eye", "Patient's left eye", "not seen", "seen"} <= set(
        texts(parse(svg))
    )


def test_right_eye_is_drawn_on_the_right():
    svg = draw_visual_fields(lost(RIGHT), lost(LEFT))
    assert min(x for x, _ in outline_places(svg, RIGHT)) > max(
        x for x, _ in outline_places(svg, LEFT)
    )


def test_temporal_field_of_each_eye_points_outward():
    svg = draw_visual_fields(lost(RIGHT), lost(LEFT))
    for eye, sign in ((RIGHT, 1), (LEFT, -1)):
        xs = [x for x, _ in outline_places(svg, eye)]
        centre = 640 if eye is RIGHT else 220
        assert max(sign * (x - centre) for x in xs) > max(sign * (centre - x) for x in xs)
        label = next(t for t in group(svg, eye).iter(f"{SVG}text") if t.text == "temporal")
        assert sign * (float(label.get("x")) - centre) > 0


def test_upper_loss_leaves_no_seen_area_above():
    upper = [q for q in Quadrant if q.is_upper]
    places = outline_places(draw_visual_fields(lost(RIGHT, *upper), None), RIGHT)
    assert min(y for _, y in places) == pytest.approx(238.0)


def test_mirrored_fields_give_the_mirrored_drawing():
    one = draw_visual_fields(lost(RIGHT, Quadrant.UPPER_TEMPORAL), lost(LEFT, Quadrant.LOWER_NASAL))
    other = draw_visual_fields(
        lost(RIGHT, Quadrant.LOWER_NASAL), lost(LEFT, Quadrant.UPPER_TEMPORAL)
    )
    mirrored = {(round(WIDTH - x, 1), y) for x, y in outline_places(other, LEFT)}
    there = set(outline_places(one, RIGHT))
    # Points between vertices are laid anticlockwise, so every corner and the bounds must agree.
    for pick in (min, max):
        assert pick(x for x, _ in mirrored) == pytest.approx(pick(x for x, _ in there), abs=0.11)
        assert pick(y for _, y in mirrored) == pytest.approx(pick(y for _, y in there), abs=0.11)
    assert len(mirrored & there) > 0.8 * len(there)


def test_eye_not_tested_says_so_and_has_no_outline():
    svg = draw_visual_fields(lost(RIGHT), None)
    left = group(svg, LEFT)
    assert "not tested" in texts(left)
    assert not [p for p in left.iter(f"{SVG}path") if p.get("stroke-width") == "2"]
    assert "The left eye was not tested." in parse(svg).find(f"{SVG}desc").text


def test_scotoma_replaces_the_average_blind_spot():
    plain = group(draw_visual_fields(DrawnField(normal_outline(RIGHT)), None), RIGHT)
    (spot,) = plain.iter(f"{SVG}ellipse")
    assert float(spot.get("cx")) == pytest.approx(640 + 15.5 * 1.75, abs=0.1)
    measured = Scotoma(RIGHT, 15.0, -2.0, 9.0, 12.0)
    shown = group(draw_visual_fields(DrawnField(normal_outline(RIGHT), (measured,)), None), RIGHT)
    (spot,) = shown.iter(f"{SVG}ellipse")
    assert spot.get("fill") == "url(#field-loss)"


def test_perimetry_points_show_their_numbers_and_crosses():
    points = tuple(
        PerimetryPoint(x, y, 0.0 if x > 0 else 27.0, seen=x < 0)
        for x, y in central_pattern(RIGHT, "24-2")
    )
    right = group(draw_visual_fields(DrawnField(points=points), None), RIGHT)
    assert texts(right).count("27") == sum(x < 0 for x, _ in central_pattern(RIGHT, "24-2"))
    crosses = [p for p in right.iter(f"{SVG}path") if p.get("stroke-width") == "2.4"]
    assert len(crosses) == sum(x > 0 for x, _ in central_pattern(RIGHT, "24-2"))
    assert all(float(p.get("d").split()[0][1:]) + 6 > 640 for p in crosses)


def test_drawing_is_grey_only():
    svg = draw_visual_fields(lost(RIGHT, Quadrant.UPPER_NASAL), None, title="A < B & C")
    colours = re.findall(r"#[0-9a-f]{3,6}\b", svg.replace("url(#field-loss)", ""))
    assert colours
    assert all(len({c[1 + k :: 3] for k in range(3)}) == 1 or c in ("#d9d9d9",) for c in colours)
    assert parse(svg).find(f"{SVG}title").text == "A < B & C"


def test_part_of_the_other_eye_is_refused():
    with pytest.raises(BadInput, match="the right eye"):
        draw_visual_fields(lost(LEFT), None)
    with pytest.raises(BadInput, match="the left eye"):
        draw_visual_fields(None, DrawnField(normal_outline(LEFT), (Scotoma(RIGHT, 5, 5, 4, 4),)))
