"""The next most useful test: expected information about the place, per minute at the bedside."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import inf

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Sign
from decussate.examination.bars import bars_against
from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import Catalogue
from decussate.examination.record import ABNORMAL, Examination
from decussate.localisation.model import SignKey, summed_by_level
from decussate.localisation.observation import response_table
from decussate.localisation.pair_posterior import PairPosterior
from decussate.localisation.posterior import Posterior, entropy_bits, told_apart
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


def expected_bits(joint: Array, place_bits: float | None = None) -> float:
    """Return the mutual information of place and response.

    Parameters
    ----------
    joint : ndarray of shape (n_places, n_responses)
        Joint probability of place (a site, or a pair of sites) and response; sums to 1.
    place_bits : float, optional
        Entropy of the place, in bits, if it is known.

    Returns
    -------
    float
        In bits, at least 0.

    References
    ----------
    Lindley DV. On a measure of the information provided by an experiment.
    Ann Math Stat 1956;27:986-1005.
    """
    if place_bits is None:
        place_bits = entropy_bits(joint.sum(axis=1))
    return max(0.0, place_bits + entropy_bits(joint.sum(axis=0)) - entropy_bits(joint))


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
    places = _Places(posterior, pairs)
    options = []
    for test, sign, side in _open(posterior, examination, catalogue):
        known = places.states((sign.id, side))
        if known is None:
            continue
        states, place_bits = known
        bits = expected_bits(states @ _responses(sign, test), place_bits)
        rate = told_apart(bits / (test.seconds + SETTLING_SECONDS))
        options.append((rate, bits, test, (sign.id, side)))
    # What bars a test is looked up for the best alone: those as good as the last, and no further.
    best: dict[SignKey, tuple[float, NextTest]] = {}
    lowest = inf
    for rate, bits, test, key in sorted(options, key=lambda option: -option[0]):
        if len(best) >= most and rate < lowest:
            break
        if key not in best and not bars_against(test, key[1], examination):
            best[key], lowest = (rate, _option(test, key[1], bits)), rate
    ranked = sorted(best.values(), key=lambda one: (-one[0], one[1].test, one[1].side or ""))
    return tuple(option for _, option in ranked[:most] if option.bits > 0.001)


def _open(
    posterior: Posterior, examination: Examination, catalogue: Catalogue
) -> Iterator[tuple[Test, Sign, Side | None]]:
    """Yield the tests that may tell something new, with their sign and side."""
    done = {(found.test, found.side) for found in examination.present()}
    signs_seen = {observation.sign for observation in posterior.observations}
    for test in catalogue:
        if test.sign is None or test.accuracy is None:
            continue
        for side in tuple(Side) if test.sides == "each" else (None,):
            if (test.id, side) in done or (test.sign, side) in signs_seen:
                continue
            if not (test.sums_up and done.issuperset(test.parts(side))):
                yield test, posterior.model.atlas.signs[test.sign], side


@lru_cache(maxsize=1024)
def _responses(sign: Sign, test: Test) -> Array:
    """Return the probability of each response given each grade, shape (n_grades, n_responses)."""
    table = response_table(sign, test)
    return np.stack([row for code, row in table.items() if code != ABNORMAL], axis=1)


class _Places:
    """The likely places: single sites, and pairs of sites when they are weighed too."""

    def __init__(self, posterior: Posterior, pairs: PairPosterior | None) -> None:
        self._model = posterior.model
        two = pairs.two_probability(posterior) if pairs else 0.0
        lesions = (1 - two) * posterior.lesions
        self._likely = np.flatnonzero(lesions > NEGLIGIBLE)
        self._weight = lesions[self._likely]
        _, self._site = np.unique(self._model.lesions.site_of[self._likely], return_inverse=True)
        self._n_sites = int(self._site.max(initial=-1)) + 1
        self._states: dict[SignKey, tuple[Array, float] | None] = {}
        self._pairs = pairs
        if pairs:
            # Loaded late, like the pairs themselves.
            from decussate.localisation.pair_cases import leading_cases

            self._cases = leading_cases(pairs)
            self._pair_weight = two * self._cases.probability
            self._n_pairs = int(self._cases.pair.max(initial=-1)) + 1

    def states(self, sign: SignKey) -> tuple[Array, float] | None:
        """Return the joint probability of place and state of a sign, and the entropy of the place.

        None if every likely lesion leaves the sign alike, so that no test of it tells anything.

        Returns
        -------
        ndarray of shape (n_places, n_states)
            Worked out once for all tests of the sign.
        float
            In bits.
        """
        if sign not in self._states:
            joint = self._joint(sign)
            known = None if joint is None else (joint, entropy_bits(joint.sum(axis=1)))
            self._states[sign] = known
        return self._states[sign]

    def _joint(self, sign: SignKey) -> Array | None:
        table = self._model.signs[sign]
        shape = self._n_sites, len(table.probability)
        level = table.level_of[self._likely]
        if not self._pairs and (level == level[0]).all():
            return None
        one = summed_by_level(self._site, level, self._weight, shape) @ table.probability
        if not self._pairs:
            return one
        both, cases = self._pairs.pair_model.signs[sign], self._cases
        row = both.together[both.code_of[cases.first], both.code_of[cases.second]]
        shape = self._n_pairs, len(both.probability)
        two = summed_by_level(cases.pair, row, self._pair_weight, shape) @ both.probability
        return np.concatenate([one, two])


def _option(test: Test, side: Side | None, bits: float) -> NextTest:
    name = f"{test.name}, {side.value}" if side else test.name
    return NextTest(test.id, side, name, bits, float(test.seconds), tuple(test.cautions))
