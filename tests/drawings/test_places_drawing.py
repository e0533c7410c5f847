"""The drawings of likely places: right structures, right side, tone, pattern, letter and words."""

import re
from functools import cache
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings

from decussate.anatomy import load_atlas
from decussate.drawings.place_plans import Plan, load_plans, read_plans
from decussate.drawings.places import BANDS, draw_place, draw_places, shaded_spots
from decussate.errors import BadInput
from decussate.examination.document import Examination, Finding, Story
from decussate.localisation import Localisation, Posterior, localise
from decussate.localisation.localise import posterior_of
from decussate.records.demo import demo_examinations
from decussate.sides import Side
from strategies import examinations

SVG = "{http://www.w3.org/2000/svg}"
PLANS = {plan.id: plan for plan in load_plans().plans}
PLAN_WIDTH = 470.0


def spots(svg: str) -> dict[tuple[str, str], tuple[float, float, str]]:
    """Return the centre and fill of every structure by id and side."""
    root = ET.fromstring(svg)
    shapes = {}
    for group in root.iter(f"{SVG}g"):
        oval = group.find(f"{SVG}ellipse")
        key = (group.attrib["data-structure"], group.attrib["data-side"])
        shapes[key] = (float(oval.attrib["cx"]), float(oval.attrib["cy"]), oval.attrib["fill"])
    return shapes


def texts(svg: str) -> list[str]:
    return [element.text or "" for element in ET.fromstring(svg).iter(f"{SVG}text")]


@cache
def lateral_medulla(side: Side) -> Examination:
    """Signs of the dorsolateral medulla (Brazis, Masdeu, Biller 2011, the lateral syndrome)."""
    rows = (
        ("pin_cheek", side, "reduced"),
        ("upper_lid_position", side, "partial"),
        ("palate_rise", side, "reduced"),
        ("uvula_movement", None, side.other.value),
        ("voice", None, "present"),
        ("body_pin", side.other, "reduced"),
        ("finger_nose", side, "reduced"),
        ("ask_vertigo", None, "present"),
        ("tongue_protrusion", None, "normal"),
        *((test, one, "normal") for test in ("arm_power", "leg_power") for one in Side),
    )
    found = tuple(Finding(test=test, side=where, response=said) for test, where, said in rows)
    return Examination(id="invented", story=Story(onset="sudden", age=65), findings=found)


@cache
def right_medulla() -> tuple[Localisation, Posterior]:
    found = lateral_medulla(Side.RIGHT)
    return localise(found), posterior_of(found)


def test_every_structure_and_region_of_the_atlas_is_drawn_or_left_out_by_name() -> None:
    assert load_plans().missing == frozenset()
    assert load_plans().not_drawn < {s.region for s in load_atlas().structures.values()}


@pytest.mark.parametrize("side", Side)
def test_a_lateral_medullary_lesion_is_drawn_in_the_medulla_on_its_side(side: Side) -> None:
    """Structures of the lateral medulla: Brazis, Masdeu, Biller 2011 (key brazis_2011)."""
    found = lateral_medulla(side)
    (drawing, *_) = draw_places(localise(found), posterior_of(found))
    assert drawing.plan == "medulla"
    shapes = spots(drawing.svg)
    for name in (
        "nucleus_ambiguus_rostral",
        "sympathetic_medulla",
        "spinothalamic_medulla",
        "spinal_trigeminal_tract_medulla",
        "inferior_peduncle",
    ):
        assert shapes[name, side][2] == "#222"
        assert shapes[name, side.other][2] == "#fff"
    for name in ("pyramid", "hypoglossal_nucleus", "medial_lemniscus_medulla"):
        assert shapes[name, side][2] == "#fff"


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_the_patients_right_is_drawn_on_the_left_and_every_drawing_says_so(plan: Plan) -> None:
    drawing = draw_place(plan, *right_medulla())
    for (_, side), (x, _, _) in spots(drawing.svg).items():
        expected = {"right": x < PLAN_WIDTH / 2, "left": x > PLAN_WIDTH / 2}
        assert expected.get(side, x == PLAN_WIDTH / 2)
        assert 0 < x < PLAN_WIDTH
    written = texts(drawing.svg)
    assert any(words.endswith("the patient's right is on the left.") for words in written)
    assert {"patient's right", "patient's left"} <= set(written)
    where = {
        element.text: float(element.attrib["x"])
        for element in ET.fromstring(drawing.svg).iter(f"{SVG}text")
    }
    assert where["patient's right"] < PLAN_WIDTH / 2 < where["patient's left"]


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_no_two_structures_hide_each_other(plan: Plan) -> None:
    both = [(s, sign) for s in plan.spots for sign in ((-1, 1) if s.paired else (1,))]
    for n, (one, here) in enumerate(both):
        for other, there in both[n + 1 :]:
            across = abs(here * one.outward - there * other.outward) / (one.across + other.across)
            along = abs(one.down - other.down) / (one.along + other.along)
            assert across**2 + along**2 > 0.6, (one.name, other.name)


@settings(max_examples=8, deadline=None)
@given(examinations())
def test_the_mirrored_patient_gets_the_mirrored_drawing(found: Examination) -> None:
    mirror = found.mirrored()
    mine, theirs = ((localise(one), posterior_of(one)) for one in (found, mirror))
    for plan in (PLANS["medulla"], PLANS["skull_base"], PLANS["visual_pathway"]):
        here, there = spots(draw_place(plan, *mine).svg), spots(draw_place(plan, *theirs).svg)
        other = {"right": "left", "left": "right", "midline": "midline"}
        for (name, side), (x, y, fill) in here.items():
            mirrored = there[name, other[side]]
            assert mirrored[0] == pytest.approx(PLAN_WIDTH - x, abs=0.11)
            assert mirrored[1:] == (y, fill)


@settings(max_examples=8, deadline=None)
@given(examinations())
def test_a_structure_is_no_likelier_than_the_places_that_can_take_it(found: Examination) -> None:
    posterior, located = posterior_of(found), localise(found)
    places = load_atlas().places
    for spot in shaded_spots(PLANS["pons"], posterior):
        can = sum(
            candidate.probability
            for candidate in located.candidates
            if any(
                piece.structure in spot.spot.structures
                for part in places[candidate.place].parts
                for piece in part.pieces
            )
        )
        assert 0.0 <= spot.probability <= can + 1e-9


def test_what_the_leading_place_takes_is_shaded_with_letter_side_and_number() -> None:
    for found in demo_examinations():
        located = localise(found)
        for drawing in draw_places(located, posterior_of(found)):
            written = texts(drawing.svg)
            likely = located.candidates[0]
            assert likely.name.split(" (")[0].split()[-1] in " ".join(written)
            fills = [fill for _, _, fill in spots(drawing.svg).values() if fill != "#fff"]
            letters = [words for words in written if re.fullmatch("[A-Z]", words)]
            # Each letter stands once on the drawing and once in the list.
            assert len(letters) == 2 * len(set(letters)) == 2 * min(len(fills), 10)
            assert re.search(r"(right|left) .* in 100", " ".join(written)) or not likely.side


def test_shading_deepens_in_pattern_as_in_tone() -> None:
    assert [least for least, _ in BANDS] == sorted((least for least, _ in BANDS), reverse=True)
    assert len({name for _, name in BANDS}) == len(BANDS)
    legend = " ".join(texts(draw_place(PLANS["medulla"], *right_medulla()).svg))
    for words in ("5 to 19 in 100", "20 to 49", "50 to 79", "80 or more"):
        assert words in legend


def test_nothing_found_draws_no_place() -> None:
    empty = Examination(id="invented")
    assert draw_places(localise(empty), posterior_of(empty)) == ()
    nothing = next(one for one in demo_examinations() if "nothing-found" in one.id)
    assert draw_places(localise(nothing), posterior_of(nothing)) == ()


PLAN = """
not_drawn: []
places_not_drawn: []
plans:
- {id: any, name: Any, view: axial, regions: [medulla], height: 100, outlines: [], spots: {SPOT}}
"""


@pytest.mark.parametrize(
    ("spot", "named"),
    [
        ("pyramidd: [10, 20, 5]", "pyramidd"),
        ("pyramid: [0, 20, 5]", "pyramid"),
        ("hiccup_centre: [12, 20, 5]", "hiccup_centre"),
        ("pyramid: [10, 20]", "pyramid"),
    ],
)
def test_a_row_that_cannot_be_drawn_is_refused_by_name(spot: str, named: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_plans(PLAN.replace("SPOT", spot), "plans.yaml")
    assert named in refused.value.sentence
    assert "plans.yaml" in refused.value.sentence
