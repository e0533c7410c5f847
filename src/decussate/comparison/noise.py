"""Telling a change of a measurement from the noise of measuring, by published repeatability.

Every figure is a row of ``data/repeatability.yaml`` with its source; where none was found the
verdict is that nothing can be said.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from decussate.bibliography import cite
from decussate.comparison.repeatability import Repeatability, load_repeatability
from decussate.comparison.values import Value, difference, is_worse, value_of
from decussate.examination.bedside_test import Test
from decussate.examination.document import Finding
from decussate.measures.acuity_interpretation import change as acuity_change
from decussate.measures.comitance import real_change_pd
from decussate.measures.distance_acuity import DistanceAcuity, Notation, ReadAcuity
from decussate.measures.published_rows import read_tables, row_named

__all__ = ["Limit", "MeasuredChange", "Verdict", "limit_between", "measured_change"]

_ROUNDING = 1e-6


class Verdict(StrEnum):
    """A change of a measurement against the repeat error of measuring it."""

    BEYOND = "beyond repeat error"
    WITHIN = "within repeat error"
    UNKNOWN = "within or beyond repeat error cannot be said"


@dataclass(frozen=True, slots=True)
class Limit:
    """The repeat error that one pair of measurements is held against.

    Attributes
    ----------
    beyond : float or None
        A change of more than this is more than repeat error.
    within : float or None
        A change of no more than this is repeat error.
    unit : str
    people, basis, source, mark : str
        As in `Repeatability`.
    inclusive : bool
        Whether a change of exactly `beyond` is already real.
    """

    beyond: float | None
    within: float | None
    unit: str
    people: str
    basis: str
    source: str
    mark: str
    inclusive: bool = False

    def verdict(self, size: float) -> Verdict:
        """Hold the size of a change, in `unit`, against this limit."""
        if self.beyond is not None:
            edge = self.beyond + (-_ROUNDING if self.inclusive else _ROUNDING)
            if size > edge:
                return Verdict.BEYOND
        if self.within is not None and size <= self.within + _ROUNDING:
            return Verdict.WITHIN
        return Verdict.UNKNOWN


@dataclass(frozen=True, slots=True)
class MeasuredChange:
    """A change between two measurements of one thing, and what it is worth.

    Attributes
    ----------
    earlier, later : str
        The values as recorded.
    difference : float or None
        Later minus earlier in `unit`, signed for tests with a direction; None where the two have no
        common scale (counting fingers, or a sideways and an upward deviation).
    unit : str
    worse : bool or None
        None where neither, or where it cannot be said.
    verdict : Verdict
    limit : Limit or None
        None where no figure was found.
    citation : str
        Source of the limit in full; empty where there is none.
    remarks : tuple of str
        What weakens the comparison: other techniques or circumstances, one examiner not stated.
    """

    earlier: str
    later: str
    difference: float | None
    unit: str
    worse: bool | None
    verdict: Verdict
    limit: Limit | None
    citation: str
    remarks: tuple[str, ...] = ()


def measured_change(
    test: Test, earlier: Finding, later: Finding, *, other_circumstances: tuple[str, ...] = ()
) -> MeasuredChange | None:
    """Compare two measurements of one test on one side.

    Parameters
    ----------
    test : Test
    earlier, later : Finding
        Both of this test and one side.
    other_circumstances : tuple of str
        Names of circumstances that differed; a published figure then does not apply.

    Returns
    -------
    MeasuredChange or None
        None unless both findings hold a measurement.

    Raises
    ------
    BadInput
        If a value or its unit is not possible for the test.

    Notes
    -----
    A figure found with one technique says nothing of two: if techniques or circumstances differ, a
    change is never called beyond repeat error.
    """
    before, after = value_of(test, earlier), value_of(test, later)
    if before is None or after is None:
        return None
    remarks = [f"different circumstances: {name}" for name in other_circumstances]
    if earlier.technique and later.technique and earlier.technique != later.technique:
        remarks.append(f"different techniques: {earlier.technique}, then {later.technique}")
    moved = difference(before, after)
    limit = limit_between(test, earlier, later)
    if moved is not None:
        verdict = _verdict(limit, abs(moved))
    else:
        verdict, limit = _off_the_scale(before, after)
    if remarks and verdict is Verdict.BEYOND:
        verdict = Verdict.UNKNOWN
    if verdict is Verdict.UNKNOWN and _only_for_one_examiner(test, earlier, later):
        remarks.append("repeat error is published for one examiner only")
    return MeasuredChange(
        earlier=before.shown,
        later=after.shown,
        difference=moved,
        unit=after.unit,
        worse=is_worse(test, before, after),
        verdict=verdict,
        limit=limit,
        citation=cite(limit.source) if limit else "",
        remarks=tuple(remarks),
    )


def limit_between(test: Test, earlier: Finding, later: Finding) -> Limit | None:
    """Find the repeat error that two measurements of one test are held against.

    Parameters
    ----------
    test : Test
    earlier, later : Finding

    Returns
    -------
    Limit or None
        None where no figure was found for this test.
    """
    row = load_repeatability().get(test.id)
    before, after = value_of(test, earlier), value_of(test, later)
    if row is None or not row.known or before is None or after is None:
        return None
    if row.rule == "distance acuity":
        return _acuity_limit(row, (before, earlier), (after, later))
    if row.rule == "cover test":
        larger = max(abs(before.number or 0.0), abs(after.number or 0.0))
        change = max(real_change_pd(larger), real_change_pd(larger, sixth_nerve_palsy=True))
        return _limit(row, change, change, inclusive=True)
    if row.within is not None:
        return _limit(row, None, row.within)
    if row.same_examiner is not None and _same_examiner(earlier, later):
        return _limit(row, row.same_examiner, row.same_examiner)
    # Two examiners never agree better than one with himself.
    return _limit(row, row.any_examiner, row.any_examiner or row.same_examiner)


def _limit(
    row: Repeatability, beyond: float | None, within: float | None, *, inclusive: bool = False
) -> Limit:
    return Limit(beyond, within, row.unit, row.people, row.basis, row.source, row.mark, inclusive)


def _verdict(limit: Limit | None, size: float) -> Verdict:
    if size <= _ROUNDING:
        return Verdict.WITHIN
    return limit.verdict(size) if limit else Verdict.UNKNOWN


def _acuity_limit(
    row: Repeatability, before: tuple[Value, Finding], after: tuple[Value, Finding]
) -> Limit:
    """Take the less repeatable of the two ways of measuring, as `acuity_change` asks."""
    table = read_tables("distance_acuity.yaml")["repeatability"]
    known = {str(published["name"]) for published in table}
    named = [
        finding.technique
        if finding.technique in known
        else row.methods[_way_of_writing(value.acuity)]
        for value, finding in (before, after)
    ]
    method = max(
        (row_named(table, str(name), "method of measurement") for name in named),
        key=lambda published: float(published["limit_logmar"]),
    )
    limit = float(method["limit_logmar"])
    return Limit(
        limit, limit, row.unit, method["people"], str(method["name"]), method.source, method.mark
    )


def _way_of_writing(acuity: DistanceAcuity | None) -> str:
    if isinstance(acuity, ReadAcuity) and acuity.notation in (Notation.LOGMAR, Notation.LETTERS):
        return "logarithmic"
    if isinstance(acuity, ReadAcuity) and (acuity.missed or acuity.gained):
        return "letters on the line"
    return "whole line"


def _off_the_scale(before: Value, after: Value) -> tuple[Verdict, Limit | None]:
    """Judge what has no common scale: below the chart, only the order of the levels is compared."""
    if before.acuity is None or after.acuity is None:
        return Verdict.UNKNOWN, None
    method = read_tables("distance_acuity.yaml")["repeatability"][0]["name"]
    moved = acuity_change(before.acuity, after.acuity, method=str(method))
    limit = Limit(None, None, "", moved.people, moved.method, moved.citation, "")
    return (Verdict.BEYOND if moved.exceeds_noise else Verdict.WITHIN), limit


def _same_examiner(earlier: Finding, later: Finding) -> bool:
    return earlier.by is not None and earlier.by == later.by


def _only_for_one_examiner(test: Test, earlier: Finding, later: Finding) -> bool:
    row = load_repeatability().get(test.id)
    only = row is not None and row.same_examiner is not None and row.any_examiner is None
    return only and not _same_examiner(earlier, later)
