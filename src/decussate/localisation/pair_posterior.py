"""The exact posterior over every pair of lesions, and whether two are needed at all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decussate.localisation.model import SignKey
from decussate.localisation.pair_model import NO_LESION, PairModel
from decussate.localisation.posterior import Posterior, log_sum
from decussate.localisation.story import cause_factors, story_factor

__all__ = ["TWO_LESIONS", "PairPosterior", "SitePair"]

Array = NDArray[np.float64]

TWO_LESIONS = 0.03
"""Prior probability that a patient has two lesions rather than one or none (judgement)."""


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


class PairPosterior:
    """Probability of every pair of patterns, updated one sign at a time.

    The probability of the findings under a pair (a, b), relative to no lesion at all, is
    exp(r_a) exp(r_b) E_ab, where exp(r_a) is that under a alone and E_ab corrects the signs that
    both change. Every factor is positive, so nothing cancels. The prior of a pair is the product of
    the two sites' incidences; the story counts as the mean of what it says of either.

    Parameters
    ----------
    pairs : PairModel
        The compiled pairs.
    posterior : Posterior
        Of single lesions; its model, story and observations are taken over.

    Notes
    -----
    Memory is one square of float64 over all patterns (62 MB for 2,789 patterns).
    """

    def __init__(self, pairs: PairModel, posterior: Posterior) -> None:
        self._pairs = pairs
        self._model = posterior.model
        atlas = self._model.atlas
        sites = self._model.lesions.sites
        prior = np.array(
            [
                atlas.places[s.place].prior / (2 if atlas.places[s.place].paired else 1)
                for s in sites
            ]
        )
        lesion = np.array([s.place != NO_LESION for s in sites])
        self._all = prior.sum()
        prior = np.where(lesion, prior, 0.0)
        self._prior = (prior / prior.sum())[pairs.site_of] * pairs.weight
        factors = cause_factors(atlas, posterior.story)
        told = np.array([story_factor(atlas.places[s.place], factors) for s in sites])
        self._story = told[pairs.site_of]
        self._same_place_twice = float(((prior / prior.sum()) ** 2).sum())
        self._log_ratio = np.zeros(len(pairs.columns))
        self._overlap = np.ones((len(pairs.columns), len(pairs.columns)))
        self._overlap[pairs.site_of[:, None] == pairs.site_of[None, :]] = 0.0
        self._known: dict[SignKey, Array] = {}
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
        before = self._known.pop(sign, None)
        for state, direction in ((before, -1.0), (likelihood, 1.0)):
            if state is None:
                continue
            table = self._pairs.signs[sign]
            level = np.log(table.probability @ state)
            alone = level[table.alone] - level[0]
            self._log_ratio[table.affected] += direction * alone
            together = level[table.together] - level[0] - alone[:, None] - alone[None, :]
            square = np.ix_(table.affected, table.affected)
            self._overlap[square] *= np.exp(direction * together)
        if likelihood is not None:
            self._known[sign] = likelihood

    def _weights(self) -> tuple[Array, Array, float]:
        """Return each pattern's weight, without and with its story, and the shift of its log."""
        shift = float(self._log_ratio.max())
        weight = self._prior * np.exp(self._log_ratio - shift)
        return weight, weight * self._story, shift

    @property
    def log_evidence(self) -> float:
        """Log probability of the findings under two lesions, relative to no lesion at all."""
        weight, told, shift = self._weights()
        mass = float(told @ (self._overlap @ weight))
        return float(np.log(mass) - np.log(1 - self._same_place_twice) + 2 * shift)

    def two_probability(self, posterior: Posterior) -> float:
        """Return the probability that there are two lesions rather than one or none.

        Parameters
        ----------
        posterior : Posterior
            Of single lesions, with the same observations.
        """
        healthy = sum(
            np.log((self._pairs.signs[sign].probability @ state)[0])
            for sign, state in self._known.items()
        )
        one = log_sum(posterior.log_joint) - np.log(self._all) - healthy
        odds = np.log(TWO_LESIONS / (1 - TWO_LESIONS)) + self.log_evidence - one
        return float(1 / (1 + np.exp(-odds)))

    def site_probability(self) -> Array:
        """Return, for each site, the probability that it is one of the two, shape (n_sites,)."""
        mass, _ = self._site_mass()
        return np.asarray(2 * mass / mass.sum())

    def _site_mass(self) -> tuple[Array, float]:
        weight, told, _ = self._weights()
        reach = self._overlap @ np.stack([weight, told], axis=1)
        each = told * reach[:, 0] + weight * reach[:, 1]
        n_sites = len(self._model.starts)
        mass = np.bincount(self._pairs.site_of, weights=each, minlength=n_sites).astype(np.float64)
        if not np.all(np.isfinite(mass)) or mass.min() < 0 or mass.sum() <= 0:
            raise ArithmeticError("the mass of the pairs is not finite or not positive")
        return mass, float(mass.sum())

    def best(self, most: int = 3) -> tuple[SitePair, ...]:
        """Return the most probable pairs of sites.

        Sites are taken in order of the mass of all pairs that hold them. A pair with a site not yet
        taken has no more than that site's mass, so the search stops as soon as no such pair could
        enter the list: the answer is exact.

        Parameters
        ----------
        most : int, default 3
            How many.
        """
        weight, told, _ = self._weights()
        mass, total = self._site_mass()
        order = np.argsort(-mass, kind="stable")
        taken = 2 * most + 6
        while True:
            pool = order[:taken]
            found = self._pairs_among(pool, weight, told, total)
            last = found[most - 1].probability if len(found) >= most else 0.0
            if taken >= len(order) or 2 * mass[order[taken]] / total <= last:
                return tuple(found[:most])
            taken *= 2

    def _pairs_among(
        self, pool: NDArray[np.intp], weight: Array, told: Array, total: float
    ) -> list[SitePair]:
        member = np.flatnonzero(np.isin(self._pairs.site_of, pool))
        block = self._overlap[np.ix_(member, member)]
        each = block * (
            told[member][:, None] * weight[member][None, :]
            + weight[member][:, None] * told[member][None, :]
        )
        sites, index = np.unique(self._pairs.site_of[member], return_inverse=True)
        by_site = np.zeros((len(sites), len(sites)))
        np.add.at(by_site, (index[:, None], index[None, :]), each)
        first, second = np.triu_indices(len(sites), k=1)
        chance = 2 * by_site[first, second] / total
        ranked = sorted(range(len(chance)), key=lambda k: (-chance[k], first[k], second[k]))
        return [
            SitePair(int(sites[first[k]]), int(sites[second[k]]), float(chance[k])) for k in ranked
        ]
