"""Measurements over time: one small plot a test, right and left by line and mark, with noise.

Line, mark and word carry the side; colour only repeats it.  A line joins neighbouring examinations
only: it never bridges one at which the test was not done.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.etree import ElementTree as ET

from decussate.bibliography import cite
from decussate.comparison import Course, Line, Occasion, Point, Track
from decussate.errors import BadInput
from decussate.sides import Side

__all__ = ["draw_over_time"]

_PANEL_WIDTH, _PANEL_HEIGHT = 470.0, 296.0
_HEAD = 112.0
_LEFT, _RIGHT, _TOP = 66.0, 30.0, 44.0
_PLOT_WIDTH, _PLOT_HEIGHT = _PANEL_WIDTH - _LEFT - _RIGHT - 16.0, 132.0
_LEAST_GAP = 52.0
_INSET = 22.0
_COLOUR = {Side.RIGHT: "#b3001b", Side.LEFT: "#0b3ea8", None: "#111"}
_DASH = {Side.RIGHT: "none", Side.LEFT: "7 4", None: "2 3"}
_HATCH = {
    Side.RIGHT: "M-2 8L8 -2M3 13L13 3",
    Side.LEFT: "M-2 2L8 12M2 -2L12 8",
    None: "M2 2h1M7 7h1",
}
_WORSE = {
    "higher": "worse is lower on the plot",
    "lower": "worse is lower on the plot",
    "farther": "worse away from 0",
    "outside": "worse away from the normal range",
    "directed": "worse away from 0",
    "neither": "no better or worse side",
}


@dataclass(frozen=True, slots=True)
class _Scale:
    """Where values of one track stand; `low` is drawn at the bottom, and may be the larger."""

    low: float
    high: float
    ticks: tuple[float, ...]

    def y(self, number: float) -> float:
        return _TOP + _PLOT_HEIGHT * (1.0 - (number - self.low) / (self.high - self.low))


def draw_over_time(
    course: Course,
    *,
    title: str = "Measurements over time",
    tests: Sequence[str] | None = None,
    columns: int = 2,
) -> str:
    """Draw the measurements of a course as SVG text, one plot a test.

    Parameters
    ----------
    course : Course
    title : str
        Heading; leave out names if the drawing leaves the record.
    tests : sequence of str, optional
        Ids of the tests to draw, in this order; by default all that were measured twice or more.
    columns : int
        Plots beside each other; 1 for a narrow screen.

    Returns
    -------
    str
        An SVG document, with every value also in words in its description. The hatched band holds
        the values that differ from the first by no more than published repeat error; where none is
        published there is no band, and the plot says so.

    Raises
    ------
    BadInput
        If a test named was not measured at two examinations.
    """
    by_test = {track.test: track for track in course.tracks}
    for name in tests or ():
        if name not in by_test:
            known = ", ".join(by_test) or "no test was measured twice"
            raise BadInput("test to draw", name, f"one measured twice or more: {known}")
    tracks = course.tracks if tests is None else tuple(by_test[name] for name in tests)
    rows = max(1, math.ceil(len(tracks) / columns))
    width, height = columns * _PANEL_WIDTH, _HEAD + rows * _PANEL_HEIGHT
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {width:g} {height:g}",
            "role": "img",
            "font-family": "sans-serif",
            "font-size": "12",
            "fill": "#111",
        },
    )
    ET.SubElement(root, "title").text = title
    ET.SubElement(root, "desc").text = _in_words(tracks, course.occasions)
    ET.SubElement(root, "rect", {"width": f"{width:g}", "height": f"{height:g}", "fill": "#fff"})
    _hatching(root)
    places, to_scale = _along_time(course.occasions)
    _heading(root, title, width, to_scale)
    if not tracks:
        _text(root, width / 2, _HEAD + 40, "No test was measured at two examinations.")
    for number, track in enumerate(tracks):
        x = (number % columns) * _PANEL_WIDTH
        y = _HEAD + (number // columns) * _PANEL_HEIGHT
        panel = ET.SubElement(
            root, "g", {"id": f"track-{track.test}", "transform": f"translate({x:g} {y:g})"}
        )
        _draw_track(panel, track, course.occasions, places)
    return ET.tostring(root, encoding="unicode")


def _along_time(occasions: Sequence[Occasion]) -> tuple[tuple[float, ...], bool]:
    """Place the examinations along the plot: to scale in time where their labels keep apart."""
    reach = _PLOT_WIDTH - 2 * _INSET
    even = tuple(
        _LEFT + _INSET + reach * place / (len(occasions) - 1) for place in range(len(occasions))
    )
    times = [occasion.begun for occasion in occasions if occasion.begun]
    if len(times) < len(occasions) or times[0] == times[-1]:
        return even, False
    whole = (times[-1] - times[0]).total_seconds()
    scaled = tuple(
        _LEFT + _INSET + reach * (time - times[0]).total_seconds() / whole for time in times
    )
    roomy = all(after - before >= _LEAST_GAP for before, after in pairwise(scaled))
    return (scaled, True) if roomy else (even, False)


def _draw_track(
    panel: ET.Element, track: Track, occasions: Sequence[Occasion], places: Sequence[float]
) -> None:
    scale = _scale(track)
    _text(panel, _LEFT, 20, track.name, anchor="start", size=14, weight="bold")
    unit = "share" if track.unit == "1" else track.unit
    sense = _WORSE[track.worse_when]
    if track.directions:
        up, down = (word.replace("_", " eye ") for word in track.directions)
        sense = f"up {up}, down {down}; {sense}"
    _text(panel, _LEFT, 36, f"{unit}; {sense}", anchor="start", size=11, colour="#444")
    _axes(panel, scale, occasions, places)
    for line in track.lines:
        _band(panel, line, track, scale)
    for line in track.lines:
        other = next((beside for beside in track.lines if beside is not line), None)
        _line(panel, line, other, scale, places)
    _missing(panel, track, places)
    _footnote(panel, track)


def _scale(track: Track) -> _Scale:
    numbers = [p.number for line in track.lines for p in line.points if p.number is not None]
    bands = [edge for line in track.lines for edge in _band_of(line, track)]
    if track.worse_when in ("farther", "directed"):
        numbers.append(0.0)
    low, high = min([*numbers, *bands], default=0.0), max([*numbers, *bands], default=1.0)
    room = 0.25 * (high - low) or 1.0
    low, high = low - room, high + room
    step = _step((high - low) / 6)
    if all(number == round(number) for number in numbers):
        step = max(step, 1.0)
    marks = range(math.ceil(low / step), math.floor(high / step + 1e-9) + 1)
    ticks = tuple(
        round(mark * step, 6) for mark in marks if track.least <= mark * step <= track.most
    )
    return _Scale(high, low, ticks) if track.worse_when == "higher" else _Scale(low, high, ticks)


def _band_of(line: Line, track: Track) -> tuple[float, ...]:
    """Return the band of repeat error, cut off at the ends of the scale; empty where unknown."""
    if line.band is None:
        return ()
    return max(line.band[0], track.least), min(line.band[1], track.most)


def _step(rough: float) -> float:
    """Return the round number (1, 2 or 5 times a power of ten) not below a rough step."""
    power = 10.0 ** math.floor(math.log10(rough))
    return next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough - 1e-12)


def _axes(
    panel: ET.Element, scale: _Scale, occasions: Sequence[Occasion], places: Sequence[float]
) -> None:
    for tick in scale.ticks:
        y = scale.y(tick)
        _rule(panel, _LEFT, y, _LEFT + _PLOT_WIDTH, y, stroke="#d4d4d4")
        _text(panel, _LEFT - 7, y + 4, f"{tick:g}".replace("-", "−"), anchor="end", size=11)
    bottom = _TOP + _PLOT_HEIGHT
    _rule(panel, _LEFT, _TOP, _LEFT, bottom, stroke="#555")
    _rule(panel, _LEFT, bottom, _LEFT + _PLOT_WIDTH, bottom, stroke="#555")
    for number, (occasion, x) in enumerate(zip(occasions, places, strict=True)):
        _rule(panel, x, bottom, x, bottom + 5, stroke="#555")
        _text(panel, x, bottom + 18, _when(occasion, occasions, number), size=11)


def _when(occasion: Occasion, occasions: Sequence[Occasion], number: int) -> str:
    if occasion.begun is None:
        return f"no. {number + 1}"
    days = [o.begun.date() for o in occasions if o.begun]
    if len(set(days)) == 1:
        return f"{occasion.begun:%H:%M}"
    day = f"{occasion.begun.day} {occasion.begun:%b}"
    shared = len(set(days)) < len(days)
    return f"{day} {occasion.begun:%H:%M}" if shared else f"{day} {occasion.begun:%Y}"


def _band(panel: ET.Element, line: Line, track: Track, scale: _Scale) -> None:
    edges = _band_of(line, track)
    if not edges or line.limit is None:
        return
    top, bottom = sorted(scale.y(edge) for edge in edges)
    band = ET.SubElement(
        panel,
        "rect",
        {
            "class": "band",
            "data-side": str(line.side or "whole"),
            "x": f"{_LEFT:g}",
            "y": f"{top:.1f}",
            "width": f"{_PLOT_WIDTH:g}",
            "height": f"{bottom - top:.1f}",
            "fill": f"url(#hatch-{line.side or 'whole'})",
            "stroke": _COLOUR[line.side],
            "stroke-opacity": "0.45",
            "stroke-dasharray": _DASH[line.side],
        },
    )
    ET.SubElement(band, "title").text = f"{line.limit.basis} {cite(line.limit.source)}".strip()


def _label_below(line: Line, other: Line | None, point: Point, scale: _Scale) -> bool:
    """Keep the labels of right and left apart: the lower of two marks has its label below."""
    beside = other.points[point.occasion].number if other else None
    if point.number is None or beside is None or beside == point.number:
        return line.side is Side.LEFT
    return scale.y(point.number) > scale.y(beside)


def _line(
    panel: ET.Element, line: Line, other: Line | None, scale: _Scale, places: Sequence[float]
) -> None:
    colour = _COLOUR[line.side]
    group = ET.SubElement(panel, "g", {"data-side": str(line.side or "whole")})
    for before, after in pairwise(line.points):
        if before.number is not None and after.number is not None:
            _rule(
                group,
                places[before.occasion],
                scale.y(before.number),
                places[after.occasion],
                scale.y(after.number),
                stroke=colour,
                stroke_width="2",
                stroke_dasharray=_DASH[line.side],
            )
    for point in line.points:
        if point.number is None:
            continue
        x, y = places[point.occasion], scale.y(point.number)
        mark = ET.SubElement(group, "g", {"class": "point"})
        said = f"{line.side}: {point.shown}" if line.side else point.shown
        ET.SubElement(mark, "title").text = said
        _mark(mark, line.side, x, y)
        below = _label_below(line, other, point, scale)
        text = _text(mark, x, y + (18 if below else -9), point.label.replace("-", "−"), size=11)
        text.set("fill", colour)
        for name, value in (("stroke", "#fff"), ("stroke-width", "3"), ("paint-order", "stroke")):
            text.set(name, value)


def _mark(parent: ET.Element, side: Side | None, x: float, y: float) -> None:
    style = {"stroke": _COLOUR[side], "stroke-width": "2", "fill": "#fff"}
    if side is Side.RIGHT:
        ET.SubElement(parent, "circle", {"cx": f"{x:.1f}", "cy": f"{y:.1f}", "r": "5", **style})
        return
    shape = "M-5 -5L5 5M-5 5L5 -5" if side is Side.LEFT else "M0 -6L6 0L0 6L-6 0Z"
    place = {"d": shape, "transform": f"translate({x:.1f} {y:.1f})"}
    ET.SubElement(parent, "path", {**place, **style})


def _missing(panel: ET.Element, track: Track, places: Sequence[float]) -> None:
    """Say under the plot what was not measured, or lies below the chart."""
    for row, line in enumerate(track.lines):
        for point in line.points:
            if point.number is None:
                side = f"{line.side}: " if line.side else ""
                y = _TOP + _PLOT_HEIGHT + 34 + 14 * row
                _text(panel, places[point.occasion], y, f"{side}{point.shown}", size=10)


def _footnote(panel: ET.Element, track: Track) -> None:
    said: dict[str, list[str]] = {}
    for line in track.lines:
        said.setdefault(_repeat_error(line), []).append(str(line.side or ""))
    rows = []
    for words, sides in said.items():
        which = f"{' and '.join(sides)}: " if len(said) > 1 else ""
        note = f"{which}{words}"
        rows += textwrap.wrap(note[:1].upper() + note[1:], 62)
    for row, words in enumerate(rows[:4]):
        y = _TOP + _PLOT_HEIGHT + 64 + 14 * row
        _text(panel, _LEFT, y, words, anchor="start", size=11, colour="#444")


def _repeat_error(line: Line) -> str:
    limit = line.limit
    if limit is None or line.band is None:
        few = sum(point.number is not None for point in line.points) < 2
        return "measured once" if few else "repeat error not known, no band."
    reach = (line.band[1] - line.band[0]) / 2
    least = "at least " if limit.beyond is None else ""
    return f"band, repeat error {least}±{reach:g} {limit.unit} ({limit.people})."


def _heading(root: ET.Element, title: str, width: float, to_scale: bool) -> None:
    _text(root, width / 2, 28, title, size=17, weight="bold")
    left, apart = (_LEFT, 170) if width > _PANEL_WIDTH else (16.0, 150)
    x = left
    for side, words in (
        (Side.RIGHT, "patient's right"),
        (Side.LEFT, "patient's left"),
        (None, "whole patient"),
    ):
        _rule(
            root,
            x,
            52,
            x + 44,
            52,
            stroke=_COLOUR[side],
            stroke_width="2",
            stroke_dasharray=_DASH[side],
        )
        _mark(root, side, x + 22, 52)
        _text(root, x + 52, 56, words, anchor="start")
        x += apart
    time = "Time is to scale." if to_scale else "Examinations in order, not to scale in time."
    for line, words in enumerate(
        (
            "Hatched or dotted: differs from the first value by no more than",
            f"repeat error. {time}",
        )
    ):
        _text(root, left, 80 + 17 * line, words, anchor="start", size=12)


def _hatching(root: ET.Element) -> None:
    kept = ET.SubElement(root, "defs")
    for side, path in _HATCH.items():
        name = f"hatch-{side or 'whole'}"
        size = {"width": "10", "height": "10", "patternUnits": "userSpaceOnUse"}
        pattern = ET.SubElement(kept, "pattern", {"id": name, **size})
        style = {
            "stroke": _COLOUR[side],
            "stroke-opacity": "0.3" if side else "0.7",
            "fill": "none",
        }
        ET.SubElement(pattern, "path", {"d": path, **style})


def _in_words(tracks: Sequence[Track], occasions: Sequence[Occasion]) -> str:
    said = []
    for track in tracks:
        for line in track.lines:
            values = ", ".join(
                f"{_when(occasions[p.occasion], occasions, p.occasion)} {p.shown}"
                for p in line.points
            )
            name = f"{line.side} {track.name}" if line.side else track.name
            said.append(f"{name}: {values}. {_repeat_error(line)}")
    return " ".join(said) or "Nothing was measured twice."


def _text(
    parent: ET.Element,
    x: float,
    y: float,
    words: str,
    *,
    anchor: str = "middle",
    size: int = 12,
    weight: str = "normal",
    colour: str = "#111",
) -> ET.Element:
    place = {"x": f"{x:.1f}", "y": f"{y:.1f}", "text-anchor": anchor}
    style = {"font-size": str(size), "font-weight": weight, "fill": colour}
    element = ET.SubElement(parent, "text", {**place, **style})
    element.text = words
    return element


def _rule(parent: ET.Element, x1: float, y1: float, x2: float, y2: float, **style: str) -> None:
    ends = {"x1": f"{x1:.1f}", "y1": f"{y1:.1f}", "x2": f"{x2:.1f}", "y2": f"{y2:.1f}"}
    ET.SubElement(
        parent, "line", {**ends, **{name.replace("_", "-"): v for name, v in style.items()}}
    )
