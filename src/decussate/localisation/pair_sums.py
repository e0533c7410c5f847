"""The sums over pairs of patterns, compiled: the one place where plain loops are the best words.

Imported only where pairs are asked for, because the compiler takes longer to load than a single
localisation takes. The machine code is kept beside this file, or in the user's cache folder.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["fill_table", "gather", "share_out", "sum_apart", "sum_pairs", "tell_apart"]

Array = NDArray[np.float64]
Codes = NDArray[np.uint16]

RANGE = 1e200
"""A sum outside 1 / RANGE to RANGE may have lost terms, and is done again in logarithms."""


@njit(cache=True, nogil=True)
def fill_table(level: Array, together: Codes, table: Array, bound: Array) -> None:
    """Work out what two lesions do to the likelihood of a sign beyond what each does alone.

    Parameters
    ----------
    level : ndarray of shape (n_levels,)
        Likelihood of the responses at each level; above 0.
    together : ndarray of int, shape (n_codes, n_codes)
        Level of each pair of codes.
    table : ndarray of shape (n_codes, n_codes)
        Filled with L(a, b) L(0, 0) / (L(a, 0) L(0, b)); 1 where either code is 0.
    bound : ndarray of shape (n_codes,)
        Filled so that ``table[a, b] <= bound[a] * bound[b]``; 1 for code 0, never less.
    """
    codes = len(together)
    none = level[together[0, 0]]
    for a in range(codes):
        ratio = none / level[together[a, 0]]
        most = 1.0
        for b in range(codes):
            value = level[together[a, b]] * ratio / level[together[0, b]]
            table[a, b] = value
            most = max(most, value)
        bound[a] = np.sqrt(most)
    bound[0] = 1.0
    # What every partner leaves unused of a bound can be given back, half by each.
    slack = np.empty(codes)
    for a in range(codes):
        most = 0.0
        for b in range(codes):
            most = max(most, table[a, b] / bound[b])
        slack[a] = np.sqrt(most / bound[a])
    for a in range(1, codes):
        bound[a] = bound[a] * slack[a] * (1 + 1e-12)


@njit(cache=True, nogil=True)
def tell_apart(
    class_of: NDArray[np.int64], code: Codes, n_codes: int, start: NDArray[np.int64]
) -> None:
    """Split the classes of lesions that differ in their code for a sign, in place.

    Parameters
    ----------
    class_of : ndarray of int, shape (n_columns,)
        Class of each lesion, numbered site by site.
    code : ndarray of int, shape (n_columns,)
        Code of each lesion.
    n_codes : int
        How many codes there are.
    start : ndarray of int, shape (n_sites + 1,)
        Where the lesions of each site begin.
    """
    widest = 0
    for site in range(len(start) - 1):
        widest = max(widest, start[site + 1] - start[site])
    met_at = np.full(widest * n_codes, -1, np.int32)
    number = np.empty(widest * n_codes, np.int64)
    count = 0
    for site in range(len(start) - 1):
        low = class_of[start[site]]
        for column in range(start[site], start[site + 1]):
            low = min(low, class_of[column])
        for column in range(start[site], start[site + 1]):
            key = (class_of[column] - low) * n_codes + code[column]
            if met_at[key] != site:
                met_at[key] = site
                number[key] = count
                count += 1
            class_of[column] = number[key]


@njit(cache=True, nogil=True)
def sum_apart(
    first: NDArray[np.int64],
    second: NDArray[np.int64],
    told: Array,
    alone: Array,
    touched: NDArray[np.uint8],
    changed: NDArray[np.bool_],
    log_mass: Array,
    log_left: Array,
) -> NDArray[np.int64]:
    """Fill in the pairs of sites that no observed sign joins: their mass is the product of theirs.

    Parameters
    ----------
    first, second, told : ndarray of shape (n_pairs,)
        The pairs of sites, and what the story says of each (logarithm).
    alone : ndarray of shape (n_sites,)
        Logarithm of the mass of each site.
    touched : ndarray of shape (n_sites, n_bytes)
        A bit for each observed sign: whether the site touches it.
    changed : ndarray of bool, shape (n_sites,)
        Whether anything changed for the site.
    log_mass, log_left : ndarray of shape (n_pairs,)
        Filled in, but for pairs that are joined and unchanged.

    Returns
    -------
    ndarray of int
        The pairs that are joined and changed, with no mass as yet.
    """
    todo = np.empty(len(first), np.int64)
    count = 0
    for pair in range(len(first)):
        a, b = first[pair], second[pair]
        joined = False
        for k in range(touched.shape[1]):
            if touched[a, k] & touched[b, k]:
                joined = True
                break
        if not joined:
            log_mass[pair] = alone[a] + alone[b] + told[pair]
            log_left[pair] = -np.inf
        elif changed[a] or changed[b]:
            log_mass[pair] = -np.inf
            log_left[pair] = -np.inf
            todo[count] = pair
            count += 1
    return todo[:count]


@njit(cache=True, nogil=True)
def share_out(
    first: NDArray[np.int64], second: NDArray[np.int64], each: Array, of_site: Array
) -> None:
    """Add the probability of each pair of sites to both sites.

    Parameters
    ----------
    first, second : ndarray of int, shape (n_pairs,)
        The pairs of sites.
    each : ndarray of shape (n_pairs,)
        Their probabilities.
    of_site : ndarray of shape (n_sites,)
        Added to.
    """
    for pair in range(len(first)):
        of_site[first[pair]] += each[pair]
        of_site[second[pair]] += each[pair]


@njit(cache=True, nogil=True)
def sum_pairs(
    first: NDArray[np.int64],
    second: NDArray[np.int64],
    allowed: Array,
    start: NDArray[np.int64],
    weight: Array,
    scale: Array,
    code: Codes,
    touched: NDArray[np.bool_],
    table: Array,
    table_start: NDArray[np.int64],
    bound: Array,
    bound_start: NDArray[np.int64],
    size: NDArray[np.int64],
    log_mass: Array,
    log_left: Array,
) -> None:
    """Sum over the pairs of patterns of each given pair of sites.

    Parameters
    ----------
    first, second : ndarray of int, shape (n_pairs,)
        The pairs of sites.
    allowed : ndarray of shape (n_pairs,)
        Logarithm of the mass that may be left out of each.
    start : ndarray of int, shape (n_sites + 1,)
        Where the patterns of each site begin.
    weight : ndarray of shape (n_patterns,)
        Weight of each pattern, the largest of a site 1.
    scale : ndarray of shape (n_sites,)
        Logarithm of what the weights of each site are to be multiplied by.
    code : ndarray of int, shape (n_signs, n_patterns)
        Code of each pattern for each observed sign.
    touched : ndarray of bool, shape (n_sites, n_signs)
        Whether a pattern of the site has a code other than 0.
    table, table_start, bound, bound_start : ndarray
        From `fill_table`, laid end to end, and where each observed sign begins.
    size : ndarray of int, shape (n_signs,)
        Codes of each observed sign.
    log_mass, log_left : ndarray of shape (n_pairs,)
        Filled with the logarithm of the sum, and of a bound on what was left out of it.
    """
    n_signs = len(code)
    widest, most_codes = 1, 1
    for site in range(len(start) - 1):
        widest = max(widest, start[site + 1] - start[site])
    for sign in range(n_signs):
        most_codes = max(most_codes, size[sign])
    shared = np.empty(n_signs, np.int64)
    group, met, number = (
        np.empty(widest, np.int64),
        np.zeros(widest * most_codes, np.int64),
        np.empty(widest * most_codes, np.int64),
    )
    weight_a, weight_b, term = np.empty(widest), np.empty(widest), np.empty(widest)
    reach_a, reach_b = np.empty(widest), np.empty(widest)
    code_a = np.empty((n_signs, widest), np.uint16)
    code_b = np.empty((n_signs, widest), np.uint16)
    stamp = 0
    for pair in range(len(first)):
        site_a, site_b = first[pair], second[pair]
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
        all_a = _reach(n_a, weight_a, code_a, shared[:many], bound, bound_start, reach_a)
        all_b = _reach(n_b, weight_b, code_b, shared[:many], bound, bound_start, reach_b)
        both = scale[site_a] + scale[site_b]
        spare = np.exp(min(allowed[pair] - both, 700.0))
        log_left[pair] = -np.inf
        log_mass[pair] = -np.inf
        if all_a * all_b <= spare:
            log_left[pair] = np.log(all_a * all_b) + both
            continue
        left = 0.0
        kept = 0
        for b in range(n_b):
            if reach_b[b] * all_a * n_b <= 0.5 * spare:
                left += reach_b[b] * all_a
                continue
            weight_b[kept] = weight_b[b]
            for k in range(many):
                code_b[k, kept] = code_b[k, b]
            kept += 1
        mass = 0.0
        for a in range(n_a):
            if reach_a[a] * all_b * n_a <= 0.5 * spare:
                left += reach_a[a] * all_b
                continue
            for j in range(kept):
                term[j] = weight_b[j]
            for k in range(many):
                if code_a[k, a]:
                    row = table_start[shared[k]] + code_a[k, a] * size[shared[k]]
                    for j in range(kept):
                        term[j] *= table[row + code_b[k, j]]
            sum_b = 0.0
            for j in range(kept):
                sum_b += term[j]
            mass += weight_a[a] * sum_b
        if left > 0:
            log_left[pair] = np.log(left) + both
        if not 1 / RANGE < mass < RANGE:
            mass = _log_sum(
                n_a, kept, weight_a, weight_b, code_a, code_b, shared[:many],
                table, table_start, size,
            )  # fmt: skip
            log_mass[pair] = mass + both
        else:
            log_mass[pair] = np.log(mass) + both


@njit(cache=True, nogil=True)
def gather(
    start: int,
    end: int,
    weight: Array,
    code: Codes,
    shared: NDArray[np.int64],
    size: NDArray[np.int64],
    group: NDArray[np.int64],
    met: NDArray[np.int64],
    number: NDArray[np.int64],
    stamp: int,
    gathered: Array,
    gathered_code: Codes,
) -> int:
    """Add up the patterns of a site that are alike for the shared signs; return how many kinds."""
    n = end - start
    kinds = 1
    group[:n] = 0
    for sign in shared:
        stamp += 1
        kinds = 0
        for k in range(n):
            key = group[k] * size[sign] + code[sign, start + k]
            if met[key] != stamp:
                met[key] = stamp
                number[key] = kinds
                kinds += 1
            group[k] = number[key]
    gathered[:kinds] = 0.0
    for k in range(n):
        kind = group[k]
        if gathered[kind] == 0.0:
            for s in range(len(shared)):
                gathered_code[s, kind] = code[shared[s], start + k]
        gathered[kind] += weight[start + k]
    return kinds


@njit(cache=True, nogil=True)
def _reach(
    kinds: int,
    weight: Array,
    code: Codes,
    shared: NDArray[np.int64],
    bound: Array,
    bound_start: NDArray[np.int64],
    reach: Array,
) -> float:
    """Bound the part of each kind of pattern in the pair from above; return the sum."""
    total = 0.0
    for kind in range(kinds):
        value = weight[kind]
        for s in range(len(shared)):
            value *= bound[bound_start[shared[s]] + code[s, kind]]
        reach[kind] = value
        total += value
    return total


@njit(cache=True, nogil=True)
def _log_sum(
    n_a: int,
    n_b: int,
    weight_a: Array,
    weight_b: Array,
    code_a: Codes,
    code_b: Codes,
    shared: NDArray[np.int64],
    table: Array,
    table_start: NDArray[np.int64],
    size: NDArray[np.int64],
) -> float:
    """Return the logarithm of the sum over two sites, whatever its size."""
    most, total = -np.inf, 0.0
    for a in range(n_a):
        for b in range(n_b):
            value = np.log(weight_a[a]) + np.log(weight_b[b])
            for s in range(len(shared)):
                row = table_start[shared[s]] + code_a[s, a] * size[shared[s]]
                value += np.log(table[row + code_b[s, b]])
            if value > most:
                total = total * np.exp(most - value) + 1.0
                most = value
            elif value > -np.inf:
                total += np.exp(value - most)
    return most + np.log(total) if total > 0 else -np.inf
