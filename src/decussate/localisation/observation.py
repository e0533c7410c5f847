"""The observation model: what a recorded response says about the state of a sign."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Sign
from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import Catalogue
from decussate.examination.record import ABNORMAL, COULD_NOT_BE_TESTED, Finding
from decussate.localisation.model import SignKey
from decussate.localisation.states import incidental

__all__ = ["Observation", "observations", "response_table"]

Array = NDArray[np.float64]

GRADE_SLIP = 0.2
"""Probability that an abnormal response of a graded test is one grade off (judgement)."""


@dataclass(frozen=True, slots=True)
class Observation:
    """A finding that bears on a sign.

    Attributes
    ----------
    finding : Finding
        As recorded.
    sign : SignKey
        The sign it bears on.
    likelihood : ndarray of shape (n_states,)
        Probability of the recorded response given each state of the sign.
    before : float
        Probability that the sign was abnormal before, as the known old findings say.
    """

    finding: Finding
    sign: SignKey
    likelihood: Array
    before: float = 0.0


def response_table(sign: Sign, test: Test) -> Mapping[str, Array]:
    """Return the probability of each response of a test given each state of its sign.

    A healthy state gives a normal response with the test's specificity (a false alarm is mostly
    mild, as in `states.incidental`), an abnormal state an abnormal response with the probability
    stated for it. Among abnormal responses, a graded test slips by one grade with probability
    `GRADE_SLIP`, and any other test names the wrong side or kind with the test's `wrong_side`.

    Parameters
    ----------
    sign : Sign
        The sign the test reveals.
    test : Test
        The test; its ``accuracy`` must be given.

    Returns
    -------
    Mapping of str to ndarray of shape (n_states,)
        By response code. For each state the codes' probabilities sum to 1, several codes of one
        state sharing it equally; ``abnormal`` besides, the sum over all abnormal states.
    """
    accuracy = test.accuracy
    if accuracy is None:
        raise ValueError(f"{test.id} has no accuracy")
    states = sign.states
    healthy = states.index(sign.neutral)
    abnormal = [i for i in range(len(states)) if i != healthy]
    reported = np.zeros((len(states), len(states)))
    reported[healthy, healthy] = accuracy.specificity
    reported[healthy] += (1 - accuracy.specificity) * incidental(sign)
    for i in abnormal:
        found = accuracy.abnormal_given(states[i])
        slip = GRADE_SLIP if accuracy.present is None else accuracy.wrong_side
        others = [j for j in abnormal if j != i]
        reported[i, healthy] = 1 - found
        reported[i, i] = found * (1 - slip if others else 1)
        for j in others:
            reported[i, j] = found * slip / len(others)
    by_state = {state: reported[:, i] for i, state in enumerate(states)}
    codes: dict[str, list[str]] = {}
    for code, response in test.responses.items():
        if response.state is not None:
            codes.setdefault(response.state, []).append(code)
    table = {
        code: by_state[state] / len(sharing) for state, sharing in codes.items() for code in sharing
    }
    table[ABNORMAL] = reported[:, abnormal].sum(axis=1)
    return table


def observations(
    findings: Iterable[Finding], catalogue: Catalogue, signs: Mapping[str, Sign]
) -> tuple[Observation, ...]:
    """Return what each finding says; a finding that bears on no sign says nothing.

    Parameters
    ----------
    findings : iterable of Finding
        Those that stand (see `Examination.present`).
    catalogue : Catalogue
        The tests.
    signs : Mapping of str to Sign
        The signs of the atlas.

    Returns
    -------
    tuple of Observation
        In the order of the findings.
    """
    result = []
    for finding in findings:
        test = catalogue.test(finding.test)
        if test.sign is None or test.accuracy is None or finding.response == COULD_NOT_BE_TESTED:
            continue
        likelihood = response_table(signs[test.sign], test).get(finding.response)
        if likelihood is not None:
            result.append(Observation(finding, (test.sign, finding.side), likelihood))
    return tuple(result)
