"""The exact posterior over every lesion, updated one sign at a time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from decussate.examination.record import Story
from decussate.localisation.model import Model, SignKey
from decussate.localisation.observation import Observation
from decussate.localisation.story import cause_factors, story_factor

__all__ = ["Posterior"]

Array = NDArray[np.float64]


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
    """

    def __init__(
        self, model: Model, story: Story, observations: Iterable[Observation] = ()
    ) -> None:
        self.model = model
        self.story = story
        self._by_sign: dict[SignKey, dict[str, Observation]] = {}
        self._log_sign: dict[SignKey, Array] = {}
        self.log_prior = log_prior(model, story)
        self._log_joint = self.log_prior + np.log(model.lesions.weight)
        for observation in observations:
            self.add(observation)

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
        known = self._by_sign[sign]
        before = self._log_sign.pop(sign, None)
        if before is not None:
            self._log_joint -= before
        if known:
            self._log_sign[sign] = self.log_likelihood(sign, known.values())
            self._log_joint += self._log_sign[sign]

    def log_likelihood(self, sign: SignKey, observations: Iterable[Observation]) -> Array:
        """Return log P(responses | lesion) for the observations of one sign, shape (n_columns,)."""
        table = self.model.signs[sign]
        state = np.ones(len(table.states))
        for observation in observations:
            state = state * observation.likelihood
        # Every index is in range; "clip" spares a check of each.
        return np.log(table.probability @ state).take(table.level_of, mode="clip")

    def without(self, observation: Observation) -> Array:
        """Return the log joint of the lesions with one observation left out, shape (n_columns,)."""
        sign = observation.sign
        others = [
            other for test, other in self._by_sign[sign].items() if test != observation.finding.test
        ]
        left = self._log_joint - self._log_sign[sign]
        return left + self.log_likelihood(sign, others) if others else left

    def sign_likelihoods(self) -> Mapping[SignKey, Array]:
        """Return, for each observed sign, the probability of its responses given each state."""
        return {
            sign: np.prod([one.likelihood for one in known.values()], axis=0)
            for sign, known in self._by_sign.items()
            if known
        }

    @property
    def field(self) -> Array:
        """Probability of each lesion given the story alone, shape (n_columns,); sums to 1."""
        logs = self.log_prior + np.log(self.model.lesions.weight)
        return checked(np.exp(logs - log_sum(logs)))

    @property
    def log_joint(self) -> Array:
        """Log of prior times likelihood of each lesion, not normalised, shape (n_columns,).

        It changes with the next observation: copy what is to be kept.
        """
        return self._log_joint

    @property
    def observations(self) -> tuple[Observation, ...]:
        """All observations taken in."""
        return tuple(one for known in self._by_sign.values() for one in known.values())

    @property
    def lesions(self) -> Array:
        """Probability of each lesion (column), shape (n_columns,); sums to 1."""
        weight = self._log_joint - self._log_joint.max()
        # In place: fresh memory would cost as much as the arithmetic.
        np.exp(weight, out=weight)
        weight /= weight.sum()
        return checked(weight)

    @property
    def sites(self) -> Array:
        """Probability of each site (place and side), shape (n_sites,); sums to 1."""
        return checked(np.add.reduceat(self.lesions, self.model.starts))

    @property
    def log_evidence(self) -> float:
        """Natural logarithm of the probability of all observations under the model."""
        return log_sum(self._log_joint) - log_sum(self.log_prior_sites())

    def log_prior_sites(self) -> Array:
        """Return the log prior of each site, shape (n_sites,), not normalised."""
        return np.asarray(self.log_prior[self.model.starts])


def log_sum(logs: Array) -> float:
    """Return the logarithm of the sum of numbers given by their logarithms, without overflow."""
    most = logs.max()
    return float(most + np.log(np.exp(logs - most).sum()))


def entropy_bits(probability: Array) -> float:
    """Return the entropy of a distribution in bits."""
    some = probability[probability > 0]
    return float(-(some * np.log2(some)).sum())


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


def log_prior(model: Model, story: Story) -> Array:
    """Return the log prior of each lesion's site given the story, shape (n_columns,).

    The incidence of a place with sides is shared equally between them.
    """
    factors = cause_factors(model.atlas, story)
    by_place: Mapping[str, float] = {
        place.id: place.prior * story_factor(place, factors) / (2 if place.paired else 1)
        for place in model.atlas.places.values()
    }
    by_site = np.log([by_place[site.place] for site in model.lesions.sites])
    return np.asarray(by_site[model.lesions.site_of])
