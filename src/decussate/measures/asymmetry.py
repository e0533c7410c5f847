"""Rules for imaging the inner ear canal when hearing differs between the ears.

The published rules differ in frequencies and decibels, and none diagnoses: a rule met is a
reason to consider imaging.  A rule whose frequencies were not measured is not computable, never
negative.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from decussate.errors import BadInput
from decussate.measures.answer import Answer
from decussate.measures.audiogram import Audiogram
from decussate.measures.hearing_grade import air_bone_gap, hearing_limit, pure_tone_average
from decussate.measures.published_rows import PublishedRow, read_tables
from decussate.sides import Side

__all__ = ["ASYMMETRY_RULES", "AsymmetryResult", "asymmetry", "asymmetry_rules"]


_CRITERIA = read_tables("audiogram.yaml")["asymmetry"]

ASYMMETRY_RULES = tuple(dict.fromkeys(str(row["rule"]) for row in _CRITERIA))
"""Names of the rules in ``audiogram.yaml``."""


@dataclass(frozen=True, slots=True)
class AsymmetryResult:
    """Whether one rule holds for one ear as the worse ear.

    Parameters
    ----------
    rule : str
        Name of the rule.
    worse_ear : Side
        The ear taken as worse.
    met : Answer
        Yes, no, or not computable.
    frequencies_hz : tuple of int
        Frequencies at which the ear is certainly worse by the (smallest) amount of the rule.
    missing_hz : tuple of int
        Frequencies of the rule not measured in both ears, or heard in neither.
    possibly_conductive : bool
        Whether the worse ear shows an air-bone gap there; the rules are for sensorineural loss.
    note : str
        What else the rule says.
    source : str
        Where the rule comes from.
    mark : str
        How far the rule was checked; empty when seen in the source.
    """

    rule: str
    worse_ear: Side
    met: Answer
    frequencies_hz: tuple[int, ...]
    missing_hz: tuple[int, ...]
    possibly_conductive: bool
    note: str
    source: str
    mark: str


def asymmetry(audiogram: Audiogram, rule: str, worse_ear: Side) -> AsymmetryResult:
    """Apply one published asymmetry rule, with one ear taken as the worse.

    Adjacent means next to each other in the rule's own list of frequencies, and the same ear must
    be worse at both.  A tone not heard at the limit gives a bound: the rule is met when the bound
    suffices, and not computable when it does not.

    Parameters
    ----------
    audiogram : Audiogram
        Air-conduction thresholds are compared.
    rule : str
        One of `ASYMMETRY_RULES`.
    worse_ear : Side
        The ear taken as worse.

    Returns
    -------
    AsymmetryResult

    Raises
    ------
    BadInput
        If the rule is unknown.

    References
    ----------
    Each row of ``audiogram.yaml`` names its source; NICE NG98 (2018) is the first.
    """
    criteria = [row for row in _CRITERIA if row["rule"] == rule]
    if not criteria:
        raise BadInput("asymmetry rule", rule, f"one of {', '.join(ASYMMETRY_RULES)}")
    listed = tuple(dict.fromkeys(f for row in criteria for f in row["frequencies_hz"]))
    differences = {f: _difference(audiogram, worse_ear, f) for f in listed}
    smallest = min(row["at_least_db"] for row in criteria)
    reached = tuple(f for f in listed if differences[f][0] >= smallest)
    gaps = [g for f in reached if (g := air_bone_gap(audiogram, worse_ear, f))]
    return AsymmetryResult(
        rule=rule,
        worse_ear=worse_ear,
        met=Answer.any([_criterion(audiogram, row, differences, worse_ear) for row in criteria]),
        frequencies_hz=tuple(sorted(reached)),
        missing_hz=tuple(sorted(f for f in listed if differences[f] == (-math.inf, math.inf))),
        possibly_conductive=any(g.high_db > hearing_limit("gap significant") for g in gaps),
        note=next((row["note"] for row in criteria if row.get("note")), ""),
        source=criteria[0].citation,
        mark=criteria[0].mark,
    )


def asymmetry_rules(audiogram: Audiogram) -> tuple[AsymmetryResult, ...]:
    """Apply every rule with each ear taken as the worse, right first."""
    return tuple(asymmetry(audiogram, rule, side) for rule in ASYMMETRY_RULES for side in Side)


def _difference(audiogram: Audiogram, worse: Side, frequency_hz: int) -> tuple[float, float]:
    """Bounds in dB of how much worse the ear hears; unbounded when one ear was not measured."""
    here = audiogram.best(worse, frequency_hz)
    there = audiogram.best(worse.other, frequency_hz)
    if here is None or there is None or (here.no_response and there.no_response):
        return (-math.inf, math.inf)
    (low, high), (other_low, other_high) = here.bounds_db_hl, there.bounds_db_hl
    return (low - other_high, high - other_low)


def _at_least(bounds: tuple[float, float], limit: float) -> Answer:
    if bounds[0] >= limit:
        return Answer.YES
    return Answer.NO if bounds[1] < limit else Answer.UNKNOWN


def _criterion(
    audiogram: Audiogram,
    row: PublishedRow,
    differences: dict[int, tuple[float, float]],
    worse_ear: Side,
) -> Answer:
    bounds = [differences[f] for f in row["frequencies_hz"]]
    limit = float(row["at_least_db"])
    each = [_at_least(b, limit) for b in bounds]
    if row["measure"] == "mean":
        low, high = (sum(b[i] for b in bounds) / len(bounds) for i in (0, 1))
        found = _at_least((low, high), limit)
    elif row["measure"] == "adjacent":
        found = Answer.any([Answer.all(list(pair)) for pair in pairwise(each)])
    else:
        found = _count(each, row["count"])
    if row.get("better_ear") is None:
        return found
    return Answer.all([found, _better_ear(audiogram, row["better_ear"], worse_ear.other)])


def _count(each: list[Answer], wanted: int) -> Answer:
    sure = each.count(Answer.YES)
    if sure >= wanted:
        return Answer.YES
    return Answer.UNKNOWN if sure + each.count(Answer.UNKNOWN) >= wanted else Answer.NO


def _better_ear(audiogram: Audiogram, wanted: str, better_ear: Side) -> Answer:
    average = pure_tone_average(audiogram, better_ear)
    if average.level_db_hl is None:
        return Answer.UNKNOWN
    one_sided = average.level_db_hl <= hearing_limit("one-sided better ear")
    return Answer.YES if one_sided == (wanted == "up to") else Answer.NO
