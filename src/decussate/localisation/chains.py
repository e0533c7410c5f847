"""What a sign hangs on: chains, whose conduction under several lesions is a plain product.

Every pathway comes down to chains of structures, joined by supplies, choices and the expression of
the sign. A chain conducts, under two lesions, the product of what it conducts under each alone. So
two lesions that leave the same conduction in every chain of a sign are the same to that sign, alone
and together with any other lesion; they get the same *code*. Code 0 leaves every chain intact.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Atlas, Pathway, Piece, Sign
from decussate.localisation.forward import Conduction, Damage, sign_level, sign_strengths
from decussate.sides import Side

__all__ = ["Chain", "chains_of", "codes_of"]

Array = NDArray[np.float64]
Chain = tuple[tuple[Piece, float], ...]
"""Pieces in series, each with the fraction of conduction that its full damage takes."""

DIGITS = 9
"""Conductions are told apart to this many decimals: finer than the levels of signs."""


@dataclass(frozen=True, slots=True)
class _NoLesion:
    """A single column that takes nothing, in the form `Conduction` takes."""

    columns: int = 1
    damage: Mapping[Piece, tuple[NDArray[np.intp], Array]] = field(default_factory=dict)


class _Asked(Conduction):
    """Conduction that notes what a sign asks it for."""

    def __init__(self, atlas: Atlas) -> None:
        super().__init__(atlas, _NoLesion())
        self.names: dict[tuple[str, Side | None], None] = {}

    def of(self, name: str, side: Side | None) -> Array:
        self.names[name, side] = None
        return np.ones(1)


def chains_of(sign: Sign, side: Side | None, atlas: Atlas) -> tuple[Chain, ...]:
    """Return the chains that the sign hangs on.

    Parameters
    ----------
    sign : Sign
        The sign.
    side : Side or None
        Its side.
    atlas : Atlas
        Where its pathways are.
    """
    asked = _Asked(atlas)
    (sign_level if sign.scale is not None else sign_strengths)(sign, side, asked)
    found: dict[Chain, None] = {}
    for name, there in asked.names:
        _collect(name, there, atlas, found)
    return tuple(found)


def _collect(name: str, side: Side | None, atlas: Atlas, found: dict[Chain, None]) -> None:
    pathway = atlas.pathways.get(name)
    if pathway is None:
        found[((_piece(name, side, atlas), 1.0),)] = None
    elif pathway.join == "chain":
        series = _series(pathway, side, atlas, found)
        if series:
            found[tuple(series)] = None
    else:
        for term in pathway.terms:
            _collect(term.name, term.on(side if pathway.paired else None), atlas, found)


def _series(
    pathway: Pathway, side: Side | None, atlas: Atlas, found: dict[Chain, None]
) -> list[tuple[Piece, float]]:
    """Return the pieces of a chain; what it holds that is no plain chain is collected apart."""
    series: list[tuple[Piece, float]] = []
    for term in pathway.terms:
        there = term.on(side if pathway.paired else None)
        inner = atlas.pathways.get(term.name)
        if inner is None:
            series.append((_piece(term.name, there, atlas), term.weight))
        elif inner.join == "chain" and term.weight == 1:
            series.extend(_series(inner, there, atlas, found))
        else:
            _collect(term.name, there, atlas, found)
    return series


def _piece(name: str, side: Side | None, atlas: Atlas) -> Piece:
    return Piece(name, side if atlas.structures[name].paired else None)


def codes_of(
    chains: tuple[Chain, ...], lesions: Damage
) -> tuple[NDArray[np.uint16], NDArray[np.intp]]:
    """Give the lesions numbers by what they leave of some chains.

    Parameters
    ----------
    chains : tuple of Chain
        From `chains_of`.
    lesions : Damage
        The lesions, one a column.

    Returns
    -------
    ndarray of int, shape (n_columns,)
        Code of each lesion; 0 if it leaves every chain intact.
    ndarray of int, shape (n_codes,)
        A lesion of each code; -1 (no lesion) for code 0.
    """
    # The first entry stands for no lesion.
    code = np.zeros(lesions.columns + 1, dtype=np.int64)
    for chain in chains:
        left = np.ones(len(code))
        for piece, weight in chain:
            if piece in lesions.damage:
                columns, amount = lesions.damage[piece]
                left[columns + 1] *= 1 - weight * amount
        kinds, kind = np.unique(np.round(left, DIGITS), return_inverse=True)
        _, code = np.unique(code * len(kinds) + kind, return_inverse=True)
    numbered = np.where(code == code[0], -1, code)
    _, first, code = np.unique(numbered, return_index=True, return_inverse=True)
    return code[1:].astype(np.uint16), first - 1
