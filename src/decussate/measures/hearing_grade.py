"""Pure-tone averages, grades of hearing on named scales, and the air-bone gap.

A grade is meaningless without its scale: the WHO scales judge the better ear, the BSA and ASHA
descriptors each ear, over different frequencies and with different bands.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from decussate.errors import BadInput
from decussate.measures.answer import Answer
from decussate.measures.audiogram import Audiogram, Conduction
from decussate.measures.published_rows import PublishedRow, read_tables, row_named
from decussate.sides import Side

__all__ = [
    "AirBoneGap",
    "HearingGrade",
    "LossType",
    "PureToneAverage",
    "air_bone_gap",
    "grade_of",
    "hearing_grade",
    "hearing_limit",
    "loss_type",
    "pure_tone_average",
    "unilateral_loss",
]


_TABLES = read_tables("audiogram.yaml")


def hearing_limit(name: str) -> float:
    """Return one limit of ``audiogram.yaml``, in the unit given there."""
    return float(row_named(_TABLES["limits"], name, "limit")["value"])


@dataclass(frozen=True, slots=True)
class PureToneAverage:
    """The mean of the air-conduction thresholds of one ear.

    Parameters
    ----------
    side : Side
        The ear.
    definition : str
        Whose average (``WHO``, ``BSA``, ``AAO-HNS``, ``three-frequency``).
    level_db_hl : float or None
        The mean in dB HL; None when a frequency is missing.
    frequencies_hz, missing_hz : tuple of int
        Frequencies that enter the mean, and those not measured.
    at_least : bool
        Whether a tone was not heard at the limit, so that the mean is a lower bound.
    """

    side: Side
    definition: str
    level_db_hl: float | None
    frequencies_hz: tuple[int, ...]
    missing_hz: tuple[int, ...]
    at_least: bool


def pure_tone_average(audiogram: Audiogram, side: Side, definition: str = "WHO") -> PureToneAverage:
    """Average the air-conduction thresholds of one ear over a named set of frequencies.

    A frequency that was not measured makes the average not computable; another frequency never
    stands in for it.

    Parameters
    ----------
    audiogram : Audiogram
        Masked thresholds are used where present.
    side : Side
        The ear.
    definition : str
        A row of ``audiogram.yaml``: WHO 0.5, 1, 2, 4 kHz; BSA 0.25, 0.5, 1, 2, 4 kHz;
        AAO-HNS 0.5, 1, 2, 3 kHz; three-frequency 0.5, 1, 2 kHz.

    Returns
    -------
    PureToneAverage

    Raises
    ------
    BadInput
        If the definition is unknown.

    References
    ----------
    WHO World Report on Hearing 2021; BSA Recommended Procedure 2018; de Bruijn et al. 2001.
    """
    row = row_named(_TABLES["averages"], definition, "average")
    wanted = tuple(row["frequencies_hz"])
    found = {f: t for f in wanted if (t := audiogram.best(side, f))}
    missing = tuple(f for f in wanted if f not in found)
    level = None if missing else sum(t.level_db_hl for t in found.values()) / len(wanted)
    at_least = any(t.no_response for t in found.values())
    return PureToneAverage(side, definition, level, wanted, missing, at_least)


@dataclass(frozen=True, slots=True)
class HearingGrade:
    """A grade with the scale it belongs to.

    Parameters
    ----------
    scale : str
        Name of the scale.
    grade : str or None
        The scale's word; None when the average is not computable.
    average : PureToneAverage
        The average graded, with its ear.
    at_least : bool
        Whether the true grade may be worse, a tone not having been heard at the limit.
    """

    scale: str
    grade: str | None
    average: PureToneAverage
    at_least: bool


def grade_of(level_db_hl: float, scale: str) -> str:
    """Grade an average on a named scale.

    Parameters
    ----------
    level_db_hl : float
        Pure-tone average in dB HL.
    scale : str
        ``WHO 2021`` (half-open bands: 34.9 is mild, 35.0 moderate), or ``WHO 1991``, ``BSA``,
        ``ASHA`` (bands of whole decibels: the average is first rounded, halves up).

    Returns
    -------
    str

    Raises
    ------
    BadInput
        If the scale is unknown.
    """
    row = _scale(scale)
    level = math.floor(level_db_hl + 0.5) if row["whole_decibels"] else level_db_hl
    grades = (str(b["grade"]) for b in row["bands"] if level < b.get("below_db", math.inf))
    return next(grades)


def _scale(scale: str) -> PublishedRow:
    return row_named(_TABLES["scales"], scale, "scale")


def hearing_grade(audiogram: Audiogram, scale: str, side: Side | None = None) -> HearingGrade:
    """Grade the hearing of a person or of an ear.

    Parameters
    ----------
    audiogram : Audiogram
        The thresholds.
    scale : str
        A scale of ``audiogram.yaml``.
    side : Side, optional
        The ear, for scales that judge each ear; leave out for those that judge the better ear.

    Returns
    -------
    HearingGrade

    Raises
    ------
    BadInput
        If the scale is unknown, or the ear is given or missing against the scale's definition.

    Notes
    -----
    On the WHO scales a total loss of one ear grades as normal; see `unilateral_loss`.
    """
    row = _scale(scale)
    definition = str(row["average"])
    if row["judged_by"] == "better ear":
        if side is not None:
            raise BadInput("ear", side, f"no ear: {scale} judges the better ear")
        averages = [pure_tone_average(audiogram, s, definition) for s in Side]
        average = min(
            averages,
            # An ear that is not computable comes first: it could be the better one.
            key=lambda a: (-math.inf if a.level_db_hl is None else a.level_db_hl, a.at_least),
        )
    else:
        if side is None:
            raise BadInput("ear", side, f"right or left: {scale} judges each ear")
        average = pure_tone_average(audiogram, side, definition)
    grade = None if average.level_db_hl is None else grade_of(average.level_db_hl, scale)
    return HearingGrade(scale, grade, average, average.at_least)


def unilateral_loss(audiogram: Audiogram) -> Side | Answer:
    """Name the ear with a unilateral loss in the sense of the WHO 2021 report.

    Returns
    -------
    Side or Answer
        The worse ear when the better averages below 20 and the worse 35 dB HL or more; else
        ``Answer.NO``, or ``Answer.UNKNOWN`` when an average is not computable.

    References
    ----------
    WHO World Report on Hearing 2021 (definition from memory).
    """
    averages = [pure_tone_average(audiogram, s) for s in Side]
    levels = {a.side: a.level_db_hl for a in averages if a.level_db_hl is not None}
    if len(levels) < len(averages):
        return Answer.UNKNOWN
    worse = max(levels, key=lambda s: levels[s])
    if levels[worse.other] < hearing_limit("unilateral better ear") and levels[
        worse
    ] >= hearing_limit("unilateral worse ear"):
        return worse
    return Answer.NO


@dataclass(frozen=True, slots=True)
class AirBoneGap:
    """Air minus bone conduction at one frequency of one ear.

    Parameters
    ----------
    side : Side
        The ear.
    frequency_hz : int
        Frequency in Hz.
    low_db, high_db : float
        Bounds in dB, equal when both thresholds were heard.  A negative gap is kept: it is
        either measurement noise or a sign.
    ear_certain : bool
        False when bone conduction was not masked, so that it may belong to the other ear and the
        gap may be smaller than it looks.
    """

    side: Side
    frequency_hz: int
    low_db: float
    high_db: float
    ear_certain: bool


def air_bone_gap(audiogram: Audiogram, side: Side, frequency_hz: int) -> AirBoneGap | None:
    """Give the air-bone gap at one frequency, or None when air or bone was not measured."""
    air = audiogram.best(side, frequency_hz)
    masked = audiogram.measured(side, frequency_hz, Conduction.BONE, masked=True)
    bone = masked or audiogram.unmasked_bone(frequency_hz)
    if air is None or bone is None:
        return None
    (air_low, air_high), (bone_low, bone_high) = air.bounds_db_hl, bone.bounds_db_hl
    return AirBoneGap(
        side, frequency_hz, air_low - bone_high, air_high - bone_low, masked is not None
    )


class LossType(StrEnum):
    """What air and bone conduction say together."""

    NORMAL = "normal"
    CONDUCTIVE = "conductive"
    SENSORINEURAL = "sensorineural"
    MIXED = "mixed"
    UNKNOWN = "not computable"


def loss_type(audiogram: Audiogram, side: Side, frequency_hz: int) -> LossType:
    """Classify the loss of one ear at one frequency.

    Parameters
    ----------
    audiogram : Audiogram
        The thresholds.
    side : Side
        The ear.
    frequency_hz : int
        Frequency in Hz.

    Returns
    -------
    LossType
        Conductive: bone up to 20 dB HL and gap above 10 dB.  Mixed: bone above 20 and gap above
        10.  Sensorineural: gap up to 10 and air above 20.  ``UNKNOWN`` when bone was not
        masked and a gap shows, because the bone threshold may be the other ear's.

    References
    ----------
    Common practice (``audiogram.yaml``).
    """
    air = audiogram.best(side, frequency_hz)
    if air is None:
        return LossType.UNKNOWN
    normal = hearing_limit("normal bone")
    gap = air_bone_gap(audiogram, side, frequency_hz)
    if air.level_db_hl <= normal and not air.no_response:
        # A gap inside the normal range is a small conductive loss only if it is the ear's own.
        own = gap is not None and gap.ear_certain and gap.low_db > hearing_limit("gap significant")
        return LossType.CONDUCTIVE if own else LossType.NORMAL
    if gap is None:
        return LossType.UNKNOWN
    if gap.high_db <= hearing_limit("gap significant"):
        return LossType.SENSORINEURAL
    if gap.low_db <= hearing_limit("gap significant") or not gap.ear_certain:
        return LossType.UNKNOWN
    bone = air.level_db_hl - gap.low_db
    return LossType.CONDUCTIVE if bone <= normal else LossType.MIXED
