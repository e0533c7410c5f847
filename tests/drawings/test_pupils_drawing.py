"""The drawing of the pupils: true to scale, on the right side, readable without colour."""

import re
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.drawings.pupils import draw_pupils
from decussate.measures.pupil_reactions import Reaction, ReflexArcs, expected_reactions
from decussate.measures.pupils import (
    PupilSizes,
    afferent_defect_by_filter,
    afferent_defect_by_grade,
)
from decussate.sides import Side

SVG = "{http://www.w3.org/2000/svg}"
sizes = st.floats(1.0, 9.0)


def drawn(*args, **kwargs):
    return ET.fromstring(draw_pupils(*args, **kwargs))


def pupils(root):
    return {
        c.get("id"): (float(c.get("cx")), float(c.get("r")))
        for c in root.iter(f"{SVG}circle")
        if (c.get("id") or "").startswith("pupil-")
    }


def words(root):
    return [t.text for t in root.iter(f"{SVG}text")]


@given(sizes, sizes)
@settings(max_examples=30)
def test_pupils_are_to_one_scale_and_the_right_one_stands_on_the_left(right, left):
    root = drawn(PupilSizes(right, left), PupilSizes(left, right))
    circles = pupils(root)
    (right_x, right_r), (left_x, left_r) = (
        next(v for k, v in circles.items() if k.startswith(f"pupil-{side}")) for side in Side
    )
    assert right_x < 320 < left_x
    assert right_r / right == pytest.approx(left_r / left, rel=0.01)
    bar = next(p.get("d") for p in root.iter(f"{SVG}path") if p.get("fill") == "none")
    start, end = float(re.search(r"M([\d.]+) ", bar)[1]), float(re.search(r"H([\d.]+) ", bar)[1])
    assert right_r * 2 / right == pytest.approx((end - start) / 5.0, rel=0.01)


def test_the_convention_and_the_sizes_are_written():
    root = drawn(PupilSizes(3.5, 3.0), PupilSizes(6.5, 5.0))
    said = words(root)
    assert "As the examiner faces the patient: the patient's right is on the left." in said
    assert {"3.5 mm", "3.0 mm", "6.5 mm", "5.0 mm"} <= set(said)
    assert {"right larger by 0.5 mm", "right larger by 1.5 mm"} <= set(said)
    assert "right 6.5 mm, left 5.0 mm" in root.find(f"{SVG}desc").text


def test_what_was_not_measured_is_said_and_not_drawn_as_a_pupil():
    root = drawn(None, PupilSizes(6.0, 6.0))
    said = words(root)
    assert said.count("not measured (?)") == 2
    assert "equal" in said
    assert sum("not tested (?)" in (w or "") for w in said) == 4
    hollow = [c for c in root.iter(f"{SVG}circle") if c.get("stroke-dasharray")]
    assert len(hollow) == 2
    assert all(c.get("fill") == "#fff" for c in hollow)


def test_reactions_stand_under_their_pupil():
    seen = expected_reactions(ReflexArcs(efferent_left=Reaction.ABSENT))
    root = drawn(None, None, reactions=seen)
    places = {(t.text, float(t.get("x")) < 320) for t in root.iter(f"{SVG}text")}
    assert ("direct: brisk", True) in places
    assert ("consensual: absent", False) in places
    assert ("consensual: brisk", True) in places
    assert ("direct: absent", False) in places


@pytest.mark.parametrize("side", list(Side))
def test_an_afferent_defect_stands_under_its_eye(side):
    root = drawn(None, None, defect=afferent_defect_by_filter(side, 0.6))
    (x,) = [float(t.get("x")) for t in root.iter(f"{SVG}text") if t.text == "0.6 log units"]
    assert (x < 320) is (side is Side.RIGHT)


def test_defects_without_a_single_size_are_written_in_words():
    for grade, scale, phrase in (
        ("V", "3 s pause", "moves neither pupil"),
        ("4+", "plus", "1.8 log units or more"),
        ("2+", "plus", "0.6 to 0.9 log units"),
    ):
        defect = afferent_defect_by_grade(Side.LEFT, grade, scale=scale)
        assert any(phrase in (w or "") for w in words(drawn(None, None, defect=defect)))


def test_only_greys_are_used():
    text = draw_pupils(PupilSizes(3, 4), PupilSizes(5, 7))
    for colour in re.findall(r"#([0-9a-f]{3}|[0-9a-f]{6})\b", text):
        channels = re.findall("..", colour) if len(colour) == 6 else list(colour)
        assert len(set(channels)) == 1
