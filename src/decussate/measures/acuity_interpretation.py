"""What a distance acuity means: low-vision values, impairment, real change, the pinhole.

Every figure is a row of ``data/distance_acuity.yaml`` with its source, and the answer carries it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from decussate.errors import BadInput
from decussate.measures.acuity_chart import FOOT_M
from decussate.measures.distance_acuity import (
    DistanceAcuity,
    LowVision,
    LowVisionAcuity,
    Notation,
    ReadAcuity,
)
from decussate.measures.published_rows import PublishedRow, read_tables, row_named

__all__ = [
    "AcuityChange",
    "Direction",
    "ImpairmentCategory",
    "PinholeReading",
    "SubstitutedAcuity",
    "change",
    "impairment",
    "pinhole",
    "substitute",
]

_ROUNDING = 1e-6


class Direction(StrEnum):
    """Which way vision went."""

    BETTER = "better"
    UNCHANGED = "unchanged"
    WORSE = "worse"


@dataclass(frozen=True, slots=True)
class SubstitutedAcuity:
    """A logMAR put in place of vision too low for a chart, with the table it came from.

    Parameters
    ----------
    logmar : float
    table, citation, mark : str
        The table, its source, and how far the figure was checked.
    """

    logmar: float
    table: str
    citation: str
    mark: str


def substitute(acuity: LowVisionAcuity, table: str) -> SubstitutedAcuity:
    """Put a published logMAR in place of counting fingers, hand movements or light.

    Parameters
    ----------
    acuity : LowVisionAcuity
    table : str
        Name of a row of ``substitutions``; there is no default, because the tables disagree by up
        to 0.7 log units and the reader must know which was used.

    Returns
    -------
    SubstitutedAcuity
        For statistics only. Keep the category itself in the record.

    Raises
    ------
    BadInput
        When the table gives no value for this level, or needs a distance that was not recorded.

    Notes
    -----
    The convention by distance takes fingers as the size of a 6/60 letter: counted at d metres it is
    logMAR 1 + log10(6.096 / d), and hand movements are ten times worse (Holladay 1997).
    """
    row = row_named(
        read_tables("distance_acuity.yaml")["substitutions"], table, "substitution table"
    )
    if row.get("per_distance"):
        logmar = _by_distance(acuity, table)
    else:
        value = row.get(acuity.level.value)
        if value is None:
            raise BadInput(
                "vision to put a logMAR to",
                acuity.level.value,
                f"a level for which the table '{table}' gives a value",
                hint="Keep the category; a mean of such values has no meaning.",
            )
        logmar = float(value)
    return SubstitutedAcuity(logmar, table, row.citation, row.mark)


def _by_distance(acuity: LowVisionAcuity, table: str) -> float:
    tenfold = {LowVision.COUNTING_FINGERS: 0.0, LowVision.HAND_MOVEMENTS: 1.0}.get(acuity.level)
    if tenfold is None:
        raise BadInput(
            "vision to put a logMAR to",
            acuity.level.value,
            f"CF or HM: the table '{table}' holds that light perception is not an acuity",
        )
    if acuity.distance_m is None:
        raise BadInput(
            f"distance of {acuity.level.value}", None, f"metres: the table '{table}' depends on it"
        )
    return 1.0 + math.log10(20.0 * FOOT_M / acuity.distance_m) + tenfold


@dataclass(frozen=True, slots=True)
class ImpairmentCategory:
    """A category of vision impairment.

    Parameters
    ----------
    edition : str
        The classification, because its numbering changed between editions.
    category : int
    name : str
    reason : str
        The limit that decided it.
    remarks : tuple of str
        For example that another notation of the same limit would give another category.
    citation : str
    """

    edition: str
    category: int
    name: str
    reason: str
    remarks: tuple[str, ...]
    citation: str


def impairment(
    acuity: DistanceAcuity, *, field_radius_degrees: float | None = None, edition: str = "ICD-11"
) -> ImpairmentCategory:
    """Place a presenting distance acuity in the categories of vision impairment.

    Parameters
    ----------
    acuity : ReadAcuity or LowVisionAcuity
        Presenting acuity (with the glasses worn, if any), both eyes open for a person's category.
    field_radius_degrees : float, optional
        Radius, not diameter, of the field of the better eye around fixation.
    edition : str
        ``"ICD-11"`` or ``"ICD-10 (2010)"``.

    Returns
    -------
    ImpairmentCategory
        Judged in the notation the acuity was written in, since 6/18, 0.3 and 20/70 are printed as
        one limit though they differ by 0.07 log units.

    Raises
    ------
    BadInput
        When the edition is unknown, fingers were counted at an unknown distance, or the radius is
        impossible.
    """
    rows = [r for r in read_tables("distance_acuity.yaml")["impairment"] if r["edition"] == edition]
    if not rows:
        raise BadInput("edition", edition, "ICD-11 or ICD-10 (2010)")
    row = _category_row(acuity, rows)
    remarks: tuple[str, ...] = ()
    if isinstance(acuity, ReadAcuity):
        others = {key: _first_reached(acuity.logmar, rows, key) for key in ("metres", "decimal")}
        differ = [f"{key} {r['category']}" for key, r in others.items() if r is not row]
        if differ:
            remarks = (
                "Near a limit that is printed differently in other notations: by "
                + ", ".join(differ)
                + ".",
            )
    reason = f"presenting distance acuity, {_limits_in_words(row, rows)}"
    if field_radius_degrees is not None:
        if not 0.0 <= field_radius_degrees <= 110.0:
            raise BadInput("field radius", field_radius_degrees, "0 to 110 degrees")
        rule = next(
            r for r in read_tables("distance_acuity.yaml")["field_rule"] if r["edition"] == edition
        )
        if field_radius_degrees <= rule["radius_degrees"] and row["category"] < rule["category"]:
            row = next(r for r in rows if r["category"] == rule["category"])
            reason = f"field no wider than {rule['radius_degrees']} degrees in radius"
            if rule.mark:
                remarks += (f"The field rule of {edition} is {rule.mark} here: check the edition.",)
    return ImpairmentCategory(edition, row["category"], row["name"], reason, remarks, row.citation)


def _category_row(acuity: DistanceAcuity, rows: Sequence[PublishedRow]) -> PublishedRow:
    if isinstance(acuity, ReadAcuity):
        key = {
            Notation.METRES: "metres",
            Notation.FEET: "feet",
            Notation.DECIMAL: "decimal",
        }.get(acuity.notation, "logmar")
        return _first_reached(acuity.logmar, rows, key)
    light = next(r for r in rows if r["to"] == "light")
    if acuity.level is LowVision.NO_LIGHT:
        return next(r for r in rows if r["to"] == "none")
    if acuity.level is not LowVision.COUNTING_FINGERS:
        return light
    if acuity.distance_m is None:
        raise BadInput(
            "distance at which fingers were counted",
            None,
            "metres",
            hint="Fingers at 1 m stand for 1/60; nearer than that is the next category.",
        )
    # The classification equates fingers counted at 1 m with 1/60, hence at d metres with d/60.
    return _first_reached(math.log10(60.0 / acuity.distance_m), rows, "metres")


def _first_reached(logmar: float, rows: Sequence[PublishedRow], key: str) -> PublishedRow:
    for row in rows:
        if isinstance(row["to"], Mapping) and logmar <= _limit_logmar(row["to"], key) + _ROUNDING:
            return row
    return next(r for r in rows if r["to"] == "light")


def _limit_logmar(limits: Mapping[str, object], key: str) -> float:
    limit: Any = limits[key]
    if key in ("metres", "feet"):
        return math.log10(limit[1] / limit[0])
    return -math.log10(limit) if key == "decimal" else float(limit)


def _limits_in_words(row: PublishedRow, rows: Sequence[PublishedRow]) -> str:
    def limit(of: PublishedRow) -> str:
        if isinstance(of["to"], Mapping):
            return "{}/{}".format(*of["to"]["metres"])
        return "light perceived" if of["to"] == "light" else "no light perceived"

    index = rows.index(row)
    worse = f"worse than {limit(rows[index - 1])}, " if 0 < index < len(rows) - 1 else ""
    better = " or better" if isinstance(row["to"], Mapping) else ""
    return f"{worse}{limit(row)}{better}"


@dataclass(frozen=True, slots=True)
class AcuityChange:
    """What changed between two acuities of one eye.

    Parameters
    ----------
    direction : Direction
        Unchanged unless the change exceeds the limit.
    logmar : float or None
        Later minus earlier: positive is worse. None when either is below the chart.
    limit_logmar : float or None
        The 95 percent limit of repeated measurement it was held against.
    method, people, citation : str
        How the limit was obtained, in whom, and its source.
    """

    direction: Direction
    logmar: float | None
    limit_logmar: float | None
    method: str
    people: str
    citation: str

    @property
    def exceeds_noise(self) -> bool:
        """Whether the change is more than repeated measurement explains."""
        return self.direction is not Direction.UNCHANGED


_ORDER = (LowVision.COUNTING_FINGERS, LowVision.HAND_MOVEMENTS, LowVision.LIGHT, LowVision.NO_LIGHT)


def change(earlier: DistanceAcuity, later: DistanceAcuity, *, method: str) -> AcuityChange:
    """Tell a real change of acuity from the noise of measurement.

    Parameters
    ----------
    earlier, later : ReadAcuity or LowVisionAcuity
        The same eye with the same correction.
    method : str
        Name of a row of ``repeatability``: how both were measured. If they differ, take the less
        repeatable.

    Returns
    -------
    AcuityChange
        Below the chart only the order of the categories is compared; no amount is given.

    Raises
    ------
    BadInput
        When the method is unknown.
    """
    row = row_named(
        read_tables("distance_acuity.yaml")["repeatability"], method, "method of measurement"
    )
    limit = float(row["limit_logmar"])
    if isinstance(earlier, ReadAcuity) and isinstance(later, ReadAcuity):
        difference = later.logmar - earlier.logmar
        direction = Direction.UNCHANGED
        if abs(difference) > limit + _ROUNDING:
            direction = Direction.WORSE if difference > 0 else Direction.BETTER
        return AcuityChange(direction, difference, limit, method, row["people"], row.citation)
    before, after = _rank(earlier), _rank(later)
    direction = Direction.UNCHANGED
    if before != after:
        direction = Direction.WORSE if after > before else Direction.BETTER
    return AcuityChange(direction, None, None, "order of the categories", "", "common practice")


def _rank(acuity: DistanceAcuity) -> int:
    return -1 if isinstance(acuity, ReadAcuity) else _ORDER.index(acuity.level)


@dataclass(frozen=True, slots=True)
class PinholeReading:
    """What the pinhole showed.

    Parameters
    ----------
    direction : Direction
        With the pinhole, against the repeatability of the method.
    meaning, caution : str
    change : AcuityChange
        The comparison it rests on.
    """

    direction: Direction
    meaning: str
    caution: str
    change: AcuityChange


def pinhole(without: DistanceAcuity, through: DistanceAcuity, *, method: str) -> PinholeReading:
    """Say what acuity through a pinhole means.

    Parameters
    ----------
    without, through : ReadAcuity or LowVisionAcuity
        The same eye without and through the pinhole.
    method : str
        How they were measured, as in `change`: an improvement counts only beyond that noise.

    Returns
    -------
    PinholeReading

    Raises
    ------
    BadInput
        When the method is unknown.
    """
    compared = change(without, through, method=method)
    row = row_named(
        read_tables("distance_acuity.yaml")["pinhole"], compared.direction.value, "pinhole"
    )
    return PinholeReading(compared.direction, row["meaning"], row["caution"], compared)
