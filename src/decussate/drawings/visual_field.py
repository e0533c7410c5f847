"""Visual fields as the patient sees them: both eyes side by side, the right eye on the right."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.etree import ElementTree as ET

from decussate.errors import BadInput
from decussate.measures.visual_field import FieldPosition, temporal_sign
from decussate.measures.visual_field_drawn import BlindArea
from decussate.measures.visual_field_outline import FieldOutline, normal_outline
from decussate.measures.visual_field_points import PerimetryPoint
from decussate.measures.visual_field_scotoma import Scotoma, physiological_blind_spot
from decussate.sides import Side

__all__ = ["DrawnField", "draw_visual_fields"]

_WIDTH, _HEIGHT = 860, 500
_CENTRE_X = {Side.LEFT: 220.0, Side.RIGHT: 640.0}
_CENTRE_Y = 238.0
_UNIT_PER_DEG = 1.75
_RINGS_DEG = (30, 60, 90)


@dataclass(frozen=True, slots=True)
class DrawnField:
    """What is drawn for one eye.

    Parameters
    ----------
    outline : FieldOutline or None
        The seen field; None when only points are drawn.
    scotomas : tuple of Scotoma or BlindArea
        What is not seen inside it; the average blind spot is drawn when none covers it.
    points : tuple of PerimetryPoint
        Automated perimetry; drawn in place of the outline.
    """

    outline: FieldOutline | None = None
    scotomas: tuple[Scotoma | BlindArea, ...] = ()
    points: tuple[PerimetryPoint, ...] = ()


def draw_visual_fields(
    right: DrawnField | None, left: DrawnField | None, *, title: str = "Visual fields"
) -> str:
    """Draw the fields of both eyes as SVG text.

    The convention stands on the drawing: as the patient sees, the right eye on the right. Loss is
    hatched, so that it reads in grey; the normal extent is a dashed line. An eye that was not
    tested says so.

    Parameters
    ----------
    right, left : DrawnField or None
        None for an eye that was not tested.
    title : str

    Returns
    -------
    str
        An SVG document.

    Raises
    ------
    BadInput
        If an outline or scotoma belongs to the other eye.
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
    ET.SubElement(root, "desc").text = (
        "Visual fields as the patient sees them, right eye on the right. "
        + " ".join(_words(eye, field) for eye, field in ((Side.RIGHT, right), (Side.LEFT, left)))
    )
    _patterns(root)
    ET.SubElement(root, "rect", {"width": str(_WIDTH), "height": str(_HEIGHT), "fill": "#fff"})
    _text(root, _WIDTH / 2, 26, title, size=17, weight="bold")
    for eye, field in ((Side.LEFT, left), (Side.RIGHT, right)):
        _draw_eye(root, eye, field)
    _text(
        root,
        _WIDTH / 2,
        440,
        "As the patient sees: the patient's right and the right eye's field are on the right.",
        weight="bold",
    )
    _legend(root, any(f is not None and f.points for f in (right, left)))
    return ET.tostring(root, encoding="unicode")


def _words(eye: Side, field: DrawnField | None) -> str:
    if field is None:
        return f"The {eye} eye was not tested."
    if field.points:
        return f"The {eye} eye: {len(field.points)} perimetry points."
    if field.outline is None:
        return f"The {eye} eye: nothing drawn."
    area = field.outline.area_sq_deg / normal_outline(eye).area_sq_deg
    return f"The {eye} eye: outline of {100 * area:.0f} percent of the normal area."


def _draw_eye(root: ET.Element, eye: Side, field: DrawnField | None) -> None:
    group = ET.SubElement(root, "g", {"id": f"field-{eye}"})
    cx = _CENTRE_X[eye]
    _text(group, cx, 56, f"Patient's {eye} eye", size=15, weight="bold")
    if field is not None and field.points:
        _points(group, cx, eye, field.points)
        return
    for r in _RINGS_DEG:
        _circle(group, cx, r * _UNIT_PER_DEG)
    normal = normal_outline(eye)
    if field is None:
        _ring(group, cx, normal, {"fill": "none", "stroke": "#444", "stroke-dasharray": "5 4"})
        _axes(group, cx, eye, {r: r * _UNIT_PER_DEG for r in _RINGS_DEG})
        box = {"x": f"{cx - 52:g}", "y": f"{_CENTRE_Y - 48:g}", "width": "104", "height": "28"}
        ET.SubElement(group, "rect", {**box, "fill": "#fff", "stroke": "#111"})
        _text(group, cx, _CENTRE_Y - 28, "not tested", size=16)
        return
    for part in (field.outline, *field.scotomas):
        if part is not None and part.eye is not eye:
            raise BadInput(f"field drawn for the {eye} eye", f"{part.eye} eye", f"the {eye} eye")
    if field.outline is not None:
        _ring(group, cx, normal, {"fill": "url(#field-loss)", "stroke": "none"})
        _ring(group, cx, field.outline, {"fill": "#fff", "stroke": "#111", "stroke-width": "2"})
    _ring(group, cx, normal, {"fill": "none", "stroke": "#444", "stroke-dasharray": "5 4"})
    _axes(group, cx, eye, {r: r * _UNIT_PER_DEG for r in _RINGS_DEG})
    spot = physiological_blind_spot(eye)
    centre = FieldPosition.from_chart(spot.x_deg, spot.y_deg)
    covered = any(s.contains(centre) for s in field.scotomas)
    seen = field.outline is None or field.outline.contains(centre)
    if seen and not covered:
        _ellipse(group, cx, spot, {"fill": "#bbb", "stroke": "#444", "stroke-width": "0.8"})
    lost = {"fill": "url(#field-loss)", "stroke": "#111", "stroke-width": "1.6"}
    for s in field.scotomas:
        if isinstance(s, Scotoma):
            _ellipse(group, cx, s, lost)
        else:
            _path(group, cx, s.edge, lost | {"fill-rule": "evenodd"})


def _circle(group: ET.Element, cx: float, radius: float) -> None:
    place = {"cx": f"{cx:g}", "cy": f"{_CENTRE_Y:g}", "r": f"{radius:g}"}
    ET.SubElement(
        group, "circle", {**place, "fill": "none", "stroke": "#999", "stroke-width": "0.6"}
    )


def _axes(group: ET.Element, cx: float, eye: Side, rings: dict[int, float]) -> None:
    reach = 112 * _UNIT_PER_DEG
    height = 92 * _UNIT_PER_DEG
    lines = (
        (cx - reach, _CENTRE_Y, cx + reach, _CENTRE_Y),
        (cx, _CENTRE_Y - height, cx, _CENTRE_Y + height),
    )
    for x1, y1, x2, y2 in lines:
        ET.SubElement(
            group,
            "line",
            {
                **{"x1": f"{x1:g}", "y1": f"{y1:g}", "x2": f"{x2:g}", "y2": f"{y2:g}"},
                **{"stroke": "#777", "stroke-width": "0.8"},
            },
        )
    for degrees, radius in rings.items():
        y = _CENTRE_Y + radius - 3
        _text(group, cx + 3, y, f"{degrees}\u00b0", size=10, anchor="start", halo=True)
    outer = temporal_sign(eye)
    for words, sign in (("temporal", outer), ("nasal", -outer)):
        anchor = "end" if sign > 0 else "start"
        _text(group, cx + sign * reach, _CENTRE_Y - 5, words, size=10, anchor=anchor, halo=True)
    ET.SubElement(
        group, "circle", {"cx": f"{cx:g}", "cy": f"{_CENTRE_Y:g}", "r": "2.4", "fill": "#111"}
    )


def _place(cx: float, position: FieldPosition) -> tuple[float, float]:
    return cx + position.x_deg * _UNIT_PER_DEG, _CENTRE_Y - position.y_deg * _UNIT_PER_DEG


def _ring(group: ET.Element, cx: float, outline: FieldOutline, look: dict[str, str]) -> None:
    _path(group, cx, _smooth(outline), look)


def _path(
    group: ET.Element, cx: float, positions: Iterable[FieldPosition], look: dict[str, str]
) -> None:
    places = [_place(cx, p) for p in positions]
    path = "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in places) + " Z"
    ET.SubElement(group, "path", {"d": path, **look})


def _smooth(outline: FieldOutline) -> Iterable[FieldPosition]:
    """Vertices, and points every 3 degrees between them, so that the curve is the one measured."""
    ring = [*outline.vertices, outline.vertices[0]]
    for a, b in pairwise(ring):
        turn = (b.meridian_deg - a.meridian_deg) % 360.0
        steps = max(1, round(turn / 3.0))
        for k in range(steps):
            part = k / steps
            yield FieldPosition(
                a.meridian_deg + part * turn,
                a.eccentricity_deg + part * (b.eccentricity_deg - a.eccentricity_deg),
            )
        if turn == 0.0:
            yield b


def _ellipse(group: ET.Element, cx: float, scotoma: Scotoma, look: dict[str, str]) -> None:
    x, y = cx + scotoma.x_deg * _UNIT_PER_DEG, _CENTRE_Y - scotoma.y_deg * _UNIT_PER_DEG
    rx, ry = (size / 2.0 * _UNIT_PER_DEG for size in (scotoma.width_deg, scotoma.height_deg))
    place = {"cx": f"{x:.1f}", "cy": f"{y:.1f}", "rx": f"{rx:.1f}", "ry": f"{ry:.1f}"}
    ET.SubElement(group, "ellipse", {**place, **look})


def _points(group: ET.Element, cx: float, eye: Side, points: Sequence[PerimetryPoint]) -> None:
    """Draw each point as its sensitivity in dB, or a cross where nothing was seen.

    A central grid fills little of a full chart, so it is drawn to a scale of its own, with rings.
    """
    reach = max(p.position.eccentricity_deg for p in points)
    step = 10 if reach <= 35.0 else 30
    rings = range(step, int(reach + step), step)
    unit = 90.0 * _UNIT_PER_DEG / max(rings)
    for r in rings:
        _circle(group, cx, r * unit)
    # Labels on the inner rings would lie among the numbers.
    _axes(group, cx, eye, {max(rings): max(rings) * unit})
    for p in points:
        x, y = cx + p.x_deg * unit, _CENTRE_Y - p.y_deg * unit
        if not p.seen or p.db == 0.0:
            d = f"M{x - 6:.1f} {y - 6:.1f} l12 12 M{x + 6:.1f} {y - 6:.1f} l-12 12"
            ET.SubElement(group, "path", {"d": d, "stroke": "#111", "stroke-width": "2.4"})
        else:
            _text(group, x, y + 4, f"{p.db:.0f}", size=12, halo=True)


def _patterns(root: ET.Element) -> None:
    defs = ET.SubElement(root, "defs")
    loss = ET.SubElement(
        defs,
        "pattern",
        {
            **{"id": "field-loss", "width": "6", "height": "6", "patternUnits": "userSpaceOnUse"},
            **{"patternTransform": "rotate(45)"},
        },
    )
    ET.SubElement(loss, "rect", {"width": "6", "height": "6", "fill": "#d9d9d9"})
    ET.SubElement(loss, "rect", {"width": "2.6", "height": "6", "fill": "#333"})


def _legend(root: ET.Element, with_points: bool) -> None:
    y = 466
    entries = [
        ("url(#field-loss)", "#111", "not seen"),
        ("#fff", "#111", "seen"),
        ("#bbb", "#444", "average blind spot"),
    ]
    x = 150.0
    for fill, stroke, words in entries:
        box = {"x": f"{x:g}", "y": f"{y - 12}", "width": "22", "height": "14"}
        ET.SubElement(root, "rect", {**box, "fill": fill, "stroke": stroke})
        _text(root, x + 28, y, words, anchor="start")
        x += 54 + 6.6 * len(words)
    line = {"x1": f"{x:g}", "x2": f"{x + 26:g}", "y1": f"{y - 5}", "y2": f"{y - 5}"}
    ET.SubElement(root, "line", {**line, "stroke": "#444", "stroke-dasharray": "5 4"})
    _text(root, x + 32, y, "normal extent (38 CFR 4.76a)", anchor="start")
    if with_points:
        _text(
            root,
            _WIDTH / 2,
            y + 22,
            "Numbers: sensitivity in dB. Cross: brightest light not seen. Rings: equal steps.",
        )


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
        look |= {"stroke": "#fff", "stroke-width": "3", "paint-order": "stroke"}
    ET.SubElement(parent, "text", look).text = words
