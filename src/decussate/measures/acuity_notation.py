"""Distance acuity as clinicians write it: ``6/9-2``, ``20/40``, ``logMAR 0.3``, ``CF 1 m``."""

from __future__ import annotations

import re

from decussate.errors import BadInput
from decussate.measures.acuity_chart import FOOT_M, Chart
from decussate.measures.distance_acuity import (
    DistanceAcuity,
    LowVision,
    LowVisionAcuity,
    Notation,
    ReadAcuity,
    from_decimal,
    from_letter_score,
    from_logmar,
    snellen,
)
from decussate.measures.published_rows import read_tables

__all__ = ["nearest_line", "parse", "write"]


def parse(text: str, *, chart: Chart | None = None) -> DistanceAcuity:
    """Read an acuity as clinicians write it.

    Parameters
    ----------
    text : str
        ``6/9-2``, ``20/40``, ``3/60``, ``logMAR 0.30``, ``decimal 0.5``, ``85 letters``,
        ``CF 1 m``, ``HM``, ``PL``, ``NPL``. A fraction is in feet when its numerator is 10 or more,
        or it says ``ft``.
    chart : Chart, optional
        The chart whose letters are counted in ``6/9-2``.

    Returns
    -------
    ReadAcuity or LowVisionAcuity

    Raises
    ------
    BadInput
        When it is not understood, naming what was expected and the usual slip.
    """
    shown = text
    text = " ".join(text.replace("−", "-").replace("–", "-").replace(",", ".").split())
    if match := _FRACTION.fullmatch(text):
        numerator, denominator = float(match["num"]), float(match["den"])
        units = {match["unit1"], match["unit2"]} - {None, ""}
        feet = "ft" in units or (not units and numerator >= 10 and denominator != 6)
        if units == {"m", "ft"}:
            raise BadInput("Snellen fraction", shown, "one unit for both parts, metres or feet")
        if match["part"]:
            hint = "Say how many letters were missed, as 6/9-2."
            raise BadInput("letters on the line", shown, "a count of letters", hint=hint)
        return snellen(
            numerator, denominator, feet=feet, chart=chart,
            missed=int(match["missed"] or 0), gained=int(match["gained"] or 0),
        )  # fmt: skip
    for pattern, read in _SCALES:
        if match := pattern.fullmatch(text):
            return read(float(next(group for group in match.groups() if group)))
    for level, pattern in _LEVELS.items():
        if match := pattern.fullmatch(text):
            return LowVisionAcuity(level, _distance(match.groupdict(), shown))
    hint = ""
    if re.fullmatch(r"-?\d*\.?\d+", text):
        hint = "A bare number is ambiguous: write 'decimal 0.5', 'logMAR 0.3' or '85 letters'."
    raise BadInput(
        "distance acuity",
        shown,
        "a form such as 6/9-2, 20/40, logMAR 0.3, CF 1 m, HM, PL or NPL",
        hint=hint,
    )


_NUMBER = r"\d+(?:\.\d+)?"
_FRACTION = re.compile(
    rf"(?P<num>{_NUMBER}) ?(?P<unit1>m|ft)? ?/ ?(?P<den>{_NUMBER}) ?(?P<unit2>m|ft)?"
    r" ?(?P<part>p|pt|part|partial)?(?: ?- ?(?P<missed>\d+))?(?: ?\+ ?(?P<gained>\d+))?",
    re.IGNORECASE,
)
_SCALES = (
    (re.compile(r"log ?mar ?(-?\d*\.?\d+)|(-?\d*\.?\d+) ?log ?mar", re.IGNORECASE), from_logmar),
    (
        re.compile(rf"dec(?:imal)? ?({_NUMBER})|({_NUMBER}) ?dec(?:imal)?", re.IGNORECASE),
        from_decimal,
    ),
    (
        re.compile(rf"(?:etdrs )?({_NUMBER}) letters?|etdrs ({_NUMBER})", re.IGNORECASE),
        from_letter_score,
    ),
)
_AT = rf"(?: ?(?:at|@)? ?(?P<value>{_NUMBER}) ?(?P<unit>m|cm|ft|metres?|feet)?)?"
_LEVELS = {
    LowVision.COUNTING_FINGERS: re.compile(
        r"(?:cf|fc|count(?:s|ing)? fingers?)" + _AT, re.IGNORECASE
    ),
    LowVision.HAND_MOVEMENTS: re.compile(
        r"(?:hms?|hand (?:movements?|motions?))" + _AT, re.IGNORECASE
    ),
    LowVision.NO_LIGHT: re.compile(
        r"npl|nlp|no (?:perception of light|light perception|light)", re.IGNORECASE
    ),
    LowVision.LIGHT: re.compile(r"pl|lp|(?:perception of )?light|light perception", re.IGNORECASE),
}


def _distance(found: dict[str, str | None], shown: str) -> float | None:
    if not found.get("value"):
        return None
    unit = (found["unit"] or "").lower()
    if not unit:
        hint = "Write the unit: CF 1 m, CF 50 cm or CF 3 ft."
        raise BadInput("distance at which it was seen", shown, "a number with its unit", hint=hint)
    scale = 0.01 if unit == "cm" else FOOT_M if unit in ("ft", "feet") else 1.0
    metres = float(found["value"] or 0) * scale
    if not 0.05 <= metres <= 6.0:
        hint = "Were these centimetres?" if metres > 6.0 else "Were these metres?"
        raise BadInput("distance at which it was seen", shown, "0.05 to 6 m", hint=hint)
    return metres


def write(
    acuity: DistanceAcuity, notation: Notation | None = None, *, test_distance: float | None = None
) -> str:
    """Write an acuity.

    Parameters
    ----------
    acuity : ReadAcuity or LowVisionAcuity
    notation : Notation, optional
        The notation wanted; by default the one it was written in. Vision below the chart has only
        its own.
    test_distance : float, optional
        Numerator of a Snellen fraction, in its own unit; by default 6 m or 20 ft.

    Returns
    -------
    str
        As written when nothing was asked for, so that it reads back unchanged. Otherwise the exact
        value to 3 significant figures (2 decimals for logMAR, 1 for letters), not the nearest line:
        see `nearest_line`.

    Raises
    ------
    BadInput
        When a letter score is asked for and the acuity is off the 100-letter chart.
    """
    if isinstance(acuity, LowVisionAcuity):
        at = "" if acuity.distance_m is None else f" {acuity.distance_m:.4g} m"
        return f"{acuity.level.value}{at}"
    notation = notation or acuity.notation
    if notation is acuity.notation and acuity.numerator is not None and test_distance is None:
        unit = _unit_to_say(acuity)
        letters = f"-{acuity.missed}" if acuity.missed else ""
        letters += f"+{acuity.gained}" if acuity.gained else ""
        return f"{acuity.numerator:g}/{acuity.denominator:g}{unit}{letters}"
    if notation in (Notation.METRES, Notation.FEET):
        top = test_distance or (20.0 if notation is Notation.FEET else 6.0)
        return f"{top:g}/{_three_figures(top * acuity.mar_arcmin)}"
    if notation is Notation.LETTERS:
        if not 0.0 <= acuity.letter_score <= 100.0:
            hint = "The chart has no such score: write it as logMAR."
            raise BadInput("letter score", round(acuity.letter_score, 1), "0 to 100", hint=hint)
        return f"{acuity.letter_score:.1f}".removesuffix(".0") + " letters"
    if notation is Notation.DECIMAL:
        return f"decimal {acuity.decimal:.3g}"
    return f"logMAR {acuity.logmar:.2f}"


def _three_figures(value: float) -> str:
    return f"{value:.0f}" if value >= 100.0 else f"{value:.3g}"


def _unit_to_say(acuity: ReadAcuity) -> str:
    """Give the unit where a reader would otherwise take the fraction for the other one."""
    taken_for_feet = (acuity.numerator or 0) >= 10 and acuity.denominator != 6
    if (acuity.notation is Notation.FEET) is taken_for_feet:
        return ""
    return " ft" if acuity.notation is Notation.FEET else " m"


def nearest_line(acuity: ReadAcuity, *, test_distance: float = 6.0, feet: bool = False) -> str:
    """Name the nearest line of a 5-letter logarithmic chart, with letters over or short.

    Parameters
    ----------
    acuity : ReadAcuity
    test_distance : float
        Numerator, metres (or feet).
    feet : bool

    Returns
    -------
    str
        ``"6/9.5-2"`` for logMAR 0.24. For display only: 6/9 and 6/9.5 are different acuities.
    """
    line = round(acuity.logmar, 1)
    letters = round((line - acuity.logmar) / 0.02)
    label = test_distance * 10.0**line
    for row in read_tables("distance_acuity.yaml")["line_labels"]:
        if row["distance"] == test_distance and (row["unit"] == "ft") is feet:
            label = row["labels"].get(line, label)
    return f"{test_distance:g}/{_three_figures(label)}" + (f"{letters:+d}" if letters else "")
