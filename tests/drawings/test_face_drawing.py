from xml.etree import ElementTree as ET

from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.drawings.face import draw_face
from decussate.measures.facial_function import (
    EyeClosure,
    FaceObservations,
    Forehead,
    Mouth,
    Rest,
    facial_grade,
)
from decussate.measures.facial_pattern import HalfFace, Movement
from decussate.sides import Side

SVG = "{http://www.w3.org/2000/svg}"
HALF = st.builds(HalfFace, *[st.sampled_from(Movement)] * 3)


def drawn(right, left, **options):
    return ET.fromstring(draw_face(right, left, **options))


def texts(root, side):
    group = next(g for g in root.iter(f"{SVG}g") if g.get("id") == f"face-{side}")
    return [(float(t.get("x")), t.text) for t in group.iter(f"{SVG}text")]


@given(HALF, HALF)
@settings(max_examples=40, deadline=None)
def test_mirror(right, left):
    one, two = drawn(right, left), drawn(left, right)
    for side in Side:
        here = [(x, t) for x, t in texts(one, side) if not t.startswith("patient's")]
        there = [(720 - x, t) for x, t in texts(two, side.other) if not t.startswith("patient's")]
        assert here == there


@given(HALF, HALF)
@settings(max_examples=20, deadline=None)
def test_the_patients_right_stands_on_the_left_and_says_so(right, left):
    root = drawn(right, left)
    assert all(x < 360 for x, _ in texts(root, Side.RIGHT))
    assert all(x > 360 for x, _ in texts(root, Side.LEFT))
    assert "patient's right" in [t for _, t in texts(root, Side.RIGHT)]
    everything = [t.text for t in root.iter(f"{SVG}text")]
    assert any("the patient's right is on the left" in t for t in everything)


def test_each_movement_has_its_own_shape_and_word():
    shapes = set()
    for movement in Movement:
        root = drawn(HalfFace(movement, movement, movement), HalfFace())
        group = next(g for g in root.iter(f"{SVG}g") if g.get("id") == "face-right")
        shapes.add(tuple(p.get("d") for p in group.iter(f"{SVG}path")))
        assert [t for _, t in texts(root, Side.RIGHT)].count(movement) == 3
    assert len(shapes) == 3


def test_grade_is_written_under_its_own_side():
    seen = FaceObservations(
        Side.LEFT, Rest.SYMMETRICAL, Forehead.NONE, EyeClosure.INCOMPLETE, Mouth.ASYMMETRICAL
    )
    root = drawn(HalfFace(), HalfFace(), grade=facial_grade(seen))
    assert "grade IV, moderately severe" in [t for _, t in texts(root, Side.LEFT)]
    assert not any("grade" in t for _, t in texts(root, Side.RIGHT))
    assert "Patient's left: grade IV" in root.find(f"{SVG}desc").text


def test_a_weak_forehead_carries_its_caution():
    absent = HalfFace(Movement.ABSENT, Movement.ABSENT, Movement.ABSENT)
    everything = " ".join(t.text for t in drawn(absent, HalfFace()).iter(f"{SVG}text"))
    assert "does not exclude a stroke" in everything
