"""Debris in the six semicircular canals when the head is moved, one circle a canal."""

from __future__ import annotations

import math
from xml.etree import ElementTree as ET

from decussate.drawings.convention import Convention
from decussate.measures.canal_geometry import (
    Canal,
    CanalKind,
    HeadPosition,
    Provocation,
    provocation,
    upright,
)
from decussate.measures.positional_provocation import provoked_canals
from decussate.sides import Side

__all__ = ["draw_canals"]

_WIDTH, _HEIGHT = 760.0, 570.0
_RADIUS = 62.0
_HOW = (
    "Each canal is a circle fixed in the head. Ring: debris before the head moves. "
    "Disc: where it falls to.",
    "Clockwise excites, anticlockwise inhibits. Anterior canal: trust the size, not the direction.",
)


def draw_canals(
    end: HeadPosition,
    start: HeadPosition | None = None,
    *,
    planes: str = "DellaSantina2005",
    title: str | None = None,
    convention: Convention = Convention.FACING,
) -> str:
    """Draw how far debris falls in each canal between two positions of the head, as SVG text.

    Every circle is turned so that its debris starts at the bottom and an exciting fall goes
    clockwise; the thickness of the arrow and the words beside it say how far. A canal whose debris
    has too little of gravity along it to move is drawn with a broken line.

    Parameters
    ----------
    end : HeadPosition
    start : HeadPosition, optional
        Upright when left out.
    planes : str
        Set of canal planes.
    title : str, optional
    convention : Convention
        Which way the drawing faces.

    Returns
    -------
    str
        An SVG document.

    Raises
    ------
    BadInput
        For an unknown set of planes.
    """
    begin = start or upright()
    moving = {p.canal for p in provoked_canals(begin, end, planes=planes)}
    heading = title or f"{begin.name} to {end.name}".capitalize()
    found = {
        canal: provocation(begin, end, canal, planes=planes)
        for canal in (Canal(s, k) for s in Side for k in CanalKind)
    }
    root = _sheet(heading, convention, found, moving)
    for column, side in enumerate(convention.sides):
        _label(root, 200.0 + 360.0 * column, 118.0, f"Patient's {side} ear", 16, bold=True)
        for row, kind in enumerate(CanalKind):
            canal = Canal(side, kind)
            centre = (112.0 + 360.0 * column, 196.0 + 142.0 * row)
            _circle(root, centre, found[canal], canal in moving)
    return ET.tostring(root, encoding="unicode")


def _words(found: Provocation, moves: bool) -> str:
    if not moves:
        return "debris stays"
    return "excited" if found.fall > 0.0 else "inhibited"


def _sheet(
    title: str, convention: Convention, found: dict[Canal, Provocation], moving: set[Canal]
) -> ET.Element:
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {_WIDTH:g} {_HEIGHT:g}",
            "width": f"{_WIDTH:g}",
            "height": f"{_HEIGHT:g}",
            "role": "img",
            "font-family": "sans-serif",
        },
    )
    ET.SubElement(root, "title").text = title
    ET.SubElement(root, "desc").text = "; ".join(
        f"{canal}: {_words(p, canal in moving)}, fall {abs(p.fall):.0%}"
        for canal, p in found.items()
    )
    ET.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": "#fff"})
    _label(root, 16.0, 28.0, title, 18, anchor="start", bold=True)
    _label(root, 16.0, 50.0, convention.words(), 13, anchor="start")
    for number, words in enumerate(_HOW):
        _label(root, 16.0, 70.0 + 18.0 * number, words, 13, anchor="start")
    return root


def _circle(root: ET.Element, centre: tuple[float, float], found: Provocation, moves: bool) -> None:
    cx, cy = centre
    ring = {"cx": f"{cx:g}", "cy": f"{cy:g}", "r": f"{_RADIUS:g}", "fill": "none", "stroke": "#777"}
    if not moves:
        ring["stroke-dasharray"] = "3 5"
    ET.SubElement(root, "circle", ring)
    if moves:
        _arc(root, centre, found)
    _spot(root, _on(centre, 0.0), filled=False)
    if moves:
        _spot(root, _on(centre, found.travel_deg), filled=True)
    x = cx + _RADIUS + 22.0
    strong = moves and abs(found.fall) >= 0.3
    lines = [
        (f"{found.canal.kind} canal", True),
        (_words(found, moves), strong),
        (
            f"fall {abs(found.fall):.0%} of its diameter" if moves else "too little pull to start",
            False,
        ),
        (f"gravity in its plane {found.in_plane:.0%}", False),
    ]
    for number, (text, bold) in enumerate(lines):
        _label(root, x, cy - 26.0 + 20.0 * number, text, 13, anchor="start", bold=bold)


def _on(centre: tuple[float, float], clockwise_deg: float) -> tuple[float, float]:
    """Give a point of the circle so far clockwise from the bottom."""
    turn = math.radians(clockwise_deg)
    return (
        centre[0] - _RADIUS * math.sin(turn),
        centre[1] + _RADIUS * math.cos(turn),
    )


def _arc(root: ET.Element, centre: tuple[float, float], found: Provocation) -> None:
    (x0, y0), (x1, y1) = _on(centre, 0.0), _on(centre, found.travel_deg)
    sweep = 1 if found.travel_deg > 0.0 else 0
    ET.SubElement(
        root,
        "path",
        {
            "d": f"M{x0:.1f} {y0:.1f}A{_RADIUS:g} {_RADIUS:g} 0 0 {sweep} {x1:.1f} {y1:.1f}",
            "fill": "none",
            "stroke": "#111",
            "stroke-width": f"{2.0 + 8.0 * abs(found.fall):.1f}",
        },
    )
    # An arrow head inside the circle, half way along, says which way it fell.
    middle = _on(centre, found.travel_deg / 2.0)
    heading = found.travel_deg / 2.0 + (180.0 if sweep else 0.0)
    ET.SubElement(
        root,
        "path",
        {
            "d": "M-9 -9L9 0L-9 9Z",
            "fill": "#111",
            "transform": f"translate({middle[0]:.1f} {middle[1]:.1f}) rotate({heading:.1f})",
        },
    )


def _spot(root: ET.Element, place: tuple[float, float], *, filled: bool) -> None:
    ET.SubElement(
        root,
        "circle",
        {
            "cx": f"{place[0]:.1f}",
            "cy": f"{place[1]:.1f}",
            "r": "8",
            "fill": "#111" if filled else "#fff",
            "stroke": "#111",
            "stroke-width": "2",
        },
    )


def _label(
    root: ET.Element,
    x: float,
    y: float,
    text: str,
    size: int,
    *,
    anchor: str = "middle",
    bold: bool = False,
) -> None:
    label = ET.SubElement(
        root,
        "text",
        {"x": f"{x:.1f}", "y": f"{y:.1f}", "font-size": str(size), "text-anchor": anchor}
        | {"fill": "#111"},
    )
    if bold:
        label.set("font-weight", "bold")
    label.text = text
