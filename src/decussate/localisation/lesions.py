"""Lesions: every pattern in which every place can be taken, one column of the model each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Atlas, Piece, Place
from decussate.sides import Side

__all__ = ["Lesions", "Site", "enumerate_lesions", "patterns_of"]


@dataclass(frozen=True, slots=True)
class Site:
    """A place on a side: what the posterior is a distribution over.

    Attributes
    ----------
    place : str
        Place id.
    side : Side or None
        None for a place of the midline or of the whole body.
    """

    place: str
    side: Side | None

    @property
    def mirrored(self) -> Site:
        """The same place of the other side."""
        return Site(self.place, self.side.other if self.side else None)


@dataclass(frozen=True, slots=True)
class Lesions:
    """All lesions, in columns.

    Attributes
    ----------
    sites : tuple of Site
        In the order of the atlas, the right before the left.
    site_of : ndarray of int, shape (n_columns,)
        Index into `sites`; ascending.
    weight : ndarray of float, shape (n_columns,)
        Probability of the pattern given the site; sums to 1 within a site.
    damage : Mapping of Piece to (ndarray of int, ndarray of float)
        For each piece of anatomy, the columns that take it and by how much (0 to 1).
    """

    sites: tuple[Site, ...]
    site_of: NDArray[np.intp]
    weight: NDArray[np.float64]
    damage: Mapping[Piece, tuple[NDArray[np.intp], NDArray[np.float64]]]

    @property
    def columns(self) -> int:
        """The number of columns."""
        return len(self.weight)


def patterns_of(place: Place) -> list[tuple[float, dict[Piece, float]]]:
    """Return every pattern of a place on the right (or of the midline) with its probability.

    A pattern is a choice of parts taken and a severity. A lesion that takes nothing is not a
    lesion, so that choice is left out and the rest scaled to sum to 1.

    Parameters
    ----------
    place : Place
        With at most `decussate.anatomy.places.FREE_PARTS` parts of chance below 1.

    Returns
    -------
    list of (float, dict of Piece to float)
        Probability, and damage of each piece.
    """
    patterns: list[tuple[float, dict[Piece, float]]] = []
    for taken in product((True, False), repeat=len(place.parts)):
        chance = 1.0
        pieces: list[Piece] = []
        for part, is_taken in zip(place.parts, taken, strict=True):
            chance *= part.chance if is_taken else 1 - part.chance
            if is_taken:
                pieces.extend(part.pieces)
        if chance == 0 or not pieces:
            continue
        for severity, share in place.severities.items():
            patterns.append((chance * share, dict.fromkeys(pieces, severity)))
    total = sum(chance for chance, _ in patterns)
    return [(chance / total, pattern) for chance, pattern in patterns]


def enumerate_lesions(atlas: Atlas) -> Lesions:
    """Lay out every pattern of every place on every side.

    Parameters
    ----------
    atlas : Atlas
        The anatomy.

    Returns
    -------
    Lesions
        Columns of a left-sided place mirror those of the right one by one.
    """
    sites: list[Site] = []
    site_of: list[int] = []
    weight: list[float] = []
    where: dict[Piece, list[int]] = {}
    amount: dict[Piece, list[float]] = {}
    for place in atlas.places.values():
        patterns = patterns_of(place)
        for side in tuple(Side) if place.paired else (None,):
            sites.append(Site(place.id, side))
            for chance, pattern in patterns:
                column = len(weight)
                weight.append(chance)
                site_of.append(len(sites) - 1)
                for piece, severity in pattern.items():
                    key = piece.mirrored if side is Side.LEFT else piece
                    where.setdefault(key, []).append(column)
                    amount.setdefault(key, []).append(severity)
    return Lesions(
        sites=tuple(sites),
        site_of=np.array(site_of, dtype=np.intp),
        weight=np.array(weight),
        damage={
            piece: (np.array(where[piece], dtype=np.intp), np.array(amount[piece]))
            for piece in where
        },
    )
