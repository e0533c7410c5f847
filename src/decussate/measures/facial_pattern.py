"""Upper against lower face: the pattern of weakness on each side, and what it cannot exclude."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from decussate.measures.published_rows import read_tables, row_named
from decussate.sides import Side

__all__ = [
    "FacialPattern",
    "HalfFace",
    "Movement",
    "PatternKind",
    "facial_pattern",
    "upper_face_weak_in_stroke",
]

_TABLES = read_tables("facial_function.yaml")


class Movement(StrEnum):
    """Voluntary movement of one part of one half of the face."""

    NORMAL = "normal"
    WEAK = "weak"
    ABSENT = "absent"


_LOSS = {Movement.NORMAL: 0, Movement.WEAK: 1, Movement.ABSENT: 2}


@dataclass(frozen=True, slots=True)
class HalfFace:
    """Voluntary movement of one half of the face.

    Parameters
    ----------
    brow : Movement
        Raising the brow.
    eye : Movement
        Closing the eye.
    mouth : Movement
        Showing the teeth.
    """

    brow: Movement = Movement.NORMAL
    eye: Movement = Movement.NORMAL
    mouth: Movement = Movement.NORMAL


class PatternKind(StrEnum):
    """Which part of one half of the face is weak."""

    NONE = "none"
    LOWER = "lower face"
    LOWER_MORE = "lower more than upper face"
    WHOLE = "whole half of the face"
    UPPER = "upper face"


@dataclass(frozen=True, slots=True)
class FacialPattern:
    """The pattern of one side.

    Parameters
    ----------
    side : Side
        The patient's side.
    kind : PatternKind
        Which part is weak.
    fits : str
        What the pattern fits; it is never a diagnosis.
    caution : str
        What it does not exclude.
    other_side_weak : bool
        Whether the other half of the face is weak too: a two-sided palsy needs its own thought.
    """

    side: Side
    kind: PatternKind
    fits: str
    caution: str
    other_side_weak: bool


def facial_pattern(right: HalfFace, left: HalfFace) -> dict[Side, FacialPattern]:
    """Describe the pattern of facial weakness of each side.

    Parameters
    ----------
    right, left : HalfFace
        The patient's sides.

    Returns
    -------
    dict of Side to FacialPattern

    Notes
    -----
    Lower face: the mouth is weak and the brow is not, whatever the eye does short of no closure.
    Lower more than upper: all weak, but brow and eye together less than the mouth.

    References
    ----------
    Upper-face weakness in stroke: Wongwandee M, Hongdusit K. Neurol Int 2025;17:12; J Stroke
    Cerebrovasc Dis 2017;26:834-841.
    """
    kinds = {Side.RIGHT: _kind(right), Side.LEFT: _kind(left)}
    patterns = {}
    for side, kind in kinds.items():
        row = row_named(_TABLES["patterns"], kind, "pattern")
        patterns[side] = FacialPattern(
            side, kind, row["fits"], row["caution"], kinds[side.other] is not PatternKind.NONE
        )
    return patterns


def _kind(face: HalfFace) -> PatternKind:
    brow, eye, mouth = (_LOSS[m] for m in (face.brow, face.eye, face.mouth))
    if not (brow or eye or mouth):
        return PatternKind.NONE
    if not mouth:
        return PatternKind.UPPER
    if not brow and eye < _LOSS[Movement.ABSENT]:
        return PatternKind.LOWER
    return PatternKind.LOWER_MORE if brow + eye < 2 * mouth else PatternKind.WHOLE


def upper_face_weak_in_stroke() -> tuple[float, float]:
    """Return the lowest and highest published share of stroke palsies with a weak upper face.

    It depends on what counts as weak (16 of 242 by measured force of eye closure, 70 of 92 by any
    asymmetry on video), so a weak forehead lowers the chance of a stroke and never removes it.
    """
    shares = [row["count"] / row["of"] for row in _TABLES["upper_face_in_stroke"]]
    return min(shares), max(shares)
