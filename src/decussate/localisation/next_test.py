"""The next most useful test: expected information about the place, per minute at the bedside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decussate.examination.bars import bars_against
from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import Catalogue
from decussate.examination.record import ABNORMAL, Examination
from decussate.localisation.observation import response_table
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


def expected_bits(site_level: Array, probability: Array, responses: Array) -> float:
    """Return the mutual information of site and response.

    Parameters
    ----------
    site_level : ndarray of shape (n_sites, n_levels)
        Joint probability of site and level of the sign.
    probability : ndarray of shape (n_levels, n_states)
        State probabilities of each level.
    responses : ndarray of shape (n_states, n_responses)
        Response probabilities of each state; rows sum to 1.

    Returns
    -------
    float
        In bits, at least 0.

    References
    ----------
    Lindley DV. On a measure of the information provided by an experiment.
    Ann Math Stat 1956;27:986-1005.
    """
    joint = site_level @ (probability @ responses)
    of_site, of_response = joint.sum(axis=1), joint.sum(axis=0)
    bits = entropy_bits(of_site) + entropy_bits(of_response) - entropy_bits(joint)
    return max(0.0, bits)


def next_tests(
    posterior: Posterior, examination: Examination, catalogue: Catalogue, *, most: int = 8
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
    most : int, default 8
        How many at the most.

    Returns
    -------
    tuple of NextTest
    """
    model = posterior.model
    lesions = posterior.lesions
    likely = np.flatnonzero(lesions > NEGLIGIBLE)
    weight, site = lesions[likely], model.lesions.site_of[likely]
    sites, site_index = np.unique(site, return_inverse=True)
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
            sign_table = model.signs[key]
            levels = sign_table.level_of[likely].astype(np.intp)
            n_levels = len(sign_table.probability)
            site_level = np.bincount(
                site_index * n_levels + levels, weights=weight, minlength=len(sites) * n_levels
            ).reshape(len(sites), n_levels)
            bits = expected_bits(
                np.asarray(site_level, dtype=np.float64), sign_table.probability, responses
            )
            option = _option(test, side, bits)
            if key not in options or _rate(option) > _rate(options[key]):
                options[key] = option
    ranked = sorted(options.values(), key=lambda o: (-_rate(o), o.test, o.side or ""))
    return tuple(option for option in ranked[:most] if option.bits > 0.001)


def _option(test: Test, side: Side | None, bits: float) -> NextTest:
    name = f"{test.name}, {side.value}" if side else test.name
    return NextTest(test.id, side, name, bits, float(test.seconds), tuple(test.cautions))


def _rate(option: NextTest) -> float:
    return option.bits / (option.seconds + SETTLING_SECONDS)
