"""Where the lesion is likely to be: anatomy shaded by the probability that a lesion takes it.

Tone and pattern both deepen with probability, every shaded structure carries a letter, and the list
beside the drawing gives its name, its side in words and its probability.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap
from xml.etree import ElementTree as ET

import numpy as np

from decussate.anatomy import Piece
from decussate.drawings.convention import Convention
from decussate.drawings.place_plans import Plan, Spot, load_plans
from decussate.drawings.plan_sheet import (
    PLAN_WIDTH,
    TOP,
    background,
    centre,
    oval,
    pattern,
    sheet,
    text,
)
from decussate.localisation import Localisation, Posterior
from decussate.localisation.localise import in_100
from decussate.sides import Side

__all__ = [
    "BANDS",
    "PlaceDrawing",
    "ShadedSpot",
    "add_patterns",
    "draw_place",
    "draw_places",
    "shaded_spots",
    "shading",
]

BANDS = ((0.80, "solid"), (0.50, "dense"), (0.20, "lines"), (0.05, "dots"))
"""Smallest probability of each shading, darkest first; below the last nothing is shaded."""
CHOSEN_FROM = 0.2
"""A drawing is made when its regions, and a structure on it, hold this probability (judgement)."""
LETTERED = 10
"""Most structures that are lettered and named beside the drawing."""
PLACES_NAMED = 3

_WIDTH = 800.0
_LIST_X = PLAN_WIDTH + 22
_LINE = 20.0
_WRAP = 36
_BAND_WORDS = {
    "dots": "5 to 19 in 100",
    "lines": "20 to 49",
    "dense": "50 to 79",
    "solid": "80 or more",
}


@dataclass(frozen=True, slots=True)
class ShadedSpot:
    """A structure of a side, and how likely a lesion takes it.

    Attributes
    ----------
    name : str
        With its side in words.
    spot : Spot
    side : Side or None
        None on the midline.
    probability : float
        That the lesion takes it, given all findings and the story.
    """

    name: str
    spot: Spot
    side: Side | None
    probability: float


@dataclass(frozen=True, slots=True)
class PlaceDrawing:
    """A drawing of a region with the likely place.

    Attributes
    ----------
    plan, title : str
    svg : str
        An SVG document.
    words : str
        The same in words.
    """

    plan: str
    title: str
    svg: str
    words: str


def shaded_spots(plan: Plan, posterior: Posterior) -> tuple[ShadedSpot, ...]:
    """Return how likely each structure of a plan is taken, the most likely first.

    Parameters
    ----------
    plan : Plan
    posterior : Posterior
        Of the examination.

    Returns
    -------
    tuple of ShadedSpot
        Every spot of every side, those of probability 0 included. Structures drawn as one count as
        taken when a lesion takes any of them.
    """
    lesions, damage = posterior.lesions, posterior.model.lesions.damage
    found = []
    for spot in plan.spots:
        for side in tuple(Side) if spot.paired else (None,):
            taken = [
                columns[amount > 0]
                for structure in spot.structures
                for columns, amount in (damage.get(Piece(structure, side), _NOTHING),)
            ]
            columns = np.unique(np.concatenate(taken))
            name = f"{side} {spot.name}" if side else spot.name
            found.append(ShadedSpot(name, spot, side, float(lesions[columns].sum())))
    return tuple(sorted(found, key=lambda one: (-one.probability, one.spot.name, one.side or "")))


_NOTHING = (np.zeros(0, dtype=np.intp), np.zeros(0))


def draw_places(
    localisation: Localisation,
    posterior: Posterior,
    *,
    most: int = 2,
    convention: Convention = Convention.FACING,
) -> tuple[PlaceDrawing, ...]:
    """Draw the regions in which the lesion is likely to be.

    Parameters
    ----------
    localisation : Localisation
    posterior : Posterior
        Of the same examination (`decussate.localisation.localise.posterior_of`).
    most : int
        How many drawings at most.
    convention : Convention
        Which way the drawing faces.

    Returns
    -------
    tuple of PlaceDrawing
        The likeliest first; none when nothing was found that bears on a place, or when no region
        that can be drawn is likely.
    """
    if not localisation.findings_used:
        return ()
    ranked = []
    for plan in load_plans().plans:
        here = sum(c.probability for c in localisation.candidates if c.region in plan.regions)
        spots = shaded_spots(plan, posterior)
        if min(here, spots[0].probability) >= CHOSEN_FROM:
            # Where two drawings show a region, the one that holds more of the lesion comes first.
            ranked.append((-spots[0].probability * here, plan.id, plan))
    ranked.sort(key=lambda entry: entry[:2])
    return tuple(
        draw_place(plan, localisation, posterior, convention=convention)
        for _, _, plan in ranked[:most]
    )


def draw_place(
    plan: Plan,
    localisation: Localisation,
    posterior: Posterior,
    *,
    convention: Convention = Convention.FACING,
) -> PlaceDrawing:
    """Draw one plan with its structures shaded.

    Parameters
    ----------
    plan : Plan
    localisation : Localisation
    posterior : Posterior
        Of the same examination.
    convention : Convention
        Which way the drawing faces.

    Returns
    -------
    PlaceDrawing
    """
    spots = shaded_spots(plan, posterior)
    shaded = [one for one in spots if one.probability >= BANDS[-1][0]]
    letters = {_key(one): chr(65 + n) for n, one in enumerate(shaded[:LETTERED])}
    listed = _listed(shaded, localisation)
    rows = sum(len(lines) for _, lines in listed)
    height = max(plan.height + TOP + 66, TOP + rows * _LINE + 30)
    title = f"Likely place: {plan.name[:1].lower()}{plan.name[1:]}"
    words = _in_words(shaded, localisation)
    faces = convention.words(plan.view)
    root = sheet(_WIDTH, height, title, f"{faces} {words}")
    add_patterns(root)
    text(root, 16, 28, title, size=20, bold=True)
    text(root, 16, 50, faces, size=16)
    background(root, plan, convention)
    for one in reversed(spots):
        _spot(root, one, letters.get(_key(one), ""), convention)
    _list(root, listed)
    _legend(root, height)
    return PlaceDrawing(plan.id, title, ET.tostring(root, encoding="unicode"), words)


def _key(one: ShadedSpot) -> tuple[str, Side | None]:
    return one.spot.structures[0], one.side


def _listed(
    shaded: Sequence[ShadedSpot], localisation: Localisation
) -> list[tuple[str, list[str]]]:
    """Lay out the list beside the drawing: heading or letter, and lines."""
    listed = [("", ["Most likely place"])]
    named = [c for c in localisation.candidates[:PLACES_NAMED] if c.probability >= BANDS[-1][0]]
    listed += [("·", _wrapped(c.name, c.probability)) for c in named]
    rest = 1.0 - sum(c.probability for c in named)
    listed.append(("·", [f"elsewhere: {in_100(max(rest, 0.0))}"]))
    listed += [("", [""]), ("", ["Chance that the lesion takes it"])]
    listed += [
        (chr(65 + n), _wrapped(one.name, one.probability))
        for n, one in enumerate(shaded[:LETTERED])
    ]
    more = shaded[LETTERED:]
    if more:
        listed.append(
            (
                "",
                wrap(
                    f"and {len(more)} more shaded, each {in_100(more[0].probability)} or less", 36
                ),
            )
        )
    return listed


def _wrapped(name: str, probability: float) -> list[str]:
    """Break a line of the list, keeping the probability in one piece."""
    held = in_100(probability).replace(" ", "\N{NO-BREAK SPACE}")
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in wrap(f"{name}: {held}", _WRAP)]


def _in_words(shaded: Sequence[ShadedSpot], localisation: Localisation) -> str:
    taken = "; ".join(f"{one.name} {in_100(one.probability)}" for one in shaded)
    return f"{localisation.text} Structures that the lesion may take: {taken}."


def add_patterns(root: ET.Element) -> None:
    """Add the patterns of `shading` to a drawing."""
    pattern(root, "place-dots", 8, "#fff", "circle", cx="4", cy="4", r="1")
    pattern(root, "place-lines", 7, "#ededed", "path", d="M0 7L7 0")
    pattern(root, "place-dense", 5, "#d0d0d0", "path", d="M0 5L5 0M0 0L5 5")


def shading(probability: float) -> str:
    """Return the fill for a probability; tone and pattern deepen with it."""
    for least, name in BANDS:
        if probability >= least:
            return "#222" if name == "solid" else f"url(#place-{name})"
    return "#fff"


def _spot(root: ET.Element, one: ShadedSpot, letter: str, convention: Convention) -> None:
    x, y = centre(one.spot, one.side, convention)
    shaded = one.probability >= BANDS[-1][0]
    group = ET.SubElement(
        root, "g", {"data-structure": one.spot.structures[0], "data-side": one.side or "midline"}
    )
    ET.SubElement(group, "title").text = f"{one.name}: {in_100(one.probability)}"
    fill = shading(one.probability)
    stroke, width = ("#111", "1.6") if shaded else ("#999", "1")
    oval(group, one.spot, (x, y), fill=fill, stroke=stroke, width=width)
    if not letter:
        return
    if fill.startswith("url"):
        ET.SubElement(
            group, "circle", {"cx": f"{x:.1f}", "cy": f"{y:.1f}", "r": "6.6", "fill": "#fff"}
        )
    ink = "#fff" if fill == "#222" else "#111"
    text(group, x, y + 4.3, letter, size=12, bold=True, anchor="middle", ink=ink)


def _list(root: ET.Element, listed: Sequence[tuple[str, list[str]]]) -> None:
    y = TOP
    for mark, lines in listed:
        for n, line in enumerate(lines):
            heading = not mark and not line.startswith("and ") and n == 0
            if mark and n == 0:
                text(root, _LIST_X, y, mark, size=15, bold=True)
            x = _LIST_X + 18 if mark else _LIST_X
            text(root, x, y, line, size=15, bold=heading)
            y += _LINE


def _legend(root: ET.Element, height: float) -> None:
    y = height - 18
    text(root, 16, y, "Shading:", size=14)
    x = 92.0
    for _, name in reversed(BANDS):
        fill = "#222" if name == "solid" else f"url(#place-{name})"
        box = {"x": f"{x:g}", "y": f"{y - 13:g}", "width": "22", "height": "15"}
        ET.SubElement(root, "rect", {**box, "fill": fill, "stroke": "#111"})
        text(root, x + 27, y, _BAND_WORDS[name], size=14)
        x += 48 + 7.2 * len(_BAND_WORDS[name])
    text(root, x, y, "Not to scale.", size=14)
