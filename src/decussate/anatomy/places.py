"""Places: where a lesion can sit and what it can take; processes: causes with no one place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from decussate.anatomy.structures import Piece, Structures
from decussate.bibliography import check_source
from decussate.data_rows import Row
from decussate.errors import BadInput
from decussate.sides import Side

__all__ = ["FREE_PARTS", "Part", "Place", "read_places"]

FREE_PARTS = 8
"""Most parts of a place that may be taken or left independently (each doubles its patterns)."""

SIDES: Mapping[str, tuple[Side, ...]] = {
    "right": (Side.RIGHT,),
    "left": (Side.LEFT,),
    "both": (Side.RIGHT, Side.LEFT),
}


@dataclass(frozen=True, slots=True)
class Part:
    """Structures of a place that are taken together.

    Attributes
    ----------
    pieces : tuple of Piece
        For a lesion of the right side (or of the midline).
    chance : float
        Probability that a lesion of this place takes them.
    """

    pieces: tuple[Piece, ...]
    chance: float


@dataclass(frozen=True, slots=True)
class Place:
    """Where a lesion can sit, or a process without one place.

    Attributes
    ----------
    id, name : str
        Key and the clinician's name, without a side.
    kind : {"place", "process"}
        A process has no one place (neuromuscular junction, raised pressure, normal, ...).
    region : str
        Neighbourhood, in words.
    paired : bool
        Whether it exists on each side.
    prior : float
        Relative incidence, about new cases per 100,000 people a year, both sides together.
    parts : tuple of Part
        Taken independently, each with its chance; written for the right side.
    severities : Mapping of float to float
        Damage of what is taken (1 complete) to its probability.
    causes : Mapping of str to float
        Cause to its share among lesions of this place.
    territory : str
        Arterial territory or neighbourhood, in words; may be empty.
    source : str
        Key of the bibliography for what it takes.
    prior_source : str
        Key of the bibliography for how often.
    """

    id: str
    name: str
    kind: Literal["place", "process"]
    region: str
    paired: bool
    prior: float
    parts: tuple[Part, ...]
    severities: Mapping[float, float]
    causes: Mapping[str, float]
    territory: str
    source: str
    prior_source: str


def _read_pieces(text: object, paired: bool, structures: Structures, where: str) -> list[Piece]:
    name, _, side = str(text).partition(".")
    if name in structures and not structures[name].paired:
        return [structures.piece(name, None, where)]
    if side == "" and paired:
        side = "right"
    elif side == "other" and paired:
        side = "left"
    elif side not in SIDES or (paired and side != "both"):
        expected = "name, name.other or name.both" if paired else "name.right, .left or .both"
        raise BadInput("take", text, expected, where=where)
    return [structures.piece(name, one, where) for one in SIDES[side]]


def _read_parts(row: Row, paired: bool, structures: Structures) -> tuple[Part, ...]:
    parts = []
    for entry in row["parts"]:
        where = row.where
        chance = entry.get("chance", 1.0)
        if not isinstance(chance, int | float) or not 0 < chance <= 1:
            raise BadInput("chance", chance, "a number above 0, up to 1", where=where)
        if set(entry) - {"take", "each", "chance"} or ("take" in entry) == ("each" in entry):
            raise BadInput("part", entry, "take or each, and chance", where=where)
        if "take" in entry:
            pieces = [p for t in entry["take"] for p in _read_pieces(t, paired, structures, where)]
            parts.append(Part(tuple(pieces), float(chance)))
            continue
        if paired:
            raise BadInput("each", entry["each"], "take, in a place with sides", where=where)
        for side in Side:
            pieces = [structures.piece(str(t), side, where) for t in entry["each"]]
            parts.append(Part(tuple(pieces), float(chance)))
    free = sum(part.chance < 1 for part in parts)
    if free > FREE_PARTS:
        raise BadInput("parts", f"{free} free parts", f"at most {FREE_PARTS}", where=row.where)
    if not paired:
        mirrored = {(frozenset(p.mirrored for p in part.pieces), part.chance) for part in parts}
        if mirrored != {(frozenset(part.pieces), part.chance) for part in parts}:
            raise BadInput(
                "parts",
                "one side only",
                ".both or each, in a place of the midline",
                where=row.where,
            )
    return tuple(parts)


def read_places(
    rows: Iterable[Row], structures: Structures, causes: Iterable[str]
) -> Mapping[str, Place]:
    """Read places and processes and check every structure, cause, number and source they name.

    Raises
    ------
    BadInput
        For an unknown structure, cause, side or source, or a number out of range.
    """
    known = frozenset(causes)
    places: dict[str, Place] = {}
    for row in rows:
        row.only(
            "id", "name", "kind", "region", "sides", "prior", "parts", "severities", "causes",
            "territory", "source", "prior_source",
        )  # fmt: skip
        if row["id"] in places:
            raise BadInput("id", row["id"], "an id not yet used", where=row.where)
        paired = row.one_of("sides", ("each", "midline")) == "each"
        for cause in row["causes"]:
            if cause not in known:
                raise BadInput("causes", cause, "an id of causes.yaml", where=row.where)
        total = sum(row["causes"].values())
        severities = row.get("severities", {1.0: 0.6, 0.5: 0.4})
        mass = sum(severities.values())
        places[row["id"]] = Place(
            id=row["id"],
            name=row["name"],
            kind=row.one_of("kind", ("place", "process"), "place"),  # type: ignore[arg-type]
            region=row["region"],
            paired=paired,
            prior=row.number("prior", 0.0001, 100000),
            parts=_read_parts(row, paired, structures),
            severities={float(damage): share / mass for damage, share in severities.items()},
            causes={cause: share / total for cause, share in row["causes"].items()},
            territory=row.get("territory", ""),
            source=check_source(row["source"], row.where),
            prior_source=check_source(row.get("prior_source", "judgement"), row.where),
        )
    return places
