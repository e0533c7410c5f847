"""The exact posterior over every lesion, updated one sign at a time.

What is kept of each lesion is a product: how frequent it is given the story, times how many times
more likely each sign's responses are with it than with a lesion that leaves the sign alone. A
finding therefore changes only the lesions that touch its sign. Positive numbers are multiplied and
nothing is subtracted, so nothing cancels. How far each sign can move any lesion is known, and while
all of them together stay well inside the range of a double, no product can have been rounded to
nothing; beyond that the same numbers are added up as logarithms.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from math import inf, log

import numpy as np
from numpy.typing import NDArray

from decussate.examination.record import Story
from decussate.localisation.model import Model, SignKey, SignTable
from decussate.localisation.observation import Observation
from decussate.localisation.story import cause_factors, story_factor

__all__ = ["Field", "Posterior", "checked", "entropy_bits", "field_of", "log_sum", "told_apart"]

Array = NDArray[np.float64]

REACH = 600.0
"""Natural logarithm up to which products are kept; doubles keep all their digits up to 708."""
TINY = float(np.finfo(np.float64).tiny)
CHANGES = 1000
"""After so many changes the products are made afresh, so that rounding cannot add up: each change
adds at most three units in the last place, all together less than 1e-12."""


class Posterior:
    """Probability of every lesion given observations and story.

    Each sign's observations multiply into one likelihood over the sign's states; the sign is then
    summed out exactly. Given a lesion (place, side, parts taken, severity) signs are independent.

    Parameters
    ----------
    model : Model
        The compiled model.
    story : Story
        Age, onset and the rest; they move the prior of places through their causes.
    observations : iterable of Observation
        What was found.

    Attributes
    ----------
    model, story
        As above.
    field : Field
        Every lesion as frequent as the story alone makes it.
    """

    def __init__(
        self, model: Model, story: Story, observations: Iterable[Observation] = ()
    ) -> None:
        self.model = model
        self.story = story
        self.field = field_of(model, story)
        self._by_sign: dict[SignKey, dict[str, Observation]] = {}
        self._said: dict[SignKey, _Said] = {}
        for one in observations:
            self._by_sign.setdefault(one.sign, {})[one.finding.test] = one
        for sign, known in self._by_sign.items():
            self._said[sign] = _said(model.signs[sign], known.values())
        self._product = self._afresh()

    def add(self, observation: Observation) -> None:
        """Take in an observation; one of the same test and side replaces the earlier."""
        known = self._by_sign.setdefault(observation.sign, {})
        known[observation.finding.test] = observation
        self._refresh(observation.sign)

    def remove(self, observation: Observation) -> None:
        """Forget an observation."""
        del self._by_sign[observation.sign][observation.finding.test]
        self._refresh(observation.sign)

    def _refresh(self, sign: SignKey) -> None:
        """Bring the products up to date with what is now known of a sign."""
        table, known = self.model.signs[sign], self._by_sign[sign]
        change = None
        if sign in self._said:
            change = 1 / self._said.pop(sign).ratio
        if known:
            said = self._said[sign] = _said(table, known.values())
            change = said.ratio if change is None else change * said.ratio
        self._changes += 1
        if self._product is None or self._changes > CHANGES or not self._within_reach():
            self._product = self._afresh()
        elif change is not None:
            self._product[table.touching] *= change.take(table.touched_level)

    def _within_reach(self) -> bool:
        return sum([one.reach for one in self._said.values()], self.field.reach) < REACH

    def _afresh(self) -> Array | None:
        """Return the product of each lesion made from nothing; None when it could leave range."""
        self._changes = 0
        if not self._within_reach():
            return None
        product = self.field.lesions.copy()
        for sign, said in self._said.items():
            table = self.model.signs[sign]
            product[table.touching] *= said.ratio.take(table.touched_level)
        return product

    def _logs(self) -> Array:
        """Return the logarithm of the product of each lesion."""
        if self._product is not None:
            return np.log(self._product)
        logs = np.log(self.field.lesions)
        with np.errstate(divide="ignore"):
            for sign, said in self._said.items():
                table = self.model.signs[sign]
                logs[table.touching] += np.log(said.ratio).take(table.touched_level)
        return np.asarray(logs)

    def taken_back(self, observation: Observation) -> Array:
        """Return what taking an observation back does to each level of its sign.

        Parameters
        ----------
        observation : Observation
            One that was taken in.

        Returns
        -------
        ndarray of shape (n_levels,)
            How many times more likely each level becomes, compared with the common one.
        """
        known = self._by_sign[observation.sign]
        others = [other for test, other in known.items() if test != observation.finding.test]
        ratio = self._said[observation.sign].ratio
        if not others:
            return np.asarray(1 / ratio)
        return _said(self.model.signs[observation.sign], others).ratio / ratio

    def sites_without(self, observation: Observation) -> Array:
        """Return the probability of each site with one observation left out, shape (n_sites,)."""
        table = self.model.signs[observation.sign]
        change = self.taken_back(observation).take(table.touched_level)
        if self._product is None:
            logs = self._logs()
            logs[table.touching] += np.log(change)
            weight = np.exp(logs - logs.max())
        else:
            weight = self._product.copy()
            weight[table.touching] *= change
        return _distribution(np.add.reduceat(weight, self.model.starts))

    def patterns(self, site: int) -> Array:
        """Return the probability of each lesion of a site, given that the lesion is there.

        Parameters
        ----------
        site : int
            Index of the site.

        Returns
        -------
        ndarray of shape (n_patterns,)
            Sums to 1, however unlikely the site is.
        """
        here = slice(*self.model.span(site))
        if self._product is not None:
            return _distribution(self._product[here])
        logs = self._logs()[here]
        return _distribution(np.exp(logs - logs.max()))

    def sign_likelihoods(self) -> Mapping[SignKey, Array]:
        """Return, for each observed sign, the probability of its responses given each state."""
        return {
            sign: np.prod([one.likelihood for one in known.values()], axis=0)
            for sign, known in self._by_sign.items()
            if known
        }

    @property
    def log_joint(self) -> Array:
        """Log of prior times likelihood of each lesion, not normalised, shape (n_columns,)."""
        return np.asarray(self._logs() + (self.field.log_sum + self._log_common()))

    def _log_common(self) -> float:
        """Return the logarithm of the likelihood under a lesion that leaves every sign alone."""
        return sum([one.log_common for one in self._said.values()], 0.0)

    @property
    def observations(self) -> tuple[Observation, ...]:
        """All observations taken in."""
        return tuple(one for known in self._by_sign.values() for one in known.values())

    @property
    def lesions(self) -> Array:
        """Probability of each lesion (column), shape (n_columns,); sums to 1."""
        if self._product is not None:
            return _distribution(self._product)
        logs = self._logs()
        return _distribution(np.exp(logs - logs.max()))

    @property
    def sites(self) -> Array:
        """Probability of each site (place and side), shape (n_sites,); sums to 1."""
        return checked(np.add.reduceat(self.lesions, self.model.starts))

    @property
    def log_evidence(self) -> float:
        """Natural logarithm of the probability of all observations under the model."""
        if self._product is not None:
            return log(self._product.sum()) + self._log_common()
        return log_sum(self._logs()) + self._log_common()

    @property
    def log_prior(self) -> Array:
        """Log prior of each lesion's site given the story, not normalised, shape (n_columns,)."""
        return np.asarray(self.log_prior_sites()[self.model.lesions.site_of])

    def log_prior_sites(self) -> Array:
        """Return the log prior of each site, shape (n_sites,), not normalised."""
        return np.asarray(np.log(self.field.sites) + self.field.log_sum)


@dataclass(frozen=True, slots=True)
class _Said:
    """What the responses of one sign say of its levels.

    Attributes
    ----------
    ratio : ndarray of shape (n_levels,)
        Their probability at each level, relative to that at the common level.
    log_common : float
        Logarithm of their probability at the common level.
    reach : float
        The greatest logarithm of any ratio, up or down.
    """

    ratio: Array
    log_common: float
    reach: float


def _said(table: SignTable, observations: Iterable[Observation]) -> _Said:
    likelihood = np.ones(len(table.states))
    for one in observations:
        likelihood = likelihood * one.likelihood
    level = table.probability @ likelihood
    common = level[table.common]
    ratio = level / common
    least = ratio.min()
    reach = max(-log(least), log(ratio.max())) if least > 0 else inf
    return _Said(ratio, log(common) if common > 0 else -inf, reach)


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """Every lesion as frequent as the story alone makes it; equal only to itself.

    Attributes
    ----------
    model : Model
        The compiled model.
    lesions : ndarray of shape (n_columns,)
        Probability of each lesion; sums to 1.
    sites : ndarray of shape (n_sites,)
        Probability of each site; sums to 1.
    log_sum : float
        Logarithm of what the priors of the sites summed to.
    reach : float
        The greatest logarithm of any lesion's probability, with its sign turned.
    """

    model: Model
    lesions: Array
    sites: Array
    log_sum: float
    reach: float
    _by_level: dict[SignKey, Array] = field(default_factory=dict)

    def by_level(self, sign: SignKey) -> Array:
        """Return the probability of the lesions at each level of a sign, shape (n_levels,)."""
        known = self._by_level.get(sign)
        if known is None:
            table = self.model.signs[sign]
            known = np.bincount(
                table.level_of, weights=self.lesions, minlength=len(table.probability)
            ).astype(np.float64)
            self._by_level[sign] = known
        return known


@lru_cache(maxsize=32)
def field_of(model: Model, story: Story) -> Field:
    """Return every lesion as frequent as a story makes it.

    The incidence of a place with sides is shared equally between them.

    Parameters
    ----------
    model : Model
        The compiled model.
    story : Story
        What the patient told.

    Returns
    -------
    Field
        Kept for the next examination with the same story.
    """
    lesions = model.lesions
    factors = cause_factors(model.atlas, story)
    by_place: Mapping[str, float] = {
        place.id: place.prior * story_factor(place, factors) / (2 if place.paired else 1)
        for place in model.atlas.places.values()
    }
    prior = np.array([by_place[site.place] for site in lesions.sites])
    total = prior.sum()
    each = (prior / total)[lesions.site_of] * lesions.weight
    return Field(model, checked(each), prior / total, log(total), -log(each.min()))


def log_sum(logs: Array) -> float:
    """Return the logarithm of the sum of numbers given by their logarithms, without overflow."""
    most = logs.max()
    return float(most + np.log(np.exp(logs - most).sum()))


def told_apart(number: float) -> float:
    """Return the size of a number, the same for numbers that only rounding tells apart.

    What is equally likely can then stand in an order of its own (by name, say), which is the same
    on every machine and for the mirrored patient.

    Parameters
    ----------
    number : float
        At least 0.

    Returns
    -------
    float
        Its natural logarithm, to nine decimals.
    """
    return round(log(max(number, TINY)), 9)


def entropy_bits(probability: Array) -> float:
    """Return the entropy of a distribution in bits."""
    # Nothing times any logarithm is nothing.
    return -float((probability * np.log2(np.maximum(probability, TINY))).sum())


def _distribution(weight: Array) -> Array:
    """Return weights scaled to sum to 1."""
    return checked(weight * (1 / weight.sum()))


def checked(probability: Array) -> Array:
    """Return a distribution after making sure that it is one.

    Raises
    ------
    ArithmeticError
        If an entry is not finite or out of range, or the sum is not 1.
    """
    # What is not a number is not at least 0 either, and an infinite entry makes the sum infinite.
    if not probability.min() >= 0:
        raise ArithmeticError("a probability is not a number or below 0")
    if not abs(probability.sum() - 1) <= 1e-9:
        raise ArithmeticError(f"probabilities sum to {probability.sum()!r}, not 1")
    return probability
