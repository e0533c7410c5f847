"""How well the localisation does on cases whose true place is known."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from decussate.errors import BadInput
from decussate.examination.document import Examination, Truth
from decussate.sides import Side

if TYPE_CHECKING:
    from decussate.localisation import Candidate, Localisation

__all__ = ["LEAST_PROBABILITY", "CaseScore", "Evaluation", "Summary", "evaluate", "score_case"]

LEAST_PROBABILITY = 1e-9
"""Stands for zero in the log score, which would otherwise be infinite (judgement)."""


@dataclass(frozen=True, slots=True)
class CaseScore:
    """How one case came out.

    Attributes
    ----------
    id, label : str
        Of the examination.
    scored : bool
        Whether the case counts; unscored cases are summarised apart.
    places : tuple of str
        Accepted places.
    side : str or None
        True side; anything but ``right`` and ``left`` accepts every side.
    rank : int or None
        Position, from 1, of the first candidate that is accepted; None when there is none.
    probability : float
        Of that candidate; 0 when there is none.
    side_right : bool or None
        Whether the most probable side is the true one; None unless the case is lateralised.
    first_place : str
        Place put first.
    first_side : Side or None
        Its side.
    """

    id: str
    label: str
    scored: bool
    places: tuple[str, ...]
    side: str | None
    rank: int | None
    probability: float
    side_right: bool | None
    first_place: str
    first_side: Side | None

    @property
    def log_score(self) -> float:
        """Natural logarithm of the probability, no lower than that of `LEAST_PROBABILITY`."""
        return math.log(max(self.probability, LEAST_PROBABILITY))


@dataclass(frozen=True, slots=True)
class Summary:
    """Figures over several cases; None where no case bears on the figure.

    Attributes
    ----------
    count, lateralised : int
        Number of cases, and of those whose true side is right or left.
    top1, top3 : float or None
        Share whose true place and side came first, or among the first three.
    side : float or None
        Share of the lateralised cases whose most probable side is the true one.
    log_score : float or None
        Mean natural logarithm of the probability given to the true place and side.
    """

    count: int
    lateralised: int
    top1: float | None
    top3: float | None
    side: float | None
    log_score: float | None


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Every case, and the figures over scored and unscored cases apart."""

    cases: tuple[CaseScore, ...]

    @property
    def scored(self) -> Summary:
        """Figures over the cases that count."""
        return _summary([case for case in self.cases if case.scored])

    @property
    def unscored(self) -> Summary:
        """Figures over the rest: too few findings, or a truth inferred from the signs."""
        return _summary([case for case in self.cases if not case.scored])


def evaluate(
    examinations: Iterable[Examination], localise: Callable[[Examination], Localisation]
) -> Evaluation:
    """Localise every examination and compare it with its true place.

    Parameters
    ----------
    examinations : iterable of Examination
        Each with its truth.
    localise : callable
        From an examination to a localisation; normally `decussate.localisation.localise`.

    Returns
    -------
    Evaluation
        One score a case, in the order given.

    Raises
    ------
    BadInput
        If an examination does not say where the lesion was.

    References
    ----------
    The logarithmic score: Good IJ. Rational decisions. J R Stat Soc B 1952;14:107-114.
    """
    return Evaluation(
        tuple(score_case(examination, localise(examination)) for examination in examinations)
    )


def score_case(examination: Examination, localisation: Localisation) -> CaseScore:
    """Compare one localisation with the true place and side of its case.

    Parameters
    ----------
    examination : Examination
        With its truth.
    localisation : Localisation
        Of that examination.

    Returns
    -------
    CaseScore
        Of the best-ranked candidate that is accepted.

    Raises
    ------
    BadInput
        If the examination does not say where the lesion was.
    """
    truth = examination.truth
    if truth is None or not truth.places:
        raise BadInput(
            f"truth of {examination.id}",
            truth,
            "the accepted places and the side",
            hint='Add a block like "truth": {"places": ["..."], "side": "right"}.',
        )
    candidates = localisation.candidates
    accepted = ((rank, found) for rank, found in enumerate(candidates, 1) if _accepts(truth, found))
    rank, best = next(accepted, (None, None))
    first = candidates[0]
    return CaseScore(
        id=examination.id,
        label=examination.label,
        scored=truth.scored,
        places=truth.places,
        side=truth.side,
        rank=rank,
        probability=best.probability if best else 0.0,
        side_right=_side_right(truth, localisation),
        first_place=first.place,
        first_side=first.side,
    )


def _accepts(truth: Truth, candidate: Candidate) -> bool:
    # A place of the midline that the case accepts has no side to be wrong about.
    one_sided = truth.side in ("right", "left") and candidate.side is not None
    return candidate.place in truth.places and (not one_sided or candidate.side == truth.side)


def _side_right(truth: Truth, localisation: Localisation) -> bool | None:
    if truth.side not in ("right", "left"):
        return None
    shares = localisation.side_probability
    return shares[truth.side] > shares[Side(truth.side).other.value]


def _summary(cases: list[CaseScore]) -> Summary:
    lateralised = [case.side_right for case in cases if case.side_right is not None]

    def share(hits: Iterable[bool | None], of: int) -> float | None:
        return sum(bool(hit) for hit in hits) / of if of else None

    def within(places: int) -> Iterable[bool]:
        return (case.rank is not None and case.rank <= places for case in cases)

    return Summary(
        count=len(cases),
        lateralised=len(lateralised),
        top1=share(within(1), len(cases)),
        top3=share(within(3), len(cases)),
        side=share(lateralised, len(lateralised)),
        log_score=math.fsum(case.log_score for case in cases) / len(cases) if cases else None,
    )
