"""What changed between two examinations, one test and side at a time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from decussate.anatomy import load_atlas
from decussate.comparison.noise import MeasuredChange, Verdict, measured_change
from decussate.comparison.repeatability import load_repeatability
from decussate.comparison.values import amount_in_words, has_graded_answers
from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.examination.document import (
    ABNORMAL,
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Examination,
    Finding,
)
from decussate.examination.wording import name_in_words, response_in_words
from decussate.sides import Side

__all__ = ["Change", "Kind", "changes_between"]

CIRCUMSTANCES = "preparation"
"""Group of the tests that say how the examination was done, not what was found."""


class Kind(StrEnum):
    """How the answer to one test changed. Not tested is never normal, and so never new or gone."""

    NEW = "new"
    GONE = "gone"
    WORSE = "worse"
    BETTER = "better"
    DIFFERENT = "different"
    UNRANKED = "abnormal both times, better or worse cannot be said"
    UNCHANGED = "unchanged"
    NEWLY_TESTED = "newly tested"
    NO_LONGER_TESTED = "not tested this time"
    COULD_NOT_BE_TESTED = "could not be tested"


@dataclass(frozen=True, slots=True)
class Change:
    """One test on one side, then and now.

    Attributes
    ----------
    test : str
        Id of the test.
    side : Side or None
    name : str
        Name of the test with its side, in words.
    kind : Kind
    earlier, later : Finding or None
        The findings that stood; None when not tested.
    measured : MeasuredChange or None
        When both findings hold a measurement.
    remarks : tuple of str
        What weakens the comparison: other examiners, techniques or circumstances.
    """

    test: str
    side: Side | None
    name: str
    kind: Kind
    earlier: Finding | None
    later: Finding | None
    measured: MeasuredChange | None
    remarks: tuple[str, ...]

    @property
    def changed(self) -> bool:
        """Whether anything differs: a test that failed both times does not."""
        failed_twice = self.kind is Kind.COULD_NOT_BE_TESTED and _failed(self.earlier)
        return self.kind is not Kind.UNCHANGED and not failed_twice

    @property
    def circumstance(self) -> bool:
        """Whether it says how the examination was done, not what was found."""
        return load_catalogue().test(self.test).nerve == CIRCUMSTANCES

    @property
    def text(self) -> str:
        """The change in words: what it was and is, and what a measured change is worth."""
        test = load_catalogue().test(self.test)
        then, now = (
            response_in_words(finding, test) if finding else "not tested"
            for finding in (self.earlier, self.later)
        )
        said = {
            Kind.UNCHANGED: f"unchanged, {now}" if then == now else f"unchanged, {now}, was {then}",
            Kind.NEWLY_TESTED: f"newly tested, {now} (before: {then})",
            Kind.NO_LONGER_TESTED: f"{self.kind}, was {then}",
            Kind.COULD_NOT_BE_TESTED: f"{now}, {'as before' if then == now else f'was {then}'}",
        }.get(self.kind, f"{self.kind}, now {now}, was {then}")
        notes = (*((_worth(self.measured),) if self.measured else ()), *self.remarks)
        return "; ".join((f"{self.name}: {said}", *(note for note in notes if note)))


def changes_between(
    earlier: Examination, later: Examination, catalogue: Catalogue | None = None
) -> tuple[Change, ...]:
    """Compare what stood at two examinations.

    Parameters
    ----------
    earlier, later : Examination
    catalogue : Catalogue, optional
        That of the package by default.

    Returns
    -------
    tuple of Change
        One for each test and side found in either, in the order of the examination, right first.

    Raises
    ------
    BadInput
        If a test is not in the catalogue, or a measurement is not possible.
    """
    catalogue = catalogue or load_catalogue()
    then, now = _standing(earlier), _standing(later)
    order = {test.id: place for place, test in enumerate(catalogue)}
    keys = sorted(
        {*then, *now},
        key=lambda key: (order[catalogue.test(key[0]).id], key[1] is Side.LEFT),
    )
    return tuple(_change(catalogue.test(name), side, then, now) for name, side in keys)


_Standing = Mapping[tuple[str, Side | None], Finding]


def _standing(examination: Examination) -> _Standing:
    latest = examination.latest()
    return {key: finding for key, finding in latest.items() if finding.response != NOT_TESTED}


def _change(test: Test, side: Side | None, then: _Standing, now: _Standing) -> Change:
    before, after = then.get((test.id, side)), now.get((test.id, side))
    measured = None
    remarks: tuple[str, ...] = ()
    if before and after and not _failed(before) and not _failed(after):
        other = _other_circumstances(test, side, then, now)
        measured = measured_change(test, before, after, other_circumstances=other)
        remarks = measured.remarks if measured else _other_technique(before, after)
        if before.by and after.by and before.by != after.by:
            remarks = (*remarks, f"different examiners: {before.by}, then {after.by}")
    name = f"{side} {name_in_words(test)}" if side else name_in_words(test)
    kind = _kind(test, before, after, measured)
    return Change(test.id, side, name, kind, before, after, measured, remarks)


def _kind(
    test: Test, before: Finding | None, after: Finding | None, measured: MeasuredChange | None
) -> Kind:
    if after is None:
        return Kind.NO_LONGER_TESTED
    if _failed(after):
        return Kind.COULD_NOT_BE_TESTED
    if before is None or _failed(before):
        return Kind.NEWLY_TESTED
    if before.response != after.response:
        return _kind_of_answers(test, before.response, after.response)
    if measured is None or measured.verdict is Verdict.WITHIN:
        return Kind.UNCHANGED
    if measured.worse is None:
        return Kind.DIFFERENT
    return Kind.WORSE if measured.worse else Kind.BETTER


def _kind_of_answers(test: Test, before: str, after: str) -> Kind:
    if test.nerve == CIRCUMSTANCES:
        return Kind.DIFFERENT
    if before == "normal":
        return Kind.NEW
    if after == "normal":
        return Kind.GONE
    if ABNORMAL in (before, after):
        return Kind.UNRANKED
    then, now = _grade(test, before), _grade(test, after)
    if then is None or now is None or then * now <= 0 or then == now:
        return Kind.DIFFERENT
    return Kind.WORSE if abs(now) > abs(then) else Kind.BETTER


def _grade(test: Test, response: str) -> float | None:
    """Return how abnormal an answer is, signed by direction; None where answers have no order."""
    if has_graded_answers(test):
        return float(tuple(test.responses).index(response))
    sign = load_atlas().signs[test.sign] if test.sign else None
    state = test.state_of(response)
    return sign.scale.states[state] if sign and sign.scale and state else None


def _other_circumstances(
    test: Test, side: Side | None, then: _Standing, now: _Standing
) -> tuple[str, ...]:
    row = load_repeatability().get(test.id)
    differ = []
    for name in row.same_circumstances if row else ():
        circumstance = load_catalogue().test(name)
        key = (name, side if circumstance.paired else None)
        before, after = then.get(key), now.get(key)
        if before and after and _answer(before) != _answer(after):
            differ.append(name_in_words(circumstance))
    return tuple(differ)


def _answer(finding: Finding) -> tuple[object, ...]:
    return finding.response, finding.measurement


def _other_technique(before: Finding, after: Finding) -> tuple[str, ...]:
    if before.technique and after.technique and before.technique != after.technique:
        return (f"different techniques: {before.technique}, then {after.technique}",)
    return ()


def _worth(measured: MeasuredChange) -> str:
    """Say the size of a measured change, its verdict, and the figure it rests on."""
    if measured.difference == 0:
        return ""
    size = (
        f"{amount_in_words(abs(measured.difference), measured.unit)}, "
        if measured.difference
        else ""
    )
    limit = measured.limit
    figure = ""
    if limit:
        value = limit.within if limit.beyond is None else limit.beyond
        amount = f"{amount_in_words(value, limit.unit)}, " if value is not None else ""
        figure = f" ({amount}{limit.people or limit.basis})"
    return f"{size}{measured.verdict}{figure}"


def _failed(finding: Finding | None) -> bool:
    return finding is not None and finding.response == COULD_NOT_BE_TESTED
