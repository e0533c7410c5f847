"""Both pupils to scale, in light and dark, with their reactions."""

from __future__ import annotations

import math
from collections.abc import Mapping
from xml.etree import ElementTree as ET

from decussate.drawings.convention import Convention
from decussate.measures.pupil_reactions import LightReactions, Reaction
from decussate.measures.pupils import AfferentDefect, PupilSizes
from decussate.sides import Side

__all__ = ["draw_pupils"]

_WIDTH, _HEIGHT = 640, 610
_MIDDLE_X, _APART = 320.0, 170.0
_MM = 9.0
_IRIS_MM = 12.0
_ROWS_Y = {"in light": 150.0, "in the dark": 314.0}
_REACTIONS_Y = 446.0
_NOT_TESTED = "not tested (?)"


def draw_pupils(
    light: PupilSizes | None,
    dark: PupilSizes | None,
    *,
    reactions: LightReactions | None = None,
    defect: AfferentDefect | None = None,
    title: str = "Pupils",
    convention: Convention = Convention.FACING,
) -> str:
    """Draw both pupils to scale as SVG text.

    The convention stands on the drawing. Sizes are written in millimetres; what was not measured
    is dashed and says so.

    Parameters
    ----------
    light, dark : PupilSizes or None
        None for a light in which they were not measured.
    reactions : LightReactions, optional
        Reactions to light in either eye, written out as a table.
    defect : AfferentDefect, optional
        A relative afferent defect, written under its eye.
    title : str
    convention : Convention
        Which way the drawing faces.

    Returns
    -------
    str
        An SVG document.
    """
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {_WIDTH} {_HEIGHT}",
            "role": "img",
            "font-family": "sans-serif",
            "font-size": "14",
            "fill": "#111",
        },
    )
    ET.SubElement(root, "title").text = title
    ET.SubElement(root, "desc").text = _in_words(light, dark, reactions, defect)
    ET.SubElement(root, "rect", {"width": str(_WIDTH), "height": str(_HEIGHT), "fill": "#fff"})
    _text(root, _MIDDLE_X, 28, title, size=17, weight="bold")
    eye_x = {side: _MIDDLE_X + _APART * convention.across(side) for side in Side}
    for side in Side:
        _text(root, eye_x[side], 62, f"patient's {side}", size=15, weight="bold")
    for (words, y), sizes in zip(_ROWS_Y.items(), (light, dark), strict=True):
        _text(root, _MIDDLE_X, y - 6, words, weight="bold")
        _text(root, _MIDDLE_X, y + 14, _difference(sizes), size=12)
        for side in Side:
            _draw_eye(root, side, (eye_x[side], y), None if sizes is None else sizes.of(side))
    if defect is not None:
        for line, words in enumerate(("relative afferent defect", _defect_size(defect))):
            _text(root, eye_x[defect.side], 410 + 16 * line, words, size=12, weight="bold")
    _draw_reactions(root, reactions or LightReactions(), eye_x)
    _scale_bar(root)
    _text(
        root,
        _MIDDLE_X,
        _HEIGHT - 14,
        convention.words(),
        weight="bold",
    )
    return ET.tostring(root, encoding="unicode")


def _draw_eye(
    root: ET.Element, side: Side, at: tuple[float, float], diameter_mm: float | None
) -> None:
    x, y = at
    reach, lid = 10.0 * _MM, 7.0 * _MM
    lids = (
        f"M{x - reach} {y} Q{x} {y - 2 * lid} {x + reach} {y} Q{x} {y + 2 * lid} {x - reach} {y} Z"
    )
    ET.SubElement(
        root, "path", {"d": lids, "fill": "#fff", "stroke": "#111", "stroke-width": "1.5"}
    )
    circle = {"cx": f"{x}", "cy": f"{y}", "stroke": "#111"}
    ET.SubElement(root, "circle", circle | {"r": f"{_IRIS_MM / 2 * _MM}", "fill": "#d5d5d5"})
    known = diameter_mm is not None
    ET.SubElement(
        root,
        "circle",
        circle
        | {
            "id": f"pupil-{side}-{y:.0f}",
            "r": f"{(diameter_mm or 4.0) / 2 * _MM:.2f}",
            "fill": "#111" if known else "#fff",
        }
        | ({} if known else {"stroke-dasharray": "4 3"}),
    )
    words = f"{diameter_mm:.1f} mm" if diameter_mm is not None else "not measured (?)"
    _text(root, x, y + lid + 14, words)


def _word(reaction: Reaction | None) -> str:
    return _NOT_TESTED if reaction is None else reaction.value


def _difference(sizes: PupilSizes | None) -> str:
    if sizes is None:
        return "not measured"
    difference = sizes.right_minus_left_mm
    if abs(difference) < 0.05:
        return "equal"
    return f"{Side.RIGHT if difference > 0 else Side.LEFT} larger by {abs(difference):.1f} mm"


def _defect_size(defect: AfferentDefect) -> str:
    low, high = defect.low_log_units, defect.high_log_units
    if math.isinf(low):
        return "light here moves neither pupil"
    if math.isinf(high):
        return f"{low:g} log units or more"
    return f"{low:g} log units" if low == high else f"{low:g} to {high:g} log units"


def _draw_reactions(
    root: ET.Element, reactions: LightReactions, eye_x: Mapping[Side, float]
) -> None:
    _text(root, _MIDDLE_X, _REACTIONS_Y + 6, "reaction of the pupil to", size=12)
    for number, lit in enumerate(Side):
        y = _REACTIONS_Y + 30 + 24 * number
        ET.SubElement(
            root,
            "line",
            {"x1": "60", "x2": "580", "y1": f"{y - 16}", "y2": f"{y - 16}", "stroke": "#999"},
        )
        _text(root, _MIDDLE_X, y, f"light in the {lit} eye")
        for pupil in Side:
            kind = "direct" if pupil is lit else "consensual"
            words = _word(reactions.of(pupil, light=lit))
            x = eye_x[pupil] + math.copysign(20.0, eye_x[pupil] - _MIDDLE_X)
            _text(root, x, y, f"{kind}: {words}")


def _scale_bar(root: ET.Element) -> None:
    y, start = _HEIGHT - 56, _MIDDLE_X - 2.5 * _MM
    end = start + 5 * _MM
    d = f"M{start} {y - 4} V{y + 4} M{start} {y} H{end} M{end} {y - 4} V{y + 4}"
    ET.SubElement(root, "path", {"d": d, "fill": "none", "stroke": "#111"})
    _text(root, _MIDDLE_X, y + 20, "5 mm", size=12)


def _in_words(
    light: PupilSizes | None,
    dark: PupilSizes | None,
    reactions: LightReactions | None,
    defect: AfferentDefect | None,
) -> str:
    said = []
    for words, sizes in zip(_ROWS_Y, (light, dark), strict=True):
        if sizes is None:
            said.append(f"{words}: not measured")
        else:
            said.append(f"{words}: right {sizes.right_mm:.1f} mm, left {sizes.left_mm:.1f} mm")
    for lit in Side:
        for pupil in Side:
            found = None if reactions is None else reactions.of(pupil, light=lit)
            said.append(f"light in the {lit} eye, {pupil} pupil: {_word(found)}")
    if defect is not None:
        said.append(f"relative afferent defect, {defect.side}: {_defect_size(defect)}")
    return "Pupils. " + "; ".join(said) + "."


def _text(
    root: ET.Element, x: float, y: float, words: str, *, size: int = 14, weight: str = "normal"
) -> None:
    ET.SubElement(
        root,
        "text",
        {
            "x": f"{x:g}",
            "y": f"{y:g}",
            "font-size": str(size),
            "font-weight": weight,
            "text-anchor": "middle",
        },
    ).text = words
