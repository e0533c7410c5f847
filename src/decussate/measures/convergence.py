"""Accommodation and the near point of convergence, against age.

References
----------
Hofstetter HW. Optom World 1950; Duane A. JAMA 1912;59:1010; Anderson HA et al. Invest Ophthalmol
Vis Sci 2008;49:2919; Scheiman M et al. Optom Vis Sci 2003;80:214; Maples WC, Hoenes R. Optom Vis
Sci 2007;84:224.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from decussate.errors import BadInput
from decussate.measures.eye_alignment import deg_to_pd
from decussate.measures.published_rows import PublishedRow, read_tables, row_named

__all__ = [
    "AccommodationReading",
    "AmplitudeBound",
    "NearPointReading",
    "accommodation_amplitude_d",
    "convergence_angle_deg",
    "convergence_demand_pd",
    "duane_amplitude_d",
    "expected_amplitude_d",
    "objective_amplitude_d",
    "read_accommodation",
    "read_near_point_of_convergence",
]


class AmplitudeBound(StrEnum):
    """The three lines of Hofstetter's formula."""

    MINIMUM = "minimum"
    MEAN = "mean"
    MAXIMUM = "maximum"


def _rows(table: str) -> tuple[PublishedRow, ...]:
    return read_tables("convergence.yaml")[table]


def _check_age(age_years: float, low: float = 0.0, high: float = 120.0) -> None:
    if not low <= age_years <= high:
        raise BadInput(
            "age", age_years, f"{low:g} to {high:g} years", hint="Was a year of birth given?"
        )


def expected_amplitude_d(age_years: float, bound: AmplitudeBound = AmplitudeBound.MEAN) -> float:
    """Give the amplitude of accommodation expected at an age by push-up testing.

    Parameters
    ----------
    age_years : float
    bound : AmplitudeBound

    Returns
    -------
    float
        Dioptres, never below zero.

    Raises
    ------
    BadInput
        When the age is impossible.

    References
    ----------
    Hofstetter HW. Optom World 1950: 15 - age/4, 18.5 - 0.3 age, 25 - 0.4 age.
    """
    _check_age(age_years)
    row = row_named(_rows("amplitude"), bound, "bound")
    return max(0.0, float(row["at_birth_d"]) - float(row["per_year_d"]) * age_years)


def objective_amplitude_d(age_years: float) -> float:
    """Give the amplitude measured by an instrument, which is lower than by push-up.

    Parameters
    ----------
    age_years : float
        3 to 40 years.

    Returns
    -------
    float
        Dioptres.

    Raises
    ------
    BadInput
        Outside the ages measured.

    References
    ----------
    Anderson HA et al. Invest Ophthalmol Vis Sci 2008;49:2919.
    """
    row = _rows("objective_amplitude")[0]
    _check_age(age_years, float(row["from_age"]), float(row["to_age"]))
    return float(row["peak_d"] - row["curvature"] * (age_years - row["peak_age"]) ** 2)


def duane_amplitude_d(age_years: float) -> float:
    """Give Duane's mean amplitude, between his ages in a straight line.

    Parameters
    ----------
    age_years : float
        8 to 64 years.

    Returns
    -------
    float
        Dioptres.

    Raises
    ------
    BadInput
        Outside the ages of his table.

    References
    ----------
    Duane A. JAMA 1912;59:1010 (values from memory).
    """
    rows = _rows("duane")
    ages = [float(r["age"]) for r in rows]
    _check_age(age_years, ages[0], ages[-1])
    return float(np.interp(age_years, ages, [float(r["mean_d"]) for r in rows]))


def accommodation_amplitude_d(near_point_cm: float, distance_refraction_d: float = 0.0) -> float:
    """Turn the near point of accommodation into the amplitude.

    Parameters
    ----------
    near_point_cm : float
        Nearest distance of clear vision from the spectacle plane, 2 to 600 cm.
    distance_refraction_d : float
        Spherical error left uncorrected during the test, dioptres: negative myopic, positive
        hypermetropic; 0 when distance glasses are worn.

    Returns
    -------
    float
        Dioptres.

    Raises
    ------
    BadInput
        When the distance is out of range.
    """
    if not 2.0 <= near_point_cm <= 600.0:
        raise BadInput(
            "near point of accommodation",
            near_point_cm,
            "2 to 600 cm",
            hint="Was this in mm or in dioptres?",
        )
    if not -25.0 <= distance_refraction_d <= 25.0:
        raise BadInput("refraction", distance_refraction_d, "-25 to 25 dioptres")
    return 100.0 / near_point_cm + distance_refraction_d


@dataclass(frozen=True, slots=True)
class AccommodationReading:
    """An amplitude against what its age should have.

    Parameters
    ----------
    amplitude_d, expected_least_d, expected_mean_d : float
        Dioptres.
    reduced : bool
        Below the least expected.
    """

    amplitude_d: float
    expected_least_d: float
    expected_mean_d: float
    reduced: bool


def read_accommodation(
    age_years: float, near_point_cm: float, distance_refraction_d: float = 0.0
) -> AccommodationReading:
    """Compare a near point of accommodation with the age.

    Parameters
    ----------
    age_years : float
    near_point_cm : float
    distance_refraction_d : float

    Returns
    -------
    AccommodationReading

    Raises
    ------
    BadInput
        As `expected_amplitude_d` and `accommodation_amplitude_d`.
    """
    amplitude = accommodation_amplitude_d(near_point_cm, distance_refraction_d)
    least = expected_amplitude_d(age_years, AmplitudeBound.MINIMUM)
    return AccommodationReading(
        amplitude, least, expected_amplitude_d(age_years), amplitude < least
    )


@dataclass(frozen=True, slots=True)
class NearPointReading:
    """A near point of convergence against published limits.

    Parameters
    ----------
    break_cm, limit_cm : float
        Where the eyes parted, and the limit for the age.
    receded : bool
        Beyond the limit, by break or by recovery.
    clearly_receded : bool
        At or beyond the looser limit used in treatment studies.
    """

    break_cm: float
    limit_cm: float
    receded: bool
    clearly_receded: bool


def read_near_point_of_convergence(
    age_years: float, break_cm: float, recovery_cm: float | None = None
) -> NearPointReading:
    """Compare a near point of convergence with published limits.

    Parameters
    ----------
    age_years : float
    break_cm : float
        Where the images parted or an eye turned out, 0 (to the nose) to 100 cm.
    recovery_cm : float, optional
        Where the images joined again, not nearer than the break.

    Returns
    -------
    NearPointReading

    Raises
    ------
    BadInput
        When a distance is impossible or the recovery is nearer than the break.

    References
    ----------
    Adults: break 5 cm, recovery 7 cm, Scheiman et al. 2003. Children: 5 cm, Maples and Hoenes 2007.
    10 cm or more: Adler 2002.
    """
    _check_age(age_years)
    if not 0.0 <= break_cm <= 100.0:
        raise BadInput("near point of convergence", break_cm, "0 to 100 cm", hint="Was this in mm?")
    if recovery_cm is not None and not break_cm <= recovery_cm <= 200.0:
        raise BadInput(
            "recovery of convergence",
            recovery_cm,
            f"at or beyond the break ({break_cm:g} cm)",
            hint="Were break and recovery exchanged?",
        )
    adult = row_named(_rows("near_point"), "adults", "age group")
    row = (
        adult
        if age_years >= adult["from_age"]
        else row_named(_rows("near_point"), "children", "age group")
    )
    late = (
        row["recovery_cm"] is not None
        and recovery_cm is not None
        and (recovery_cm > row["recovery_cm"])
    )
    far = row_named(_rows("near_point"), "clearly receded", "limit")["break_cm"]
    limit = float(row["break_cm"])
    return NearPointReading(break_cm, limit, break_cm > limit or late, break_cm >= far)


def convergence_angle_deg(
    distance_cm: float, pupil_distance_mm: float, *, eye_centre_mm: float = 0.0
) -> float:
    """Give the angle between the lines of sight that meet at a near target.

    Parameters
    ----------
    distance_cm : float
        Target to spectacle plane, 1 to 10 000 cm.
    pupil_distance_mm : float
        Between the pupils in far gaze, 40 to 80 mm.
    eye_centre_mm : float
        Spectacle plane to the centre of rotation, 0 to 40 mm; about 27 mm with glasses.

    Returns
    -------
    float
        Degrees.

    Raises
    ------
    BadInput
        When a distance is out of range.
    """
    for field, value, low, high, hint in (
        ("distance of the target", distance_cm, 1.0, 10_000.0, "Was this in m or mm?"),
        ("distance between the pupils", pupil_distance_mm, 40.0, 80.0, "Was this in cm?"),
        ("distance to the centre of rotation", eye_centre_mm, 0.0, 40.0, "Was this in cm?"),
    ):
        if not low <= value <= high:
            unit = "cm" if field.startswith("distance of") else "mm"
            raise BadInput(field, value, f"{low:g} to {high:g} {unit}", hint=hint)
    return 2.0 * math.degrees(
        math.atan2(pupil_distance_mm / 2.0, 10.0 * distance_cm + eye_centre_mm)
    )


def convergence_demand_pd(
    distance_cm: float, pupil_distance_mm: float, *, eye_centre_mm: float = 0.0
) -> float:
    """Give the convergence a near target asks for, in prism dioptres.

    Each eye turns half the angle, and a prism before each eye would replace that half; the two
    halves are added, as is usual at the bedside.

    Parameters
    ----------
    distance_cm : float
    pupil_distance_mm : float
    eye_centre_mm : float

    Returns
    -------
    float
        Prism dioptres.

    Raises
    ------
    BadInput
        As `convergence_angle_deg`.
    """
    half = convergence_angle_deg(distance_cm, pupil_distance_mm, eye_centre_mm=eye_centre_mm) / 2.0
    return 2.0 * deg_to_pd(half)
