"""The compiled model: the probability of every state of every sign under every lesion."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Atlas
from decussate.localisation.forward import Conduction, sign_level, sign_strengths
from decussate.localisation.lesions import Lesions, enumerate_lesions
from decussate.localisation.states import state_probabilities
from decussate.sides import Side

__all__ = ["Model", "SignKey", "SignTable", "compile_model", "summed_by_level"]

Array = NDArray[np.float64]
SignKey = tuple[str, Side | None]
"""A sign and its side (None for a sign of the whole patient)."""

LEVEL_DIGITS = 6
"""Levels are told apart to this many decimals, far finer than any scale's blur."""


@dataclass(frozen=True, eq=False)
class SignTable:
    """One sign of one side under every lesion.

    Attributes
    ----------
    states : tuple of str
        Names of the states, graded ones by grade, in the order of the columns of `probability`.
    probability : ndarray of shape (n_levels, n_states)
        Probabilities of these at each distinct level.
    level_of : ndarray of int, shape (n_columns,)
        Which row of `probability` holds for each lesion.
    """

    states: tuple[str, ...]
    probability: NDArray[np.float64]
    level_of: NDArray[np.uint16]

    @cached_property
    def common(self) -> int:
        """The level at which most lesions leave the sign: they do not touch it."""
        return int(np.bincount(self.level_of).argmax())

    @cached_property
    def touching(self) -> NDArray[np.intp]:
        """The lesions that leave the sign at any other level, ascending."""
        return np.flatnonzero(self.level_of != self.common)

    @cached_property
    def touched_level(self) -> NDArray[np.intp]:
        """The level at which each lesion of `touching` leaves it."""
        return self.level_of[self.touching].astype(np.intp)


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """The compiled model; equal only to itself.

    Attributes
    ----------
    atlas : Atlas
        What it was compiled from.
    lesions : Lesions
        The columns.
    signs : Mapping of SignKey to SignTable
        Every sign of every side.
    starts : ndarray of int, shape (n_sites,)
        First column of each site.
    """

    atlas: Atlas
    lesions: Lesions
    signs: Mapping[SignKey, SignTable]
    starts: NDArray[np.intp]

    def span(self, site: int) -> tuple[int, int]:
        """Return the first column of a site, and the first after it."""
        last = site + 1 == len(self.starts)
        return int(self.starts[site]), self.lesions.columns if last else int(self.starts[site + 1])


def summed_by_level(
    place: NDArray[np.intp], level: NDArray[np.integer], weight: Array, shape: tuple[int, int]
) -> Array:
    """Add up weights by place and level.

    Parameters
    ----------
    place, level : ndarray of int, shape (n,)
        Where each weight belongs.
    weight : ndarray of shape (n,)
    shape : tuple of int
        Number of places and of levels.

    Returns
    -------
    ndarray of that shape
    """
    places, levels = shape
    summed = np.bincount(place * levels + level, weights=weight, minlength=places * levels)
    return np.asarray(summed.reshape(shape), dtype=np.float64)


def compile_model(atlas: Atlas) -> Model:
    """Compute every sign under every lesion.

    Parameters
    ----------
    atlas : Atlas
        The anatomy.

    Returns
    -------
    Model
        Ready for `decussate.localisation.posterior`.
    """
    lesions = enumerate_lesions(atlas)
    conduction = Conduction(atlas, lesions)
    tables: dict[SignKey, SignTable] = {}
    for sign in atlas.signs.values():
        for side in tuple(Side) if sign.paired else (None,):
            if sign.scale is not None:
                values = np.round(sign_level(sign, side, conduction), LEVEL_DIGITS)
                levels, index = np.unique(values, return_inverse=True)
            else:
                values = np.round(sign_strengths(sign, side, conduction), LEVEL_DIGITS)
                levels, index = np.unique(values, axis=0, return_inverse=True)
            tables[sign.id, side] = SignTable(
                tuple(sign.grades),
                state_probabilities(sign, levels),
                index.reshape(-1).astype(np.uint16),
            )
    starts = np.flatnonzero(np.diff(lesions.site_of, prepend=-1))
    return Model(atlas, lesions, tables, starts)
