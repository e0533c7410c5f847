"""From the level of a sign to the probability of each of its states."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Sign

__all__ = ["incidental", "state_probabilities"]

Array = NDArray[np.float64]

MILD_SHARE = 0.85
"""Of abnormal states met without a relevant lesion, the share that is mild (judgement)."""


def incidental(sign: Sign) -> Array:
    """Return how abnormal states met without a relevant lesion divide among the states.

    Returns
    -------
    ndarray of shape (n_states,)
        0 for the state of health; sums to 1.
    """
    share = np.array([0.0 if state == sign.neutral else 1.0 for state in sign.states])
    if sign.states == ("normal", "partial", "complete"):
        share = np.array([0.0, MILD_SHARE, 1 - MILD_SHARE])
    return np.asarray(share / share.sum())


def state_probabilities(sign: Sign, values: Array) -> Array:
    """Return the probability of each state for given levels or strengths.

    A level blurs into the states near it (a normal density of the scale's `blur` around each
    state's level, normalised); `shows` is the chance that an abnormal state can be seen at all; the
    sign's `background` then turns that share of healthy states into incidental abnormal ones.

    Parameters
    ----------
    sign : Sign
        The sign.
    values : ndarray of shape (n,) or (n, n_states)
        Levels of a graded sign, or strengths of a sign with categories.

    Returns
    -------
    ndarray of shape (n, n_states)
        Rows sum to 1; no entry is 0 or 1.
    """
    if sign.scale is not None:
        at = np.array(list(sign.scale.states.values()))
        distance = (values[:, None] - at[None, :]) / sign.scale.blur
        probability = np.exp(-0.5 * distance**2)
        probability /= probability.sum(axis=1, keepdims=True)
    else:
        probability = values.copy()
    healthy = sign.states.index(sign.neutral)
    seen = probability * sign.shows
    seen[:, healthy] += 1 - sign.shows
    chance_met = seen[:, healthy] * sign.background
    seen[:, healthy] -= chance_met
    return np.asarray(seen + chance_met[:, None] * incidental(sign)[None, :])
