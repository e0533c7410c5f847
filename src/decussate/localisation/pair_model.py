"""Two lesions at once: what every sign does when two patterns of damage overlap.

Damage is combined in the forward model: where both lesions touch a pathway its conduction falls by
both, opposing sides cancel, and redundant supply is lost only when both halves are. Patterns that
leave the same of every chain a sign hangs on share a code (`decussate.localisation.chains`), so a
small table over pairs of codes holds for every pair of patterns of every two places.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Atlas, Piece, Sign
from decussate.localisation.chains import chains_of, codes_of
from decussate.localisation.forward import Conduction, Damage, sign_level, sign_strengths
from decussate.localisation.model import LEVEL_DIGITS, Model, SignKey
from decussate.localisation.states import state_probabilities
from decussate.sides import Side

__all__ = [
    "NO_LESION",
    "PairModel",
    "PairSign",
    "assemble_pairs",
    "compile_pairs",
    "states_together",
]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

NO_LESION = "normal"
"""The place that means no lesion; it makes no pair."""


@dataclass(frozen=True, slots=True)
class PairSign:
    """One sign of one side under every pair of lesions.

    Attributes
    ----------
    code_of : ndarray of int, shape (n_columns,)
        Code of each lesion for this sign; 0 leaves all that the sign hangs on intact.
    example : ndarray of int, shape (n_codes,)
        A lesion of each code; -1 (no lesion) for code 0.
    probability : ndarray of shape (n_levels, n_states)
        State probabilities of each distinct level.
    together : ndarray of int, shape (n_codes, n_codes)
        Row of `probability` for two lesions by their codes; symmetric. Row and column 0 hold the
        single lesions.
    """

    code_of: NDArray[np.uint16]
    example: Index
    probability: Array
    together: NDArray[np.uint16]


@dataclass(frozen=True, slots=True)
class PairModel:
    """Every sign under every pair of lesions, numbered.

    Attributes
    ----------
    signs : Mapping of SignKey to PairSign
        Every sign of every side.
    row : Mapping of SignKey to int
        The number of each sign.
    touched : ndarray of bool, shape (n_sites, n_signs)
        Whether some pattern of the site has a code other than 0.
    codes_start, table_start : ndarray of int, shape (n_signs + 1,)
        Where the codes, and the pairs of codes, of each sign begin when laid end to end.
    """

    signs: Mapping[SignKey, PairSign]
    row: Mapping[SignKey, int]
    touched: NDArray[np.bool_]
    codes_start: NDArray[np.int64]
    table_start: NDArray[np.int64]


def assemble_pairs(signs: Mapping[SignKey, PairSign], model: Model) -> PairModel:
    """Give the signs numbers, and note which sites touch each."""
    site_of = model.lesions.site_of
    codes = np.array([len(sign.example) for sign in signs.values()], dtype=np.int64)
    touched = [np.bincount(site_of, weights=sign.code_of > 0) > 0 for sign in signs.values()]
    return PairModel(
        signs,
        {key: row for row, key in enumerate(signs)},
        np.stack(touched, axis=1),
        np.append(0, np.cumsum(codes)),
        np.append(0, np.cumsum(codes**2)),
    )


class _Damage(Mapping[Piece, tuple[Index, Array]]):
    """Damage of several lesions at once: of all those in a column of `together`."""

    def __init__(self, lesions: Damage, together: Index) -> None:
        self._lesions = lesions
        self._together = together

    def __getitem__(self, piece: Piece) -> tuple[Index, Array]:
        columns, amount = self._lesions.damage[piece]
        # The last entry is for the column -1: no lesion.
        damage = np.zeros(self._lesions.columns + 1)
        damage[columns] = amount
        taken = damage[self._together].ravel()
        where = np.flatnonzero(taken)
        return where % self._together.shape[1], taken[where]

    def __contains__(self, piece: object) -> bool:
        return piece in self._lesions.damage

    def __iter__(self) -> Iterator[Piece]:
        return iter(self._lesions.damage)

    def __len__(self) -> int:
        return len(self._lesions.damage)


@dataclass(frozen=True, slots=True)
class _Together:
    """Several lesions at once, in the form `Conduction` takes."""

    columns: int
    damage: Mapping[Piece, tuple[Index, Array]]


def states_together(
    sign: Sign, side: Side | None, atlas: Atlas, lesions: Damage, together: Index
) -> tuple[Array, NDArray[np.uint16]]:
    """Compute a sign under several lesions at once, damage combined in the forward model.

    Parameters
    ----------
    sign : Sign
        The sign.
    side : Side or None
        Its side.
    atlas : Atlas
        Its pathways.
    lesions : Damage
        The single lesions.
    together : ndarray of int, shape (k, n)
        For each of n patients the columns of k lesions; -1 for one fewer.

    Returns
    -------
    ndarray of shape (n_levels, n_states)
        State probabilities of each distinct level.
    ndarray of int, shape (n,)
        Row of the former for each patient.
    """
    n = together.shape[1]
    conduction = Conduction(atlas, _Together(n, _Damage(lesions, together)))
    compute = sign_level if sign.scale is not None else sign_strengths
    values = np.round(compute(sign, side, conduction), LEVEL_DIGITS)
    levels, row = np.unique(values, axis=0, return_inverse=True)
    row = np.broadcast_to(row.reshape(-1), (n,))
    return state_probabilities(sign, levels), row.astype(np.uint16)


def compile_pairs(model: Model) -> PairModel:
    """Compute every sign under every pair of lesions.

    Parameters
    ----------
    model : Model
        The compiled model of single lesions.

    Returns
    -------
    PairModel
        About 3 million pairs of codes for the atlas of the package (about 30 MB in all), which
        stand for some 500 million pairs of lesions.
    """
    signs: dict[SignKey, PairSign] = {}
    for key in model.signs:
        sign = model.atlas.signs[key[0]]
        code_of, example = codes_of(chains_of(sign, key[1], model.atlas), model.lesions)
        every = np.stack(np.triu_indices(len(example)))
        probability, row = states_together(sign, key[1], model.atlas, model.lesions, example[every])
        together = np.zeros((len(example), len(example)), dtype=np.uint16)
        together[tuple(every)] = row
        together[tuple(every[::-1])] = row
        signs[key] = PairSign(code_of, example, probability, together)
    return assemble_pairs(signs, model)
