"""Two lesions at once: what every sign does when two patterns of damage overlap.

A pair is made of two representative patterns, one of each of two sites. Damage is combined in the
forward model: where both lesions touch a pathway its conduction falls by both, opposing sides
cancel, and redundant supply is lost only when both halves are. Only pairs in which both patterns
change a sign need computing; in every other pair the sign is what the one lesion makes it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Piece
from decussate.localisation.forward import Conduction, sign_level, sign_strengths
from decussate.localisation.model import LEVEL_DIGITS, Model, SignKey
from decussate.localisation.states import state_probabilities

__all__ = ["PATTERNS", "PairModel", "PairSign", "compile_pairs"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

PATTERNS = 8
"""Patterns of a site that stand for it in a pair: the most probable (more where the last ones tie),
scaled to sum to 1."""
TIE = 1e-9
"""Relative difference below which two patterns are equally probable."""
NO_LESION = "normal"
"""The place that means no lesion; it makes no pair."""


@dataclass(frozen=True, slots=True)
class PairSign:
    """One sign under every pair of patterns that both change it.

    Attributes
    ----------
    affected : ndarray of int, shape (n,)
        Patterns that change the sign; ascending.
    probability : ndarray of shape (n_levels, n_states)
        State probabilities of each distinct level; row 0 is that of an intact patient.
    alone : ndarray of int, shape (n,)
        Row of `probability` for each affected pattern alone.
    together : ndarray of int, shape (n, n)
        Row of `probability` for each pair of affected patterns; symmetric.
    """

    affected: Index
    probability: Array
    alone: NDArray[np.uint16]
    together: NDArray[np.uint16]


@dataclass(frozen=True, slots=True)
class PairModel:
    """The patterns that make pairs, and every sign under them.

    Attributes
    ----------
    columns : ndarray of int, shape (n_patterns,)
        Column of `Model.lesions` of each pattern; ascending.
    site_of : ndarray of int, shape (n_patterns,)
        Index of the pattern's site.
    weight : ndarray of float, shape (n_patterns,)
        Probability of the pattern given its site; sums to 1 within a site, 0 for `NO_LESION`.
    signs : Mapping of SignKey to PairSign
        Every sign of every side.
    """

    columns: Index
    site_of: Index
    weight: Array
    signs: Mapping[SignKey, PairSign]


class _Damage(Mapping[Piece, tuple[Index, Array]]):
    """Damage over a square of pairs: pattern i of the row together with pattern j of the column."""

    def __init__(self, model: Model, columns: Index) -> None:
        self._damage = model.lesions.damage
        self._place = np.full(model.lesions.columns, -1, dtype=np.intp)
        self._place[columns] = np.arange(len(columns))
        self._n = len(columns)

    def __getitem__(self, piece: Piece) -> tuple[Index, Array]:
        columns, amount = self._damage[piece]
        row = self._place[columns]
        here = row >= 0
        row, amount = row[here], amount[here]
        every = np.arange(self._n)
        as_row = (row[:, None] * self._n + every[None, :]).ravel()
        as_column = (every[None, :] * self._n + row[:, None]).ravel()
        both = np.repeat(amount, self._n)
        return np.concatenate([as_row, as_column]), np.concatenate([both, both])

    def __contains__(self, piece: object) -> bool:
        return piece in self._damage

    def __iter__(self) -> Iterator[Piece]:
        return iter(self._damage)

    def __len__(self) -> int:
        return len(self._damage)


@dataclass(frozen=True, slots=True)
class _Square:
    """The pairs of some patterns, in the form `Conduction` takes."""

    columns: int
    damage: Mapping[Piece, tuple[Index, Array]]


def _representatives(model: Model) -> tuple[Index, Index, Array]:
    columns: list[int] = []
    stops = [*model.starts[1:], model.lesions.columns]
    for start, stop in zip(model.starts, stops, strict=True):
        weight = model.lesions.weight[start:stop]
        least = np.sort(weight)[-min(PATTERNS, len(weight))]
        # Ties stay together: a pattern and its mirror image are kept or left both.
        columns.extend(int(start + k) for k in np.flatnonzero(weight >= least * (1 - TIE)))
    index = np.array(columns, dtype=np.intp)
    site_of = model.lesions.site_of[index]
    weight = model.lesions.weight[index]
    weight = weight / np.bincount(site_of, weights=weight)[site_of]
    none = [i for i, site in enumerate(model.lesions.sites) if site.place == NO_LESION]
    return index, site_of, np.where(np.isin(site_of, none), 0.0, weight)


def compile_pairs(model: Model) -> PairModel:
    """Compute every sign under every pair of patterns that both change it.

    Parameters
    ----------
    model : Model
        The compiled model of single lesions.

    Returns
    -------
    PairModel
        About 6 million pairs of patterns for the atlas of the package.
    """
    columns, site_of, weight = _representatives(model)
    signs: dict[SignKey, PairSign] = {}
    for key, table in model.signs.items():
        sign = model.atlas.signs[key[0]]
        intact = Conduction(model.atlas, _Square(1, {}))
        if sign.scale is not None:
            healthy = np.round(sign_level(sign, key[1], intact), LEVEL_DIGITS)
        else:
            healthy = np.round(sign_strengths(sign, key[1], intact), LEVEL_DIGITS)
        unchanged = state_probabilities(sign, healthy)
        single = table.probability[table.level_of[columns]]
        affected = np.flatnonzero((single != unchanged).any(axis=1))
        square = _Square(len(affected) ** 2, _Damage(model, columns[affected]))
        conduction = Conduction(model.atlas, square)
        if sign.scale is not None:
            values = np.round(sign_level(sign, key[1], conduction), LEVEL_DIGITS)
        else:
            values = np.round(sign_strengths(sign, key[1], conduction), LEVEL_DIGITS)
        values = np.broadcast_to(values, (len(affected) ** 2, *healthy.shape[1:]))
        levels, row = np.unique(values, axis=0, return_inverse=True)
        together = row.reshape(len(affected), len(affected)) + 1
        probability = np.concatenate([unchanged, state_probabilities(sign, levels)])
        alone = table.level_of[columns[affected]].astype(np.intp) + len(probability)
        signs[key] = PairSign(
            affected,
            np.concatenate([probability, table.probability]),
            alone.astype(np.uint16),
            together.astype(np.uint16),
        )
    return PairModel(columns, site_of, weight, signs)
