"""The pathways a sign hangs on, laid out structure by structure and side by side."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, TypeVar

from decussate.anatomy.atlas import Atlas
from decussate.anatomy.pathways import Term
from decussate.anatomy.structures import Piece
from decussate.sides import Side

__all__ = ["Strands", "sign_strands"]

Relation = Literal["same", "other", "right", "left"]
_NAME = re.compile(r"(?P<name>[a-z][a-z0-9_]*)(?:\.(?P<side>other|right|left))?")


@dataclass(frozen=True, slots=True)
class Strands:
    """Structures and what follows on what, without regard to how much each share matters.

    Attributes
    ----------
    pieces : tuple of Piece
        Every structure with its side, in the order of travel.
    links : tuple of (Piece, Piece)
        Neighbours, in the direction of travel.
    first, last : tuple of Piece
        Where they begin and end.
    """

    pieces: tuple[Piece, ...]
    links: tuple[tuple[Piece, Piece], ...]
    first: tuple[Piece, ...]
    last: tuple[Piece, ...]

    def then(self, onward: Strands) -> Strands:
        """Return these strands carried on by others."""
        joined = tuple((a, b) for a in self.last for b in onward.first if a != b)
        return Strands(
            _once(self.pieces + onward.pieces),
            _once(self.links + joined + onward.links),
            self.first,
            onward.last,
        )

    def beside(self, other: Strands) -> Strands:
        """Return these strands and others that run alongside."""
        return Strands(
            _once(self.pieces + other.pieces),
            _once(self.links + other.links),
            _once(self.first + other.first),
            _once(self.last + other.last),
        )


Item = TypeVar("Item")


def _once(items: tuple[Item, ...]) -> tuple[Item, ...]:
    return tuple(dict.fromkeys(items))


def sign_strands(atlas: Atlas, sign: str, side: Side | None) -> Strands:
    """Return the pathways that a sign tests.

    Parameters
    ----------
    atlas : Atlas
    sign : str
        Id of a sign.
    side : Side or None
        The patient's side; None for a sign without sides.

    Returns
    -------
    Strands
        Empty for a sign that hangs on no pathway.
    """
    known = atlas.signs[sign]
    expressions = (known.level, *known.categories.values())
    laid = [
        _laid_out(atlas, _term(match), side)
        for expression in expressions
        for match in _NAME.finditer(expression)
        if match["name"] in atlas.pathways or match["name"] in atlas.structures
    ]
    return _all_beside(laid)


def _term(match: re.Match[str]) -> Term:
    relation: Relation = match["side"] or "same"  # type: ignore[assignment]
    return Term(match["name"], relation, 1.0)


def _all_beside(laid: list[Strands]) -> Strands:
    together = Strands((), (), (), ())
    for one in laid:
        together = together.beside(one)
    return together


def _laid_out(atlas: Atlas, term: Term, side: Side | None) -> Strands:
    of = term.on(side)
    pathway = atlas.pathways.get(term.name)
    if pathway is None:
        piece = Piece(term.name, of if atlas.structures[term.name].paired else None)
        return Strands((piece,), (), (piece,), (piece,))
    parts = [_laid_out(atlas, part, of if pathway.paired else None) for part in pathway.terms]
    if pathway.join != "chain":
        return _all_beside(parts)
    whole, *rest = parts
    for part in rest:
        whole = whole.then(part)
    return whole
