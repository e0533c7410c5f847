"""Every drawing under both side conventions: mirrored, labelled, each finding on its side.

Turned about, a drawing of a patient is the drawing of the mirror-image patient with the words for
right and left exchanged. Visual fields alone never turn: they are drawn as the patient sees them.
"""

import re
from collections import Counter
from collections.abc import Callable
from functools import cache
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.drawings.canals import draw_canals
from decussate.drawings.convention import Convention
from decussate.drawings.face import draw_face
from decussate.drawings.facial_sensation import draw_facial_sensation
from decussate.drawings.gaze import draw_deviations, draw_gaze
from decussate.drawings.place_plans import load_plans
from decussate.drawings.places import draw_place
from decussate.drawings.pupils import draw_pupils
from decussate.drawings.visual_field import DrawnField, draw_visual_fields
from decussate.examination.document import Examination, Finding
from decussate.localisation import localise
from decussate.localisation.localise import posterior_of
from decussate.measures.canal_geometry import head_hanging
from decussate.measures.facial_pattern import HalfFace, Movement
from decussate.measures.facial_sensation import AREAS, Sensation
from decussate.measures.ocular_alignment import Deviation, Gaze
from decussate.measures.pupil_reactions import LightReactions, Reaction
from decussate.measures.pupils import PupilSizes
from decussate.measures.visual_field_drawn import BlindArea, full_drawn_field
from decussate.measures.visual_field_outline import normal_outline
from decussate.measures.visual_field_scotoma import physiological_blind_spot
from decussate.sides import Side

SVG = "{http://www.w3.org/2000/svg}"
SWAP = {"right": "left", "left": "right", "Right": "Left", "Left": "Right"}
PLANS = {plan.id: plan for plan in load_plans().plans}
VIEWS = ("front", "axial")
SENTENCES = tuple(one.words(view)[:12] for one in Convention for view in VIEWS)
IN_ROWS = ("light in the", "direct: ", "consensual: ")
Draw = Callable[[Convention], str]


def swapped(words: str) -> str:
    return re.sub(r"\b(right|left|Right|Left)\b", lambda found: SWAP[found[0]], words)


def marks(svg: str, *, swap: bool) -> Counter[tuple[object, ...]]:
    """Every shape and word with where it lies, but for the sentence on the convention."""
    found: Counter[tuple[object, ...]] = Counter()
    for element in ET.fromstring(svg).iter():
        words = element.text or ""
        if element.tag == f"{SVG}desc" or words.startswith(SENTENCES):
            continue
        # The rows of a table keep their order whichever way the drawing faces.
        left_out = ("id", "data-side", "y" if words.startswith(IN_ROWS) else "")
        look = tuple(sorted((k, v) for k, v in element.attrib.items() if k not in left_out))
        found[element.tag, look, swapped(words) if swap else words] += 1
    return found


def check(draw: Draw, draw_mirrored: Draw) -> None:
    facing, own = draw(Convention.FACING), draw(Convention.OWN)
    assert marks(own, swap=False) == marks(draw_mirrored(Convention.FACING), swap=True)
    assert marks(facing, swap=False) == marks(draw_mirrored(Convention.OWN), swap=True)
    for svg, on in ((facing, "left"), (own, "right")):
        texts = [
            (float(t.get("x", "0")), t.text or "") for t in ET.fromstring(svg).iter(f"{SVG}text")
        ]
        said = [
            words for _, words in texts if words.endswith(f"the patient's right is on the {on}.")
        ]
        assert len(said) == 1, texts
        where = {
            side: x
            for x, words in texts
            for side in ("right", "left")
            if re.fullmatch(rf"[Pp]atient's {side}( eye| ear)?", words)
        }
        if len(where) == 2:
            assert (where["right"] < where["left"]) is (on == "left")


sizes = st.floats(1.0, 9.0).map(lambda one: round(one, 1))
movements = st.sampled_from(Movement)
halves = st.builds(HalfFace, brow=movements, eye=movements, mouth=movements)
areas = st.dictionaries(st.sampled_from(AREAS), st.sampled_from(Sensation))
grades = st.dictionaries(
    st.sampled_from([one for one in Gaze if one is not Gaze.AHEAD]), st.integers(-5, 4)
)
reactions = st.builds(LightReactions, *[st.none() | st.sampled_from(Reaction)] * 4)


@settings(max_examples=15, deadline=None)
@given(sizes, sizes, reactions)
def test_pupils(right, left, found):
    turned = LightReactions(
        right_to_right=found.left_to_left,
        left_to_right=found.right_to_left,
        left_to_left=found.right_to_right,
        right_to_left=found.left_to_right,
    )
    light, dark = PupilSizes(right, left), PupilSizes(left, right)
    check(
        lambda way: draw_pupils(light, None, reactions=found, convention=way),
        lambda way: draw_pupils(dark, None, reactions=turned, convention=way),
    )


@settings(max_examples=15, deadline=None)
@given(halves, halves)
def test_facial_movement(right, left):
    check(
        lambda way: draw_face(right, left, convention=way),
        lambda way: draw_face(left, right, convention=way),
    )


@settings(max_examples=15, deadline=None)
@given(areas, areas)
def test_facial_sensation(right, left):
    check(
        lambda way: draw_facial_sensation(right, left, convention=way),
        lambda way: draw_facial_sensation(left, right, convention=way),
    )


@settings(max_examples=15, deadline=None)
@given(grades, grades)
def test_gaze(right, left):
    turned = [{gaze.mirrored: grade for gaze, grade in one.items()} for one in (left, right)]
    check(
        lambda way: draw_gaze(right, left, convention=way),
        lambda way: draw_gaze(*turned, convention=way),
    )


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(Gaze), st.integers(-40, 40), st.integers(-20, 20), st.sampled_from(Side))
def test_deviations(gaze, eso, hyper, fixing):
    one = Deviation(gaze, float(eso), float(hyper))
    check(
        lambda way: draw_deviations([one], fixing, convention=way),
        lambda way: draw_deviations([one.mirrored], fixing.other, convention=way),
    )


@pytest.mark.parametrize("side", list(Side))
def test_canals(side):
    """Measured planes differ a little between the ears, so whole columns are compared."""

    def columns(way: Convention) -> dict[str, list[str]]:
        drawn = ET.fromstring(draw_canals(head_hanging(side), convention=way))
        texts = [(float(t.get("x", "0")), t.text or "") for t in drawn.iter(f"{SVG}text")]
        said = [words for x, words in texts if x > 20]
        assert any(words == way.words() for _, words in texts)
        halves = (x < 380 for x, _ in texts if x > 20)
        found: dict[str, list[str]] = {}
        heads = {x < 380: words for x, words in texts if words.endswith(" ear")}
        for left_half, words in zip(halves, said, strict=True):
            found.setdefault(heads[left_half], []).append(words)
        return found | {"first": [heads[True]]}

    facing, own = columns(Convention.FACING), columns(Convention.OWN)
    assert facing.pop("first") == ["Patient's right ear"]
    assert own.pop("first") == ["Patient's left ear"]
    assert facing == own
    assert "excited" in facing[f"Patient's {side} ear"]  # Dix and Hallpike: the lower ear
    assert "excited" not in facing[f"Patient's {side.other} ear"]


@cache
def one_sided() -> Examination:
    """Signs of the right dorsolateral medulla (Brazis, Masdeu, Biller 2011)."""
    rows = (
        ("pin_cheek", Side.RIGHT, "reduced"),
        ("upper_lid_position", Side.RIGHT, "partial"),
        ("palate_rise", Side.RIGHT, "reduced"),
        ("uvula_movement", None, "left"),
        ("body_pin", Side.LEFT, "reduced"),
        ("finger_nose", Side.RIGHT, "reduced"),
    )
    found = tuple(Finding(test=test, side=side, response=said) for test, side, said in rows)
    return Examination(id="invented", findings=found)


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_places(plan):
    one, other = one_sided(), one_sided().mirrored()
    check(
        lambda way: draw_place(plan, localise(one), posterior_of(one), convention=way).svg,
        lambda way: draw_place(plan, localise(other), posterior_of(other), convention=way).svg,
    )


def test_fields_are_always_as_the_patient_sees_them():
    """Right of the picture is the patient's right: DICOM visual field modules, positive x."""
    lost = BlindArea(Side.RIGHT, physiological_blind_spot(Side.RIGHT).edge[::40])
    right = DrawnField(full_drawn_field(Side.RIGHT).outline, (lost,))
    left = DrawnField(normal_outline(Side.LEFT))
    svg = draw_visual_fields(right, left)
    mirror = draw_visual_fields(
        DrawnField(normal_outline(Side.LEFT).mirrored()),
        DrawnField(full_drawn_field(Side.RIGHT).outline.mirrored(), (lost.mirrored(),)),
    )
    root = ET.fromstring(svg)
    heads = {t.text: float(t.get("x", "0")) for t in root.iter(f"{SVG}text")}
    assert heads["Patient's left eye"] < heads["Patient's right eye"]
    assert "As the patient sees" in " ".join(filter(None, heads))
    # The blind area of the right eye lies to its own right: temporal.
    path = next(p for p in root.iter(f"{SVG}path") if p.get("fill-rule") == "evenodd")
    xs = [float(number) for number in re.findall(r"[ML ](\d+\.\d) ", path.get("d", ""))]
    assert min(xs) > heads["Patient's right eye"]
    turned = next(
        p for p in ET.fromstring(mirror).iter(f"{SVG}path") if p.get("fill-rule") == "evenodd"
    )
    others = [float(number) for number in re.findall(r"[ML ](\d+\.\d) ", turned.get("d", ""))]
    assert max(others) < heads["Patient's left eye"]


def test_the_two_conventions_differ_in_side_and_words():
    for side in Side:
        assert Convention.FACING.across(side) == -Convention.OWN.across(side)
        for one in Convention:
            assert one.across(side) == -one.across(side.other)
    assert Convention.FACING.sides == (Side.RIGHT, Side.LEFT)
    assert len({one.words(view) for one in Convention for view in VIEWS}) == 4
