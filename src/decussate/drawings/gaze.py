"""The nine directions of gaze: limitation of each eye, and the deviation between the eyes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.etree import ElementTree as ET

from decussate.drawings.convention import Convention
from decussate.errors import BadInput
from decussate.measures.ocular_alignment import Deviation, Gaze
from decussate.sides import Side

__all__ = ["draw_deviations", "draw_gaze"]

_CELL, _GAP = 84.0, 84.0
_PANEL_TOP, _LEFT = 118.0, 52.0
_HATCH_STEP = {1: 16.0, 2: 10.0, 3: 6.0}


def draw_gaze(
    right: Mapping[Gaze, float],
    left: Mapping[Gaze, float],
    *,
    title: str = "Range of eye movements",
    convention: Convention = Convention.FACING,
) -> str:
    """Draw graded limitation and overaction of each eye as SVG text.

    Limitation is hatched, closer the less the eye moves and black at -4 or worse; overaction is
    dotted; a direction that was not graded carries a question mark. Every cell also carries its
    value, so that nothing depends on the pattern alone.

    Parameters
    ----------
    right, left : mapping of Gaze to float
        Grade of the patient's right and left eye, -5 to +4, 0 full; directions not graded are left
        out.
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
        When a grade is out of range.
    """
    grades = {Side.RIGHT: right, Side.LEFT: left}
    for side, values in grades.items():
        for gaze, value in values.items():
            if not -5.0 <= value <= 4.0:
                raise BadInput(
                    f"grade, {side} eye, {gaze}",
                    value,
                    "-5 to +4, 0 full",
                    hint="Was this in degrees or prism dioptres?",
                )
    width = 2.0 * (_LEFT + 3.0 * _CELL) + _GAP
    height = _PANEL_TOP + 3.0 * _CELL + 112.0
    root = _sheet(width, height, title, _described(grades), convention)
    _patterns(root)
    for number, side in enumerate(convention.sides):
        x = _LEFT + number * (3.0 * _CELL + _GAP)
        _frame(root, x, f"Patient's {side} eye", convention)
        for gaze in Gaze:
            cx, cy = _place(x, gaze, convention)
            grade = grades[side].get(gaze)
            ahead = gaze is Gaze.AHEAD
            fill, ink = ("#fff", "#111") if ahead else _fill(grade)
            _box(root, cx, cy, fill, str(gaze))
            shown = "primary" if ahead and grade is None else _shown(grade)
            size = 13 if shown == "primary" else 22
            _label(root, cx, cy + size / 3.0, shown, size=size, ink=ink, boxed=_hatched(fill))
    _key(root, _LEFT, _PANEL_TOP + 3.0 * _CELL + 40.0)
    return ET.tostring(root, encoding="unicode")


def draw_deviations(
    measured: Sequence[Deviation],
    fixing: Side,
    *,
    title: str = "Deviation in nine directions",
    convention: Convention = Convention.FACING,
) -> str:
    """Draw prism measurements in nine directions as SVG text.

    In each cell the line of sight of the fixing eye is the cross, the other eye's the ring, to one
    scale; the values stand below in prism dioptres.

    Parameters
    ----------
    measured : sequence of Deviation
    fixing : Side
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
        When a direction is given twice.
    """
    found = {d.gaze: d for d in measured}
    if len(found) < len(measured):
        raise BadInput("direction of gaze", "given twice", "each direction once")
    cell = 150.0
    words = "; ".join(f"{d.gaze}: {_words(d)}" for d in measured) or "nothing measured"
    width, height = _LEFT * 2.0 + 3.0 * cell, _PANEL_TOP + 3.0 * cell + 56.0
    root = _sheet(width, height, title, words, convention)
    eyes = f"Patient's {fixing} eye fixing (cross), {fixing.other} eye ring"
    _frame(root, _LEFT, eyes, convention, cell)
    largest = max((max(abs(d.eso_pd), abs(d.right_over_left_pd)) for d in measured), default=1.0)
    scale = 44.0 / max(largest, 10.0)
    # The follower's line of sight lies nasally in esodeviation.
    nasal = -convention.across(fixing.other)
    upward = 1.0 if fixing is Side.LEFT else -1.0
    for gaze in Gaze:
        cx, cy = _place(_LEFT, gaze, convention, cell)
        _box(root, cx, cy, "#fff" if gaze in found else "#ececec", str(gaze), cell)
        if gaze not in found:
            _label(root, cx, cy + 7.0, "?", size=22)
            continue
        d = found[gaze]
        _cross(root, cx, cy - 18.0)
        ET.SubElement(
            root,
            "circle",
            {
                "cx": f"{cx + nasal * scale * d.eso_pd:.1f}",
                "cy": f"{cy - 18.0 - upward * scale * d.right_over_left_pd:.1f}",
                "r": "6",
                "fill": "none",
                "stroke": "#111",
                "stroke-width": "2",
            },
        )
        horizontal, vertical = _horizontal(d), _vertical(d)
        _label(root, cx, cy + cell / 2.0 - 24.0, horizontal, size=13)
        _label(root, cx, cy + cell / 2.0 - 8.0, vertical, size=13)
    bar = 10.0 * scale
    y = _PANEL_TOP + 3.0 * cell + 38.0
    ET.SubElement(
        root,
        "line",
        {"x1": f"{_LEFT:g}", "x2": f"{_LEFT + bar:.1f}", "y1": f"{y:g}", "y2": f"{y:g}"}
        | {"stroke": "#111", "stroke-width": "3"},
    )
    _label(root, _LEFT + bar + 8.0, y + 5.0, "10 prism dioptres", size=13, anchor="start")
    return ET.tostring(root, encoding="unicode")


def _words(d: Deviation) -> str:
    return f"{_horizontal(d)}, {_vertical(d)}"


def _horizontal(d: Deviation) -> str:
    if round(abs(d.eso_pd)) == 0:
        return "straight"
    return f"{abs(d.eso_pd):.0f} {'eso' if d.eso_pd > 0.0 else 'exo'}"


def _vertical(d: Deviation) -> str:
    if round(abs(d.right_over_left_pd)) == 0:
        return "level"
    higher = Side.RIGHT if d.right_over_left_pd > 0.0 else Side.LEFT
    return f"{higher} eye {abs(d.right_over_left_pd):.0f} higher"


def _shown(grade: float | None) -> str:
    if grade is None:
        return "?"
    return "0" if grade == 0.0 else f"{grade:+g}".replace("-", "\N{MINUS SIGN}")


def _described(grades: Mapping[Side, Mapping[Gaze, float]]) -> str:
    parts = [
        f"{side} eye {gaze} {grade:+g}"
        for side, values in grades.items()
        for gaze, grade in values.items()
        if grade
    ]
    return "; ".join(parts) or "no limitation recorded"


def _fill(grade: float | None) -> tuple[str, str]:
    if grade is None:
        return "#ececec", "#111"
    if grade > 0.0:
        return "url(#gaze-over)", "#111"
    step = round(-grade)
    if step >= 4:
        return "#333", "#fff"
    return ("#fff" if step == 0 else f"url(#gaze-limit-{step})"), "#111"


def _hatched(fill: str) -> bool:
    return fill.startswith("url")


def _sheet(
    width: float, height: float, title: str, description: str, convention: Convention
) -> ET.Element:
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {width:g} {height:g}",
            "width": f"{width:g}",
            "height": f"{height:g}",
            "role": "img",
            "font-family": "sans-serif",
        },
    )
    ET.SubElement(root, "title").text = title
    ET.SubElement(root, "desc").text = description
    ET.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": "#fff"})
    _label(root, 16.0, 28.0, title, size=18, anchor="start", bold=True)
    _label(root, 16.0, 50.0, convention.words(), size=13, anchor="start")
    return root


def _patterns(root: ET.Element) -> None:
    defs = ET.SubElement(root, "defs")
    for step, gap in _HATCH_STEP.items():
        hatch = ET.SubElement(
            defs,
            "pattern",
            {"id": f"gaze-limit-{step}", "width": f"{gap:g}", "height": f"{gap:g}"}
            | {"patternUnits": "userSpaceOnUse", "patternTransform": "rotate(45)"},
        )
        ET.SubElement(hatch, "rect", {"width": f"{gap:g}", "height": f"{gap:g}", "fill": "#fff"})
        ET.SubElement(hatch, "rect", {"width": "2", "height": f"{gap:g}", "fill": "#333"})
    dots = ET.SubElement(
        defs,
        "pattern",
        {"id": "gaze-over", "width": "12", "height": "12", "patternUnits": "userSpaceOnUse"},
    )
    ET.SubElement(dots, "rect", {"width": "12", "height": "12", "fill": "#fff"})
    ET.SubElement(dots, "circle", {"cx": "6", "cy": "6", "r": "2.5", "fill": "#333"})


def _place(
    x: float, gaze: Gaze, convention: Convention, cell: float = _CELL
) -> tuple[float, float]:
    column, row = 1 + convention.across(Side.RIGHT) * gaze.rightward, 1 - gaze.upward
    return x + (column + 0.5) * cell, _PANEL_TOP + (row + 0.5) * cell


def _frame(
    root: ET.Element, x: float, name: str, convention: Convention, cell: float = _CELL
) -> None:
    middle, bottom = x + 1.5 * cell, _PANEL_TOP + 3.0 * cell
    _label(root, middle, _PANEL_TOP - 36.0, name, size=16, bold=True)
    _label(root, middle, _PANEL_TOP - 8.0, "up", size=12)
    _label(root, middle, bottom + 16.0, "down", size=12)
    height = _PANEL_TOP + 1.5 * cell + 4.0
    first, second = convention.sides
    _label(root, x - 6.0, height, first, size=12, anchor="end")
    _label(root, x + 3.0 * cell + 6.0, height, second, size=12, anchor="start")


def _box(root: ET.Element, cx: float, cy: float, fill: str, name: str, cell: float = _CELL) -> None:
    box = ET.SubElement(
        root,
        "rect",
        {
            "x": f"{cx - cell / 2.0:g}",
            "y": f"{cy - cell / 2.0:g}",
            "width": f"{cell:g}",
            "height": f"{cell:g}",
            "fill": fill,
            "stroke": "#111",
        },
    )
    ET.SubElement(box, "title").text = name


def _cross(root: ET.Element, cx: float, cy: float) -> None:
    ET.SubElement(
        root,
        "path",
        {
            "d": f"M{cx - 8:g} {cy:g}H{cx + 8:g}M{cx:g} {cy - 8:g}V{cy + 8:g}",
            "stroke": "#111",
            "stroke-width": "1.5",
        },
    )


def _label(
    root: ET.Element,
    x: float,
    y: float,
    text: str,
    *,
    size: int,
    ink: str = "#111",
    anchor: str = "middle",
    bold: bool = False,
    boxed: bool = False,
) -> None:
    if boxed:
        half = 0.36 * size * len(text) + 4.0
        ET.SubElement(
            root,
            "rect",
            {
                "x": f"{x - half:.1f}",
                "y": f"{y - size:.1f}",
                "width": f"{2.0 * half:.1f}",
                "height": f"{size * 1.3:.1f}",
                "fill": "#fff",
            },
        )
    label = ET.SubElement(
        root,
        "text",
        {
            "x": f"{x:.1f}",
            "y": f"{y:.1f}",
            "font-size": str(size),
            "text-anchor": anchor,
            "fill": ink,
        },
    )
    if bold:
        label.set("font-weight", "bold")
    label.text = text


def _key(root: ET.Element, x: float, y: float) -> None:
    samples = [
        ("#fff", "0 full"),
        ("url(#gaze-limit-1)", "\N{MINUS SIGN}1"),
        ("url(#gaze-limit-2)", "\N{MINUS SIGN}2"),
        ("url(#gaze-limit-3)", "\N{MINUS SIGN}3"),
        ("#333", "\N{MINUS SIGN}4 or worse"),
        ("url(#gaze-over)", "+ overaction"),
        ("#ececec", "? not tested"),
    ]
    for number, (fill, words) in enumerate(samples):
        # Two rows: limitation above, the rest below.
        row, column = divmod(number, 4)
        cx, cy = x + (150.0 if row else 90.0) * column, y + 32.0 * row
        ET.SubElement(
            root,
            "rect",
            {"x": f"{cx:g}", "y": f"{cy:g}", "width": "22", "height": "22", "fill": fill}
            | {"stroke": "#111"},
        )
        _label(root, cx + 28.0, cy + 16.0, words, size=12, anchor="start")
