"""The six-grade scale of facial function, from what is seen and from what is measured.

The House-Brackmann scale was made for lesions of the trunk of the nerve in one half of the face.
It does not suit a lesion above the nucleus or of one branch; see `facial_pattern`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from decussate.errors import BadInput
from decussate.measures.published_rows import PublishedRow, read_tables, row_named
from decussate.sides import Side

__all__ = [
    "EyeClosure",
    "FaceObservations",
    "FacialGrade",
    "Forehead",
    "MeasuredGrade",
    "Mouth",
    "Rest",
    "Synkinesis",
    "facial_grade",
    "measured_facial_grade",
]

_TABLES = read_tables("facial_function.yaml")
_ROMAN = ("I", "II", "III", "IV", "V", "VI")


class Rest(StrEnum):
    """The face at rest."""

    SYMMETRICAL = "symmetrical"
    ASYMMETRICAL = "asymmetrical"


class Forehead(StrEnum):
    """Movement of the forehead."""

    NORMAL = "normal"
    MODERATE_TO_GOOD = "moderate to good"
    SLIGHT_TO_MODERATE = "slight to moderate"
    NONE = "none"


class EyeClosure(StrEnum):
    """Closure of the eye."""

    NORMAL = "normal"
    LITTLE_EFFORT = "complete with little effort"
    WITH_EFFORT = "complete with effort"
    INCOMPLETE = "incomplete"
    NONE = "none"


class Mouth(StrEnum):
    """Movement of the mouth."""

    NORMAL = "normal"
    SLIGHT_ASYMMETRY = "slight asymmetry"
    SLIGHTLY_WEAK = "slightly weak at full effort"
    ASYMMETRICAL = "asymmetrical at full effort"
    SLIGHT_MOVEMENT = "slight movement"
    NONE = "none"


class Synkinesis(StrEnum):
    """Movement of one part when another is moved, contracture or spasm."""

    NONE = "none"
    SLIGHT = "slight"
    NOTICEABLE = "noticeable"
    INTERFERES = "interferes with function"


@dataclass(frozen=True, slots=True)
class FaceObservations:
    """What was seen in one half of the face.

    Parameters
    ----------
    side : Side
        The patient's side.
    rest : Rest
    forehead : Forehead
    eye_closure : EyeClosure
    mouth : Mouth
    synkinesis : Synkinesis
        The defined observations of the scale.
    """

    side: Side
    rest: Rest
    forehead: Forehead
    eye_closure: EyeClosure
    mouth: Mouth
    synkinesis: Synkinesis = Synkinesis.NONE

    def mirrored(self) -> FaceObservations:
        """Give the same observations to the other half of the face."""
        return replace(self, side=self.side.other)


@dataclass(frozen=True, slots=True)
class FacialGrade:
    """A grade with the observation that decided it.

    Parameters
    ----------
    side : Side
        The patient's side.
    grade : int
        1 (normal) to 6 (no movement).
    name : str
        The word for the grade.
    estimate_percent : int
        Function that the scale assigns to the grade, in per cent.
    decided_by : str
        The observation on which the grade turned.
    not_fitting : tuple of str
        Observations that belong to another grade; written beside the grade, never averaged in.
    """

    side: Side
    grade: int
    name: str
    estimate_percent: int
    decided_by: str
    not_fitting: tuple[str, ...]

    @property
    def roman(self) -> str:
        """The grade as a Roman numeral, the way it is written."""
        return _ROMAN[self.grade - 1]


def facial_grade(seen: FaceObservations) -> FacialGrade:
    """Grade one half of the face by the House-Brackmann scale.

    No movement anywhere is VI.  An eye that does not close is IV when the face is symmetrical at
    rest and V when it is not.  An eye that closes fully is III at worst, II when forehead and
    mouth are hardly affected, I when nothing is.  Noticeable synkinesis alone makes it III at best,
    and synkinesis that interferes with function IV at best.

    Parameters
    ----------
    seen : FaceObservations
        The defined observations.

    Returns
    -------
    FacialGrade

    References
    ----------
    House JW, Brackmann DE. Otolaryngol Head Neck Surg 1985;93:146-147 (seen in tables that quote
    it).  Other versions in circulation differ at grades II to IV; they are not mixed in.
    """
    power, decided_by = _power_grade(seen)
    best = next(int(r["best_grade"]) for r in _TABLES["synkinesis"] if r["seen"] == seen.synkinesis)
    grade = max(power, best)
    if best > power:
        decided_by = f"synkinesis: {seen.synkinesis}"
    row = _grade_row(grade)
    # When synkinesis sets the grade, power is judged against the grade it would have had alone.
    not_fitting = tuple(
        f"{region}: {word}" for region, word in _regions(seen) if power not in _grades(region, word)
    )
    return FacialGrade(
        seen.side, grade, row["name"], row["estimate_percent"], decided_by, not_fitting
    )


def _power_grade(seen: FaceObservations) -> tuple[int, str]:
    moves = (seen.forehead != "none", seen.eye_closure != "none", seen.mouth != "none")
    if not any(moves):
        return 6, "no movement of forehead, eye or mouth"
    if seen.eye_closure in (EyeClosure.INCOMPLETE, EyeClosure.NONE):
        if seen.rest is Rest.ASYMMETRICAL:
            return 5, "the eye does not close and the face is asymmetrical at rest"
        return 4, "the eye does not close and the face is symmetrical at rest"
    worst = max(min(_grades(region, word)) for region, word in _regions(seen) if region != "rest")
    if worst >= 3:
        reason = (
            "complete with effort" if seen.eye_closure is EyeClosure.WITH_EFFORT else "complete"
        )
        return 3, f"eye closure {reason}, with an obvious difference between the sides"
    if worst == 2 or seen.rest is Rest.ASYMMETRICAL:
        return 2, "weakness only on looking closely"
    return 1, "no weakness seen"


def _regions(seen: FaceObservations) -> tuple[tuple[str, str], ...]:
    return (
        ("rest", seen.rest),
        ("forehead", seen.forehead),
        ("eye closure", seen.eye_closure),
        ("mouth", seen.mouth),
    )


def _grades(region: str, word: str) -> list[int]:
    return next(
        list(r["grades"])
        for r in _TABLES["observations"]
        if (r["region"], r["seen"]) == (region, word)
    )


def _grade_row(grade: int) -> PublishedRow:
    return next(r for r in _TABLES["grades"] if r["grade"] == grade)


@dataclass(frozen=True, slots=True)
class MeasuredGrade:
    """The grade from measured travel.

    Parameters
    ----------
    brow_points, mouth_points : int
        0 to 4 each.
    grade : int
        1 to 6.
    estimate_percent : int
        Function that the scale assigns to the grade, in per cent; not the points as a share of 8.
    """

    brow_points: int
    mouth_points: int
    grade: int
    estimate_percent: int

    @property
    def points(self) -> int:
        """The sum, out of 8."""
        return self.brow_points + self.mouth_points

    @property
    def roman(self) -> str:
        """The grade as a Roman numeral."""
        return _ROMAN[self.grade - 1]


def measured_facial_grade(*, brow_cm: float, mouth_cm: float) -> MeasuredGrade:
    """Grade one half of the face from the travel of the brow and of the mouth corner.

    Parameters
    ----------
    brow_cm : float
        Upward travel of the middle of the brow, in centimetres.
    mouth_cm : float
        Outward travel of the corner of the mouth, in centimetres.

    Returns
    -------
    MeasuredGrade
        One point for each full 0.25 cm, at most 4 in each place.

    Raises
    ------
    BadInput
        If a travel is negative or beyond any face.

    References
    ----------
    House JW, Brackmann DE. 1985.  Rounding down to full steps is not stated in the pages seen.
    """
    step = float(row_named(_TABLES["measured"], "step", "step")["value"])
    most = int(row_named(_TABLES["measured"], "most", "most")["value"])
    points = []
    for name, travel in (("brow", brow_cm), ("mouth corner", mouth_cm)):
        if not 0 <= travel <= 3:
            raise BadInput(
                f"travel of the {name}",
                travel,
                "0 to 3 cm",
                hint="Was this in millimetres?" if travel > 3 else "",
            )
        # Travel read off a ruler in tenths must not lose a step to binary rounding.
        points.append(min(most, math.floor(travel / step + 1e-9)))
    row = next(r for r in _TABLES["grades"] if sum(points) in r["points"])
    return MeasuredGrade(points[0], points[1], row["grade"], row["estimate_percent"])
