"""The compiled model: the probability of every state of every sign under every lesion."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Atlas
from decussate.localisation.forward import Conduction, sign_level, sign_strengths
from decussate.localisation.lesions import Lesions, enumerate_lesions
from decussate.localisation.states import state_probabilities
from decussate.sides import Side

__all__ = ["Model", "SignKey", "SignTable", "compile_model"]

SignKey = tuple[str, Side | None]
"""A sign and its side (None for a sign of the whole patient)."""

LEVEL_DIGITS = 6
"""Levels are told apart to this many decimals, far finer than any scale's blur."""


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Model:
    """The compiled model.

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
