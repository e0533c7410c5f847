"""The seen field beside the normal field, the examiner's own, and two published summaries."""

from __future__ import annotations

from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.measures.visual_field_directions import EIGHT_DIRECTIONS, FieldDirection
from decussate.measures.visual_field_outline import (
    FieldOutline,
    combined_ring,
    solid_angle_sr,
    square_degrees,
)

__all__ = [
    "OutlineComparison",
    "average_concentric_field_deg",
    "compare_outlines",
    "field_efficiency_percent",
    "relative_to_examiner",
]


@dataclass(frozen=True, slots=True)
class OutlineComparison:
    """A patient's outline beside a reference.

    Parameters
    ----------
    area_ratio : float
        Patient's area over the reference area, on the sphere.
    lost_sq_deg : float
        Square degrees of the reference not seen by the patient (direction by direction).
    deficit_deg : dict
        Reference minus patient in each of the eight directions, in degrees (negative: wider).
    reference : str
        What it was compared with.
    """

    area_ratio: float
    lost_sq_deg: float
    deficit_deg: dict[FieldDirection, float]
    reference: str


def compare_outlines(patient: FieldOutline, reference: FieldOutline) -> OutlineComparison:
    """Compare an outline with the normal one or any other of the same eye.

    Parameters
    ----------
    patient, reference : FieldOutline

    Returns
    -------
    OutlineComparison

    Raises
    ------
    BadInput
        If the two are not of the same eye.
    """
    if patient.eye is not reference.eye:
        raise BadInput("reference field", f"{reference.eye} eye", f"the {patient.eye} eye")
    both = combined_ring(patient, reference, min)
    return OutlineComparison(
        area_ratio=patient.area_sr / reference.area_sr,
        lost_sq_deg=max(0.0, reference.area_sq_deg - square_degrees(solid_angle_sr(both))),
        deficit_deg={d: reference.extent(d) - patient.extent(d) for d in EIGHT_DIRECTIONS},
        reference=reference.technique or "outline given",
    )


def relative_to_examiner(patient: FieldOutline, examiner: FieldOutline) -> OutlineComparison:
    """Compare the patient's field with the examiner's own, found with the same target.

    Parameters
    ----------
    patient : FieldOutline
    examiner : FieldOutline
        The field of the examiner's facing eye (the left eye faces the patient's right), as the
        examiner sees it. It is turned about here to lie over the patient's.

    Returns
    -------
    OutlineComparison

    Raises
    ------
    BadInput
        If the examiner used the eye that does not face the patient's.
    """
    if examiner.eye is patient.eye:
        raise BadInput(
            "examiner's eye",
            examiner.eye.value,
            f"{patient.eye.other.value}, the eye facing the patient's {patient.eye.value}",
            hint="Face to face, the examiner closes the eye opposite the patient's covered one.",
        )
    return compare_outlines(patient, examiner.mirrored())


def average_concentric_field_deg(outline: FieldOutline) -> float:
    """Mean extent over the eight principal meridians, in degrees.

    Parameters
    ----------
    outline : FieldOutline

    Returns
    -------
    float
        In degrees; 62.5 for the schedule's normal field.

    References
    ----------
    US rating schedule, 38 CFR 4.76a and 4.77(b), "average concentric contraction".
    """
    return sum(outline.extent(d) for d in EIGHT_DIRECTIONS) / 8.0


def field_efficiency_percent(outline: FieldOutline) -> float:
    """Sum of the extents in the eight principal meridians, as percent of 500 degrees.

    Extents beyond the normal of a meridian are not credited above it by the schedule; here they
    are counted as measured.

    Parameters
    ----------
    outline : FieldOutline

    Returns
    -------
    float
        In percent; 100 for the schedule's normal field.

    References
    ----------
    US Social Security listing 2.00A7 (20 CFR 404 subpart P appendix 1); the 500 degrees are the
    total of 38 CFR 4.76a Table III.
    """
    return sum(outline.extent(d) for d in EIGHT_DIRECTIONS) / 500.0 * 100.0
