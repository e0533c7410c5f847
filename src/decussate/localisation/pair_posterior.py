"""The exact posterior over every pair of lesions, and whether two are needed at all."""

from __future__ import annotations

from collections import deque
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from decussate.localisation.model import SignKey
from decussate.localisation.pair_model import NO_LESION, PairModel
from decussate.localisation.posterior import Posterior, checked, log_sum
from decussate.localisation.story import cause_factors, story_factor

__all__ = ["TWO_LESIONS", "PairPosterior", "Patterns", "SitePair"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

TWO_LESIONS = 0.03
"""Prior probability that a patient has two lesions rather than one or none (judgement)."""
LEFT_OUT = 1e-6
"""Share of the mass of all pairs that may be left out of the sums; what is left out is bounded."""
WORTH_SHARING = 1000
"""Pairs of sites from which two threads are faster than one (measured)."""
LEADING = 2.0
"""Pairs of sites whose bound is within this of the highest (natural logarithm) are summed first, to
learn how much there is before deciding what may be left out (judgement)."""


@dataclass(frozen=True, slots=True)
class SitePair:
    """Two sites and their probability, given that there are two lesions.

    Attributes
    ----------
    first, second : int
        Indices of the sites, ``first < second``.
    probability : float
        Among all pairs.
    """

    first: int
    second: int
    probability: float


@dataclass(frozen=True, slots=True)
class Patterns:
    """The lesions as the sums go over them: those alike for every observed sign are one pattern.

    Attributes
    ----------
    start, weight, scale, code : ndarray
        See `pair_sums.sum_pairs`.
    alone : ndarray of shape (n_sites,)
        Logarithm of each site's mass as a single lesion.
    reach : ndarray of shape (n_sites,)
        Logarithm of a bound on its part in any pair.
    """

    start: Index
    weight: Array
    scale: Array
    code: NDArray[np.uint16]
    alone: Array
    reach: Array


class PairPosterior:
    """Probability of every pair of sites over all their patterns, updated one sign at a time.

    The probability of the findings under a pair of patterns (a, b), relative to no lesion at all,
    is R_a R_b C_ab: R_a is that under a alone, C_ab corrects the signs that both touch. Every
    factor is positive, so nothing cancels. The prior of a pair is the product of the two sites'
    incidences; the story counts as the mean of what it says of either.

    Three things keep this fast without changing the answer. Patterns of a site with the same code
    for every sign met so far are merged. Two sites that no observed sign joins need no sum: their
    mass is the product of theirs. And C_ab is at most B_a B_b, so that whatever cannot matter is
    left out, a bound on it being kept (`left_out`).

    Parameters
    ----------
    pairs : PairModel
        The compiled pairs.
    posterior : Posterior
        Of single lesions; its model, story and observations are taken over.
    left_out : float, default `LEFT_OUT`
        Share of the mass that may be left out.

    Attributes
    ----------
    model : Model
        Of single lesions.
    pair_model : PairModel
        Of pairs.
    known : dict of SignKey to ndarray
        The likelihood of each observed sign, as given to `set`.
    log_ratio : ndarray of shape (n_columns,)
        Log of each lesion's prior times the probability of the findings relative to no lesion.
    log_bound : ndarray of shape (n_columns,)
        Log of the most that another lesion can make of it.
    told : ndarray of shape (n_sites,)
        How many times more likely the story is with a lesion of each site than by chance.
    """

    def __init__(
        self, pairs: PairModel, posterior: Posterior, *, left_out: float = LEFT_OUT
    ) -> None:
        # Loading the compiler takes longer than localising one lesion, which must not wait for it.
        from decussate.localisation import pair_sums

        self._sums = pair_sums
        self.model, self.pair_model = posterior.model, pairs
        self._may_leave_out = left_out
        lesions, atlas = self.model.lesions, self.model.atlas
        places = [atlas.places[site.place] for site in lesions.sites]
        prior = np.array([place.prior / (2 if place.paired else 1) for place in places])
        self._all = prior.sum()
        prior = np.where([place.id != NO_LESION for place in places], prior, 0.0)
        prior /= prior.sum()
        self._prior = prior
        with np.errstate(divide="ignore"):
            self.log_ratio = np.log(prior[lesions.site_of] * lesions.weight)
        factors = cause_factors(atlas, posterior.story)
        self.told = np.array([story_factor(place, factors) for place in places])
        some = np.flatnonzero(prior > 0)
        first, second = np.triu_indices(len(some), k=1)
        self._first, self._second = some[first], some[second]
        self._log_told = np.log((self.told[self._first] + self.told[self._second]) / 2)
        self.log_bound = np.zeros(lesions.columns)
        self._class_of = lesions.site_of.astype(np.int64)
        self._starts = np.append(self.model.starts, lesions.columns)
        self._table = np.empty(pairs.table_start[-1])
        self._bound = np.empty(pairs.codes_start[-1])
        self.known: dict[SignKey, Array] = {}
        self._log_mass = np.full(len(self._first), -np.inf)
        self._log_left = np.full(len(self._first), -np.inf)
        self._mass, self._most, self._left_out = np.empty(0), -np.inf, 0.0
        self._changed = np.ones(len(prior), dtype=bool)
        for sign, likelihood in posterior.sign_likelihoods().items():
            self.set(sign, likelihood)

    def set(self, sign: SignKey, likelihood: Array | None) -> None:
        """Take in what is known of a sign, in place of what was.

        Parameters
        ----------
        sign : SignKey
            The sign.
        likelihood : ndarray of shape (n_states,) or None
            Probability of the responses given each state; None to forget the sign.
        """
        known, row = self.pair_model.signs[sign], self.pair_model.row[sign]
        if sign in self.known:
            self._count(sign, self.known.pop(sign), -1.0)
        if likelihood is not None:
            level = known.probability @ likelihood
            self._sums.fill_table(level, known.together, self.table(sign), self.bound(sign))
            self.known[sign] = likelihood
            self._count(sign, likelihood, 1.0)
            self._sums.tell_apart(self._class_of, known.code_of, len(known.example), self._starts)
        self._changed |= self.pair_model.touched[:, row]

    def _count(self, sign: SignKey, likelihood: Array, direction: float) -> None:
        """Add a sign to what every lesion alone says, or take it away."""
        known = self.pair_model.signs[sign]
        level = np.log(known.probability @ likelihood)[known.together[0]]
        self.log_ratio += (direction * (level - level[0]))[known.code_of]
        self.log_bound += (direction * np.log(self.bound(sign)))[known.code_of]

    def table(self, sign: SignKey) -> Array:
        """Return what two codes do to an observed sign (see `pair_sums.fill_table`)."""
        row, n = self.pair_model.row[sign], len(self.pair_model.signs[sign].example)
        return self._table[slice(*self.pair_model.table_start[row : row + 2])].reshape(n, n)

    def bound(self, sign: SignKey) -> Array:
        """Return the bound of each code of an observed sign (see `pair_sums.fill_table`)."""
        row = self.pair_model.row[sign]
        return self._bound[slice(*self.pair_model.codes_start[row : row + 2])]

    def _refresh(self) -> None:
        """Sum again what the findings since the last time touch."""
        if not self._changed.any():
            return
        patterns = self.patterns()
        rows = [self.pair_model.row[sign] for sign in self.known]
        todo = self._sums.sum_apart(
            self._first, self._second, self._log_told, patterns.alone,
            np.packbits(self.pair_model.touched[:, rows], axis=1), self._changed,
            self._log_mass, self._log_left,
        )  # fmt: skip
        reach = patterns.reach[self._first[todo]] + patterns.reach[self._second[todo]]
        reach += self._log_told[todo]
        leading = reach > reach.max(initial=-np.inf) - LEADING
        self._sum(todo[leading], reach[leading], patterns)
        self._sum(todo[~leading], reach[~leading], patterns)
        # What could be left out before the last finding may be too much now.
        again = np.flatnonzero(self._log_left > self._limit())
        self._sum(again, np.full(len(again), np.inf), patterns)
        self._most = self._log_mass.max()
        self._mass = np.exp(self._log_mass - self._most)
        left = self._log_left[self._log_left > -np.inf]
        self._left_out = float(np.exp(left - self._most).sum() / self._mass.sum())
        self._changed[:] = False

    def patterns(self) -> Patterns:
        """Return the lesions as the sums go over them, alike ones merged."""
        lesions, starts = self.model.lesions, self.model.starts
        scale = np.maximum.reduceat(self.log_ratio, starts)
        scale[scale == -np.inf] = 0.0
        weight = np.exp(self.log_ratio - scale[lesions.site_of])
        reach = weight * np.exp(self.log_bound)
        example = np.empty(int(self._class_of[-1]) + 1, dtype=np.intp)
        example[self._class_of] = np.arange(lesions.columns)
        codes = [self.pair_model.signs[sign].code_of[example] for sign in self.known]
        with np.errstate(divide="ignore"):
            return Patterns(
                start=np.searchsorted(lesions.site_of[example], np.arange(len(starts) + 1)),
                weight=np.bincount(self._class_of, weights=weight).astype(np.float64),
                scale=scale,
                code=np.stack(codes) if codes else np.empty((0, len(example)), np.uint16),
                alone=np.log(np.add.reduceat(weight, starts)) + scale,
                reach=np.log(np.add.reduceat(reach, starts)) + scale,
            )

    def _limit(self) -> float:
        """Return the logarithm of the mass that may be left out of a pair of sites.

        All pairs together have at least the mass of the greatest that is known.
        """
        return float(self._log_mass.max() + np.log(self._may_leave_out / len(self._log_mass)))

    def _sum(self, which: Index, reach: Array, patterns: Patterns) -> None:
        """Sum over the patterns of some pairs of sites, unless no more than the limit is there."""
        limit = self._limit()
        small = reach <= limit
        self._log_left[which[small]] = reach[small]
        which = which[~small]
        rows = [self.pair_model.row[sign] for sign in self.known]
        starts = self.pair_model.codes_start
        signs = (
            self.pair_model.touched[:, rows],
            self._table, self.pair_model.table_start[rows],
            self._bound, starts[rows], np.diff(starts)[rows],
        )  # fmt: skip

        def work(which: Index) -> None:
            told = self._log_told[which]
            mass, left = np.empty(len(which)), np.empty(len(which))
            self._sums.sum_pairs(
                self._first[which], self._second[which], limit - told,
                patterns.start, patterns.weight, patterns.scale, patterns.code,
                *signs, mass, left,
            )  # fmt: skip
            self._log_mass[which] = mass + told
            self._log_left[which] = left + told

        if len(which) < WORTH_SHARING:
            work(which)
        else:
            deque(_workers().map(work, (which[::2], which[1::2])), maxlen=0)

    @property
    def log_evidence(self) -> float:
        """Log probability of the findings under two lesions, relative to no lesion at all."""
        self._refresh()
        return float(np.log(self._mass.sum()) + self._most + self.log_orders(2))

    def log_orders(self, lesions: int) -> float:
        """Return the logarithm of what a set of two or three sites counts in a draw of lesions.

        Sites are drawn by their incidence, one after the other, and no site twice: a set may come
        in any order, and is one of the draws without repetition.
        """
        twice, thrice = (self._prior**2).sum(), (self._prior**3).sum()
        distinct = 1 - twice if lesions == 2 else 1 - 3 * twice + 2 * thrice
        return float(np.log((2 if lesions == 2 else 6) / distinct))

    def two_probability(self, posterior: Posterior) -> float:
        """Return the probability that there are two lesions rather than one or none.

        Parameters
        ----------
        posterior : Posterior
            Of single lesions, with the same observations.
        """
        healthy = sum(
            np.log((sign.probability @ state)[sign.together[0, 0]])
            for sign, state in ((self.pair_model.signs[key], s) for key, s in self.known.items())
        )
        one = log_sum(posterior.log_joint) - np.log(self._all) - healthy
        odds = np.log(TWO_LESIONS / (1 - TWO_LESIONS)) + self.log_evidence - one
        return float(1 / (1 + np.exp(-odds)))

    @property
    def left_out(self) -> float:
        """Upper bound of the share of all pairs' mass that was left out of the sums."""
        self._refresh()
        return self._left_out

    def pair_probability(self) -> Array:
        """Return the probability of each pair of sites, shape (n_pairs,); sums to 1.

        Raises
        ------
        ArithmeticError
            If an entry is not finite or out of range, the sum is not 1, or more was left out than
            may be.
        """
        self._refresh()
        if not self.left_out <= self._may_leave_out:
            raise ArithmeticError("more was left out of the pairs than may be")
        return checked(self._mass / self._mass.sum())

    def site_probability(self) -> Array:
        """Return, for each site, the probability that it is one of the two, shape (n_sites,)."""
        of_site = np.zeros(len(self.model.starts))
        self._sums.share_out(self._first, self._second, self.pair_probability(), of_site)
        return of_site

    def best(self, most: int = 3) -> tuple[SitePair, ...]:
        """Return the most probable pairs of sites.

        Probabilities are true to within `left_out`, and so is their order.

        Parameters
        ----------
        most : int, default 3
            How many.
        """
        each = self.pair_probability()
        leading = np.argpartition(-each, min(most, len(each) - 1))[:most]
        ranked = sorted(leading, key=lambda k: (-each[k], self._first[k], self._second[k]))
        return tuple(
            SitePair(int(self._first[k]), int(self._second[k]), float(each[k])) for k in ranked
        )


@cache
def _workers() -> ThreadPoolExecutor:
    """Return the threads that share the sums; the compiled sums let go of the interpreter."""
    return ThreadPoolExecutor(2, thread_name_prefix="pairs")
