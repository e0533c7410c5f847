"""Pathways: ordered chains of structures from source to effector, with their crossings."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from decussate.anatomy.structures import Structures
from decussate.bibliography import check_source
from decussate.data_rows import Row
from decussate.errors import BadInput
from decussate.sides import Side

__all__ = ["Pathway", "Term", "read_pathways"]

_TERM = re.compile(
    r"(?P<name>[a-z0-9_]+)(\.(?P<side>other|right|left))?(\s*\*\s*(?P<weight>[0-9.]+))?"
)

Join = Literal["chain", "supply", "best"]


@dataclass(frozen=True, slots=True)
class Term:
    """One part of a pathway: a structure or another pathway.

    Attributes
    ----------
    name : str
        Structure or pathway id.
    side : {"same", "other", "right", "left"}
        Relative to the side of the pathway's effector, or fixed.
    weight : float
        In a chain, the fraction of conduction that full damage takes; in a supply, the share.
    """

    name: str
    side: Literal["same", "other", "right", "left"]
    weight: float

    def on(self, side: Side | None) -> Side | None:
        """Return the side meant, for a pathway whose effector is on `side`."""
        if self.side == "right":
            return Side.RIGHT
        if self.side == "left":
            return Side.LEFT
        if side is None:
            return None
        return side.other if self.side == "other" else side


@dataclass(frozen=True, slots=True)
class Pathway:
    """A drive to an effector, or a message from a receptor.

    Attributes
    ----------
    id, name : str
        Key and the clinician's name.
    paired : bool
        Whether there is one for each side.
    join : {"chain", "supply", "best"}
        Whether every part is needed, shares add up, or any one part suffices.
    terms : tuple of Term
        In the order of travel.
    source : str
        Key of the bibliography.
    """

    id: str
    name: str
    paired: bool
    join: Join
    terms: tuple[Term, ...]
    source: str


def _read_term(text: object, weight: float, where: str) -> Term:
    match = _TERM.fullmatch(text.strip()) if isinstance(text, str) else None
    if match is None:
        raise BadInput("part of a pathway", text, "name, name.other or name * 0.4", where=where)
    side = match["side"] or "same"
    return Term(match["name"], side, float(match["weight"] or weight))  # type: ignore[arg-type]


def _read_pathway(row: Row) -> Pathway:
    row.only("id", "name", "sides", "source", "chain", "supply", "best")
    joins = [join for join in ("chain", "supply", "best") if join in row]
    if len(joins) != 1:
        raise BadInput("pathway", joins, "exactly one of chain, supply, best", where=row.where)
    join: Join = joins[0]  # type: ignore[assignment]
    parts = row[join]
    if join == "supply":
        terms = tuple(_read_term(name, float(share), row.where) for name, share in parts.items())
    else:
        terms = tuple(_read_term(part, 1.0, row.where) for part in parts)
    return Pathway(
        id=row["id"],
        name=row["name"],
        paired=row.one_of("sides", ("each", "midline"), "each") == "each",
        join=join,
        terms=terms,
        source=check_source(row["source"], row.where),
    )


def read_pathways(rows: Iterable[Row], structures: Structures) -> Mapping[str, Pathway]:
    """Read pathways and check that each part exists and that none contains itself.

    Parameters
    ----------
    rows : iterable of Row
        From ``pathways.yaml``.
    structures : Structures
        What parts may be.

    Returns
    -------
    Mapping of str to Pathway
        Ordered so that each stands after those it is made of.

    Raises
    ------
    BadInput
        For an unknown part, a side that does not fit, a name that a structure has, or a circle.
    """
    unordered: dict[str, Pathway] = {}
    where: dict[str, str] = {}
    for row in rows:
        pathway = _read_pathway(row)
        where[pathway.id] = row.where
        if pathway.id in structures:
            raise BadInput("id", pathway.id, "a name no structure has", where=row.where)
        unordered[pathway.id] = pathway
    ordered: dict[str, Pathway] = {}
    open_: list[str] = []

    def place(name: str) -> None:
        if name in ordered:
            return
        if name in open_:
            circle = " > ".join([*open_, name])
            raise BadInput("pathway", circle, "no pathway inside itself", where=where[name])
        open_.append(name)
        pathway = unordered[name]
        for term in pathway.terms:
            part = unordered.get(term.name) or structures.get(term.name)
            if part is None:
                raise BadInput(
                    "part of a pathway", term.name, "a structure or pathway", where=where[name]
                )
            if part.paired and not pathway.paired and term.side == "same":
                raise BadInput(
                    "side", term.name, ".right or .left in a midline pathway", where=where[name]
                )
            if term.name in unordered:
                place(term.name)
        open_.pop()
        ordered[name] = pathway

    for name in unordered:
        place(name)
    return ordered
