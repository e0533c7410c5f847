"""Known old findings: what was there before speaks for an old lesion, not for the new one.

The findings marked as old are explained first, by a lesion of their own. What that old lesion does
to every other sign is then taken into the likelihood of what was found now: a sign as it stands is
the old state and the new one together. A finding that the old lesion explains so argues for nothing
new, while one that is worse than the old lesion makes it still argues for what makes it worse.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Sign
from decussate.examination.record import Story
from decussate.localisation.model import Model, SignKey
from decussate.localisation.observation import Observation
from decussate.localisation.posterior import Posterior
from decussate.localisation.states import grade_probabilities
from decussate.sides import Side

__all__ = ["both_states", "conditioned_on_old"]

Array = NDArray[np.float64]


def both_states(sign: Sign) -> Array:
    """Return the state of a sign when an old state and a new one come together.

    A healthy state leaves the other as it is. Two losses multiply what is left of conduction;
    two imbalances add up, so that opposite ones cancel. The level so reached is shared among the
    grades near it as by `states.grade_probabilities`. Of two abnormal categories the new one shows.

    Parameters
    ----------
    sign : Sign
        The sign.

    Returns
    -------
    ndarray of shape (n_grades, n_grades, n_grades)
        Probability of each grade (last axis) for an old (first axis) and a new one (second axis).
    """
    n = len(sign.grades)
    healthy = sign.healthy
    together = np.zeros((n, n, n))
    for old in range(n):
        for new in range(n):
            if old == healthy or new == healthy or sign.scale is None:
                together[old, new, old if new == healthy else new] = 1.0
                continue
            at = np.array([level for _, level in sign.scale.grades.values()])
            if at.min() >= 0:
                level = 1 - (1 - at[old]) * (1 - at[new])
            else:
                level = float(np.clip(at[old] + at[new], at.min(), at.max()))
            together[old, new] = grade_probabilities(sign.scale, np.array([level]))[0]
    return together


def conditioned_on_old(
    model: Model,
    observations: Iterable[Observation],
    known_old: Collection[tuple[str, Side | None]],
) -> tuple[Observation, ...]:
    """Return the observations as they bear on a new lesion, given which findings are old.

    Parameters
    ----------
    model : Model
        The compiled model.
    observations : iterable of Observation
        All that was found, old and new.
    known_old : collection of (str, Side or None)
        Test and side of the findings that were there before.

    Returns
    -------
    tuple of Observation
        In the same order; `Observation.likelihood` is now that of the response given the state the
        *new* lesion would give the sign alone.

    Notes
    -----
    The old lesion has the posterior of its own findings under the priors of places, without the
    story, which is that of the new illness. Signs are conditioned one by one: given the old
    findings, the old states of two signs are taken as independent.
    """
    seen = tuple(observations)
    is_old = [(one.finding.test, one.finding.side) in known_old for one in seen]
    if not any(is_old):
        return seen
    before = Posterior(model, Story(), [one for one, old in zip(seen, is_old, strict=True) if old])
    lesions = before.lesions
    told = before.sign_likelihoods()
    result = []
    for one in seen:
        was = _old_state(model, one.sign, lesions, told.get(one.sign))
        sign = model.atlas.signs[one.sign[0]]
        with_old = np.tensordot(was, both_states(sign), axes=1)
        likelihood = with_old @ one.likelihood
        abnormal = float(1 - was[sign.healthy])
        result.append(replace(one, likelihood=likelihood, before=abnormal, with_old=with_old))
    return tuple(result)


def _old_state(model: Model, sign: SignKey, lesions: Array, told: Array | None) -> Array:
    """Return the probability of each state of a sign under the old lesion, shape (n_states,)."""
    table = model.signs[sign]
    levels = np.bincount(table.level_of, weights=lesions, minlength=len(table.probability))
    states = table.probability if told is None else table.probability * told
    states = states / states.sum(axis=1, keepdims=True)
    return np.asarray(levels @ states)
