"""A pathway drawn through the plans: its structures in the order of travel, and where it crosses.

Where the lesion probably lies keeps the shading it has on the drawings of places.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from decussate.anatomy import Piece
from decussate.anatomy.strands import Strands
from decussate.drawings.convention import Convention
from decussate.drawings.place_plans import Plan, Point, Spot, load_plans
from decussate.drawings.places import BANDS, add_patterns, shading
from decussate.drawings.plan_sheet import PLAN_WIDTH, TOP, background, centre, oval, sheet, text
from decussate.localisation.localise import in_100
from decussate.sides import Side

__all__ = ["PathwayDrawing", "draw_pathway", "plans_of"]

Stop = tuple[Spot, Side | None]

LEAST_SHOWN = 2
"""A plan that adds fewer structures of a pathway is not drawn for it (judgement)."""


@dataclass(frozen=True, slots=True)
class PathwayDrawing:
    """A plan with a pathway drawn through it.

    Attributes
    ----------
    plan, title, view : str
        Key and name of the plan, and which way it faces, in words.
    svg : str
        An SVG document.
    steps : tuple of (int, str)
        The number on the drawing and the name, with side and chance, in the order of travel.
    words : str
        The same in words.
    """

    plan: str
    title: str
    view: str
    svg: str
    steps: tuple[tuple[int, str], ...]
    words: str


def plans_of(
    pieces: Iterable[Piece], chances: Mapping[Piece, float], most: int = 2
) -> tuple[Plan, ...]:
    """Return the plans on which some structures are best seen.

    Parameters
    ----------
    pieces : iterable of Piece
    chances : mapping of Piece to float
        How likely a lesion takes each structure.
    most : int
        How many plans at most.

    Returns
    -------
    tuple of Plan
        The one with the structure most likely taken first, then those that show most of the rest;
        none when no plan shows two of them.
    """
    rest = list(pieces)
    least = min(LEAST_SHOWN, len(rest))
    chosen: list[Plan] = []
    while rest and len(chosen) < most:

        def worth(plan: Plan) -> tuple[float, int]:
            shown = [piece for piece in rest if piece.structure in plan.structures]  # noqa: B023
            likeliest = max((chances.get(piece, 0.0) for piece in shown), default=0.0)
            return (likeliest if likeliest >= BANDS[-1][0] else 0.0, len(shown))

        best = max(load_plans().plans, key=worth)
        if worth(best)[1] < (1 if worth(best)[0] else least):
            break
        chosen.append(best)
        rest = [piece for piece in rest if piece.structure not in best.structures]
    return tuple(chosen)


def draw_pathway(
    plan: Plan,
    strands: Strands,
    chances: Mapping[Piece, float],
    *,
    name: str,
    convention: Convention = Convention.FACING,
) -> PathwayDrawing:
    """Draw a pathway through a plan.

    Parameters
    ----------
    plan : Plan
    strands : Strands
        The pathway, or several.
    chances : mapping of Piece to float
        How likely a lesion takes each structure; left out, it is not shaded.
    name : str
        Of the pathway, for the drawing's title.
    convention : Convention
        Which way the drawing faces.

    Returns
    -------
    PathwayDrawing
    """
    spot_of = {structure: spot for spot in plan.spots for structure in spot.structures}
    numbers: dict[Stop, int] = {}
    for piece in strands.pieces:
        if piece.structure in spot_of:
            numbers.setdefault((spot_of[piece.structure], piece.side), len(numbers) + 1)
    likely = {
        (spot, side): max(chances.get(Piece(one, side), 0.0) for one in spot.structures)
        for spot, side in numbers
    }
    steps = tuple((n, _said(spot, side, likely[spot, side])) for (spot, side), n in numbers.items())
    faces = convention.words(plan.view)
    title = f"{name}, through: {plan.name[:1].lower()}{plan.name[1:]}"
    words = "In the order of travel: " + "; ".join(said for _, said in steps) + "."
    root = sheet(PLAN_WIDTH, plan.height + TOP + 12, title, f"{faces} {words}")
    add_patterns(root)
    text(root, 8, 30, faces, size=13)
    background(root, plan, convention)
    for spot in plan.spots:
        for side in convention.sides if spot.paired else (None,):
            if (spot, side) not in numbers:
                group = ET.SubElement(root, "g")
                ET.SubElement(group, "title").text = _named(spot, side)
                at = centre(spot, side, convention)
                oval(group, spot, at, fill="#fff", stroke="#bbb", width="1")
    for start, end, beyond in _lines(strands, spot_of):
        _line(root, centre(*start, convention), centre(*end, convention), beyond=beyond)
    for (spot, side), number in numbers.items():
        group = ET.SubElement(
            root, "g", {"data-structure": spot.structures[0], "data-side": side or "midline"}
        )
        ET.SubElement(group, "title").text = _said(spot, side, likely[spot, side])
        _stop(group, spot, centre(spot, side, convention), number, likely[spot, side])
    drawn = ET.tostring(root, encoding="unicode")
    return PathwayDrawing(plan.id, plan.name, faces, drawn, steps, words)


def _named(spot: Spot, side: Side | None) -> str:
    return f"{side} {spot.name}" if side else spot.name


def _said(spot: Spot, side: Side | None, chance: float) -> str:
    taken = f": taken {in_100(chance)}" if chance >= BANDS[-1][0] else ""
    return f"{_named(spot, side)}{taken}"


def _lines(strands: Strands, spot_of: Mapping[str, Spot]) -> tuple[tuple[Stop, Stop, bool], ...]:
    """Return the lines between neighbours on a plan; some pass through what the plan lacks."""
    onward: dict[Piece, list[Piece]] = {}
    for start, end in strands.links:
        onward.setdefault(start, []).append(end)

    def reached(piece: Piece) -> Iterator[tuple[Piece, bool]]:
        waiting, known = [(one, False) for one in onward.get(piece, ())], {piece}
        while waiting:
            one, beyond = waiting.pop()
            if one in known:
                continue
            known.add(one)
            if one.structure in spot_of:
                yield one, beyond
            else:
                waiting += [(further, True) for further in onward.get(one, ())]

    found: dict[tuple[Stop, Stop], bool] = {}
    for piece in strands.pieces:
        if piece.structure not in spot_of:
            continue
        here = (spot_of[piece.structure], piece.side)
        for one, beyond in reached(piece):
            there = (spot_of[one.structure], one.side)
            if here != there:
                found[here, there] = found.get((here, there), True) and beyond
    return tuple((here, there, beyond) for (here, there), beyond in found.items())


def _line(root: ET.Element, start: Point, end: Point, *, beyond: bool) -> None:
    look = {"stroke": "#111", "stroke-width": "2.4", "stroke-linecap": "round"}
    if beyond:
        look |= {"stroke-width": "1.8", "stroke-dasharray": "1.5 5"}
    ends = dict(zip(("x1", "y1", "x2", "y2"), (f"{n:.1f}" for n in (*start, *end)), strict=True))
    ET.SubElement(root, "line", ends | look)


def _stop(group: ET.Element, spot: Spot, at: Point, number: int, chance: float) -> None:
    fill = shading(chance)
    oval(group, spot, at, fill=fill, stroke="#111", width="2.4")
    x, y = at
    if fill.startswith("url"):
        place = {"cx": f"{x:.1f}", "cy": f"{y:.1f}", "r": "7.4"}
        ET.SubElement(group, "circle", place | {"fill": "#fff"})
    ink = "#fff" if fill == "#222" else "#111"
    text(group, x, y + 4, f"{number}", size=11, bold=True, anchor="middle", ink=ink)
