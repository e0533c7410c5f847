"""Eye movements as findings: graded directions, deviations, three steps, double vision, near."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from decussate.examination.record import Finding
from decussate.measures.as_findings.writing import (
    could_not,
    deviation_limit_pd,
    graded,
    measured,
    stated,
    within_scale,
)
from decussate.measures.double_vision import DoubleVision
from decussate.measures.eye_alignment import ReflectionAngle
from decussate.measures.ocular_alignment import Deviation, Gaze
from decussate.measures.three_step import ThreeSteps
from decussate.sides import Side

__all__ = [
    "deviation_findings",
    "double_vision_findings",
    "graded_movement_findings",
    "near_point_findings",
    "reflection_findings",
    "three_step_findings",
]

_VERTICAL_WORD = {1: "up", 0: "", -1: "down"}


def _outward(side: Side, gaze: Gaze) -> int:
    """Say whether a gaze takes the eye out (1), in (-1) or neither (0)."""
    return gaze.rightward if side is Side.RIGHT else -gaze.rightward


def _movement_test(side: Side, gaze: Gaze) -> str:
    across = {1: "out", 0: "", -1: "in"}[_outward(side, gaze)]
    return "gaze_" + "_and_".join(part for part in (_VERTICAL_WORD[gaze.upward], across) if part)


def graded_movement_findings(grades: Mapping[tuple[Side, Gaze], float]) -> tuple[Finding, ...]:
    """Write how far each eye moves in each direction, and what both eyes fail to do together.

    Parameters
    ----------
    grades : mapping of (Side, Gaze) to float
        -5 (short of the midline) or -4 (reaches the midline) to 0 (full) and +4 (over-action).

    Returns
    -------
    tuple of Finding
        ``gaze_out``, ``gaze_up_and_in`` ... by the bands of the catalogue. Where both eyes were
        graded to one side, up or down, ``gaze_together_*`` as the eye that goes farther.

    Raises
    ------
    BadInput
        If a grade is not on the scale.
    """
    found: dict[tuple[Side, Gaze], Finding] = {}
    for (side, gaze), grade in grades.items():
        if gaze is Gaze.AHEAD:
            continue
        test = _movement_test(side, gaze)
        short = "does not reach the midline" if grade == SHORT_OF_MIDLINE else None
        value = within_scale(test, grade) if short else grade
        found[side, gaze] = measured(test, value, side, comment=short)
    together = [
        (Gaze.RIGHT, "gaze_together_sideways", Side.RIGHT),
        (Gaze.LEFT, "gaze_together_sideways", Side.LEFT),
        (Gaze.UP, "gaze_together_up", None),
        (Gaze.DOWN, "gaze_together_down", None),
    ]
    both = []
    for gaze, test, to_side in together:
        pair = [(grades[side, gaze], found[side, gaze]) for side in Side if (side, gaze) in found]
        if len(pair) == 2:
            farther = max(pair, key=lambda item: item[0])[1]
            both.append(stated(test, farther.response, to_side))
    return (*found.values(), *both)


SHORT_OF_MIDLINE = -5.0
"""Grade of an eye that does not reach the midline (`excursion_grade`)."""


def reflection_findings(angle: ReflectionAngle) -> tuple[Finding, ...]:
    """Write the angle of an eye from its corneal reflection.

    Parameters
    ----------
    angle : ReflectionAngle

    Returns
    -------
    tuple of Finding
        ``eye_position``: straight within the error of the method.
    """
    straight = abs(angle.eso_deg) <= angle.error_95_deg
    turn = "in" if angle.eso_deg > 0.0 else "out"
    return (
        stated(
            "eye_position",
            "normal" if straight else turn,
            angle.side,
            value=within_scale("eye_position", abs(angle.eso_pd)),
            technique="corneal reflection",
        ),
    )


def deviation_findings(measurements: Iterable[Deviation]) -> tuple[Finding, ...]:
    """Write prism and cover measurements in up to nine directions of gaze.

    Parameters
    ----------
    measurements : iterable of Deviation
        With the head upright, at distance.

    Returns
    -------
    tuple of Finding
        Straight ahead, ``alternate_cover_distance`` and ``alternate_cover_vertical``. In the
        other directions the larger deviation under ``prism_*``, with the other in the comment.
        Below the limits of ``data/as_findings.yaml`` the response is normal.
    """
    found = []
    for one in measurements:
        across = _across(one.eso_pd)
        higher = _higher(one.right_over_left_pd)
        if one.gaze is Gaze.AHEAD:
            across_pd, up_pd = abs(one.eso_pd), abs(one.right_over_left_pd)
            found.append(stated("alternate_cover_distance", across, value=across_pd))
            up = higher.removesuffix("_higher")
            found.append(stated("alternate_cover_vertical", up, value=up_pd))
            continue
        parts = sorted(
            [(abs(one.eso_pd), across), (abs(one.right_over_left_pd), higher)],
            key=lambda part: (part[1] != "normal", part[0]),
        )
        (less_pd, less), (most_pd, most) = parts
        also = f"also {less_pd:g} prism dioptres {_WORDS[less]}" if less != "normal" else None
        sideways = {1: Side.RIGHT, 0: None, -1: Side.LEFT}[one.gaze.rightward]
        vertical = _VERTICAL_WORD[one.gaze.upward]
        names = [part for part in (vertical, "side" if sideways else "") if part]
        test = f"prism_{'_and_'.join(names)}_gaze"
        found.append(stated(test, most, sideways, value=most_pd, comment=also))
    return tuple(found)


_WORDS = {
    "eso": "eso",
    "exo": "exo",
    "right_higher": "right eye higher",
    "left_higher": "left eye higher",
}


def _across(eso_pd: float) -> str:
    if abs(eso_pd) < deviation_limit_pd("horizontal"):
        return "normal"
    return "eso" if eso_pd > 0.0 else "exo"


def _higher(right_over_left_pd: float) -> str:
    if abs(right_over_left_pd) < deviation_limit_pd("vertical"):
        return "normal"
    return "right_higher" if right_over_left_pd > 0.0 else "left_higher"


def three_step_findings(steps: ThreeSteps) -> tuple[Finding, ...]:
    """Write the higher eye and the gaze and tilt that make it worse.

    Parameters
    ----------
    steps : ThreeSteps

    Returns
    -------
    tuple of Finding
        ``alternate_cover_vertical``, ``vertical_deviation_by_gaze`` and
        ``vertical_deviation_by_tilt``; a step that is None was not done or did not differ, and is
        left out.
    """
    named = (
        ("alternate_cover_vertical", steps.higher_eye),
        ("vertical_deviation_by_gaze", steps.worse_gaze),
        ("vertical_deviation_by_tilt", steps.worse_tilt),
    )
    return tuple(stated(test, side.value) for test, side in named if side is not None)


def double_vision_findings(account: DoubleVision) -> tuple[Finding, ...]:
    """Write the patient's account of double vision.

    Parameters
    ----------
    account : DoubleVision

    Returns
    -------
    tuple of Finding
        ``ask_double_vision``, ``images_farthest_apart``, ``image_arrangement``, ``outer_image``.
        Double vision that stays with one eye covered is not of two eyes: could not be tested.
    """
    if account.remains_with_one_eye_covered:
        reason = "remains with one eye covered: the fault is in that eye"
        return (could_not("ask_double_vision", reason),)
    sideways = {1: "right", 0: "normal", -1: "left"}[account.farthest_apart.rightward]
    found = [
        stated("ask_double_vision", "present"),
        stated("images_farthest_apart", sideways),
    ]
    if account.orientation is not None:
        found.append(graded("image_arrangement", "double vision", account.orientation))
    if account.outer_image is not None:
        found.append(stated("outer_image", account.outer_image.value))
    return tuple(found)


def near_point_findings(break_cm: float) -> tuple[Finding, ...]:
    """Write the near point of convergence.

    Parameters
    ----------
    break_cm : float
        Where one eye drifts out or the target doubles, cm.

    Returns
    -------
    tuple of Finding
        ``convergence_near_point`` by the bands of the catalogue.

    Raises
    ------
    BadInput
        If it lies outside the scale of the test.
    """
    return (measured("convergence_near_point", break_cm),)
