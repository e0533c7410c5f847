"""The plans of the drawings of places: where each structure of the atlas lies on which drawing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import yaml

from decussate.anatomy import load_atlas
from decussate.errors import BadInput

__all__ = ["PLANS_FILE", "Contour", "PlacePlans", "Plan", "Spot", "load_plans", "read_plans"]

PLANS_FILE = "drawings/data/place_plans.yaml"

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Spot:
    """Where one structure, or a few drawn as one, lie on a plan.

    Attributes
    ----------
    name : str
        In words, without a side.
    structures : tuple of str
        Ids of the atlas.
    paired : bool
        Drawn on each side; otherwise on the midline.
    outward, down : float
        From the midline and from the top, in drawing units.
    across, along : float
        Half width and half height.
    """

    name: str
    structures: tuple[str, ...]
    paired: bool
    outward: float
    down: float
    across: float
    along: float


@dataclass(frozen=True, slots=True)
class Contour:
    """A line of the background, as points outward and down.

    Attributes
    ----------
    kind : str
        ``closed`` over the midline, ``paired`` (closed, once a side), or ``line`` (open, a side).
    points : tuple of (float, float)
    """

    kind: str
    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """One drawing.

    Attributes
    ----------
    id, name : str
    view : str
        ``axial`` or ``front``; either way the patient's right is drawn on the left.
    regions : tuple of str
        Regions of places for which it is chosen.
    height : float
    contours : tuple of Contour
    words : tuple of (float, float, str)
        Landmarks on the midline: outward, down, words.
    spots : tuple of Spot
    """

    id: str
    name: str
    view: str
    regions: tuple[str, ...]
    height: float
    contours: tuple[Contour, ...]
    words: tuple[tuple[float, float, str], ...]
    spots: tuple[Spot, ...]

    @property
    def structures(self) -> frozenset[str]:
        """Every structure it shows."""
        return frozenset(name for spot in self.spots for name in spot.structures)


@dataclass(frozen=True, slots=True)
class PlacePlans:
    """Every plan, and what no plan shows.

    Attributes
    ----------
    plans : tuple of Plan
    not_drawn : frozenset of str
        Regions of structures that have no one place (nerve-muscle junctions, meninges ...).
    places_not_drawn : frozenset of str
        Regions of places and processes for which no plan is chosen.
    """

    plans: tuple[Plan, ...]
    not_drawn: frozenset[str]
    places_not_drawn: frozenset[str]

    @property
    def missing(self) -> frozenset[str]:
        """Structures and regions of places of the atlas that are neither drawn nor left out."""
        atlas = load_atlas()
        drawn = {name for plan in self.plans for name in plan.structures}
        structures = {
            one.id for one in atlas.structures.values() if one.region not in self.not_drawn
        }
        chosen = {region for plan in self.plans for region in plan.regions}
        regions = {place.region for place in atlas.places.values()}
        return frozenset(structures - drawn | regions - chosen - self.places_not_drawn)


@cache
def load_plans() -> PlacePlans:
    """Return the plans that come with the package."""
    return read_plans(
        files("decussate").joinpath(PLANS_FILE).read_text(encoding="utf-8"), PLANS_FILE
    )


def read_plans(text: str, where: str) -> PlacePlans:
    """Read and check plans.

    Parameters
    ----------
    text : str
        YAML.
    where : str
        File name, for messages.

    Returns
    -------
    PlacePlans

    Raises
    ------
    BadInput
        For a structure or region the atlas does not have, or a position that cannot be drawn.
    """
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    rows: dict[str, Any] = yaml.load(text, Loader=loader)  # noqa: S506  a safe loader
    plans = tuple(_plan(row, where) for row in rows["plans"])
    found = PlacePlans(plans, frozenset(rows["not_drawn"]), frozenset(rows["places_not_drawn"]))
    structures, places = load_atlas().structures, load_atlas().places
    _check("structure", (name for plan in plans for name in plan.structures), structures, where)
    _check("region", found.not_drawn, (one.region for one in structures.values()), where)
    chosen = {region for plan in plans for region in plan.regions} | found.places_not_drawn
    _check("region", chosen, (place.region for place in places.values()), where)
    return found


def _check(field: str, names: Iterable[str], known: Iterable[str], where: str) -> None:
    every = set(known)
    for name in names:
        if name not in every:
            raise BadInput(field, name, "a name of the atlas", where=where)


def _plan(row: Mapping[str, Any], where: str) -> Plan:
    place = f"{where}, plan {row.get('id', '?')}"
    if row["view"] not in ("axial", "front"):
        raise BadInput("view", row["view"], "axial or front", where=place)
    contours = tuple(
        Contour(line["kind"], tuple((float(x), float(y)) for x, y in line["points"]))
        for line in row["outlines"]
    )
    for contour in contours:
        if contour.kind not in ("closed", "paired", "line"):
            raise BadInput("kind", contour.kind, "closed, paired or line", where=place)
    return Plan(
        id=row["id"],
        name=row["name"],
        view=row["view"],
        regions=tuple(row["regions"]),
        height=float(row["height"]),
        contours=contours,
        words=tuple(
            (float(w["at"][0]), float(w["at"][1]), w["words"]) for w in row.get("words", ())
        ),
        spots=tuple(_spot(name, entry, place) for name, entry in row["spots"].items()),
    )


def _spot(name: str, entry: Any, where: str) -> Spot:  # noqa: ANN401 (a data file may hold anything)
    structures = load_atlas().structures
    group = entry if isinstance(entry, dict) else {"take": [name], "at": entry}
    taken, position = tuple(group["take"]), group["at"]
    if not 3 <= len(position) <= 4 or not all(isinstance(n, int | float) for n in position):
        raise BadInput(name, position, "[outward, down, radius] or one more radius", where=where)
    for structure in taken:
        if structure not in structures:
            raise BadInput("structure", structure, "a structure of the atlas", where=where)
    paired = {structures[structure].paired for structure in taken}
    if len(paired) > 1:
        raise BadInput(name, taken, "structures all of a side, or all midline", where=where)
    outward, down, across, *along = (float(n) for n in position)
    if (outward > 0) != (True in paired):
        raise BadInput(name, outward, "0 for the midline, above 0 for a side", where=where)
    return Spot(
        name=group.get("name", structures[taken[0]].name),
        structures=taken,
        paired=True in paired,
        outward=outward,
        down=down,
        across=across,
        along=along[0] if along else across,
    )
