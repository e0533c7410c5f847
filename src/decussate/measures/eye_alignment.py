"""Angles between the eyes: prism dioptres, degrees and the corneal reflection.

References
----------
Prism dioptre: 100 times the tangent of the angle (1 cm at 1 m). Other sources stand with each
figure in ``data/eye_alignment.yaml``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from decussate.errors import BadInput
from decussate.measures.published_rows import PublishedRow, read_tables, row_named
from decussate.sides import Side

__all__ = [
    "ReflectionAngle",
    "deg_to_pd",
    "oblique_deviation",
    "pd_to_deg",
    "prisms_before_both_eyes_pd",
    "reflection_angle",
    "reflection_fraction_pd",
]


def _rows(table: str) -> tuple[PublishedRow, ...]:
    return read_tables("eye_alignment.yaml")[table]


def deg_to_pd(angle_deg: float) -> float:
    """Turn degrees into prism dioptres by the tangent.

    Parameters
    ----------
    angle_deg : float
        More than -90 and less than 90 degrees.

    Returns
    -------
    float
        Prism dioptres, with the sign of the angle.

    Raises
    ------
    BadInput
        When the angle has no finite tangent in range.

    Examples
    --------
    >>> round(deg_to_pd(45.0), 6)
    100.0
    """
    if not -90.0 < angle_deg < 90.0:
        raise BadInput(
            "angle", angle_deg, "degrees between -90 and 90", hint="Were these prism dioptres?"
        )
    return 100.0 * math.tan(math.radians(angle_deg))


def pd_to_deg(prism_pd: float) -> float:
    """Turn prism dioptres into degrees by the arctangent.

    Parameters
    ----------
    prism_pd : float
        Prism dioptres, any sign.

    Returns
    -------
    float
        Degrees.

    Raises
    ------
    BadInput
        When the value is not a finite number.

    Examples
    --------
    >>> round(pd_to_deg(100.0), 6)
    45.0
    """
    if not math.isfinite(prism_pd):
        raise BadInput("deviation", prism_pd, "prism dioptres, a finite number")
    return math.degrees(math.atan(prism_pd / 100.0))


def prisms_before_both_eyes_pd(right_pd: float, left_pd: float) -> float:
    """Add a prism before each eye: the angles add, the prism dioptres do not.

    Parameters
    ----------
    right_pd, left_pd : float
        Prisms in the same sense (both base out, say), prism dioptres.

    Returns
    -------
    float
        The deviation they neutralise together, prism dioptres.

    Raises
    ------
    BadInput
        When the angles reach 90 degrees together.
    """
    return deg_to_pd(pd_to_deg(right_pd) + pd_to_deg(left_pd))


def oblique_deviation(horizontal_pd: float, vertical_pd: float) -> tuple[float, float]:
    """Join a horizontal and a vertical deviation into one oblique prism.

    Parameters
    ----------
    horizontal_pd, vertical_pd : float
        Prism dioptres.

    Returns
    -------
    size_pd : float
    axis_deg : float
        From the horizontal, 0 to 90 degrees.
    """
    return (
        math.hypot(horizontal_pd, vertical_pd),
        math.degrees(math.atan2(abs(vertical_pd), abs(horizontal_pd))),
    )


@dataclass(frozen=True, slots=True)
class ReflectionAngle:
    """What a displaced corneal reflection says about the eye it was seen in.

    Parameters
    ----------
    side : Side
        The eye looked at, the other one fixing.
    eso_deg, hyper_deg : float
        Deviation in degrees; negative exo and hypo.
    eso_pd, hyper_pd : float
        The same in prism dioptres.
    error_95_deg : float
        Half-width of the published 95 percent interval, degrees.
    """

    side: Side
    eso_deg: float
    hyper_deg: float
    eso_pd: float
    hyper_pd: float
    error_95_deg: float


def reflection_angle(
    side: Side,
    temporal_mm: float,
    down_mm: float = 0.0,
    *,
    measured_from: str = "pupil centre",
    deg_per_mm: float | None = None,
) -> ReflectionAngle:
    """Turn the displacement of the corneal reflection into the angle of the eye.

    Measure against the place of the reflection in the other, fixing eye: a reflection that lies
    equally nasal in both eyes is the ordinary angle kappa.

    Parameters
    ----------
    side : Side
    temporal_mm, down_mm : float
        Displacement towards the temple and downwards, millimetres; negative nasal and up.
    measured_from : str
        ``"pupil centre"`` or ``"limbus centre"``: the two have different factors.
    deg_per_mm : float, optional
        This person's own factor, 5 to 16 degrees for a millimetre, from a calibration photograph.

    Returns
    -------
    ReflectionAngle

    Raises
    ------
    BadInput
        When the displacement does not fit on a cornea or the factor is out of range.

    References
    ----------
    Barry JC, Backes A. Invest Ophthalmol Vis Sci 1997;38:2597: 11.82 degrees for a millimetre
    against the pupil, 11.0 against the limbus. The factor differs from person to person (14 to 24
    prism dioptres): Binocul Vis Strabismus Q 2006;21:45.
    """
    row = row_named(_rows("reflection"), measured_from, "where the reflection was measured from")
    for field, value in (("temporal", temporal_mm), ("downward", down_mm)):
        if not abs(value) <= 6.5:
            raise BadInput(
                f"{field} displacement of the corneal reflection, {side} eye",
                value,
                "-6.5 to 6.5 mm (half a cornea)",
                hint="Was the angle itself given?",
            )
    factor = float(row["deg_per_mm"]) if deg_per_mm is None else deg_per_mm
    if not 5.0 <= factor <= 16.0:
        raise BadInput(
            "factor of the corneal reflection",
            factor,
            "5 to 16 degrees for a millimetre",
            hint="Was this in prism dioptres for a millimetre?",
        )
    eso, hyper = factor * temporal_mm, factor * down_mm
    return ReflectionAngle(
        side, eso, hyper, deg_to_pd(eso), deg_to_pd(hyper), float(row["error_95_deg"])
    )


def reflection_fraction_pd(fraction: float) -> float:
    """Read an esodeviation from the fraction of the way to the temporal limbus.

    Parameters
    ----------
    fraction : float
        How far the reflection has moved from its place in straight gaze towards the temporal
        limbus, 0 to 0.75.

    Returns
    -------
    float
        Prism dioptres, between the published points in a straight line.

    Raises
    ------
    BadInput
        Outside the range that was measured.

    References
    ----------
    Mims JL, Wood RC. Binocul Vis Strabismus Q 2002;17:192.
    """
    if not 0.0 <= fraction <= 0.75:
        raise BadInput(
            "fraction of the way to the limbus",
            fraction,
            "0 to 0.75",
            hint="Was this a displacement in mm?",
        )
    rows = _rows("reflection_fraction")
    return float(
        np.interp(fraction, [0.0, *(r["fraction"] for r in rows)], [0.0, *(r["pd"] for r in rows)])
    )
