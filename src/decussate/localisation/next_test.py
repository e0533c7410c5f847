"""The next most useful test: expected information about the place, per minute at the bedside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decussate.examination.bars import bars_against
from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import Catalogue
from decussate.examination.record import ABNORMAL, Examination
from decussate.localisation.model import SignKey
from decussate.localisation.observation import response_table
from decussate.localisation.pair_posterior import PairPosterior
from decussate.localisation.posterior import Posterior, entropy_bits
from decussate.sides import Side

__all__ = ["NextTest", "expected_bits", "next_tests"]

Array = NDArray[np.float64]

NEGLIGIBLE = 1e-7
"""Lesions less likely than this cannot change the order of tests and are left out."""
SETTLING_SECONDS = 15.0
"""Time to turn to any test, added to its own (judgement); keeps very short tests in proportion."""


@dataclass(frozen=True, slots=True)
class NextTest:
    """A test not yet done, and what it may tell.

    Attributes
    ----------
    test : str
        Test id.
    side : Side or None
        The side to test.
    name : str
        Of the test, with its side in words.
    bits : float
        Expected information about the place, in bits.
    seconds : float
        Usual time.
    cautions : tuple of str
        Keys of the cautions to be heeded.
    """

    test: str
    side: Side | None
    name: str
    bits: float
    seconds: float
    cautions: tuple[str, ...]


def expected_bits(joint: Array) -> float:
    """Return the mutual information of place and response.

    Parameters
    ----------
    joint : ndarray of shape (n_places, n_responses)
        Joint probability of place (a site, or a pair of sites) and response; sums to 1.

    Returns
    -------
    float
        In bits, at least 0.

    References
    ----------
    Lindley DV. On a measure of the information provided by an experiment.
    Ann Math Stat 1956;27:986-1005.
    """
    of_site, of_response = joint.sum(axis=1), joint.sum(axis=0)
    bits = entropy_bits(of_site) + entropy_bits(of_response) - entropy_bits(joint)
    return max(0.0, bits)


def next_tests(
    posterior: Posterior,
    examination: Examination,
    catalogue: Catalogue,
    *,
    pairs: PairPosterior | None = None,
    most: int = 8,
) -> tuple[NextTest, ...]:
    """Return the tests not yet done, the most informative per minute first.

    A sign that was already examined by another test is passed over: the second look at a sign
    shares the slips of the first, which the model does not represent. So is a test that the record
    bars (`decussate.examination.bars`).

    Parameters
    ----------
    posterior : Posterior
        With all observations taken in.
    examination : Examination
        To know what was done.
    catalogue : Catalogue
        The tests.
    pairs : PairPosterior, optional
        Of the same findings. With it, a test is worth what it tells about the place of one lesion
        or of two, each as likely as the findings make it.
    most : int, default 8
        How many at the most.

    Returns
    -------
    tuple of NextTest
    """
    model = posterior.model
    places = _Places(posterior, pairs)
    done = {(found.test, found.side) for found in examination.present()}
    signs_seen = {observation.sign for observation in posterior.observations}
    options: dict[tuple[str, Side | None], NextTest] = {}
    for test in catalogue:
        if test.sign is None or test.accuracy is None:
            continue
        sign = model.atlas.signs[test.sign]
        table = response_table(sign, test)
        responses = np.stack([row for code, row in table.items() if code != ABNORMAL], axis=1)
        for side in tuple(Side) if test.sides == "each" else (None,):
            key = (test.sign, side)
            if (test.id, side) in done or key in signs_seen:
                continue
            if test.sums_up and done.issuperset(test.parts(side)):
                continue
            if bars_against(test, side, examination):
                continue
            bits = expected_bits(places.states(key) @ responses)
            option = _option(test, side, bits)
            if key not in options or _rate(option) > _rate(options[key]):
                options[key] = option
    ranked = sorted(options.values(), key=lambda o: (-_rate(o), o.test, o.side or ""))
    return tuple(option for option in ranked[:most] if option.bits > 0.001)


class _Places:
    """The likely places: single sites, and pairs of sites when they are weighed too."""

    def __init__(self, posterior: Posterior, pairs: PairPosterior | None) -> None:
        self._model = posterior.model
        two = pairs.two_probability(posterior) if pairs else 0.0
        lesions = (1 - two) * posterior.lesions
        self._likely = np.flatnonzero(lesions > NEGLIGIBLE)
        self._weight = lesions[self._likely]
        _, self._site = np.unique(self._model.lesions.site_of[self._likely], return_inverse=True)
        self._pairs = pairs
        if pairs:
            # Loaded late, like the pairs themselves.
            from decussate.localisation.pair_cases import leading_cases

            self._cases = leading_cases(pairs)
            self._pair_weight = two * self._cases.probability

    def states(self, sign: SignKey) -> Array:
        """Return the joint probability of place and state of a sign, (n_places, n_states)."""
        table = self._model.signs[sign]
        levels = table.level_of[self._likely].astype(np.intp)
        one = _counted(self._site, levels, self._weight, len(table.probability))
        if not self._pairs:
            return np.asarray(one @ table.probability)
        both = self._pairs.pair_model.signs[sign]
        cases = self._cases
        row = both.together[both.code_of[cases.first], both.code_of[cases.second]].astype(np.intp)
        two = _counted(cases.pair, row, self._pair_weight, len(both.probability))
        return np.concatenate([one @ table.probability, two @ both.probability])


def _counted(
    place: NDArray[np.intp], level: NDArray[np.intp], weight: Array, n_levels: int
) -> Array:
    """Return the weight of each place and level, shape (n_places, n_levels)."""
    n_places = int(place.max(initial=-1)) + 1
    counted = np.bincount(place * n_levels + level, weights=weight, minlength=n_places * n_levels)
    return np.asarray(counted.reshape(n_places, n_levels), dtype=np.float64)


def _option(test: Test, side: Side | None, bits: float) -> NextTest:
    name = f"{test.name}, {side.value}" if side else test.name
    return NextTest(test.id, side, name, bits, float(test.seconds), tuple(test.cautions))


def _rate(option: NextTest) -> float:
    return option.bits / (option.seconds + SETTLING_SECONDS)
