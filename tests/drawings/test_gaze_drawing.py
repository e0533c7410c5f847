"""The drawings of gaze and of the canals keep sides, values and convention."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.drawings.canals import draw_canals
from decussate.drawings.gaze import draw_deviations, draw_gaze
from decussate.errors import BadInput
from decussate.measures.canal_geometry import head_hanging, supine, supine_roll
from decussate.measures.ocular_alignment import Deviation, Gaze
from decussate.sides import Side

SVG = "{http://www.w3.org/2000/svg}"
grades = st.dictionaries(
    st.sampled_from([g for g in Gaze if g is not Gaze.AHEAD]), st.integers(-5, 4)
)


def _texts(svg: str) -> list[tuple[float, float, str]]:
    root = ET.fromstring(svg)
    return [
        (float(t.get("x", "0")), float(t.get("y", "0")), t.text or "")
        for t in root.iter(f"{SVG}text")
    ]


def _cells(svg: str) -> dict[tuple[int, str], tuple[float, str]]:
    """Panel (0 left of the sheet, 1 right) and direction to the place and fill of the cell."""
    root = ET.fromstring(svg)
    boxes = [r for r in root.iter(f"{SVG}rect") if r.find(f"{SVG}title") is not None]
    middle = sorted(float(r.get("x", "0")) for r in boxes)[len(boxes) // 2]
    found = {}
    for box in boxes:
        x = float(box.get("x", "0"))
        title = box.find(f"{SVG}title")
        assert title is not None
        found[(int(x >= middle), title.text or "")] = (x, box.get("fill", ""))
    return found


@given(grades, grades)
@settings(max_examples=25, deadline=None)
def test_each_eye_stands_on_its_side_and_mirrors(right, left) -> None:
    cells = _cells(draw_gaze(right, left))
    mirrored = _cells(
        draw_gaze(
            {g.mirrored: v for g, v in left.items()}, {g.mirrored: v for g, v in right.items()}
        )
    )
    assert len(cells) == 18
    for (panel, direction), (_, fill) in cells.items():
        assert mirrored[(1 - panel, Gaze(direction).mirrored)][1] == fill
    # The patient's right is drawn on the left within each panel.
    for panel in (0, 1):
        assert cells[(panel, "right")][0] < cells[(panel, "left")][0]


@given(grades)
@settings(max_examples=25, deadline=None)
def test_every_grade_is_written_and_untested_cells_say_so(right) -> None:
    svg = draw_gaze(right, {})
    words = [text for _, _, text in _texts(svg)]
    untested = 8 - len(right) + 8
    assert words.count("?") == untested
    for grade in set(right.values()):
        shown = "0" if grade == 0 else f"{grade:+d}".replace("-", "\N{MINUS SIGN}")
        assert words.count(shown) >= list(right.values()).count(grade)


def test_the_pattern_differs_for_every_grade() -> None:
    fills = {g: _cells(draw_gaze({Gaze.UP: g}, {}))[(0, "up")][1] for g in (0, -1, -2, -3, -4, 1)}
    assert len(set(fills.values())) == len(fills)
    assert _cells(draw_gaze({}, {}))[(0, "up")][1] not in fills.values()


@pytest.mark.parametrize(
    "svg",
    [
        draw_gaze({}, {}),
        draw_deviations([], Side.LEFT),
        draw_canals(head_hanging(Side.RIGHT)),
        draw_canals(supine_roll(Side.LEFT), supine()),
    ],
)
def test_the_convention_stands_on_the_drawing(svg: str) -> None:
    words = " ".join(text for _, _, text in _texts(svg))
    assert "the patient's right" in words
    assert "on the left" in words
    assert ET.fromstring(svg).get("role") == "img"


def _ring(svg: str) -> float:
    (ring,) = ET.fromstring(svg).iter(f"{SVG}circle")
    return float(ring.get("cx", "0"))


def test_an_esodeviated_right_eye_is_drawn_towards_the_nose() -> None:
    seen = [Deviation(Gaze.AHEAD, 20.0, 0.0)]
    middle = next(
        float(r.get("x", "0")) + float(r.get("width", "0")) / 2.0
        for r in ET.fromstring(draw_deviations(seen, Side.LEFT)).iter(f"{SVG}rect")
        if r.findtext(f"{SVG}title") == "straight ahead"
    )
    # The right eye looks to the patient's left, which is the right of the sheet.
    assert _ring(draw_deviations(seen, Side.LEFT)) > middle
    assert _ring(draw_deviations(seen, Side.RIGHT)) < middle


def test_deviations_are_written_with_their_side() -> None:
    svg = draw_deviations([Deviation(Gaze.LEFT, -12.0, -5.0)], Side.RIGHT)
    words = [text for _, _, text in _texts(svg)]
    assert "12 exo" in words
    assert "left eye 5 higher" in words
    assert words.count("?") == 8


def test_the_tested_posterior_canal_is_drawn_as_excited() -> None:
    for side in Side:
        root = ET.fromstring(draw_canals(head_hanging(side)))
        assert f"{side} posterior: excited" in (root.findtext(f"{SVG}desc") or "")
        assert f"{side.other} posterior: debris stays" in (root.findtext(f"{SVG}desc") or "")
    words = _texts(draw_canals(head_hanging(Side.RIGHT)))
    places = {text: x for x, _, text in words}
    assert places["Patient's right ear"] < places["Patient's left ear"]


def test_texts_stay_on_the_sheet() -> None:
    # About half an em a letter in the sans-serif faces in use.
    for svg in (draw_gaze({}, {}), draw_canals(head_hanging(Side.RIGHT))):
        root = ET.fromstring(svg)
        for text in root.iter(f"{SVG}text"):
            if text.get("text-anchor") == "start":
                width = 0.53 * float(text.get("font-size", "0")) * len(text.text or "")
                assert float(text.get("x", "0")) + width <= float(root.get("width", "0"))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: draw_gaze({Gaze.UP: -30}, {}), "prism dioptres"),
        (
            lambda: draw_deviations([Deviation(Gaze.UP, 0.0, 0.0)] * 2, Side.LEFT),
            "each direction once",
        ),
        (lambda: draw_canals(head_hanging(Side.LEFT), planes="ours"), "Blanks1975"),
    ],
)
def test_bad_input_is_refused(call, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        call()
