"""Whether stated probabilities come true, and how sure the figures of an evaluation are."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binomtest

from decussate.localisation.evaluation import CaseScore, Evaluation, score_case

if TYPE_CHECKING:
    from decussate.examination.document import Examination
    from decussate.localisation import Localisation

__all__ = ["Band", "Figure", "Reliability", "assess", "bands", "bootstrap", "figures"]

RESAMPLES = 10_000
SEED = 1
"""Fixed, so that the same cases give the same interval."""
LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure over several cases, with its interval.

    Attributes
    ----------
    value : float
        Over all cases.
    low, high : float
        Ends of the 95 percent interval.
    count : int
        How many cases bear on it.
    """

    value: float
    low: float
    high: float
    count: int


@dataclass(frozen=True, slots=True)
class Band:
    """Cases whose leading place was given a similar probability.

    Attributes
    ----------
    stated : float
        Mean probability given to the place put first.
    right : Figure
        Share of the cases where that place was accepted, with Wilson's interval.
    lowest, highest : float
        Least and greatest probability among the cases.
    """

    stated: float
    right: Figure
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True)
class Reliability:
    """An evaluation, and the probability that was given to the place put first in each case.

    Attributes
    ----------
    evaluation : Evaluation
        Of all cases.
    stated : tuple of float
        Probability of the first candidate of each case, in the same order.
    """

    evaluation: Evaluation
    stated: tuple[float, ...]

    @property
    def scored(self) -> tuple[tuple[float, bool], ...]:
        """Of each case that counts: the stated probability, and whether the place was accepted."""
        return tuple(
            (stated, case.rank == 1)
            for stated, case in zip(self.stated, self.evaluation.cases, strict=True)
            if case.scored
        )


def assess(
    examinations: Iterable[Examination], localise: Callable[[Examination], Localisation]
) -> Reliability:
    """Evaluate the localisation, keeping the probability of the place it put first.

    Parameters
    ----------
    examinations : iterable of Examination
        Each with its truth.
    localise : callable
        From an examination to a localisation.

    Returns
    -------
    Reliability

    Raises
    ------
    BadInput
        If an examination does not say where the lesion was.
    """
    scores: list[CaseScore] = []
    stated: list[float] = []
    for examination in examinations:
        located = localise(examination)
        scores.append(score_case(examination, located))
        stated.append(located.candidates[0].probability)
    return Reliability(Evaluation(tuple(scores)), tuple(stated))


def bootstrap(values: Sequence[float]) -> Figure:
    """Return the mean of some cases' values with its bootstrap percentile interval.

    Parameters
    ----------
    values : sequence of float
        One for each case, at least one.

    Returns
    -------
    Figure
        The same for the same values, as the resampling starts from a fixed seed.

    Raises
    ------
    ValueError
        If there is no value.

    References
    ----------
    Efron B, Tibshirani RJ. An introduction to the bootstrap. New York: Chapman and Hall; 1993,
    chapter 13 (the percentile interval).
    """
    if not values:
        raise ValueError("at least one case is needed")
    array = np.asarray(values, dtype=np.float64)
    chance = np.random.default_rng(SEED)
    means = array[chance.integers(0, len(array), (RESAMPLES, len(array)))].mean(axis=1)
    low, high = np.quantile(means, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    return Figure(float(array.mean()), float(low), float(high), len(array))


def figures(cases: Iterable[CaseScore]) -> Mapping[str, Figure]:
    """Return the figures of an evaluation with their intervals.

    Parameters
    ----------
    cases : iterable of CaseScore
        Those to count together.

    Returns
    -------
    Mapping of str to Figure
        ``top1``, ``top3``, ``side`` and ``log_score``, as in `evaluation.Summary`; a figure on
        which no case bears is left out.
    """
    known = tuple(cases)
    values: Mapping[str, list[float]] = {
        "top1": [float(case.rank is not None and case.rank <= 1) for case in known],
        "top3": [float(case.rank is not None and case.rank <= 3) for case in known],
        "side": [float(case.side_right) for case in known if case.side_right is not None],
        "log_score": [case.log_score for case in known],
    }
    return {name: bootstrap(of) for name, of in values.items() if of}


def bands(forecasts: Sequence[tuple[float, bool]], count: int = 5) -> tuple[Band, ...]:
    """Divide forecasts by their stated probability into bands of about equal number.

    Parameters
    ----------
    forecasts : sequence of (float, bool)
        Stated probability, and whether it came true.
    count : int, default 5
        Bands wanted; never more than there are forecasts.

    Returns
    -------
    tuple of Band
        From the least probability to the greatest. Forecasts of equal probability may fall into
        neighbouring bands, in the order given.

    References
    ----------
    Reliability diagrams: Murphy AH, Winkler RL. Reliability of subjective probability forecasts of
    precipitation and temperature. Appl Stat 1977;26:41-47. Bands of equal number and Wilson's
    interval: common practice.
    """
    ordered = sorted(forecasts, key=lambda forecast: forecast[0])
    parts: list[NDArray[np.intp]] = np.array_split(
        np.arange(len(ordered)), max(1, min(count, len(ordered)))
    )
    found = []
    for part in parts:
        if not len(part):
            continue
        stated = [ordered[k][0] for k in part]
        hits = sum(ordered[k][1] for k in part)
        interval = binomtest(hits, len(part)).proportion_ci(LEVEL, method="wilson")
        right = Figure(hits / len(part), float(interval.low), float(interval.high), len(part))
        found.append(Band(float(np.mean(stated)), right, stated[0], stated[-1]))
    return tuple(found)
