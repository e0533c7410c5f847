"""Tests that the record bars: they are shown as held back, and recorded only with a reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from decussate.errors import BadInput
from decussate.examination.bars import bars_against, tests_that_bar, tests_that_lift
from decussate.examination.catalogue import Test, load_catalogue
from decussate.examination.record import (
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Examination,
    Finding,
    Story,
)
from decussate.sides import Side

__all__ = [
    "HeldBack",
    "changed_by",
    "done_all_the_same",
    "done_words",
    "holding_back",
    "names_held_back",
]


@dataclass(frozen=True, slots=True)
class HeldBack:
    """Says what bars a test on a side, in words; empty when nothing does."""

    examination: Examination
    known: dict[tuple[str, Side | None], str] = field(default_factory=dict)

    def __call__(self, test: Test, side: Side | None) -> str:
        """Say what bars a test."""
        if (test.id, side) not in self.known:
            bars = bars_against(test, side, self.examination)
            self.known[test.id, side] = "; ".join(bars)
        return self.known[test.id, side]

    def asks(self, test: Test, side: Side | None) -> tuple[tuple[str, str], ...]:
        """Name the tests, not yet recorded, that could lift what bars one: id and name."""
        catalogue = load_catalogue()
        if not self(test, side):
            return ()
        lift = tests_that_lift(test, side, self.examination)
        return tuple((name, catalogue.test(name).name) for name in lift)


NOT_DONE = (NOT_TESTED, COULD_NOT_BE_TESTED)


def holding_back(examination: Examination) -> HeldBack:
    """Return what says of each test and side why it is held back."""
    return HeldBack(examination)


def changed_by(before: Examination, now: Examination) -> frozenset[str]:
    """Return the tests that are held back, or no longer, since an earlier state of the record.

    Parameters
    ----------
    before, now : Examination
        The record then and as it stands.

    Returns
    -------
    frozenset of str
        Ids of tests.
    """
    if _decisive(before) == _decisive(now):
        return frozenset()
    then, since = holding_back(before), holding_back(now)
    return frozenset(
        test.id
        for test in load_catalogue()
        if any(then(test, side) != since(test, side) for side in (None, *Side))
    )


def _decisive(examination: Examination) -> tuple[Story, frozenset[tuple[str, Side | None, str]]]:
    wanted = tests_that_bar()
    return examination.story, frozenset(
        (f.test, f.side, f.response) for f in examination.present() if f.test in wanted
    )


def done_all_the_same(
    findings: tuple[Finding, ...], examination: Examination, reasons: Mapping[Side | None, str]
) -> tuple[Finding, ...]:
    """Return findings as they may be recorded: one of a test held back carries why it was done.

    Parameters
    ----------
    findings : tuple of Finding
        What is to be recorded.
    examination : Examination
        The record as it stands.
    reasons : mapping of Side or None to str
        Why a test held back was done all the same, on each side.

    Returns
    -------
    tuple of Finding
        With the bar and the reason in the comment of each that was held back.

    Raises
    ------
    BadInput
        For a test held back and no reason given.
    """
    held, catalogue = holding_back(examination), load_catalogue()
    return tuple(
        _with_reason(f, held(catalogue.test(f.test), f.side), reasons.get(f.side, ""))
        for f in findings
    )


def _with_reason(finding: Finding, bars: str, reason: str) -> Finding:
    if not bars or finding.response in NOT_DONE:
        return finding
    reason = " ".join(reason.split())
    if not reason:
        name = load_catalogue().test(finding.test).name
        raise BadInput(
            name if finding.side is None else f"{name}, {finding.side} side",
            "a test held back: " + bars,
            "why it was done all the same",
            hint="Open “Do it all the same” at the test and give the reason first.",
        )
    comment = "; ".join(filter(None, (finding.comment, done_words(bars, reason))))
    return finding.model_copy(update={"comment": comment})


def done_words(bars: str, reason: str) -> str:
    """Say why a test held back was done: ``done although not fully awake: rousable now``."""
    return f"done although {bars}: {reason}"


def names_held_back(findings: tuple[Finding, ...], examination: Examination) -> tuple[str, ...]:
    """Name the findings of tests that the record holds back, each with its bars."""
    held, catalogue = holding_back(examination), load_catalogue()
    named = (
        (catalogue.test(f.test).name, held(catalogue.test(f.test), f.side))
        for f in findings
        if f.response not in NOT_DONE
    )
    return tuple(dict.fromkeys(f"{name} ({bars})" for name, bars in named if bars))
