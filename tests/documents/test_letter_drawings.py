"""Drawings in a letter: the right eye, place and side; what was not tested is not drawn normal."""

import re
from xml.etree import ElementTree as ET

import pytest

from decussate.documents.document import Figure, Text
from decussate.documents.drawn_findings import drawn_findings
from decussate.drawings.visual_field import _CENTRE_X, _CENTRE_Y
from decussate.examination.document import Examination, Finding, MeasuredValue
from decussate.measures.as_findings.drawn_field import drawn_field_findings
from decussate.measures.visual_field import FieldPosition
from decussate.measures.visual_field_drawn import full_drawn_field
from decussate.sides import Side

SVG = "{http://www.w3.org/2000/svg}"
QUADRANTS = ("upper_temporal", "upper_nasal", "lower_temporal", "lower_nasal")


def record(*rows: tuple[str, Side | None, str]) -> Examination:
    found = tuple(Finding(test=test, side=side, response=said) for test, side, said in rows)
    return Examination(id="any", findings=found)


def fields(eye: Side, lost: str, others: str = "normal") -> Examination:
    """Both eyes tested, one quadrant of one eye lost."""
    return record(
        *(
            (f"peripheral_{name}", side, "absent" if (side, name) == (eye, lost) else others)
            for side in Side
            for name in QUADRANTS
        )
    )


def seen_points(figure: Figure, eye: Side) -> list[tuple[float, float]]:
    """Return the vertices of the drawn seen field, from fixation, right and up positive."""
    group = next(
        g for g in ET.fromstring(figure.svg).iter(f"{SVG}g") if g.get("id") == f"field-{eye}"
    )
    path = next(p for p in group.iter(f"{SVG}path") if p.get("stroke-width") == "2")
    numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", path.attrib["d"])]
    pairs = zip(numbers[::2], numbers[1::2], strict=True)
    return [(x - _CENTRE_X[eye], _CENTRE_Y - y) for x, y in pairs]


@pytest.mark.parametrize("eye", Side)
@pytest.mark.parametrize("lost", QUADRANTS)
def test_a_lost_quadrant_is_missing_where_the_patient_misses_it(eye: Side, lost: str) -> None:
    """The temporal field of the right eye lies to the patient's right (38 CFR 4.76a, figure 1)."""
    (figure,) = drawn_findings(fields(eye, lost))
    to_right = (eye is Side.RIGHT) == lost.endswith("temporal")
    for one in Side:
        inside = [
            (x, y)
            for x, y in seen_points(figure, one)
            if (x > 3 if to_right else x < -3) and (y > 3 if lost.startswith("upper") else y < -3)
        ]
        assert bool(inside) == (one is not eye)


def test_a_field_drawn_by_hand_is_drawn_as_it_was() -> None:
    ring = [FieldPosition.from_chart(x, y) for x, y in ((8, 8), (-8, 8), (-8, -8), (8, -8))]
    drawn = full_drawn_field(Side.RIGHT).without(ring)
    found = drawn_field_findings(drawn, "white pin")
    (figure,) = drawn_findings(Examination(id="any", findings=found))
    assert figure.title == "Visual fields, as drawn by hand"
    assert "right eye, white pin" in figure.caption
    paths = [
        p for p in ET.fromstring(figure.svg).iter(f"{SVG}path") if p.get("fill-rule") == "evenodd"
    ]
    assert len(paths) == 1
    assert "The left eye was not tested" in figure.words


def test_an_eye_tested_in_part_is_told_in_words_and_not_drawn() -> None:
    found = record(("peripheral_upper_temporal", Side.RIGHT, "absent"))
    (block,) = drawn_findings(found)
    assert isinstance(block, Text)
    assert "right eye" in block.words
    assert "left" not in block.words


def test_an_untested_eye_is_said_to_be_untested() -> None:
    rows = [(f"peripheral_{name}", Side.LEFT, "absent") for name in QUADRANTS]
    (figure,) = drawn_findings(record(*rows))
    assert "The right eye was not tested." in figure.words
    assert "not tested" in figure.svg


def test_a_measured_share_is_drawn_as_measured() -> None:
    share = MeasuredValue(value=25.0, unit="% of examiner")
    base = fields(Side.RIGHT, "upper_temporal")
    found = tuple(
        one.model_copy(update={"measurement": share}) if one.response == "absent" else one
        for one in base.findings
    )
    (figure,) = drawn_findings(base.model_copy(update={"findings": found}))
    (full,) = drawn_findings(fields(Side.LEFT, "upper_temporal"))
    quarter = max(x for x, y in seen_points(figure, Side.RIGHT) if y > 3)
    whole = max(x for x, y in seen_points(full, Side.RIGHT) if y > 3)
    assert quarter == pytest.approx(whole / 4, rel=0.12)


@pytest.mark.parametrize("side", Side)
def test_a_limited_direction_is_drawn_for_its_eye_and_way(side: Side) -> None:
    (out,) = drawn_findings(record(("gaze_out", side, "reduced")))
    (inwards,) = drawn_findings(record(("gaze_in", side, "absent")))
    assert out.words == f"{side} eye {side} -2"
    assert inwards.words == f"{side} eye {side.other} -4"
    # Sixteen directions of two eyes, straight ahead apart: all but one were not tested.
    shown = [t.text for t in ET.fromstring(out.svg).iter(f"{SVG}text")]
    assert shown.count("?") == 15


@pytest.mark.parametrize("side", Side)
def test_a_weak_face_is_drawn_on_its_side_or_not_at_all(side: Side) -> None:
    tests = ("raise_brows", "close_eyes", "show_teeth")
    rows = [(t, s, "absent" if s is side else "normal") for t in tests for s in Side]
    (figure,) = drawn_findings(record(*rows))
    assert f"Patient's {side}: brow absent, eye closure absent, mouth absent." in figure.words
    assert f"Patient's {side.other}: brow normal" in figure.words
    (block,) = drawn_findings(record(*rows[:-1]))
    assert isinstance(block, Text)
    assert "Not drawn" in block.words


@pytest.mark.parametrize("side", Side)
def test_lost_feeling_is_drawn_on_its_side_and_the_rest_asked(side: Side) -> None:
    (figure,) = drawn_findings(record(("pin_cheek", side, "absent")))
    fills = {}
    for group in ET.fromstring(figure.svg).iter(f"{SVG}g"):
        for area in group.iter(f"{SVG}path"):
            if "data-area" in area.attrib:
                fills[group.attrib["id"], area.attrib["data-area"]] = area.attrib["fill"]
    assert fills[f"face-{side}", "cheek"] == "url(#sensation-absent)"
    assert fills[f"face-{side.other}", "cheek"] == "#ececec"
    assert list(fills.values()).count("#ececec") == len(fills) - 1


def test_pupils_are_drawn_only_with_their_sizes() -> None:
    lost = ("light_direct", Side.LEFT, "absent")
    assert drawn_findings(record(lost)) == ()
    sizes = tuple(
        Finding(
            test="pupil_size_light",
            side=side,
            response=said,
            measurement={"value": mm, "unit": "mm"},
        )
        for side, said, mm in ((Side.LEFT, "large", 6.5), (Side.RIGHT, "normal", 3.0))
    )
    found = record(lost)
    (figure,) = drawn_findings(found.model_copy(update={"findings": (*found.findings, *sizes)}))
    assert "in light: right 3.0 mm, left 6.5 mm" in figure.words
    assert "light in the left eye, left pupil: absent" in figure.words
    assert "light in the right eye, left pupil: not tested" in figure.words


def test_a_normal_examination_needs_no_drawing() -> None:
    normal = [(f"peripheral_{name}", side, "normal") for name in QUADRANTS for side in Side]
    assert drawn_findings(record(*normal, ("gaze_out", Side.LEFT, "normal"))) == ()
