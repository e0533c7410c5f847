"""Pupils: unequal size in light and dark, afferent defects, near response, expected size.

The reactions of the two pupils to light in either eye follow from four arcs, and which arcs are
damaged is worked back from the reactions: see `decussate.measures.pupil_reactions`.

References
----------
.. [1] Lam BL, Thompson HS, Corbett JJ. The prevalence of simple anisocoria.
   Am J Ophthalmol 1987;104:69-73.
.. [2] Bell RA et al. Clinical grading of relative afferent pupillary defects.
   Arch Ophthalmol 1993;111:938-942.
.. [3] Watson AB, Yellott JI. A unified formula for light-adapted pupil size.
   J Vis 2012;12(10):12, equation 21.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from decussate.errors import BadInput
from decussate.measures.published_rows import read_tables, row_named
from decussate.sides import Side

__all__ = [
    "AfferentDefect",
    "Anisocoria",
    "AnisocoriaPattern",
    "PupilSizes",
    "afferent_defect_by_filter",
    "afferent_defect_by_grade",
    "anisocoria",
    "expected_diameter_mm",
    "filter_transmission",
]

_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class PupilSizes:
    """Diameters of both pupils in one light.

    Parameters
    ----------
    right_mm, left_mm : float
        Millimetres.
    """

    right_mm: float
    left_mm: float

    def __post_init__(self) -> None:
        for side, size in ((Side.RIGHT, self.right_mm), (Side.LEFT, self.left_mm)):
            if not 0.5 <= size <= 10.0:
                hint = "Is it in centimetres, or in tenths of a millimetre?"
                raise BadInput(f"{side} pupil", size, "0.5 to 10 millimetres", hint=hint)

    def of(self, side: Side) -> float:
        """Diameter on one side, millimetres."""
        return self.right_mm if side is Side.RIGHT else self.left_mm

    @property
    def right_minus_left_mm(self) -> float:
        """Difference, positive when the right pupil is larger, millimetres."""
        return self.right_mm - self.left_mm


class AnisocoriaPattern(StrEnum):
    """What a difference of size does between light and dark."""

    NONE = "none"
    GREATER_IN_DARK = "greater in the dark"
    GREATER_IN_LIGHT = "greater in the light"
    SAME = "the same in light and dark"
    REVERSES = "reverses"


@dataclass(frozen=True, slots=True)
class Anisocoria:
    """Unequal pupils, in light and in dark.

    Parameters
    ----------
    pattern : AnisocoriaPattern
    light_mm, dark_mm : float
        Right minus left, millimetres.
    suspect : Side or None
        The pupil that fails to move: the smaller when the difference grows in the dark, the
        larger when it grows in light, the one that changes less when it reverses.
    within_physiological_limit : bool
        No larger than a simple difference usually is, in either light. It is reassuring only when
        both pupils react equally.
    meaning, caution, citation : str
    """

    pattern: AnisocoriaPattern
    light_mm: float
    dark_mm: float
    suspect: Side | None
    within_physiological_limit: bool
    meaning: str
    caution: str
    citation: str


def anisocoria(light: PupilSizes, dark: PupilSizes) -> Anisocoria:
    """Compare the difference of the pupils in light and in dark.

    Parameters
    ----------
    light, dark : PupilSizes
        In bright room light, and within seconds of turning it off.

    Returns
    -------
    Anisocoria

    Raises
    ------
    BadInput
        When both pupils are clearly larger in light than in dark, as if exchanged.

    Notes
    -----
    0.4 mm or more is counted, as in [1]_; the limit of a simple difference (1 mm) is common
    practice.
    """
    exchanged = min(light.right_mm - dark.right_mm, light.left_mm - dark.left_mm)
    if exchanged > 0.5:
        raise BadInput(
            "pupils in light and dark",
            (light.right_mm, light.left_mm, dark.right_mm, dark.left_mm),
            "pupils no larger in light than in dark",
            hint="Were the two lights exchanged?",
        )
    tables = read_tables("pupils.yaml")
    limits = {row["name"]: float(row["mm"]) for row in tables["anisocoria_limits"]}
    in_light, in_dark = light.right_minus_left_mm, dark.right_minus_left_mm
    largest = max(abs(in_light), abs(in_dark))
    pattern, suspect = _pattern(light, dark, limits["counted"], limits["changes with light"])
    row = row_named(tables["anisocoria_patterns"], pattern.value, "pattern of anisocoria")
    return Anisocoria(
        pattern,
        in_light,
        in_dark,
        suspect,
        largest <= limits["physiological"] + _ROUNDING,
        row["meaning"],
        row["caution"],
        row.citation,
    )


def _pattern(
    light: PupilSizes, dark: PupilSizes, counted: float, changed: float
) -> tuple[AnisocoriaPattern, Side | None]:
    in_light, in_dark = light.right_minus_left_mm, dark.right_minus_left_mm
    if max(abs(in_light), abs(in_dark)) < counted - _ROUNDING:
        return AnisocoriaPattern.NONE, None
    if in_light * in_dark < 0 and min(abs(in_light), abs(in_dark)) >= counted - _ROUNDING:
        return AnisocoriaPattern.REVERSES, Side.RIGHT if in_light > 0 else Side.LEFT
    growth = abs(in_dark) - abs(in_light)
    if abs(growth) < changed - _ROUNDING:
        return AnisocoriaPattern.SAME, None
    if growth > 0:
        return AnisocoriaPattern.GREATER_IN_DARK, Side.LEFT if in_dark > 0 else Side.RIGHT
    return AnisocoriaPattern.GREATER_IN_LIGHT, Side.RIGHT if in_light > 0 else Side.LEFT


@dataclass(frozen=True, slots=True)
class AfferentDefect:
    """A relative afferent pupillary defect.

    Parameters
    ----------
    side : Side
        The eye that drives the pupils less.
    low_log_units, high_log_units : float
        Range of its size, log units of light; equal when one value is known, infinite when light
        in that eye does nothing.
    within_healthy_range : bool
        No larger than has been found in healthy people.
    method, citation : str
    """

    side: Side
    low_log_units: float
    high_log_units: float
    within_healthy_range: bool
    method: str
    citation: str


def afferent_defect_by_filter(side: Side, log_units: float) -> AfferentDefect:
    """Size a relative afferent defect from the filter that balances the pupils.

    Parameters
    ----------
    side : Side
        The eye with the defect; the filter stands before the other eye.
    log_units : float
        Density of the filter, 0 to 4.

    Returns
    -------
    AfferentDefect

    Raises
    ------
    BadInput
        When the density is impossible.
    """
    if not 0.0 < log_units <= 4.0:
        hint = "A filter marked 25 % has a density of 0.6 log units."
        raise BadInput("density of the filter", log_units, "more than 0, to 4 log units", hint=hint)
    row = row_named(read_tables("pupils.yaml")["afferent_limits"], "seen with filters", "limit")
    healthy = log_units <= row["log_units"] + _ROUNDING
    return AfferentDefect(side, log_units, log_units, healthy, "neutral filter", row.citation)


def afferent_defect_by_grade(side: Side, grade: str, *, scale: str = "3 s pause") -> AfferentDefect:
    """Size a relative afferent defect from what is seen at the swinging light.

    Parameters
    ----------
    side : Side
        The eye with the defect.
    grade : str
        ``"I"`` to ``"V"`` with a pause of 3 s on each eye [2]_, ``"1+"`` to ``"4+"`` on the plus
        scale.
    scale : str
        ``"3 s pause"`` or ``"plus"``; the two are not the same (III is 1.1, 3+ is 1.2 to 1.5 log
        units).

    Returns
    -------
    AfferentDefect

    Raises
    ------
    BadInput
        When the scale has no such grade.
    """
    rows = read_tables("pupils.yaml")["afferent_grades"]
    limit = row_named(read_tables("pupils.yaml")["afferent_limits"], "seen with filters", "limit")
    for row in rows:
        if (row["scale"], row["grade"]) == (scale, grade):
            low = float(row["log_units"] if row.get("low") is None else row["low"])
            high = float(row["log_units"] if row.get("high") is None else row["high"])
            method = f"{scale}, grade {grade}"
            return AfferentDefect(
                side, low, high, high <= limit["log_units"] + _ROUNDING, method, row.citation
            )
    known = ", ".join(f"{row['grade']} ({row['scale']})" for row in rows)
    raise BadInput("grade of afferent defect", f"{grade} ({scale})", known)


def filter_transmission(log_units: float) -> float:
    """Light that passes a filter, as a fraction: 10 to the power of minus its density.

    Parameters
    ----------
    log_units : float

    Returns
    -------
    float

    Raises
    ------
    BadInput
        When the density is negative.
    """
    if not log_units >= 0.0:
        raise BadInput("density of the filter", log_units, "0 or more log units")
    return float(10.0**-log_units)


def expected_diameter_mm(
    luminance_cd_m2: float, field_area_deg2: float, age_years: float, *, eyes: int = 2
) -> float:
    """Mean diameter of a healthy light-adapted pupil.

    Parameters
    ----------
    luminance_cd_m2 : float
        Of what the eye looks at.
    field_area_deg2 : float
        Area of the lit field, square degrees.
    age_years : float
        20 to 83, the ages the formula was fitted to.
    eyes : int
        Eyes that see the light, 1 or 2.

    Returns
    -------
    float
        Millimetres [3]_. People of one age differ by about a millimetre either way.

    Raises
    ------
    BadInput
        When a value is outside the range of the formula.
    """
    if not 20.0 <= age_years <= 83.0:
        raise BadInput("age", age_years, "20 to 83 years, the range of the formula")
    if not (luminance_cd_m2 > 0.0 and 0.0 < field_area_deg2 <= 41253.0):
        found = (luminance_cd_m2, field_area_deg2)
        raise BadInput("light on the eye", found, "luminance in cd/m² and area in square degrees")
    if eyes not in (1, 2):
        raise BadInput("eyes that see the light", eyes, "1 or 2")
    flux = luminance_cd_m2 * field_area_deg2 * (1.0 if eyes == 2 else 0.1)
    power = math.pow(flux / 846.0, 0.41)
    young = 7.75 - 5.75 * power / (power + 2.0)
    return young + (age_years - 28.58) * (0.02132 - 0.009562 * young)
