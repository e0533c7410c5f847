"""The face as findings: six-grade scale, composite score, upper against lower face."""

from __future__ import annotations

from collections.abc import Mapping

from decussate.examination.record import Finding
from decussate.measures.as_findings.writing import graded, measured, rows, stated, within_scale
from decussate.measures.facial_composite import composite_score
from decussate.measures.facial_function import FaceObservations, facial_grade
from decussate.measures.facial_pattern import HalfFace
from decussate.sides import Side

__all__ = ["composite_findings", "facial_grade_findings", "half_face_findings"]


def facial_grade_findings(seen: FaceObservations) -> tuple[Finding, ...]:
    """Write the grade of one half of the face and the observations behind it.

    Parameters
    ----------
    seen : FaceObservations

    Returns
    -------
    tuple of Finding
        ``facial_grade`` with ``face_at_rest``, ``raise_brows``, ``close_eyes``, ``show_teeth`` and
        ``unwanted_movement``.
    """
    grade = facial_grade(seen)
    return (
        measured(
            "facial_grade", float(grade.grade), seen.side, comment="; ".join(grade.not_fitting)
        ),
        graded("face_at_rest", "face at rest", seen.rest, seen.side),
        graded("raise_brows", "brow", seen.forehead, seen.side),
        graded("close_eyes", "eye closure", seen.eye_closure, seen.side),
        graded("show_teeth", "mouth", seen.mouth, seen.side),
        graded("unwanted_movement", "synkinesis", seen.synkinesis, seen.side),
    )


def half_face_findings(side: Side, half: HalfFace) -> tuple[Finding, ...]:
    """Write brow, eye and mouth of one half of the face.

    Parameters
    ----------
    side : Side
    half : HalfFace

    Returns
    -------
    tuple of Finding
        ``raise_brows``, ``close_eyes`` and ``show_teeth``.
    """
    parts = (("raise_brows", half.brow), ("close_eyes", half.eye), ("show_teeth", half.mouth))
    return tuple(graded(test, "movement of the face", seen, side) for test, seen in parts)


def composite_findings(
    side: Side,
    *,
    rest: Mapping[str, int],
    movement: Mapping[str, int],
    synkinesis: Mapping[str, int],
) -> tuple[Finding, ...]:
    """Write the composite score of one half of the face and the parts a bedside test asks for.

    Parameters
    ----------
    side : Side
    rest, movement, synkinesis : Mapping of str to int
        Points of each part, as in `composite_score`.

    Returns
    -------
    tuple of Finding
        ``facial_composite``, ``face_at_rest``, ``raise_brows``, ``close_eyes``, ``show_teeth`` and
        ``unwanted_movement``.

    Raises
    ------
    BadInput
        As `composite_score`.
    """
    score = composite_score(side, rest=rest, movement=movement, synkinesis=synkinesis)
    comment = "; ".join(score.inconsistent)
    points = within_scale("facial_composite", float(score.total))
    return (
        measured("facial_composite", points, side, comment=comment),
        graded("face_at_rest", "composite fold", rest["nasolabial fold"], side),
        *(
            graded(row["test"], "composite movement", movement[row["item"]], side)
            for row in rows("composite_movements")
        ),
        stated("unwanted_movement", "present" if any(synkinesis.values()) else "normal", side),
    )
