"""What a measured value says: the probability of each reading given each grade of a sign.

The true value of a patient of some grade lies anywhere in the range of values of that grade, and
one measurement adds a normal error. A reading stands for the values nearest to it; the worst stands
for everything beyond (floor and ceiling). A word (``reduced``, ``absent``) is a reading put less
carefully: what it says is a mixture of what the readings say. Readings within the limits of normal
are left out, since how often disease is missed is stated for the test as a whole.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from math import erf, exp, inf, isinf, log10, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from decussate.examination.bedside_test import Grading

__all__ = ["band_shares", "grade_shares", "graded_in_words", "value_shares"]

Array = NDArray[np.float64]

BLUNDER = 0.1
"""Probability that an abnormal reading could be that of any grade, miswritten (judgement)."""
WORDS_ERROR = 1.0
"""Standard deviation of a grade given in words, in grades (judgement; docs/decisions.md)."""


@cache
def graded_in_words(grades: int) -> Grading:
    """Return the grading of a test whose responses are words: grade k reads k.

    Parameters
    ----------
    grades : int
        Number of abnormal grades of one side.
    """
    begins = tuple(float(k) for k in range(1, grades + 1))
    return Grading(begins, float(grades), WORDS_ERROR, 1.0, False, "judgement", "")


def band_shares(grading: Grading, low: float, high: float) -> Array:
    """Return the probability that an abnormal reading lies in a band.

    Parameters
    ----------
    grading : Grading
        Of the test.
    low, high : float
        Readings from `low` up to but not including `high`, in the unit of the test.

    Returns
    -------
    ndarray of shape (n_grades,)
        Given each grade, mildest first; 1 for all abnormal readings together.
    """
    return np.array(_shares(grading, *_limits(grading, low, high)))


def value_shares(grading: Grading, value: float) -> Array:
    """Return the probability that an abnormal reading is one value.

    Parameters
    ----------
    grading : Grading
        Of the test.
    value : float
        In the unit of the test. A value nearer to normal than the first abnormal reading, or worse
        than the worst, counts as that.

    Returns
    -------
    ndarray of shape (n_grades,)
        Given each grade, mildest first; the sum over values a `step` apart is 1.
    """
    first, last = _worse(grading, grading.begins[0]), _worse(grading, grading.ends)
    at = min(max(_worse(grading, value), first), last)
    half = grading.step / 2
    return np.array(_shares(grading, at - half, inf if at == last else at + half))


def grade_shares(grading: Grading) -> Array:
    """Return the probability that an abnormal reading means each grade.

    Parameters
    ----------
    grading : Grading
        Of the test.

    Returns
    -------
    ndarray of shape (n_grades, n_grades)
        Rows are the true grade, columns that of the reading, mildest first; rows sum to 1.
    """
    half = grading.step / 2
    edges = [*(_worse(grading, value) - half for value in grading.begins), inf]
    return np.array([_shares(grading, *ends) for ends in pairwise(edges)]).T


def _worse(grading: Grading, value: float) -> float:
    """Return a value on an axis that rises as the patient gets worse."""
    place = log10(value) if grading.logarithmic and not isinf(value) else value
    return place if grading.ends >= grading.begins[0] else -place


def _limits(grading: Grading, low: float, high: float) -> tuple[float, float]:
    """Return the true values, on the axis of `_worse`, that read from `low` up to `high`."""
    ends = sorted((_worse(grading, low), _worse(grading, high)))
    # `high` itself is not of the band, so that readings lie half a step nearer to `low`.
    shift = grading.step / 2 * (-1 if grading.ends >= grading.begins[0] else 1)
    return ends[0] + shift, ends[1] + shift


@cache
def _shares(grading: Grading, low: float, high: float) -> tuple[float, ...]:
    half = grading.step / 2
    begins = [_worse(grading, value) - half for value in grading.begins]
    end = _worse(grading, grading.ends) + half
    low = max(low, begins[0])
    careful = []
    for start, stop in zip(begins, [*begins[1:], end], strict=True):
        abnormal = 1 - _below(begins[0], start, stop, grading.error)
        inside = _below(high, start, stop, grading.error) - _below(low, start, stop, grading.error)
        careful.append(inside / abnormal)
    blundered = sum(careful) / len(careful)
    return tuple((1 - BLUNDER) * share + BLUNDER * blundered for share in careful)


def _below(reading: float, start: float, stop: float, error: float) -> float:
    """Return the chance that a value between `start` and `stop`, with error, reads below `reading`.

    The integral of the normal distribution function over the range, divided by its width.
    """
    if isinf(reading):
        return float(reading > 0)

    def integral(z: float) -> float:
        return z * (1 + erf(z / sqrt(2))) / 2 + exp(-z * z / 2) / sqrt(2 * pi)

    above, below = (reading - start) / error, (reading - stop) / error
    return (integral(above) - integral(below)) * error / (stop - start)
