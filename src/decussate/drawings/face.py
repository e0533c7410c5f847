"""A face asked to raise the brows, close the eyes and show the teeth."""

from __future__ import annotations

from collections.abc import Iterable
from xml.etree import ElementTree as ET

from decussate.drawings.convention import Convention
from decussate.measures.facial_function import FacialGrade
from decussate.measures.facial_pattern import HalfFace, Movement, facial_pattern
from decussate.sides import Side

__all__ = ["draw_face"]

_WIDTH, _HEIGHT = 720, 560
_MIDLINE = 360.0
_INK = {"stroke": "#111", "stroke-width": "3", "fill": "none", "stroke-linecap": "round"}
_THIN = {"stroke": "#777", "stroke-width": "1.5", "fill": "none", "stroke-linecap": "round"}


def draw_face(
    right: HalfFace,
    left: HalfFace,
    *,
    grade: FacialGrade | None = None,
    title: str = "Facial movement",
    convention: Convention = Convention.FACING,
) -> str:
    """Draw the movement of both halves of the face as SVG text.

    The drawing says which way it faces.  Every part carries its word; nothing is told by colour.

    Parameters
    ----------
    right, left : HalfFace
        Voluntary movement of the patient's right and left.
    grade : FacialGrade, optional
        A grade to write under its side.
    title : str
        Heading.
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
    halves = {Side.RIGHT: right, Side.LEFT: left}
    ET.SubElement(root, "title").text = title
    ET.SubElement(root, "desc").text = _in_words(halves, grade)
    ET.SubElement(root, "rect", {"width": str(_WIDTH), "height": str(_HEIGHT), "fill": "#fff"})
    _text(root, _MIDLINE, 28, title, size=17, weight="bold")
    _text(root, _MIDLINE, 50, "asked to raise the brows, close the eyes and show the teeth")
    outline = {"cx": f"{_MIDLINE}", "cy": "275", "rx": "140", "ry": "185"}
    ET.SubElement(root, "ellipse", {**outline, **_INK, "stroke-width": "2"})
    midline = {"x1": f"{_MIDLINE}", "x2": f"{_MIDLINE}", "y1": "96", "y2": "454"}
    ET.SubElement(root, "line", {**midline, **_THIN, "stroke-dasharray": "3 6"})
    patterns = facial_pattern(right, left)
    for side, half in halves.items():
        group = ET.SubElement(root, "g", {"id": f"face-{side}"})
        out = convention.across(side)
        brow = _brow(group, out, half.brow)
        eye = _eye(group, out, half.eye)
        mouth = _mouth(group, out, half.mouth)
        nose = f"M{_at(out, 6)} 245L{_at(out, 20)} 292L{_at(out, 0)} 300"
        ET.SubElement(group, "path", {"d": nose, **_THIN})
        x = _at(out, 255)
        _text(group, x, 96, f"patient's {side}", size=16, weight="bold")
        _label(group, out, 170, "brow", half.brow, to=brow)
        _label(group, out, 240, "eye closure", half.eye, to=eye)
        _label(group, out, 370, "mouth", half.mouth, to=mouth)
        _text(group, x, 436, f"weak: {patterns[side].kind}", size=13)
        if grade is not None and grade.side is side:
            _text(group, x, 458, f"grade {grade.roman}, {grade.name}", weight="bold")
            _text(group, x, 476, "(House-Brackmann)", size=12)
    _text(
        root,
        _MIDLINE,
        500,
        convention.words(),
        weight="bold",
    )
    for line, words in enumerate(_cautions(patterns[s].caution for s in convention.sides)):
        _text(root, _MIDLINE, 524 + 18 * line, words, size=13)
    return ET.tostring(root, encoding="unicode")


def _at(out: int, outward: float) -> float:
    """Place a point at a distance from the midline; `out` is the way outward on the sheet."""
    return _MIDLINE + out * outward


def _text(
    parent: ET.Element, x: float, y: float, words: str, *, size: int = 14, weight: str = "normal"
) -> None:
    place = {"x": f"{x:.0f}", "y": f"{y:.0f}", "text-anchor": "middle"}
    look = {"font-size": str(size), "font-weight": weight}
    ET.SubElement(parent, "text", {**place, **look}).text = words


def _label(
    parent: ET.Element,
    out: int,
    y: float,
    part: str,
    movement: Movement,
    *,
    to: tuple[float, float],
) -> None:
    _text(parent, _at(out, 255), y, part)
    weight = "normal" if movement is Movement.NORMAL else "bold"
    _text(parent, _at(out, 255), y + 18, movement, weight=weight)
    ends = {
        "x1": f"{_at(out, 205):.0f}",
        "y1": f"{y:.0f}",
        "x2": f"{_at(out, to[0]):.0f}",
        "y2": f"{to[1]:.0f}",
    }
    ET.SubElement(parent, "line", {**ends, **_THIN})


def _brow(group: ET.Element, out: int, movement: Movement) -> tuple[float, float]:
    """Draw the brow and its furrows; give its outer end, measured from the midline."""
    height = {Movement.NORMAL: 166, Movement.WEAK: 180, Movement.ABSENT: 194}[movement]
    arch = {Movement.NORMAL: 22, Movement.WEAK: 14, Movement.ABSENT: 5}[movement]
    inner, middle, outer = (_at(out, d) for d in (26, 60, 96))
    path = f"M{inner} {height}Q{middle} {height - arch} {outer} {height + 4}"
    ET.SubElement(group, "path", {"d": path, **_INK, "stroke-width": "5"})
    furrows = {Movement.NORMAL: 3, Movement.WEAK: 1, Movement.ABSENT: 0}[movement]
    for n in range(furrows):
        y = 142 - 14 * n
        path = f"M{_at(out, 14)} {y}Q{_at(out, 48)} {y - 9} {_at(out, 82)} {y + 2}"
        ET.SubElement(group, "path", {"d": path, **_THIN})
    return (100, height + 4)


def _eye(group: ET.Element, out: int, movement: Movement) -> tuple[float, float]:
    """Draw the eye trying to close; give its outer corner, measured from the midline."""
    inner, middle, outer = (_at(out, d) for d in (32, 62, 92))
    opening = {Movement.NORMAL: 0, Movement.WEAK: 10, Movement.ABSENT: 30}[movement]
    lower = f"M{inner} 222Q{middle} 236 {outer} 222"
    ET.SubElement(group, "path", {"d": lower, **_INK})
    if opening:
        upper = f"M{inner} 222Q{middle} {236 - 2 * opening} {outer} 222"
        ET.SubElement(group, "path", {"d": upper, **_INK})
        radius = {Movement.WEAK: 3.5, Movement.ABSENT: 8}[movement]
        centre = {"cx": f"{middle}", "cy": f"{229 - opening / 2:.1f}", "r": f"{radius}"}
        ET.SubElement(group, "circle", {**centre, "fill": "#111"})
    else:
        for d in (44, 62, 80):
            lash = f"M{_at(out, d)} 229L{_at(out, d + (d - 62) / 4)} 238"
            ET.SubElement(group, "path", {"d": lash, **_INK, "stroke-width": "2"})
    return (96, 222)


def _mouth(group: ET.Element, out: int, movement: Movement) -> tuple[float, float]:
    """Draw half of the mouth and its fold; give its corner, measured from the midline."""
    reach = {Movement.NORMAL: 62, Movement.WEAK: 52, Movement.ABSENT: 40}[movement]
    up = {Movement.NORMAL: -20, Movement.WEAK: -8, Movement.ABSENT: 8}[movement]
    corner, middle, half = _at(out, reach), _at(out, 0), _at(out, reach / 2)
    gap = {Movement.NORMAL: 14, Movement.WEAK: 8, Movement.ABSENT: 2}[movement]
    upper = f"M{middle} 372Q{half} {372 + up / 6:.0f} {corner} {372 + up}"
    lower = f"M{middle} 386Q{half} {386 + gap / 3:.0f} {corner} {372 + up}"
    ET.SubElement(group, "path", {"d": upper, **_INK})
    ET.SubElement(group, "path", {"d": lower, **_INK})
    fold = {Movement.NORMAL: 1.0, Movement.WEAK: 0.6, Movement.ABSENT: 0.0}[movement]
    if fold:
        path = (
            f"M{_at(out, 30)} 300Q{_at(out, 58)} 312 "
            f"{_at(out, 40 + 36 * fold):.0f} {300 + 52 * fold:.0f}"
        )
        ET.SubElement(group, "path", {"d": path, **_THIN})
    return (reach + 5, 372 + up)


def _cautions(cautions: Iterable[str]) -> list[str]:
    found = [c for c in cautions if c]
    return [f"Caution: {c}." for c in dict.fromkeys(found)]


def _in_words(halves: dict[Side, HalfFace], grade: FacialGrade | None) -> str:
    parts = [
        f"Patient's {side}: brow {h.brow}, eye closure {h.eye}, mouth {h.mouth}."
        for side, h in halves.items()
    ]
    if grade is not None:
        parts.append(f"Patient's {grade.side}: grade {grade.roman} (House-Brackmann).")
    return " ".join(parts)
