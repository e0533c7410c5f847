"""Three lesions at once: a bounded search for the most probable triples of sites.

There are some twenty million triples of sites, too many to sum them all. Each gets a bound from
above; those with the highest are summed exactly, over every pattern of the three sites, until no
bound left reaches the last place of the list. Then the list is proved. If that takes more than is
allowed, the answer says that it is not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decussate.localisation.pair_model import states_together
from decussate.localisation.pair_posterior import PairPosterior
from decussate.localisation.posterior import log_sum

__all__ = ["SiteTriple", "Triples", "best_triples"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

CANDIDATES = 2_000_000
"""Triples that are bounded one by one, at the most."""
SUMS = 2_000
"""Triples that are summed exactly, at the most."""
SEEDS = 8
"""The first pairs and the first sites whose triples are summed first, to have a list to beat."""
NEGLIGIBLE = 1e-12
"""Patterns that together cannot make this share of a triple's mass are left out of its sum."""
AT_ONCE = 1_000_000
"""Triples of patterns worked on together; bounds the memory."""


@dataclass(frozen=True, slots=True)
class SiteTriple:
    """Three sites and how probable the findings are with a lesion in each.

    Attributes
    ----------
    sites : tuple of int
        Indices of the sites, ascending.
    log_mass : float
        Natural logarithm of the prior of the three sites times the probability of the findings
        relative to no lesion; to be compared with other triples.
    """

    sites: tuple[int, int, int]
    log_mass: float


@dataclass(frozen=True, slots=True)
class Triples:
    """The most probable triples of sites.

    Attributes
    ----------
    best : tuple of SiteTriple
        Most probable first.
    proved : bool
        Whether no other triple can be among them.
    summed : int
        How many triples were summed exactly.
    log_mass : float
        Natural logarithm of the mass of those: a lower bound for all triples.
    """

    best: tuple[SiteTriple, ...]
    proved: bool
    summed: int
    log_mass: float


def best_triples(pairs: PairPosterior, *, most: int = 3) -> Triples:
    """Search for the most probable triples of sites.

    Parameters
    ----------
    pairs : PairPosterior
        The pairs given the same findings.
    most : int, default 3
        How many triples.

    Returns
    -------
    Triples
    """
    return _Search(pairs, most).run()


class _Search:
    """The state of a search: what was summed, and the mass that the list demands."""

    def __init__(self, pairs: PairPosterior, most: int) -> None:
        self._pairs, self._most = pairs, most
        # Loaded late, like the sums over pairs.
        from decussate.localisation import triple_sums

        self._sums = triple_sums
        self._model = pairs.pair_model
        self._patterns = pairs.patterns()
        self._signs = list(pairs.known)
        signs = [self._model.signs[sign] for sign in self._signs]
        self._level = [
            sign.probability @ pairs.known[key]
            for key, sign in zip(self._signs, signs, strict=True)
        ]
        self._touched = self._model.touched[:, [self._model.row[sign] for sign in self._signs]]
        self._size = np.array([len(sign.example) for sign in signs], dtype=np.int64)
        self._start = np.cumsum([0, *self._size**2]).astype(np.int64)
        self._of_two, self._of_three = np.empty(self._start[-1]), np.empty(self._start[-1])
        for k, (key, sign) in enumerate(zip(self._signs, signs, strict=True)):
            here, n = slice(*self._start[k : k + 2]), int(self._size[k])
            triple_sums.fill_squares(
                self._level[k][sign.together[0]], float(pairs.known[key].max()), pairs.table(key),
                self._of_two[here].reshape(n, n), self._of_three[here].reshape(n, n),
            )  # fmt: skip
        self._most_of_code = [
            np.sqrt(self._of_three[slice(*self._start[k : k + 2])].reshape(n, n).max(axis=1))
            for k, n in enumerate(self._size)
        ]
        self._known: list[dict[tuple[int, ...], float]] = [{} for _ in self._signs]
        self._found: dict[tuple[int, int, int], float] = {}

    def run(self) -> Triples:
        """Sum the leading triples until the list is proved or the effort is spent."""
        pair_bound = self._pair_bound()
        self._sum_seeds()
        triples, proved = self._candidates(pair_bound)
        for bound in (self._log_bound, self._closer_bound):
            limit = bound(triples)
            triples, limit = triples[limit >= self._demand], limit[limit >= self._demand]
        order = np.argsort(-limit, kind="stable")
        for sites, most in zip(triples[order], limit[order], strict=True):
            if most < self._demand:
                break
            if len(self._found) >= SUMS:
                proved = False
                break
            self._sum(sites)
        ranked = sorted(self._found.items(), key=lambda item: (-item[1], item[0]))
        best = tuple(SiteTriple(sites, mass) for sites, mass in ranked[: self._most])
        summed = log_sum(np.array(list(self._found.values()))) if self._found else -np.inf
        return Triples(best, proved, len(self._found), summed)

    @property
    def _demand(self) -> float:
        """Log mass of the last place of the list as it stands."""
        if len(self._found) < self._most:
            return -np.inf
        return float(np.partition(list(self._found.values()), -self._most)[-self._most])

    def _squares(self, sites: Index) -> Array:
        patterns = self._patterns
        squares = self._sums.sum_squares(
            sites, patterns.start, patterns.weight, patterns.scale, patterns.code,
            self._touched, self._of_two, self._of_three, self._start[:-1], self._size,
        )  # fmt: skip
        return np.asarray(squares)

    def _pair_bound(self) -> Array:
        """Bound every two sites' part in any triple, shape (n_sites, n_sites); -inf for no pair."""
        some = np.flatnonzero(self._patterns.alone > -np.inf)
        first, second = (some[side] for side in np.triu_indices(len(some), k=1))
        n = len(self._patterns.alone)
        bound = np.full((n, n), -np.inf)
        bound[first, second] = self._squares(np.stack([first, second, -np.ones_like(first)], 1))
        return np.asarray(np.maximum(bound, bound.T))

    def _sum_seeds(self) -> None:
        """Sum the first pairs with the first sites, to have a list to beat."""
        alone = self._patterns.alone
        sites = [int(site) for site in np.argsort(-alone)[:SEEDS] if alone[site] > -np.inf]
        for pair in self._pairs.best(SEEDS):
            for site in sites:
                if site not in (pair.first, pair.second):
                    self._sum(np.array([pair.first, pair.second, site]))

    def _candidates(self, bound: Array) -> tuple[Index, bool]:
        """Return the triples that the pair bounds let reach the demand, and whether all are there.

        The bounds leave the story out; its greatest factor is granted to every triple.
        """
        demand = 2 * (self._demand - float(np.log(self._pairs.told.max())))
        rows: list[Index] = []
        count = 0
        for a in range(len(bound) - 2):
            later = bound[a, a + 1 :]
            both = np.triu(later[:, None] + later[None, :] + bound[a + 1 :, a + 1 :], k=1)
            both[np.tril_indices(len(both))] = -np.inf
            b, c = np.nonzero((both >= demand) & (both > -np.inf))
            rows.append(np.stack([np.full(len(b), a), a + 1 + b, a + 1 + c], axis=1))
            count += len(b)
            if count > CANDIDATES:
                return np.concatenate(rows), False
        return np.concatenate(rows), True

    def _log_bound(self, triples: Index) -> Array:
        """Bound the mass of each triple, knowing which signs all three touch."""
        turned = (triples, triples[:, [0, 2, 1]], triples[:, [1, 2, 0]])
        squares = sum(self._squares(np.ascontiguousarray(one)) for one in turned)
        told = np.log(self._pairs.told[triples].mean(axis=1))
        # The sums are rounded: a hair is granted to the bound.
        return np.asarray(squares / 2 + told + 1e-9)

    def _closer_bound(self, triples: Index) -> Array:
        """Bound the mass of each triple pattern by pattern."""
        patterns, none = self._patterns, np.empty(0)
        told = np.log(self._pairs.told[triples].mean(axis=1))
        alone = [
            level[self._model.signs[key].together[0]]
            for key, level in zip(self._signs, self._level, strict=True)
        ]
        limit = self._sums.bound_closely(
            triples, self._demand - told,
            patterns.start, patterns.weight, patterns.scale, patterns.code, self._touched,
            np.concatenate([none, *(self._pairs.table(key).ravel() for key in self._signs)]),
            self._start[:-1], self._size,
            np.concatenate([none, *alone]), np.concatenate([none, *self._most_of_code]),
            np.cumsum([0, *self._size])[:-1].astype(np.int64),
            np.array([self._pairs.known[key].max() for key in self._signs]),
        )  # fmt: skip
        return np.asarray(limit + told + 1e-9)

    def _sum(self, sites: Index) -> None:
        """Sum a triple of sites over all their patterns, unless it was done before."""
        key = tuple(sorted(int(site) for site in sites))
        if key in self._found:
            return
        touched = self._touched[list(key)]
        shared = np.flatnonzero(touched.sum(axis=0) >= 2)
        kinds = [self._kinds(site, shared) for site in key]
        told = float(np.log(self._pairs.told[list(key)].mean()))
        scale = told + float(self._patterns.scale[list(key)].sum())
        best = [self._only(kind, [int(kind.reach.argmax())]) for kind in kinds]
        least = max(float(self._logs(best, shared, touched).max()), self._demand - scale)
        kept = [self._worth_keeping(k, kinds, least) for k in range(3)]
        step = max(1, AT_ONCE // (len(kept[1].weight) * len(kept[2].weight)))
        parts = [
            log_sum(self._logs([some, kept[1], kept[2]], shared, touched))
            for start in range(0, len(kept[0].weight), step)
            for some in [self._only(kept[0], list(range(start, len(kept[0].weight)))[:step])]
        ]
        self._found[key[0], key[1], key[2]] = log_sum(np.array(parts)) + scale

    def _kinds(self, site: int, shared: Index) -> _Kinds:
        """Add up the patterns of a site that are alike for the shared signs."""
        patterns = self._patterns
        here = slice(patterns.start[site], patterns.start[site + 1])
        code, kind = np.unique(patterns.code[shared, here], axis=1, return_inverse=True)
        weight = np.bincount(kind.reshape(-1), weights=patterns.weight[here])
        bound = np.ones(len(weight))
        for row, sign in enumerate(shared):
            bound *= self._most_of_code[sign][code[row]]
        return _Kinds(code, weight.astype(np.float64), weight * bound)

    @staticmethod
    def _only(kinds: _Kinds, which: list[int]) -> _Kinds:
        return _Kinds(kinds.code[:, which], kinds.weight[which], kinds.reach[which])

    def _worth_keeping(self, k: int, kinds: list[_Kinds], least: float) -> _Kinds:
        """Leave out the patterns of one site that cannot matter to a sum of this size."""
        others = np.prod([kind.reach.sum() for i, kind in enumerate(kinds) if i != k])
        enough = NEGLIGIBLE * np.exp(least) / (3 * others * len(kinds[k].weight))
        return self._only(kinds[k], [int(i) for i in np.flatnonzero(kinds[k].reach > enough)])

    def _logs(self, kinds: list[_Kinds], shared: Index, touched: NDArray[np.bool_]) -> Array:
        """Return the log mass of every triple of kinds, shape (n_a, n_b, n_c)."""
        with np.errstate(divide="ignore"):
            a, b, c = (np.log(kind.weight) for kind in kinds)
        logs = a[:, None, None] + b[None, :, None] + c[None, None, :]
        for k, sign in enumerate(shared):
            codes = [kind.code[k].astype(np.intp) for kind in kinds]
            seen = [np.unique(code, return_inverse=True) for code in codes]
            grid = self._together(int(sign), [values for values, _ in seen])
            logs = logs + grid[np.ix_(*(index for _, index in seen))]
        return np.asarray(logs)

    def _together(self, sign: int, codes: list[Index]) -> Array:
        """Return what three codes do to a sign beyond what each does alone (natural logarithm)."""
        known, level = self._model.signs[self._signs[sign]], self._level[sign]
        grid = np.stack(np.meshgrid(*codes, indexing="ij")).reshape(3, -1)
        grid = np.sort(grid, axis=0)
        likelihood = level[known.together[grid[1], grid[2]]]
        three = np.flatnonzero(grid[0])
        if len(three):
            likelihood[three] = self._level_of_three(sign, grid[:, three])
        alone = level[known.together[0]]
        logs = np.log(likelihood) + 2 * np.log(alone[0]) - np.log(alone[grid]).sum(axis=0)
        return np.asarray(logs.reshape([len(one) for one in codes]))

    def _level_of_three(self, sign: int, codes: Index) -> Array:
        """Return the likelihood of the responses under three codes, none of them 0."""
        known = self._known[sign]
        keys = [tuple(int(code) for code in row) for row in codes.T]
        new = sorted({key for key in keys if key not in known})
        if new:
            key = self._signs[sign]
            model, single = self._pairs.model, self._model.signs[key]
            probability, row = states_together(
                model.atlas.signs[key[0]], key[1], model.atlas, model.lesions,
                single.example[np.array(new).T],
            )  # fmt: skip
            level = probability @ self._pairs.known[key]
            known.update(zip(new, level[row].tolist(), strict=True))
        return np.array([known[key] for key in keys])


@dataclass(frozen=True, slots=True)
class _Kinds:
    """Patterns of a site that differ for the shared signs: codes, weights, bounds."""

    code: NDArray[np.uint16]
    weight: Array
    reach: Array
