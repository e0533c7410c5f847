"""From the level of a sign to the probability of each of its grades."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Sign
from decussate.anatomy.signs import Scale

__all__ = ["grade_probabilities", "incidental", "state_probabilities"]

Array = NDArray[np.float64]

MILD_SHARE = 0.85
"""Of abnormal states met without a relevant lesion, the share that is mild (judgement)."""


def incidental(sign: Sign) -> Array:
    """Return how abnormal grades met without a relevant lesion divide among the grades.

    Parameters
    ----------
    sign : Sign
        The sign.

    Returns
    -------
    ndarray of shape (n_grades,)
        0 for health; sums to 1. Abnormal states share equally (partial loss takes `MILD_SHARE` from
        complete loss); within a state each grade is met as the scale says (`met`), or else half as
        often as the next milder one.
    """
    share = np.zeros(len(sign.grades))
    of_state = dict.fromkeys(sign.by_severity, 1.0)
    if sign.states == ("normal", "partial", "complete"):
        of_state = {"partial": MILD_SHARE, "complete": 1 - MILD_SHARE}
    for state, grades in sign.by_severity.items():
        halves = 0.5 ** np.arange(len(grades))
        met = np.array(sign.scale.met) if sign.scale and sign.scale.met else halves / halves.sum()
        share[list(grades)] = of_state[state] * met
    return np.asarray(share / share.sum())


def _kernel(values: Array, at: Array, blur: float) -> Array:
    """Return a normal density around each level, each row summing to 1."""
    logs = -0.5 * ((values[:, None] - at[None, :]) / blur) ** 2
    density = np.exp(logs - logs.max(axis=1, keepdims=True))
    return np.asarray(density / density.sum(axis=1, keepdims=True))


def grade_probabilities(scale: Scale, levels: Array) -> Array:
    """Return the probability of each grade: that of its state, times that of the grade within it.

    Two steps, because grades lie closer together than health and disease: one blur for both would
    let a healthy pathway show slight loss, or a half-blocked one always the same grade.

    Parameters
    ----------
    scale : Scale
        Of the sign.
    levels : ndarray of shape (n,)
        Of the pathway.

    Returns
    -------
    ndarray of shape (n, n_grades)
        Rows sum to 1.
    """
    at = np.array(list(scale.states.values()))
    states = _kernel(np.clip(levels, at[0], at[-1]), at, scale.blur)
    result = np.empty((len(levels), len(scale.grades)))
    grades = list(scale.grades.values())
    for column, state in enumerate(scale.states):
        here = [i for i, (of, _) in enumerate(grades) if of == state]
        within = _kernel(levels, np.array([grades[i][1] for i in here]), scale.grade_blur)
        result[:, here] = states[:, column, None] * within
    return result


def state_probabilities(sign: Sign, values: Array) -> Array:
    """Return the probability of each grade for given levels or strengths.

    A level blurs into the states near it (a normal density of the scale's `blur` around each
    state's level, normalised), and within a state into the grades near it; `shows` is the chance
    that an abnormal state can be seen at all; the sign's `background` then turns that share of
    healthy states into incidental abnormal ones.

    Parameters
    ----------
    sign : Sign
        The sign.
    values : ndarray of shape (n,) or (n, n_states)
        Levels of a sign with a scale, or strengths of a sign with categories.

    Returns
    -------
    ndarray of shape (n, n_grades)
        Rows sum to 1; no entry is 0 or 1.
    """
    probability = (
        grade_probabilities(sign.scale, values) if sign.scale is not None else values.copy()
    )
    seen = probability * sign.shows
    seen[:, sign.healthy] += 1 - sign.shows
    chance_met = seen[:, sign.healthy] * sign.background
    seen[:, sign.healthy] -= chance_met
    return np.asarray(seen + chance_met[:, None] * incidental(sign)[None, :])
