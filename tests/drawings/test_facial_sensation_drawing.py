"""The face drawing: sides, words, fills by response, areas not tested."""

import re
from xml.etree import ElementTree as ET

import pytest

from decussate.drawings.facial_sensation import draw_facial_sensation
from decussate.errors import BadInput
from decussate.measures.facial_sensation import AREAS, Sensation
from decussate.sides import Side

SVG = "{http://www.w3.org/2000/svg}"
MIDLINE = 320.0
NORMAL, REDUCED, ABSENT = Sensation.NORMAL, Sensation.REDUCED, Sensation.ABSENT


def parse(svg):
    return ET.fromstring(svg)


def half(svg, side):
    (found,) = (g for g in parse(svg).iter(f"{SVG}g") if g.get("id") == f"face-{side}")
    return found


def fills(svg, side):
    return {
        p.get("data-area"): p.get("fill")
        for p in half(svg, side).iter(f"{SVG}path")
        if p.get("data-area")
    }


def places(element):
    text = " ".join(p.get("d") for p in element.iter(f"{SVG}path") if p.get("data-area"))
    return {(float(x), float(y)) for x, y in re.findall(r"([\d.]+) ([\d.]+)", text)}


def test_convention_stands_on_the_drawing_in_words():
    svg = draw_facial_sensation({}, {})
    words = " ".join(t.text for t in parse(svg).iter(f"{SVG}text"))
    assert "As the examiner faces the patient: the patient's right is on the left." in words
    assert "border of a division" in words
    assert "border of a zone" in words


def test_patients_right_is_drawn_on_the_left():
    svg = draw_facial_sensation({}, {})
    assert all(x <= MIDLINE for x, _ in places(half(svg, Side.RIGHT)))
    assert all(x >= MIDLINE for x, _ in places(half(svg, Side.LEFT)))
    labels = {t.text: float(t.get("x")) for t in parse(svg).iter(f"{SVG}text")}
    assert labels["patient's right"] < MIDLINE < labels["patient's left"]


def test_the_two_halves_are_mirror_images():
    svg = draw_facial_sensation({}, {})
    assert places(half(svg, Side.LEFT)) == {
        (2 * MIDLINE - x, y) for x, y in places(half(svg, Side.RIGHT))
    }


def test_each_area_carries_its_response():
    right = {"forehead": ABSENT, "cheek": REDUCED, "chin": NORMAL}
    svg = draw_facial_sensation(right, dict.fromkeys(AREAS, NORMAL))
    shown = fills(svg, Side.RIGHT)
    assert shown["forehead"] == "url(#sensation-absent)"
    assert shown["cheek"] == "url(#sensation-reduced)"
    assert shown["chin"] == "#fff"
    assert shown["nose tip"] == "#ececec"
    assert set(fills(svg, Side.LEFT).values()) == {"#fff"}


def test_swapped_sides_swap_the_fills():
    one = {"forehead": ABSENT, "cheek": REDUCED}
    other = {"chin": ABSENT}
    here, there = draw_facial_sensation(one, other), draw_facial_sensation(other, one)
    assert fills(here, Side.RIGHT) == fills(there, Side.LEFT)
    assert fills(here, Side.LEFT) == fills(there, Side.RIGHT)


def test_areas_not_tested_carry_a_question_mark_and_are_counted():
    svg = draw_facial_sensation({"chin": NORMAL}, dict.fromkeys(AREAS, NORMAL))
    marked = [t.text for t in half(svg, Side.RIGHT).iter(f"{SVG}text") if t.text.endswith("?")]
    assert len(marked) == len(AREAS) - 1
    assert not [t for t in half(svg, Side.LEFT).iter(f"{SVG}text") if t.text.endswith("?")]
    assert "9 areas not tested" in parse(svg).find(f"{SVG}desc").text


def test_modality_is_named():
    svg = draw_facial_sensation({}, {}, modality="light touch")
    assert parse(svg).find(f"{SVG}title").text == "Facial sensation: light touch"


def test_unknown_area_is_refused():
    with pytest.raises(BadInput, match="area of the face"):
        draw_facial_sensation({"knee": NORMAL}, {})
