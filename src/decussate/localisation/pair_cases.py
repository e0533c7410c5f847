"""The likely pairs of lesions one by one, for what has to look at their patterns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decussate.localisation.pair_posterior import PairPosterior

__all__ = ["PairCases", "leading_cases"]

Array = NDArray[np.float64]

PAIRS = 20
"""Pairs of sites that are looked at; the rest is left out."""
NEGLIGIBLE = 1e-4
"""Patterns and pairs of patterns this much less likely than the likeliest are left out."""


@dataclass(frozen=True, slots=True)
class PairCases:
    """Pairs of lesions with their probability.

    Attributes
    ----------
    first, second : ndarray of int, shape (n,)
        Columns of the two lesions.
    pair : ndarray of int, shape (n,)
        Which pair of sites each belongs to.
    probability : ndarray of shape (n,)
        Among these cases; sums to 1.
    """

    first: NDArray[np.intp]
    second: NDArray[np.intp]
    pair: NDArray[np.intp]
    probability: Array


def leading_cases(pairs: PairPosterior) -> PairCases:
    """Return the likely patterns of the leading pairs of sites.

    Parameters
    ----------
    pairs : PairPosterior
        Given the findings.
    """
    parts = []
    for number, best in enumerate(pairs.best(PAIRS)):
        first, second = (_likely(pairs, site) for site in (best.first, best.second))
        logs = pairs.log_ratio[first][:, None] + pairs.log_ratio[second][None, :]
        for sign in pairs.known:
            code = pairs.pair_model.signs[sign].code_of
            one, other = code[first], code[second]
            if one.any() and other.any():
                logs = logs + np.log(pairs.table(sign)[np.ix_(one, other)])
        weight = np.exp(logs - logs.max())
        weight *= best.probability / weight.sum()
        a, b = np.nonzero(weight > NEGLIGIBLE * weight.max())
        parts.append((first[a], second[b], np.full(len(a), number), weight[a, b]))
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    return PairCases(columns[0], columns[1], columns[2], columns[3] / columns[3].sum())


def _likely(pairs: PairPosterior, site: int) -> NDArray[np.intp]:
    """Return the columns of a site that may matter in a pair, their bound granted."""
    start, stop = pairs.model.span(site)
    reach = pairs.log_ratio[start:stop] + pairs.log_bound[start:stop]
    return np.flatnonzero(reach > reach.max() + np.log(NEGLIGIBLE)) + start
