"""The sheet on which a plan is drawn: its background, its structures, and whose side is where."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree as ET

from decussate.drawings.convention import Convention
from decussate.drawings.place_plans import Contour, Plan, Point, Spot
from decussate.sides import Side

__all__ = ["PLAN_WIDTH", "TOP", "background", "centre", "oval", "pattern", "sheet", "text"]

PLAN_WIDTH, TOP = 470.0, 92.0
"""Width of a plan, and the height of its origin on the sheet, in drawing units."""
_MIDDLE = PLAN_WIDTH / 2
_STROKE = {"stroke": "#222", "stroke-width": "1.5"}


def sheet(width: float, height: float, title: str, description: str) -> ET.Element:
    """Begin a drawing with its title and its words.

    Parameters
    ----------
    width, height : float
        In drawing units.
    title, description : str

    Returns
    -------
    Element
        With an empty ``defs`` and a white ground.
    """
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {width:g} {height:g}",
            "role": "img",
            "font-family": "sans-serif",
            "fill": "#111",
        },
    )
    ET.SubElement(root, "title").text = title
    ET.SubElement(root, "desc").text = description
    ET.SubElement(root, "defs")
    ET.SubElement(root, "rect", {"width": f"{width:g}", "height": f"{height:g}", "fill": "#fff"})
    return root


def pattern(root: ET.Element, name: str, size: int, ground: str, tag: str, **mark: str) -> None:
    """Add a pattern to a drawing's definitions.

    Parameters
    ----------
    root : Element
    name : str
        Its id.
    size : int
        Of its tile.
    ground : str
        Colour behind the mark.
    tag, **mark : str
        The mark.
    """
    defs = root.find("defs")
    assert defs is not None  # noqa: S101  (made by `sheet`)
    tile = ET.SubElement(
        defs,
        "pattern",
        {"id": name, "width": f"{size}", "height": f"{size}", "patternUnits": "userSpaceOnUse"},
    )
    ET.SubElement(tile, "rect", {"width": f"{size}", "height": f"{size}", "fill": ground})
    ET.SubElement(tile, tag, _STROKE | mark)


def background(root: ET.Element, plan: Plan, convention: Convention) -> None:
    """Draw what lies behind the structures, and the words for the patient's sides.

    Parameters
    ----------
    root : Element
    plan : Plan
    convention : Convention
    """
    for side in Side:
        at_left = convention.across(side) < 0
        x, anchor = (10.0, "start") if at_left else (PLAN_WIDTH - 10.0, "end")
        text(root, x, TOP - 10, f"patient's {side}", size=16, bold=True, anchor=anchor)
    for contour in plan.contours:
        _contour(root, contour)
    for x, y, said in plan.words:
        across = convention.across(Side.LEFT) * x
        text(root, _MIDDLE + across, TOP + y, said, size=13, anchor="middle", ink="#444")


def _contour(root: ET.Element, contour: Contour) -> None:
    """Draw a line on both sides; being the same on both, it needs no convention."""
    look = {"fill": "none", "stroke": "#777", "stroke-width": "2"}
    one, other = ([(_MIDDLE + out * x, TOP + y) for x, y in contour.points] for out in (-1, 1))
    if contour.kind == "closed":
        ring = one + [point for point in reversed(other) if point not in one]
        ET.SubElement(root, "path", {"d": _smooth(ring, closed=True), **look})
        return
    for points in (one, other):
        closed = contour.kind == "paired"
        ET.SubElement(root, "path", {"d": _smooth(points, closed=closed), **look})


def _smooth(points: Sequence[Point], *, closed: bool) -> str:
    """Return a curve through the points (Catmull and Rom's spline as Bezier pieces)."""
    before, after = (points[-1:], points[:2]) if closed else (points[:1], points[-1:])
    ring = [*before, *points, *after]
    path = f"M{points[0][0]:.1f} {points[0][1]:.1f}"
    for a, b, c, d in zip(ring, ring[1:], ring[2:], ring[3:], strict=False):
        first = (b[0] + (c[0] - a[0]) / 6, b[1] + (c[1] - a[1]) / 6)
        second = (c[0] - (d[0] - b[0]) / 6, c[1] - (d[1] - b[1]) / 6)
        path += "C" + " ".join(f"{n:.1f}" for point in (first, second, c) for n in point)
    return path + ("Z" if closed else "")


def centre(spot: Spot, side: Side | None, convention: Convention) -> Point:
    """Return where the middle of a structure lies on the sheet.

    Parameters
    ----------
    spot : Spot
    side : Side or None
        None on the midline.
    convention : Convention

    Returns
    -------
    (float, float)
    """
    out = convention.across(side) if side else 0
    return _MIDDLE + out * spot.outward, TOP + spot.down


def oval(group: ET.Element, spot: Spot, at: Point, *, fill: str, stroke: str, width: str) -> None:
    """Draw a structure.

    Parameters
    ----------
    group : Element
    spot : Spot
    at : (float, float)
        Its middle.
    fill, stroke, width : str
        How it looks.
    """
    x, y = at
    ET.SubElement(
        group,
        "ellipse",
        {
            **{"cx": f"{x:.1f}", "cy": f"{y:.1f}"},
            **{"rx": f"{spot.across:g}", "ry": f"{spot.along:g}"},
            **{"fill": fill, "stroke": stroke, "stroke-width": width},
        },
    )


def text(
    parent: ET.Element,
    x: float,
    y: float,
    words: str,
    *,
    size: int,
    bold: bool = False,
    anchor: str = "start",
    ink: str = "#111",
) -> None:
    """Write words on a drawing.

    Parameters
    ----------
    parent : Element
    x, y : float
    words : str
    size : int
    bold : bool
    anchor, ink : str
    """
    look = {"x": f"{x:.1f}", "y": f"{y:.1f}", "font-size": f"{size}", "text-anchor": anchor}
    look |= {"fill": ink} | ({"font-weight": "bold"} if bold else {})
    ET.SubElement(parent, "text", look).text = words
