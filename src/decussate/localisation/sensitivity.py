"""How far the leading answers move when what the model takes as known moves.

Three kinds of numbers are uncertain: how common each place is, how often each test is wrong in
health, and how often it finds what is there. They are moved together, at random within stated
limits, and the posterior is worked out anew each time. A number belongs to a place or a test, not
to a side, so both sides move alike and a mirrored examination has the mirrored bands.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Sign
from decussate.examination.bedside_test import Accuracy, Test
from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.examination.record import Examination, Finding
from decussate.localisation.localise import posterior_of, site_name
from decussate.localisation.model import Model
from decussate.localisation.observation import Observation, finding_likelihood
from decussate.localisation.posterior import Posterior
from decussate.sides import Side

__all__ = ["ProbabilityBand", "Spread", "sensitivity"]

Array = NDArray[np.float64]

DRAWS = 256
"""Sets of numbers tried; half of them mirror the other half about the stated values."""
SEED = 1
"""Fixed: the same examination has the same band."""
LEFT_OUT = 1e-5
"""The least likely lesions are left out up to this sum; they could not come to matter."""
WITHIN = 0.9
"""The band holds this share of the draws."""


@dataclass(frozen=True, slots=True)
class Spread:
    """How far each kind of number may be off; the published sources rarely give an interval.

    Attributes
    ----------
    incidence : float
        Factor by which a place may be commoner or rarer (judgement).
    false_alarms : float
        Factor on the share of healthy patients in whom a test is abnormal (judgement).
    detection : float
        Difference, in the natural logarithm of the odds, of finding what is there (judgement).
    """

    incidence: float = 2.0
    false_alarms: float = 1.5
    detection: float = 0.5


@dataclass(frozen=True, slots=True)
class ProbabilityBand:
    """A leading candidate and how far its probability moves.

    Attributes
    ----------
    place, name : str
        Key, and the name with its side in words.
    side : Side or None
    probability : float
        With every number as stated.
    low, high : float
        What nine in ten of the draws lie within.
    first : float
        Share of the draws in which it stays, or comes, first.
    """

    place: str
    name: str
    side: Side | None
    probability: float
    low: float
    high: float
    first: float


def sensitivity(
    examination: Examination,
    model: Model | None = None,
    catalogue: Catalogue | None = None,
    *,
    most: int = 5,
    spread: Spread | None = None,
) -> tuple[ProbabilityBand, ...]:
    """Return the leading candidates with the band in which their probability moves.

    Parameters
    ----------
    examination : Examination
        What was found.
    model : Model, optional
        That of the package by default.
    catalogue : Catalogue, optional
        That of the package by default.
    most : int, default 5
        How many candidates.
    spread : Spread, optional
        How far the numbers may be off; by default as `Spread` states.

    Returns
    -------
    tuple of ProbabilityBand
        In the order of `localise`.
    """
    catalogue = catalogue or load_catalogue()
    posterior = posterior_of(examination, model, catalogue)
    stated = posterior.sites
    moved = moved_sites(posterior, catalogue, spread or Spread())
    low, high = np.quantile(moved, [(1 - WITHIN) / 2, (1 + WITHIN) / 2], axis=1)
    first = np.bincount(moved.argmax(axis=0), minlength=len(stated)) / moved.shape[1]
    names = [site_name(posterior.model, index) for index in range(len(stated))]
    order = sorted(range(len(stated)), key=lambda k: (-stated[k], names[k]))[:most]
    sites = posterior.model.lesions.sites
    return tuple(
        ProbabilityBand(
            sites[k].place, names[k], sites[k].side,
            float(stated[k]), float(low[k]), float(high[k]), float(first[k]),
        )
        for k in order
    )  # fmt: skip


def moved_sites(posterior: Posterior, catalogue: Catalogue, spread: Spread) -> Array:
    """Return the probability of each site under each draw.

    The least likely lesions are left out, up to a sum of `LEFT_OUT`.

    Returns
    -------
    ndarray of shape (n_sites, DRAWS)
        Columns sum to 1.
    """
    model = posterior.model
    places, tests = draws(model, catalogue)
    likely = _likely(posterior.lesions)
    site = model.lesions.site_of[likely]
    place_row = {place: row for row, place in enumerate(model.atlas.places)}
    of_site = np.array([place_row[s.place] for s in model.lesions.sites])
    prior = posterior.log_prior[likely] + np.log(model.lesions.weight[likely])
    logs = prior[:, None] + (np.log(spread.incidence) * places)[of_site[site]]
    by_sign: dict[tuple[str, Side | None], Array] = {}
    for observation in posterior.observations:
        moved = _moved_likelihood(
            observation, catalogue, tests[observation.finding.test], spread, model
        )
        before = by_sign.get(observation.sign)
        by_sign[observation.sign] = moved if before is None else before * moved
    for key, likelihood in by_sign.items():
        table = model.signs[key]
        logs += np.log(table.probability @ likelihood)[table.level_of[likely]]
    weight = np.exp(logs - logs.max(axis=0))
    sums = np.zeros((len(model.lesions.sites), weight.shape[1]))
    present, starts = np.unique(site, return_index=True)
    sums[present] = np.add.reduceat(weight, starts, axis=0)
    return np.asarray(sums / sums.sum(axis=0))


def _likely(lesions: Array) -> NDArray[np.intp]:
    order = np.argsort(lesions, kind="stable")
    few = np.searchsorted(np.cumsum(lesions[order]), LEFT_OUT)
    # Lesions as likely as the least likely one kept stay, or a mirrored patient would keep others.
    return np.flatnonzero(lesions >= lesions[order[few]] * (1 - 1e-6))


def draws(model: Model, catalogue: Catalogue) -> tuple[Array, Mapping[str, Array]]:
    """Return where between its limits, from -1 to 1, each number lies in each draw.

    Returns
    -------
    ndarray of shape (n_places, DRAWS)
        For the incidence of each place of the atlas.
    Mapping of str to ndarray of shape (2, DRAWS)
        For the false alarms and the detection of each test.
    """
    chance = np.random.default_rng(SEED)
    names = [test.id for test in catalogue]
    count = len(model.atlas.places) + 2 * len(names)
    half = chance.uniform(-1, 1, (count, DRAWS // 2))
    every = np.concatenate([half, -half], axis=1)
    places = every[: len(model.atlas.places)]
    tests = every[len(model.atlas.places) :].reshape(len(names), 2, DRAWS)
    return places, dict(zip(names, tests, strict=True))


def _moved_likelihood(
    observation: Observation,
    catalogue: Catalogue,
    moves: Array,
    spread: Spread,
    model: Model,
) -> Array:
    """Return the probability of a response given each state under each draw.

    The probability is linear in the one number on which a state's responses depend, so two tables,
    one with every number at its low end and one at its high end, are enough.
    """
    test = catalogue.test(observation.finding.test)
    sign = model.atlas.signs[observation.sign[0]]
    accuracy = test.accuracy
    if accuracy is None:
        raise ValueError(f"{test.id} has no accuracy")
    ends = [_at(accuracy, move, move, spread) for move in (-1.0, 1.0)]
    if ends[0] == ends[1]:
        return np.repeat(observation.likelihood[:, None], moves.shape[1], axis=1)
    low, high = (_likelihood(test, end, sign, observation.finding) for end in ends)
    rows = []
    for state, name in enumerate(sign.grades.values()):
        if name == sign.neutral:
            number = _false_alarms(accuracy, spread, moves[0])
            first, last = (1 - end.specificity for end in ends)
        else:
            number = _detection(accuracy.abnormal_given(name), spread, moves[1])
            first, last = (end.abnormal_given(name) for end in ends)
        share = (number - first) / (last - first) if last != first else np.zeros(len(number))
        rows.append(low[state] + share * (high[state] - low[state]))
    moved = np.stack(rows)
    return moved if observation.with_old is None else observation.with_old @ moved


def _at(accuracy: Accuracy, alarms: float, detection: float, spread: Spread) -> Accuracy:
    """Return an accuracy with its numbers moved."""

    def found(stated: float | None) -> float | None:
        if stated is None:
            return None
        return float(_detection(stated, spread, np.array([detection]))[0])

    return replace(
        accuracy,
        specificity=1 - float(_false_alarms(accuracy, spread, np.array([alarms]))[0]),
        partial=found(accuracy.partial),
        complete=found(accuracy.complete),
        present=found(accuracy.present),
    )


def _likelihood(test: Test, accuracy: Accuracy, sign: Sign, finding: Finding) -> Array:
    likelihood = finding_likelihood(sign, replace(test, accuracy=accuracy), finding)
    if likelihood is None:
        raise ValueError(f"{finding.response} says nothing of {sign.id}")
    return likelihood


def _false_alarms(accuracy: Accuracy, spread: Spread, moves: Array) -> Array:
    return np.minimum((1 - accuracy.specificity) * spread.false_alarms**moves, 0.99)


def _detection(stated: float, spread: Spread, moves: Array) -> Array:
    if stated in (0.0, 1.0):
        return np.full(len(moves), stated)
    odds = stated / (1 - stated) * np.exp(spread.detection * moves)
    return np.asarray(odds / (1 + odds))
