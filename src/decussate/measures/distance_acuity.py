"""Distance acuity: one value, whatever the notation, and the conversions between them.

An acuity is either read from a chart (`ReadAcuity`, which keeps the fraction as it was written) or
too low for a chart (`LowVisionAcuity`, an ordered category). Written forms are read and made by
`decussate.measures.acuity_notation`; what an acuity means is in
`decussate.measures.acuity_interpretation`.

References
----------
.. [1] ISO 8596, Visual acuity testing: acuity is the reciprocal of the gap in minutes of arc.
.. [2] Holladay JT. Visual acuity measurements. J Cataract Refract Surg 2004;30:287-290
   (logMAR, geometric mean).
.. [3] Beck RW et al. A computerized method of visual acuity testing.
   Am J Ophthalmol 2003;135:194-205 (letter score = 85 - 50 logMAR).
.. [4] Colenbrander A. AMA Guides to the Evaluation of Permanent Impairment
   (score = 100 - 50 logMAR); the same formula in DICOM PS3.17, annex RR.2.2.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from decussate.errors import BadInput
from decussate.measures.acuity_chart import FOOT_M, Chart, chart_named
from decussate.measures.published_rows import read_tables

__all__ = [
    "DistanceAcuity",
    "LowVision",
    "LowVisionAcuity",
    "Notation",
    "ReadAcuity",
    "correct_for_distance",
    "from_decimal",
    "from_letter_score",
    "from_logmar",
    "mean_acuity",
    "protocol_letter_score",
    "snellen",
]

_BEST_LOGMAR, _WORST_LOGMAR = -0.31, 3.0


class Notation(StrEnum):
    """The notation an acuity was written in."""

    METRES = "Snellen, metres"
    FEET = "Snellen, feet"
    DECIMAL = "decimal"
    LOGMAR = "logMAR"
    LETTERS = "letter score"


class LowVision(StrEnum):
    """Vision too low for a chart, from better to worse."""

    COUNTING_FINGERS = "CF"
    HAND_MOVEMENTS = "HM"
    LIGHT = "PL"
    NO_LIGHT = "NPL"


@dataclass(frozen=True, slots=True)
class ReadAcuity:
    """An acuity read from a chart.

    Parameters
    ----------
    logmar : float
        Logarithm of the minimum angle of resolution, letters missed and gained included.
    notation : Notation
        How it was written.
    numerator, denominator : float, optional
        The Snellen fraction as written: test distance over the distance of the line, in the unit
        of `notation`.
    missed, gained : int
        Letters missed on the line, and letters read on the next smaller line.
    chart : str
        The chart whose letters were counted, when any were.
    remarks : tuple of str
        What a reader should know about how the value was reached.
    """

    logmar: float
    notation: Notation
    numerator: float | None = None
    denominator: float | None = None
    missed: int = 0
    gained: int = 0
    chart: str = ""
    remarks: tuple[str, ...] = ()

    @property
    def mar_arcmin(self) -> float:
        """Minimum angle of resolution, minutes of arc [1]_."""
        return float(10.0**self.logmar)

    @property
    def decimal(self) -> float:
        """Decimal acuity, the reciprocal of the minimum angle of resolution [1]_."""
        return float(10.0**-self.logmar)

    @property
    def letter_score(self) -> float:
        """Letter score on the 100-letter logarithmic chart, 85 at 6/6 [3]_."""
        return 85.0 - 50.0 * self.logmar

    @property
    def acuity_score(self) -> float:
        """Visual acuity score of the impairment guides, 100 at 6/6 [4]_; not the letter score."""
        return 100.0 - 50.0 * self.logmar


@dataclass(frozen=True, slots=True)
class LowVisionAcuity:
    """An acuity too low for a chart.

    Parameters
    ----------
    level : LowVision
    distance_m : float, optional
        Distance at which fingers were counted or hand movements seen, metres.
    """

    level: LowVision
    distance_m: float | None = None


DistanceAcuity = ReadAcuity | LowVisionAcuity


def snellen(
    numerator: float,
    denominator: float,
    *,
    feet: bool = False,
    missed: int = 0,
    gained: int = 0,
    chart: Chart | None = None,
) -> ReadAcuity:
    """Acuity from a Snellen fraction, with letters missed on the line or gained on the next.

    Parameters
    ----------
    numerator : float
        Distance at which the chart was read, metres (or feet).
    denominator : float
        Distance that names the line, in the same unit.
    feet : bool
        Both are in feet.
    missed, gained : int
        ``6/9-2`` has 2 missed; ``6/6+1`` has 1 gained.
    chart : Chart, optional
        The chart used. Without it, the 5-letter logarithmic chart if it has the line, else the
        customary Snellen chart; the choice is remarked on.

    Returns
    -------
    ReadAcuity
        logMAR = log10(denominator / numerator) [2]_, plus the value of the letters.

    Raises
    ------
    BadInput
        When the fraction is upside down or impossible, or the letters cannot be on that line.
    """
    written = f"{numerator:g}/{denominator:g}"
    if not (0 < numerator < math.inf and 0 < denominator < math.inf):
        raise BadInput("Snellen fraction", written, "two distances greater than zero")
    longest = 20.0 if feet else 6.5
    if numerator > denominator and denominator in (6, 20):
        hint = f"Was it {denominator:g}/{numerator:g}, written upside down?"
        raise BadInput("Snellen fraction", written, "test distance over line, as 6/60", hint=hint)
    if numerator > longest:
        raise BadInput(
            "test distance of the Snellen fraction",
            written,
            f"at most {longest:g} {'ft' if feet else 'm'}",
            hint="Is the distance in centimetres, or the fraction upside down?",
        )
    logmar = _plausible(math.log10(denominator / numerator), written)
    notation = Notation.FEET if feet else Notation.METRES
    acuity = ReadAcuity(logmar, notation, numerator, denominator)
    if not (missed or gained):
        return acuity
    return _with_letters(acuity, missed, gained, chart)


def _with_letters(acuity: ReadAcuity, missed: int, gained: int, chart: Chart | None) -> ReadAcuity:
    written = f"{acuity.numerator:g}/{acuity.denominator:g}"
    unit_m = FOOT_M if acuity.notation is Notation.FEET else 1.0
    size_m, distance_m = (acuity.denominator or 0) * unit_m, (acuity.numerator or 0) * unit_m
    remarks: tuple[str, ...] = ()
    if chart is None:
        customary = "Snellen 20 ft" if acuity.notation is Notation.FEET else "Snellen 6 m"
        candidates = [chart_named("logarithmic 5 letters"), chart_named(customary)]
        found = [c for c in candidates if c.line_of(size_m, distance_m) is not None]
        if not found:
            raise BadInput(
                "line of the chart", written, "a line of a known chart", hint="Name the chart used."
            )
        chart = found[0]
        remarks = (
            f"Letters counted as on the chart '{chart.name}'; name the chart if it was another.",
        )
    index = chart.line_of(size_m, distance_m)
    if index is None:
        raise BadInput("line of the chart", written, f"a line of the chart '{chart.name}'")
    missed_worth, gained_worth = chart.letter_values(index)
    letters = chart.lines[index][1]
    below = chart.lines[index + 1][1] if index + 1 < len(chart.lines) else 0
    for what, count, there in (("missed on", missed, letters), ("gained below", gained, below)):
        if not 0 <= count < max(there, 1):
            raise BadInput(
                f"letters {what} the line {written}",
                count,
                f"0 to {max(there - 1, 0)} on the chart '{chart.name}'",
                hint="If the whole line was missed or read, write the next line.",
            )
    if math.isnan(missed_worth) and missed:
        raise BadInput(f"letters missed on the line {written}", missed, "0 on the largest line")
    if missed * 2 > letters:
        remarks += (
            "Fewer than half the letters of this line were read: the line above counts as read.",
        )
    logmar = acuity.logmar
    logmar += missed * missed_worth if missed else 0.0
    logmar -= gained * gained_worth if gained else 0.0
    return replace(
        acuity, logmar=logmar, missed=missed, gained=gained, chart=chart.name, remarks=remarks
    )


def from_decimal(decimal: float) -> ReadAcuity:
    """Acuity from the decimal notation: logMAR = -log10(decimal) [2]_.

    Parameters
    ----------
    decimal : float

    Returns
    -------
    ReadAcuity

    Raises
    ------
    BadInput
        When it is outside 0.001 to 2.
    """
    if not 0.001 <= decimal <= 2.0:
        raise BadInput(
            "decimal acuity", decimal, "0.001 to 2.0", hint="Is it a logMAR or a letter score?"
        )
    return ReadAcuity(-math.log10(decimal), Notation.DECIMAL)


def from_logmar(logmar: float) -> ReadAcuity:
    """Acuity from logMAR.

    Parameters
    ----------
    logmar : float

    Returns
    -------
    ReadAcuity

    Raises
    ------
    BadInput
        When it is outside -0.31 to 3.
    """
    return ReadAcuity(_plausible(logmar, logmar), Notation.LOGMAR)


def from_letter_score(letters: float) -> ReadAcuity:
    """Acuity from the letter score of a 100-letter chart: logMAR = 1.7 - 0.02 letters [3]_.

    Parameters
    ----------
    letters : float
        0 to 100; 85 is 6/6.

    Returns
    -------
    ReadAcuity

    Raises
    ------
    BadInput
        When it is outside 0 to 100.
    """
    if not 0 <= letters <= 100:
        raise BadInput("letter score", letters, "0 to 100 letters (85 is 6/6)")
    return ReadAcuity(1.7 - 0.02 * letters, Notation.LETTERS)


def protocol_letter_score(letters_at_4m: int, letters_at_1m: int = 0) -> int:
    """Letter score from letters read at 4 m and, if fewer than 20, at 1 m.

    Parameters
    ----------
    letters_at_4m : int
        Letters read at 4 m (0 to 70).
    letters_at_1m : int
        Letters of the first six lines read at 1 m (0 to 30); used only when fewer than 20 were
        read at 4 m.

    Returns
    -------
    int

    Raises
    ------
    BadInput
        When a count is impossible.

    References
    ----------
    ETDRS manual of operations (rule quoted from memory): 30 letters are credited when 20 or more
    are read at 4 m.
    """
    if not 0 <= letters_at_4m <= 70:
        raise BadInput("letters read at 4 m", letters_at_4m, "0 to 70")
    if not 0 <= letters_at_1m <= 30:
        raise BadInput("letters read at 1 m", letters_at_1m, "0 to 30, the first six lines")
    return letters_at_4m + (30 if letters_at_4m >= 20 else letters_at_1m)


def mean_acuity(acuities: Iterable[ReadAcuity]) -> ReadAcuity:
    """Mean of acuities, the geometric mean of the fractions [2]_.

    Parameters
    ----------
    acuities : iterable of ReadAcuity
        Categories below the chart (CF, HM, PL, NPL) have no mean and are not accepted.

    Returns
    -------
    ReadAcuity

    Raises
    ------
    BadInput
        When there is none, or one is too low for a chart.
    """
    given = list(acuities)
    if not given or not all(isinstance(a, ReadAcuity) for a in given):
        raise BadInput("acuities to average", given, "one or more acuities read on a chart")
    return ReadAcuity(math.fsum(a.logmar for a in given) / len(given), Notation.LOGMAR)


def correct_for_distance(
    label: ReadAcuity, *, chart_distance_m: float, used_distance_m: float
) -> ReadAcuity:
    """Find the true acuity when a chart is read from another distance than its own.

    Parameters
    ----------
    label : ReadAcuity
        The acuity printed beside the line, for the distance the chart was made for.
    chart_distance_m : float
        Distance the chart was made for, metres.
    used_distance_m : float
        Distance it was read from, metres.

    Returns
    -------
    ReadAcuity
        logMAR + log10(chart distance / distance used): nearer is worse. A fraction keeps its
        line and takes the distance used (the 60 line of a 6 m chart at 1 m is 1/60).

    Raises
    ------
    BadInput
        When a distance is not between 0.1 and 10 m.
    """
    for field, metres in (("chart distance", chart_distance_m), ("distance used", used_distance_m)):
        if not 0.1 <= metres <= 10.0:
            raise BadInput(field, metres, "0.1 to 10 metres", hint="Is it in centimetres or feet?")
    ratio = used_distance_m / chart_distance_m
    remarks = label.remarks
    near = read_tables("distance_acuity.yaml")["near_testing"][0]
    if used_distance_m < near["below_m"]:
        focus = 1.0 / used_distance_m
        remarks += (
            f"At {used_distance_m:g} m the eye must focus {focus:.2f} D: add lenses if it cannot.",
            near["meaning"],
        )
    numerator = None if label.numerator is None else label.numerator * ratio
    logmar = label.logmar - math.log10(ratio)
    return replace(label, logmar=logmar, numerator=numerator, remarks=remarks)


def _plausible(logmar: float, written: object) -> float:
    if not _BEST_LOGMAR <= logmar <= _WORST_LOGMAR:
        hint = (
            "Better than any human eye: is the fraction upside down, or are two units mixed?"
            if logmar < _BEST_LOGMAR
            else "Below what a chart measures: record CF, HM, PL or NPL."
        )
        raise BadInput("distance acuity", written, "logMAR -0.31 (6/3) to 3.0", hint=hint)
    return logmar
