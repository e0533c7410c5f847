"""Recorded values on one scale, whatever the notation, and which way is worse."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from decussate.bibliography import check_source
from decussate.data_rows import read_rows
from decussate.examination.bedside_test import Measurement, Test
from decussate.examination.checking import AS_WRITTEN, measured_number
from decussate.examination.document import Finding
from decussate.measures import acuity_notation, near_acuity
from decussate.measures.distance_acuity import DistanceAcuity, ReadAcuity, from_logmar

__all__ = [
    "DIRECTIONS",
    "Value",
    "amount_in_words",
    "axis_of",
    "has_graded_answers",
    "is_worse",
    "value_of",
    "worse_when",
]

DIRECTIONS = (("right", "left"), ("in", "out"), ("eso", "exo"), ("right_higher", "left_higher"))
"""Answers that give a size its sign: the first of each pair counts as positive."""


@dataclass(frozen=True, slots=True)
class Value:
    """One recorded value, on the scale on which it can be compared.

    Attributes
    ----------
    number : float or None
        In `unit`; None for vision below the chart. For near print without its distance, log10 of N.
    unit : str
    axis : str
        What the number is along: the pair of directions that signs it (``"eso, exo"``), empty for
        a plain size, ``"any direction"`` for a size called normal, whose direction was not kept.
    shown : str
        As recorded, with its unit.
    acuity : ReadAcuity or LowVisionAcuity or None
        For distance acuity.
    """

    number: float | None
    unit: str
    axis: str
    shown: str
    acuity: DistanceAcuity | None = None


def value_of(test: Test, finding: Finding) -> Value | None:
    """Read the measurement of a finding; None when it holds none.

    Parameters
    ----------
    test : Test
    finding : Finding

    Raises
    ------
    BadInput
        If the value or its unit is not possible for the test.
    """
    measured, scale = finding.measurement, test.measurement
    if measured is None or scale is None:
        return None
    shown = _shown(measured.value, measured.unit)
    if scale.reader == "distance_acuity":
        acuity = (
            acuity_notation.parse(measured.value)
            if isinstance(measured.value, str)
            else from_logmar(measured.value)
        )
        number = acuity.logmar if isinstance(acuity, ReadAcuity) else None
        return Value(number, scale.unit, "", shown, acuity)
    if scale.reader == "near_acuity":
        if isinstance(measured.value, str):
            return Value(near_acuity.parse(measured.value).logmar, "logMAR", "", shown)
        # A size without its distance compares with another such size only, in log steps.
        return Value(math.log10(measured.value), "logMAR", "distance not stated", shown)
    number = measured_number(test, measured)
    axis, sign = axis_of(test, finding.response)
    return Value(sign * number, scale.unit, axis, shown)


def axis_of(test: Test, response: str) -> tuple[str, float]:
    """Say along which pair of directions an answer lies, and its sign.

    Returns
    -------
    tuple of (str, float)
        ``("", 1.0)`` for a test without directions.
    """
    pairs = [pair for pair in DIRECTIONS if pair[0] in test.responses]
    for pair in pairs:
        if response in pair:
            return ", ".join(pair), 1.0 if response == pair[0] else -1.0
    return ("any direction", 1.0) if pairs else ("", 1.0)


def difference(earlier: Value, later: Value) -> float | None:
    """Later minus earlier; None where the two have no common scale.

    Notes
    -----
    A size called normal has no recorded direction; it is given that of the other value, which makes
    the difference no larger than it was.
    """
    if earlier.number is None or later.number is None or earlier.unit != later.unit:
        return None
    before, after = earlier.number, later.number
    if earlier.axis != later.axis:
        if "any direction" not in (earlier.axis, later.axis):
            return None
        before, after = (
            math.copysign(before, after) if earlier.axis == "any direction" else before,
            math.copysign(after, before) if later.axis == "any direction" else after,
        )
    return round(after - before, 6)


def is_worse(test: Test, earlier: Value, later: Value) -> bool | None:
    """Whether the later value is worse; None where neither, or where it cannot be said."""
    if earlier.acuity is not None and later.acuity is not None:
        before, after = _rank(earlier.acuity), _rank(later.acuity)
        return after > before if before != after else None
    moved = difference(earlier, later)
    way = worse_when(test)
    turned = "any direction" not in (earlier.axis, later.axis) and _sign(earlier) != _sign(later)
    if not moved or way == "neither" or (way == "directed" and turned):
        return None
    was, has = (_badness(test, way, value.number or 0.0) for value in (earlier, later))
    return has > was if has != was else None


def worse_when(test: Test) -> str:
    """Say which way is worse.

    Returns
    -------
    str
        ``higher``, ``lower``, ``farther`` (from 0), ``outside`` (the normal band), ``directed``
        (the larger in its direction), or ``neither``.
    """
    for way, tests in _ways().items():
        if test.id in tests and way != "graded_answers":
            return way
    if any(pair[0] in test.responses for pair in DIRECTIONS):
        return "directed"
    scale = test.measurement
    if scale is None or not scale.bands:
        return "neither"
    low, high = _normal_band(scale)
    if low == scale.low:
        return "higher"
    return "lower" if high == scale.high else "outside"


def has_graded_answers(test: Test) -> bool:
    """Whether the answers of a test without a sign stand in order, from better to worse."""
    return test.id in _ways()["graded_answers"]


@cache
def _ways() -> Mapping[str, tuple[str, ...]]:
    file = files("decussate.comparison").joinpath("data/directions.yaml")
    ways = {}
    for row in read_rows(file):
        row.only("id", "tests", "source")
        row.one_of("id", ("higher", "lower", "farther", "neither", "graded_answers"))
        check_source(row["source"], row.where)
        ways[row["id"]] = tuple(row["tests"])
    return ways


def _badness(test: Test, way: str, number: float) -> float:
    if way == "outside" and test.measurement is not None:
        low, high = _normal_band(test.measurement)
        return max(low - number, number - high, 0.0)
    return {"higher": number, "lower": -number}.get(way, abs(number))


def _normal_band(scale: Measurement) -> tuple[float, float]:
    normal = [band for band in scale.bands if band.response == "normal"]
    return min(band.low for band in normal), max(band.high for band in normal)


def _rank(acuity: DistanceAcuity) -> float:
    """Order acuities, the levels below the chart after every value on it."""
    if isinstance(acuity, ReadAcuity):
        return acuity.logmar
    return 100.0 + list(type(acuity.level)).index(acuity.level)


def _sign(value: Value) -> float:
    return math.copysign(1.0, value.number or 0.0)


def amount_in_words(size: float, unit: str) -> str:
    """Say the size of a change: ``"2 mm"``, ``"1 grade"``, ``"15 points"``."""
    word = {"score": "point", "grade": "grade", "dioptre": "prism dioptre"}.get(unit.split()[-1])
    if word is None:
        return f"{size:.3g}" if unit == "1" else f"{size:.3g} {unit}"
    return f"{size:.3g} {word}{'' if size == 1 else 's'}"


def _shown(value: float | str, unit: str) -> str:
    text = value if isinstance(value, str) else f"{value:g}"
    return text if unit in ("1", AS_WRITTEN) else f"{text} {unit}"
