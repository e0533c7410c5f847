"""The audiogram on its standard chart: the trade's symbols, and words beside them.

Axes follow ISO 8253-1 and IEC 60645-1: frequency by octaves, hearing level downwards, one octave as
long as 20 dB.  Symbols are those of the American Speech-Language-Hearing Association (1990).
Shape, line and word carry the ear; colour only repeats it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from xml.etree import ElementTree as ET

from decussate.measures.age_expected_hearing import ExpectedThreshold
from decussate.measures.audiogram import AUDIOMETRIC_HZ, Audiogram, Conduction, Threshold
from decussate.sides import Side

__all__ = ["CHART_LEFT", "CHART_TOP", "OCTAVE", "draw_audiogram"]

OCTAVE = 66.0
"""Length of an octave, and of 20 dB, in drawing units."""

CHART_LEFT, CHART_TOP = 92.0, 84.0
_LOWEST_DB, _HIGHEST_DB = -10, 120
_MARGIN = OCTAVE / 2
_CHART_WIDTH = 6 * OCTAVE + 2 * _MARGIN
_CHART_HEIGHT = (_HIGHEST_DB - _LOWEST_DB) / 20 * OCTAVE
_WIDTH, _HEIGHT = 900, 548
_KEY_X = CHART_LEFT + _CHART_WIDTH + 76
_COLOUR = {Side.RIGHT: "#b3001b", Side.LEFT: "#0b3ea8"}
_DASH = {Side.RIGHT: "none", Side.LEFT: "8 5"}
_MAIN_HZ = (125, 250, 500, 1000, 2000, 4000, 8000)
_SIZE = 6.5

_KINDS = tuple(
    (side, conduction, masked)
    for conduction in Conduction
    for masked in (False, True)
    for side in Side
)
_SHAPES = {
    (Side.RIGHT, Conduction.AIR, False): "circle",
    (Side.RIGHT, Conduction.AIR, True): "triangle",
    (Side.LEFT, Conduction.AIR, False): "cross",
    (Side.LEFT, Conduction.AIR, True): "square",
    (Side.RIGHT, Conduction.BONE, False): "<",
    (Side.RIGHT, Conduction.BONE, True): "[",
    (Side.LEFT, Conduction.BONE, False): ">",
    (Side.LEFT, Conduction.BONE, True): "]",
}


def draw_audiogram(
    audiogram: Audiogram,
    *,
    title: str = "Pure-tone audiogram",
    expected: Sequence[ExpectedThreshold] = (),
) -> str:
    """Draw an audiogram as SVG text.

    Air-conduction thresholds of an ear are joined, masked before unmasked, the right ear by a solid
    line and the left by a dashed one; bone conduction is not joined, and a tone not heard is drawn
    at the limit with an arrow and joined to nothing.

    Parameters
    ----------
    audiogram : Audiogram
        The thresholds.
    title : str
        Heading; leave out names if the drawing leaves the record.
    expected : sequence of ExpectedThreshold
        Medians for the age, drawn as a dotted grey line.

    Returns
    -------
    str
        An SVG document with every threshold also in words in its description.

    References
    ----------
    ISO 8253-1; IEC 60645-1 (aspect of the chart); ASHA guidelines for audiometric symbols, 1990
    (from memory).
    """
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {_WIDTH} {_HEIGHT}",
            "role": "img",
            "font-family": "sans-serif",
            "font-size": "13",
            "fill": "#111",
        },
    )
    ET.SubElement(root, "title").text = title
    ET.SubElement(root, "desc").text = _in_words(audiogram)
    ET.SubElement(root, "rect", {"width": str(_WIDTH), "height": str(_HEIGHT), "fill": "#fff"})
    _text(root, CHART_LEFT + _CHART_WIDTH / 2, 26, title, size=17, weight="bold")
    _grid(root)
    _expected_line(root, expected)
    for side in Side:
        _air_line(root, audiogram, side)
    for threshold in audiogram.thresholds:
        _symbol(root, threshold)
    _ear_labels(root, audiogram)
    _key(root, audiogram, expected)
    return ET.tostring(root, encoding="unicode")


def _x(frequency_hz: float) -> float:
    return CHART_LEFT + _MARGIN + OCTAVE * math.log2(frequency_hz / 125)


def _y(level_db_hl: float) -> float:
    return CHART_TOP + (level_db_hl - _LOWEST_DB) / 20 * OCTAVE


def _text(
    parent: ET.Element,
    x: float,
    y: float,
    words: str,
    *,
    anchor: str = "middle",
    size: int = 13,
    weight: str = "normal",
    colour: str = "#111",
) -> ET.Element:
    element = ET.SubElement(
        parent,
        "text",
        {
            "x": f"{x:.1f}",
            "y": f"{y:.1f}",
            "text-anchor": anchor,
            "font-size": str(size),
            "font-weight": weight,
            "fill": colour,
        },
    )
    element.text = words
    return element


def _line(
    parent: ET.Element, x1: float, y1: float, x2: float, y2: float, **style: str
) -> ET.Element:
    ends = {"x1": f"{x1:.1f}", "y1": f"{y1:.1f}", "x2": f"{x2:.1f}", "y2": f"{y2:.1f}"}
    named = {name.replace("_", "-"): value for name, value in style.items()}
    return ET.SubElement(parent, "line", {**ends, **named})


def _grid(root: ET.Element) -> None:
    right, bottom = CHART_LEFT + _CHART_WIDTH, CHART_TOP + _CHART_HEIGHT
    grid = ET.SubElement(root, "g", {"id": "grid"})
    for level in range(_LOWEST_DB, _HIGHEST_DB + 1, 10):
        heavy = "#555" if level == 0 else "#c4c4c4"
        _line(grid, CHART_LEFT, _y(level), right, _y(level), stroke=heavy, stroke_width="1")
        _text(grid, CHART_LEFT - 8, _y(level) + 4, str(level), anchor="end")
    for hz in AUDIOMETRIC_HZ:
        main = hz in _MAIN_HZ
        _line(
            grid,
            _x(hz),
            CHART_TOP,
            _x(hz),
            bottom,
            stroke="#c4c4c4",
            stroke_width="1",
            stroke_dasharray="none" if main else "2 4",
        )
        # The half-octave tones stand one step higher so that the numbers never touch.
        raised = 0 if main else 14
        _text(grid, _x(hz), CHART_TOP - 8 - raised, str(hz), size=13 if main else 11)
    ET.SubElement(
        grid,
        "rect",
        {
            "x": f"{CHART_LEFT}",
            "y": f"{CHART_TOP}",
            "width": f"{_CHART_WIDTH}",
            "height": f"{_CHART_HEIGHT}",
            "fill": "none",
            "stroke": "#555",
        },
    )
    _text(grid, CHART_LEFT + _CHART_WIDTH / 2, CHART_TOP - 38, "frequency, Hz")
    label = _text(grid, 0, 0, "hearing level, dB HL (louder tones lower down)")
    label.set("transform", f"translate(40 {CHART_TOP + _CHART_HEIGHT / 2:.1f}) rotate(-90)")


def _expected_line(root: ET.Element, expected: Sequence[ExpectedThreshold]) -> None:
    points = sorted(expected, key=lambda e: e.frequency_hz)
    for a, b in pairwise(points):
        _line(
            root,
            _x(a.frequency_hz),
            _y(a.median_db),
            _x(b.frequency_hz),
            _y(b.median_db),
            stroke="#555",
            stroke_width="2",
            stroke_dasharray="1 4",
            stroke_linecap="round",
        )


def _air(audiogram: Audiogram, side: Side) -> list[Threshold]:
    found = (audiogram.best(side, hz) for hz in audiogram.frequencies())
    return [t for t in found if t is not None]


def _air_line(root: ET.Element, audiogram: Audiogram, side: Side) -> None:
    group = ET.SubElement(root, "g", {"id": f"line-{side}"})
    for a, b in pairwise(_air(audiogram, side)):
        if not (a.no_response or b.no_response):
            _line(
                group,
                _x(a.frequency_hz),
                _y(a.level_db_hl),
                _x(b.frequency_hz),
                _y(b.level_db_hl),
                stroke=_COLOUR[side],
                stroke_width="2",
                stroke_dasharray=_DASH[side],
            )


def _symbol(root: ET.Element, t: Threshold) -> None:
    # Bone symbols stand beside the line of their frequency, on the side their ear is drawn.
    beside = 0.0 if t.conduction is Conduction.AIR else (-13.0 if t.side is Side.RIGHT else 13.0)
    x, y = _x(t.frequency_hz) + beside, _y(t.level_db_hl)
    group = ET.SubElement(root, "g", {"data-ear": t.side, "data-conduction": t.conduction})
    ET.SubElement(group, "title").text = _one_in_words(t)
    _shape(group, (t.side, t.conduction, t.masked), x, y)
    if t.no_response:
        _arrow(group, t.side, x, y)


def _shape(parent: ET.Element, kind: tuple[Side, Conduction, bool], x: float, y: float) -> None:
    s = _SIZE
    style = {"stroke": _COLOUR[kind[0]], "stroke-width": "2.2", "fill": "none"}
    shape = _SHAPES[kind]
    if shape == "circle":
        place = {"cx": f"{x:.1f}", "cy": f"{y:.1f}", "r": f"{s}"}
        ET.SubElement(parent, "circle", {**place, **style, "fill": "#fff"})
        return
    paths = {
        "cross": f"M{-s} {-s}L{s} {s}M{-s} {s}L{s} {-s}",
        "triangle": f"M0 {-s - 1}L{s + 1} {s}L{-s - 1} {s}Z",
        "square": f"M{-s} {-s}H{s}V{s}H{-s}Z",
        "<": f"M4 {-s}L-4 0L4 {s}",
        ">": f"M-4 {-s}L4 0L-4 {s}",
        "[": f"M4 {-s}H-3V{s}H4",
        "]": f"M-4 {-s}H3V{s}H-4",
    }
    if shape in ("triangle", "square"):
        style["fill"] = "#fff"
    ET.SubElement(
        parent, "path", {"d": paths[shape], "transform": f"translate({x:.1f} {y:.1f})", **style}
    )


def _arrow(parent: ET.Element, side: Side, x: float, y: float) -> None:
    out = -1 if side is Side.RIGHT else 1
    tip_x, tip_y = x + 20 * out, y + 20
    path = (
        f"M{x + 7 * out:.1f} {y + 7:.1f}L{tip_x:.1f} {tip_y:.1f}"
        f"M{tip_x - 8 * out:.1f} {tip_y:.1f}H{tip_x:.1f}V{tip_y - 8:.1f}"
    )
    style = {"stroke": _COLOUR[side], "stroke-width": "2.2", "fill": "none"}
    ET.SubElement(parent, "path", {"d": path, **style})


def _ear_labels(root: ET.Element, audiogram: Audiogram) -> None:
    ends = {side: line[-1] for side in Side if (line := _air(audiogram, side))}
    heights = {side: _y(t.level_db_hl) + 4 for side, t in ends.items()}
    if len(heights) == 2 and abs(heights[Side.RIGHT] - heights[Side.LEFT]) < 16:
        middle = sum(heights.values()) / 2
        upper = min(ends, key=lambda side: heights[side])
        heights = {upper: middle - 8, upper.other: middle + 8}
    x = CHART_LEFT + _CHART_WIDTH + 6
    for side, y in heights.items():
        _text(root, x, y, f"{side} ear", anchor="start", weight="bold", colour=_COLOUR[side])


def _key(root: ET.Element, audiogram: Audiogram, expected: Sequence[ExpectedThreshold]) -> None:
    key = ET.SubElement(root, "g", {"id": "key"})
    x, y = _KEY_X, CHART_TOP + 8
    _text(key, x, y, "Symbols", anchor="start", weight="bold")
    used = {(t.side, t.conduction, t.masked) for t in audiogram.thresholds}
    for kind in (k for k in _KINDS if k in used):
        side, conduction, masked = kind
        y += 24
        _shape(key, kind, x + 10, y - 4)
        words = f"{side} ear, {conduction}, {'masked' if masked else 'not masked'}"
        _text(key, x + 28, y, words, anchor="start")
    silent = [t for t in audiogram.thresholds if t.no_response]
    if silent:
        y += 26
        _arrow(key, silent[0].side, x + (22 if silent[0].side is Side.RIGHT else 0), y - 18)
        _text(key, x + 28, y, "not heard at this level", anchor="start")
    for side in Side:
        if len(_air(audiogram, side)) > 1:
            y += 24
            _line(
                key,
                x,
                y - 4,
                x + 24,
                y - 4,
                stroke=_COLOUR[side],
                stroke_width="2",
                stroke_dasharray=_DASH[side],
            )
            _text(key, x + 28, y, f"{side} ear, air, joined", anchor="start")
    if expected:
        y += 24
        _line(
            key,
            x,
            y - 4,
            x + 24,
            y - 4,
            stroke="#555",
            stroke_width="2",
            stroke_dasharray="1 4",
            stroke_linecap="round",
        )
        _text(key, x + 28, y, f"median for age, ISO 7029:{expected[0].edition}", anchor="start")
    notes = (
        "Sides are the patient's.",
        "Symbols of the ASHA; some British forms",
        "use the triangle for unmasked bone.",
        f"Earphone: {audiogram.transducer}.",
    )
    y += 12
    for note in notes:
        y += 18
        _text(key, x, y, note, anchor="start", size=12)


def _one_in_words(t: Threshold) -> str:
    masked = "masked" if t.masked else "not masked"
    heard = f"not heard at {t.level_db_hl:g}" if t.no_response else f"{t.level_db_hl:g}"
    return f"{t.side} ear, {t.conduction}, {masked}, {t.frequency_hz} Hz: {heard} dB HL"


def _in_words(audiogram: Audiogram) -> str:
    return "; ".join(_one_in_words(t) for t in audiogram.thresholds) + "."
