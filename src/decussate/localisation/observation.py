"""The observation model: what a recorded response says about the state of a sign."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import inf
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Sign
from decussate.examination.bedside_test import Grading, Measurement, Test
from decussate.examination.catalogue import Catalogue
from decussate.examination.checking import measured_number, measured_response
from decussate.examination.record import ABNORMAL, COULD_NOT_BE_TESTED, Finding
from decussate.localisation.model import SignKey
from decussate.localisation.readings import (
    band_shares,
    grade_shares,
    graded_in_words,
    value_shares,
)
from decussate.localisation.states import incidental

__all__ = ["Observation", "counted", "finding_likelihood", "observations", "response_table"]

Array = NDArray[np.float64]

NORMAL = "normal"


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
        Probability of what was recorded given each state of the sign, graded ones by grade.
    before : float
        Probability that the sign was abnormal before, as the known old findings say.
    with_old : ndarray of shape (n_states, n_states) or None
        Probability of each state as it stands (last axis) given what the new lesion alone would
        make it, when something is known of old.
    """

    finding: Finding
    sign: SignKey
    likelihood: Array
    before: float = 0.0
    with_old: Array | None = None


@lru_cache(maxsize=2048)
def response_table(sign: Sign, test: Test) -> Mapping[str, Array]:
    """Return the probability of each response of a test given each grade of its sign.

    A healthy state gives a normal response with the test's specificity, an abnormal grade an
    abnormal response with the probability stated for its state. Which abnormal response it is
    follows for a graded test from the grade and the error of grading
    (`decussate.localisation.readings`); any other test names the wrong side or kind with the test's
    `wrong_side`. A false alarm looks like what is met without a relevant lesion
    (`states.incidental`).

    Parameters
    ----------
    sign : Sign
        The sign the test reveals.
    test : Test
        The test; its ``accuracy`` must be given.

    Returns
    -------
    Mapping of str to ndarray of shape (n_grades,)
        By response code. For each grade the codes' probabilities sum to 1; ``abnormal`` besides,
        the sum over all abnormal codes.
    """
    found = _found(sign, test)
    alarms = incidental(sign)
    table = {NORMAL: 1 - found}
    for code, named in _named(sign, test).items():
        table[code] = found * _with_alarms(sign, named, alarms)
    table[ABNORMAL] = found
    for row in table.values():
        row.flags.writeable = False  # it is kept for the next who asks
    return MappingProxyType(table)


def finding_likelihood(sign: Sign, test: Test, finding: Finding) -> Array | None:
    """Return the probability of a finding given each grade of its sign.

    A measured value that has grades says more than its response, and takes its place: they are
    one finding. The probabilities of all abnormal values add up to that of ``abnormal``, and those
    of each other response are a mixture of them.

    Parameters
    ----------
    sign : Sign
        The sign the test reveals.
    test : Test
        The test; its ``accuracy`` must be given.
    finding : Finding
        Of that test.

    Returns
    -------
    ndarray of shape (n_grades,) or None
        None if the response says nothing of the sign.

    Raises
    ------
    BadInput
        If the value is not possible, or in another unit.
    """
    scale, measured = test.measurement, finding.measurement
    if measured is None or scale is None or scale.grading is None or finding.response == NORMAL:
        return response_table(sign, test).get(finding.response)
    meant = measured_response(test, measured) or finding.response
    if meant not in _abnormal_codes(test) or finding.response not in (meant, ABNORMAL):
        # Value and response contradict one another; what the examiner called it stands.
        return response_table(sign, test).get(finding.response)
    return _value_likelihood(sign, test, scale.grading, meant, measured_number(test, measured))


@lru_cache(maxsize=4096)
def _value_likelihood(sign: Sign, test: Test, grading: Grading, meant: str, value: float) -> Array:
    """Return the probability of a measured value that means a response, given each grade."""
    of_value = value_shares(grading, value)
    if _named_by_value(test):
        shares = _in_order(sign, of_value)
    else:
        each = np.zeros(len(sign.grades))
        for grades in sign.by_severity.values():
            each[list(grades)] = of_value
        shares = each * _named(sign, test)[meant]
    likelihood = _found(sign, test) * _with_alarms(sign, shares, incidental(sign))
    likelihood.flags.writeable = False
    return likelihood


def _found(sign: Sign, test: Test) -> Array:
    """Return the probability of an abnormal response given each grade."""
    accuracy = test.accuracy
    if accuracy is None:
        raise ValueError(f"{test.id} has no accuracy")
    return np.array(
        [
            1 - accuracy.specificity if state == sign.neutral else accuracy.abnormal_given(state)
            for state in sign.grades.values()
        ]
    )


def _abnormal_codes(test: Test) -> Mapping[str, str]:
    """Return the state of each abnormal response."""
    responses = test.responses.values()
    return {r.code: r.state for r in responses if r.code != NORMAL and r.state is not None}


def _named(sign: Sign, test: Test) -> Mapping[str, Array]:
    """Return the probability of each code, given each abnormal grade and an abnormal response."""
    codes = _abnormal_codes(test)
    sharing = Counter(codes.values())
    if test.accuracy is not None and test.accuracy.present is not None:
        others = max(1, len(sign.by_severity) - 1)
        slip = test.accuracy.wrong_side / others
        right = 1 - test.accuracy.wrong_side
        own = list(sign.grades.values())
        return {
            code: np.array([right if state == named else slip for state in own]) / sharing[named]
            for code, named in codes.items()
        }
    scale = test.measurement
    grading = scale.grading if scale is not None else None
    if scale is not None and grading is not None and len(codes) > len(sharing):
        # Each code is a grade by itself, as given by the bands.
        return {code: _in_order(sign, band_shares(grading, *_band(scale, code))) for code in codes}
    order = [sign.grades[grade] for grade in sign.severity]
    result = {}
    for code, state in codes.items():
        first, number = order.index(state) + 1, order.count(state)
        high = inf if first + number > len(order) else first + number
        said = band_shares(graded_in_words(len(order)), first, high)
        if grading is not None:
            said = grade_shares(grading) @ said
        result[code] = _in_order(sign, said) / sharing[state]
    return result


def _named_by_value(test: Test) -> bool:
    """Whether the measured value alone decides the response."""
    return test.measurement is not None and bool(test.measurement.bands)


def _band(scale: Measurement, code: str) -> tuple[float, float]:
    """Return where the readings of a response begin and end; the first and last band are open."""
    for band in scale.bands:
        if band.response == code:
            first, last = band is scale.bands[0], band is scale.bands[-1]
            return -inf if first else band.low, inf if last else band.high
    return -inf, inf


def _in_order(sign: Sign, by_severity: Array) -> Array:
    """Return probabilities given by severity in the order of the grades; health is left at 0."""
    result = np.zeros(len(sign.grades))
    result[[i for grades in sign.by_severity.values() for i in grades]] = by_severity
    return result


def _with_alarms(sign: Sign, shares: Array, alarms: Array) -> Array:
    """Return probabilities given each abnormal grade with that of a false alarm put at health."""
    shares[sign.healthy] = 0.0
    shares[sign.healthy] = alarms @ shares
    return shares


def counted(findings: Iterable[Finding], catalogue: Catalogue) -> tuple[Finding, ...]:
    """Return the findings without those that were not obtained or only sum up others.

    Parameters
    ----------
    findings : iterable of Finding
        Those that stand.
    catalogue : Catalogue
        The tests.

    Returns
    -------
    tuple of Finding
        In their order.
    """
    obtained = [one for one in findings if one.response != COULD_NOT_BE_TESTED]
    recorded = {(one.test, one.side) for one in obtained}

    def adds_nothing(one: Finding) -> bool:
        parts = catalogue.test(one.test).parts(one.side)
        return bool(parts) and recorded.issuperset(parts)

    return tuple(one for one in obtained if not adds_nothing(one))


def observations(
    findings: Iterable[Finding], catalogue: Catalogue, signs: Mapping[str, Sign]
) -> tuple[Observation, ...]:
    """Return what each finding says; a finding that bears on no sign says nothing.

    Nor does one that only sums up others once they are all recorded (`Test.sums_up`): a facial
    grade beside brow, eyes and mouth, a gaze palsy beside both eyes.

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
    for finding in counted(findings, catalogue):
        test = catalogue.test(finding.test)
        if test.sign is None or test.accuracy is None:
            continue
        likelihood = finding_likelihood(signs[test.sign], test, finding)
        if likelihood is not None:
            result.append(Observation(finding, (test.sign, finding.side), likelihood))
    return tuple(result)
