"""A pathway drawn through the plans: order, crossing, shading, and both conventions."""

from xml.etree import ElementTree as ET

import pytest

from decussate.anatomy import Piece, load_atlas
from decussate.anatomy.strands import Strands, sign_strands
from decussate.drawings.convention import Convention
from decussate.drawings.pathways import draw_pathway, plans_of
from decussate.drawings.place_plans import load_plans
from decussate.drawings.plan_sheet import PLAN_WIDTH
from decussate.sides import Side

SVG = "{http://www.w3.org/2000/svg}"
PLANS = {plan.id: plan for plan in load_plans().plans}
ATLAS = load_atlas()


def stops(svg: str) -> dict[tuple[str, str], tuple[float, str]]:
    """Place across, and fill, of every numbered structure by id and side."""
    found = {}
    for group in ET.fromstring(svg).iter(f"{SVG}g"):
        if group.get("data-structure"):
            oval = group.find(f"{SVG}ellipse")
            assert oval is not None
            key = (group.get("data-structure", ""), group.get("data-side", ""))
            found[key] = (float(oval.get("cx", "0")), oval.get("fill", ""))
    return found


@pytest.mark.parametrize("convention", list(Convention))
@pytest.mark.parametrize("side", list(Side))
def test_a_crossing_pathway_is_drawn_across_the_midline(side, convention):
    """The upper temporal field ends in the other lower calcarine bank (miller_2005)."""
    strands = sign_strands(ATLAS, "field_upper_temporal", side)
    drawn = draw_pathway(
        PLANS["visual_pathway"], strands, {}, name="Upper temporal field", convention=convention
    )
    places = stops(drawn.svg)
    middle = PLAN_WIDTH / 2
    nerve = places["optic_nerve_canal", side][0] - middle
    bank = places["calcarine_lower_bank", side.other][0] - middle
    assert nerve * bank < 0
    assert nerve * convention.across(side) > 0
    assert [number for number, _ in drawn.steps] == list(range(1, len(drawn.steps) + 1))
    assert drawn.steps[0][1] == f"{side} lower nasal retina"
    assert drawn.view == convention.words("axial")
    texts = {t.text: float(t.get("x", "0")) for t in ET.fromstring(drawn.svg).iter(f"{SVG}text")}
    at_left = texts["patient's right"] < texts["patient's left"]
    assert at_left is (convention is Convention.FACING)
    lines = list(ET.fromstring(drawn.svg).iter(f"{SVG}line"))
    assert len(lines) >= len(drawn.steps) - 1


def test_turned_about_every_pathway_is_its_mirror_image():
    for sign in ("light_direct", "ptosis", "facial_weakness_upper", "field_upper_nasal"):
        if sign not in ATLAS.signs:
            continue
        strands = sign_strands(ATLAS, sign, Side.LEFT)
        for plan in plans_of(strands.pieces, {}):
            facing, own = (
                stops(draw_pathway(plan, strands, {}, name=sign, convention=way).svg)
                for way in Convention
            )
            assert facing.keys() == own.keys()
            for key, (x, _) in facing.items():
                assert own[key][0] == pytest.approx(PLAN_WIDTH - x, abs=0.11)


def test_the_likeliest_structure_decides_the_plan_and_is_shaded():
    strands = sign_strands(ATLAS, "light_direct", Side.LEFT)
    nerve = next(one for one in strands.pieces if one.structure.startswith("third_cistern"))
    first, *_ = plans_of(strands.pieces, {nerve: 0.9})
    assert nerve.structure in first.structures
    drawn = draw_pathway(first, strands, {nerve: 0.9}, name="Light reaction")
    assert [fill for _, fill in stops(drawn.svg).values()].count("#222") == 1
    assert any("taken 90 in 100" in words for _, words in drawn.steps)


def test_what_lies_on_no_plan_is_not_drawn():
    assert plans_of((), {}) == ()
    off_plan = Piece("nothing_of_the_sort", None)
    assert plans_of((off_plan, Piece("nor_this", None)), {}) == ()
    empty = draw_pathway(PLANS["pons"], Strands((), (), (), ()), {}, name="Nothing")
    assert empty.steps == ()
