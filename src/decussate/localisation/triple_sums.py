"""The bounds on three lesions, compiled; see `decussate.localisation.pair_sums`.

What three lesions do to a sign beyond what each does alone is at most the product of three factors,
one for each two of them: c(a, b, c) <= f(a, b) f(a, c) f(b, c). A sum over the patterns of three
sites is then at most the root of the product of three sums over two sites, of f squared each
(Loomis and Whitney, Bull Am Math Soc 1949;55:961-962, in its weighted form).
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from decussate.localisation.pair_sums import gather

__all__ = ["bound_closely", "fill_squares", "sum_squares"]

Array = NDArray[np.float64]
TINY = 1e-290
"""Added to a bound, for what may have fallen below the range of numbers."""


@njit(cache=True, nogil=True)
def fill_squares(alone: Array, most: float, table: Array, of_two: Array, of_three: Array) -> None:
    """Fill in the squares of a sign's factors.

    Parameters
    ----------
    alone : ndarray of shape (n_codes,)
        Likelihood of the responses under each code alone.
    most : float
        The highest likelihood that any state gives.
    table : ndarray of shape (n_codes, n_codes)
        What two codes do beyond what each does alone (`pair_sums.fill_table`).
    of_two, of_three : ndarray of shape (n_codes, n_codes)
        Filled in: for a sign that the third site does not touch, and for one that it may touch.
    """
    cubic = (most * alone[0] ** 2) ** (1 / 3)
    for a in range(len(alone)):
        for b in range(len(alone)):
            of_two[a, b] = table[a, b] ** 2
            if a and b:
                # Over the three twos of three codes this makes most alone(0)^2 / product of alone.
                of_three[a, b] = max(table[a, b], cubic / np.sqrt(alone[a] * alone[b])) ** 2
            else:
                of_three[a, b] = 1.0


@njit(cache=True, nogil=True)
def sum_squares(
    sites: NDArray[np.int64],
    start: NDArray[np.int64],
    weight: Array,
    scale: Array,
    code: NDArray[np.uint16],
    touched: NDArray[np.bool_],
    of_two: Array,
    of_three: Array,
    table_start: NDArray[np.int64],
    size: NDArray[np.int64],
) -> Array:
    """Sum the squares of the factors over the patterns of two sites.

    Parameters
    ----------
    sites : ndarray of int, shape (n, 3)
        Two sites, and the third; -1 for any third.
    start, weight, scale, code, touched, table_start, size : ndarray
        As for `pair_sums.sum_pairs`.
    of_two, of_three : ndarray
        From `fill_squares`, laid end to end.

    Returns
    -------
    ndarray of shape (n,)
        Natural logarithm.
    """
    n_signs = len(code)
    widest, most_codes = 1, 1
    for site in range(len(start) - 1):
        widest = max(widest, start[site + 1] - start[site])
    for sign in range(n_signs):
        most_codes = max(most_codes, size[sign])
    shared = np.empty(n_signs, np.int64)
    group = np.empty(widest, np.int64)
    met = np.zeros(widest * most_codes, np.int64)
    number = np.empty(widest * most_codes, np.int64)
    weight_a, weight_b, term = np.empty(widest), np.empty(widest), np.empty(widest)
    code_a = np.empty((n_signs, widest), np.uint16)
    code_b = np.empty((n_signs, widest), np.uint16)
    result = np.empty(len(sites))
    stamp = 0
    for row in range(len(sites)):
        site_a, site_b, third = sites[row]
        many = 0
        for sign in range(n_signs):
            if touched[site_a, sign] and touched[site_b, sign]:
                shared[many] = sign
                many += 1
        n_a = gather(
            start[site_a], start[site_a + 1], weight, code, shared[:many], size,
            group, met, number, stamp, weight_a, code_a,
        )  # fmt: skip
        n_b = gather(
            start[site_b], start[site_b + 1], weight, code, shared[:many], size,
            group, met, number, stamp + many, weight_b, code_b,
        )  # fmt: skip
        stamp += 2 * many
        total = TINY
        for a in range(n_a):
            for b in range(n_b):
                term[b] = weight_b[b]
            for k in range(many):
                sign = shared[k]
                if code_a[k, a]:
                    at = table_start[sign] + code_a[k, a] * size[sign]
                    if third >= 0 and not touched[third, sign]:
                        for b in range(n_b):
                            term[b] *= of_two[at + code_b[k, b]]
                    else:
                        for b in range(n_b):
                            term[b] *= of_three[at + code_b[k, b]]
            sum_b = 0.0
            for b in range(n_b):
                sum_b += term[b]
            total += weight_a[a] * sum_b
        result[row] = np.log(total) + scale[site_a] + scale[site_b]
    return result


@njit(cache=True, nogil=True)
def bound_closely(
    triples: NDArray[np.int64],
    allowed: Array,
    start: NDArray[np.int64],
    weight: Array,
    scale: Array,
    code: NDArray[np.uint16],
    touched: NDArray[np.bool_],
    table: Array,
    table_start: NDArray[np.int64],
    size: NDArray[np.int64],
    alone: Array,
    factor: Array,
    code_start: NDArray[np.int64],
    most: Array,
) -> Array:
    """Bound the mass of triples of sites pattern by pattern.

    Where a pattern of at most two of the sites touches a sign, this is exact; where patterns of all
    three do, the responses are taken to be as likely as the most telling state makes them.

    Parameters
    ----------
    triples : ndarray of int, shape (n, 3)
        The sites.
    allowed : ndarray of shape (n,)
        Logarithm of a mass; patterns that cannot make a hundredth of it are bounded
        roughly.
    start, weight, scale, code, touched, table_start, size : ndarray
        As for `pair_sums.sum_pairs`.
    table : ndarray
        From `pair_sums.fill_table`, laid end to end.
    alone, factor : ndarray
        Likelihood of the responses under each code alone, and the greatest factor of each code with
        any other (`fill_squares`), laid end to end.
    code_start : ndarray of int, shape (n_signs,)
        Where each sign begins in them.
    most : ndarray of shape (n_signs,)
        The highest likelihood that any state gives.

    Returns
    -------
    ndarray of shape (n,)
        Natural logarithm.
    """
    n_signs = len(code)
    widest, most_codes = 1, 1
    for site in range(len(start) - 1):
        widest = max(widest, start[site + 1] - start[site])
    for sign in range(n_signs):
        most_codes = max(most_codes, size[sign])
    shared = np.empty(n_signs, np.int64)
    group = np.empty(widest, np.int64)
    met = np.zeros(widest * most_codes, np.int64)
    number = np.empty(widest * most_codes, np.int64)
    weights, reach = np.empty((3, widest)), np.empty((3, widest))
    codes = np.empty((3, n_signs, widest), np.uint16)
    kinds, total_reach = np.empty(3, np.int64), np.empty(3)
    term = np.empty(widest)
    result = np.empty(len(triples))
    stamp = 0
    for row in range(len(triples)):
        many = 0
        for sign in range(n_signs):
            hands = 0
            for which in range(3):
                hands += touched[triples[row, which], sign]
            if hands >= 2:
                shared[many] = sign
                many += 1
        both = 0.0
        for which in range(3):
            site = triples[row, which]
            both += scale[site]
            kinds[which] = gather(
                start[site], start[site + 1], weight, code, shared[:many], size,
                group, met, number, stamp, weights[which], codes[which],
            )  # fmt: skip
            stamp += many
            total_reach[which] = 0.0
            for kind in range(kinds[which]):
                value = weights[which, kind]
                for k in range(many):
                    value *= factor[code_start[shared[k]] + codes[which, k, kind]]
                reach[which, kind] = value
                total_reach[which] += value
        spare = 0.01 * np.exp(min(allowed[row] - both, 600.0)) / (kinds[0] * kinds[1])
        total = TINY
        for a in range(kinds[0]):
            for b in range(kinds[1]):
                rough = reach[0, a] * reach[1, b] * total_reach[2]
                if rough <= spare:
                    total += rough
                    continue
                for c in range(kinds[2]):
                    term[c] = weights[2, c]
                for k in range(many):
                    sign = shared[k]
                    one, other = codes[0, k, a], codes[1, k, b]
                    base = table_start[sign]
                    if one and other:
                        two = table[base + one * size[sign] + other]
                        first = code_start[sign]
                        none = alone[first]
                        three = most[sign] * none**2 / (alone[first + one] * alone[first + other])
                        for c in range(kinds[2]):
                            third = codes[2, k, c]
                            term[c] *= three / alone[first + third] if third else two
                    elif one or other:
                        at = base + (one + other) * size[sign]
                        for c in range(kinds[2]):
                            term[c] *= table[at + codes[2, k, c]]
                sum_c = 0.0
                for c in range(kinds[2]):
                    sum_c += term[c]
                total += weights[0, a] * weights[1, b] * sum_c
        result[row] = np.log(total) + both
    return result
