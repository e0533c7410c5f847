"""A labelled face with the sensation found in each area."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from xml.etree import ElementTree as ET

from decussate.drawings.convention import Convention
from decussate.errors import BadInput
from decussate.measures.facial_sensation import AREAS, FaceArea, Sensation, face_areas
from decussate.sides import Side

__all__ = ["draw_facial_sensation"]

_WIDTH, _HEIGHT = 640, 600
_MIDLINE_X, _TOP_Y = 320.0, 84.0
_UNIT = 2.0

_FILLS = {
    Sensation.NORMAL: "#fff",
    Sensation.REDUCED: "url(#sensation-reduced)",
    Sensation.ABSENT: "url(#sensation-absent)",
    None: "#ececec",
}
_WORDS = {
    Sensation.NORMAL: "normal",
    Sensation.REDUCED: "reduced",
    Sensation.ABSENT: "absent",
    None: "not tested (?)",
}


def draw_facial_sensation(
    right: Mapping[str, Sensation],
    left: Mapping[str, Sensation],
    *,
    modality: str = "pin",
    title: str = "Facial sensation",
    convention: Convention = Convention.FACING,
) -> str:
    """Draw the face with the response in each area as SVG text.

    The convention stands on the drawing. Heavy lines part the divisions, dotted lines the zones.
    Loss is hatched, so that it reads in grey; an area that was not tested carries a question mark.

    Parameters
    ----------
    right, left : mapping of str to Sensation
        Response by area on the patient's right and left; areas not tested are left out.
    modality : str
        ``"pin"`` or ``"light touch"``.
    title : str
    convention : Convention
        Which way the drawing faces.

    Returns
    -------
    str
        An SVG document.

    Raises
    ------
    BadInput
        If an area is not known.
    """
    for found in (right, left):
        for name in found:
            if name not in AREAS:
                raise BadInput("area of the face", name, "one of " + ", ".join(AREAS))
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
    ET.SubElement(root, "title").text = f"{title}: {modality}"
    ET.SubElement(root, "desc").text = (
        f"Face tested with {modality}. "
        + _summary(Side.RIGHT, right)
        + " "
        + _summary(Side.LEFT, left)
    )
    _patterns(root)
    ET.SubElement(root, "rect", {"width": str(_WIDTH), "height": str(_HEIGHT), "fill": "#fff"})
    _text(root, _MIDLINE_X, 26, f"{title}: {modality}", size=17, weight="bold")
    for side, found in ((Side.RIGHT, right), (Side.LEFT, left)):
        group = ET.SubElement(root, "g", {"id": f"face-{side}"})
        out = convention.across(side)
        _text(root, _MIDLINE_X + 190 * out, 62, f"patient's {side}", size=15, weight="bold")
        for area in face_areas():
            _draw_area(group, out, area, found.get(area.name))
        _draw_borders(group, out)
        _draw_features(group, out)
        for area in face_areas():
            _label(group, out, area, found.get(area.name))
    _text(
        root,
        _MIDLINE_X,
        534,
        convention.words(),
        weight="bold",
    )
    _legend(root)
    return ET.tostring(root, encoding="unicode")


def _summary(side: Side, found: Mapping[str, Sensation]) -> str:
    lost = [a for a in AREAS if found.get(a, Sensation.NORMAL) is not Sensation.NORMAL]
    untested = len(AREAS) - len(found)
    return (
        f"Patient's {side}: reduced or absent in {', '.join(lost) or 'no area'}; "
        f"{untested} areas not tested."
    )


def _place(out: int, x: float, y: float) -> tuple[float, float]:
    """Place a point of the face map; `out` is the way outward on the sheet."""
    return _MIDLINE_X + out * x * _UNIT, _TOP_Y + y * _UNIT


def _path(out: int, outline: tuple[tuple[float, float], ...], *, closed: bool) -> str:
    places = (_place(out, x, y) for x, y in outline)
    return "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in places) + (" Z" if closed else "")


def _draw_area(group: ET.Element, out: int, area: FaceArea, response: Sensation | None) -> None:
    ET.SubElement(
        group,
        "path",
        {
            "d": _path(out, area.outline, closed=True),
            "fill": _FILLS[response],
            "stroke": "#888",
            "stroke-width": "0.6",
            "data-area": area.name,
        },
    )


def _draw_borders(group: ET.Element, out: int) -> None:
    """Heavy where two divisions meet, dotted where two zones of one division do."""
    edges: dict[frozenset[tuple[float, float]], list[FaceArea]] = {}
    for area in face_areas():
        ring = [*area.outline, area.outline[0]]
        for a, b in pairwise(ring):
            edges.setdefault(frozenset((a, b)), []).append(area)
    for ends, areas in edges.items():
        a, b = sorted(ends)
        if a[0] == 0.0 and b[0] == 0.0:
            look = {"stroke": "#888", "stroke-width": "1"}
        elif len(areas) == 1 or areas[0].division != areas[1].division:
            look = {"stroke": "#111", "stroke-width": "2.6"}
        else:
            look = {"stroke": "#111", "stroke-width": "1.6", "stroke-dasharray": "1.5 4"}
        look |= {"fill": "none", "stroke-linecap": "round"}
        ET.SubElement(group, "path", {"d": _path(out, (a, b), closed=False), **look})


def _draw_features(group: ET.Element, out: int) -> None:
    """Draw an eye and half a mouth, to show which way the face looks."""
    look = {"fill": "none", "stroke": "#555", "stroke-width": "1.2"}
    inner, above, outer, below = (
        "{:.0f} {:.0f}".format(*_place(out, x, y))
        for x, y in ((17, 92), (33, 80), (49, 88), (33, 100))
    )
    eye = f"M{inner} Q{above} {outer} Q{below} {inner} Z"
    ET.SubElement(group, "path", {"d": eye, **look})
    ET.SubElement(group, "path", {"d": _path(out, ((0, 148), (28, 148)), closed=False), **look})


def _label(group: ET.Element, out: int, area: FaceArea, response: Sensation | None) -> None:
    xs, ys = zip(*area.outline, strict=True)
    x, y = _LABEL_AT.get(area.name, (sum(xs) / len(xs), sum(ys) / len(ys)))
    px, py = _place(out, x, y)
    words = area.division + ("?" if response is None else "")
    size = 9 if area.name == "nose tip" else 12
    _text(group, px, py + 4, words, size=size, weight="bold", halo=True)


_LABEL_AT = {
    "forehead": (30.0, 32.0),
    "upper eyelid": (22.0, 74.0),
    "nose tip": (6.0, 113.0),
    "outer cheek": (61.0, 86.0),
    "cheek": (36.0, 116.0),
    "upper lip": (16.0, 139.0),
    "front of ear": (33.0, 188.0),
    "chin": (36.0, 158.0),
    "lower lip": (11.0, 160.0),
    "angle of jaw": (66.0, 140.0),
}


def _patterns(root: ET.Element) -> None:
    defs = ET.SubElement(root, "defs")
    for name, ground, width, gap in (("reduced", "#fff", 1.4, 7), ("absent", "#bdbdbd", 3.4, 6)):
        pattern = ET.SubElement(
            defs,
            "pattern",
            {
                **{"id": f"sensation-{name}", "width": str(gap), "height": str(gap)},
                **{"patternUnits": "userSpaceOnUse", "patternTransform": "rotate(45)"},
            },
        )
        ET.SubElement(pattern, "rect", {"width": str(gap), "height": str(gap), "fill": ground})
        ET.SubElement(pattern, "rect", {"width": f"{width:g}", "height": str(gap), "fill": "#222"})


def _legend(root: ET.Element) -> None:
    x = 78.0
    for response, words in _WORDS.items():
        box = {"x": f"{x:g}", "y": "546", "width": "24", "height": "15"}
        ET.SubElement(root, "rect", {**box, "fill": _FILLS[response], "stroke": "#111"})
        _text(root, x + 30, 558, words, anchor="start")
        x += 64 + 7.0 * len(words)
    line = {"y1": "582", "y2": "582", "stroke": "#111"}
    ET.SubElement(root, "line", {**line, "x1": "78", "x2": "106", "stroke-width": "2.6"})
    _text(root, 114, 586, "border of a division", anchor="start")
    dotted = {"stroke-width": "1.6", "stroke-dasharray": "1.5 4", "stroke-linecap": "round"}
    ET.SubElement(root, "line", {**line, "x1": "270", "x2": "298", **dotted})
    _text(root, 306, 586, "border of a zone (rings round the mouth)", anchor="start")


def _text(
    parent: ET.Element,
    x: float,
    y: float,
    words: str,
    *,
    size: float = 13,
    weight: str = "normal",
    anchor: str = "middle",
    halo: bool = False,
) -> None:
    look = {"x": f"{x:g}", "y": f"{y:g}", "text-anchor": anchor, "font-size": f"{size:g}"}
    look["font-weight"] = weight
    if halo:
        look |= {"stroke": "#fff", "stroke-width": "4", "paint-order": "stroke"}
    ET.SubElement(parent, "text", look).text = words
