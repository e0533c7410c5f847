"""The comparison in words: the sentence for the note, and how long ago."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import timedelta

from decussate.comparison.changes import Change, Kind
from decussate.comparison.noise import Verdict
from decussate.comparison.places import PlacesThenAndNow
from decussate.comparison.values import amount_in_words

__all__ = ["interval_in_words", "note_sentence"]

SHOWN = 6
"""Most changes named in the sentence; the rest are counted."""
_WORTH = {
    Verdict.BEYOND: "beyond repeat error",
    Verdict.WITHIN: "within repeat error",
    Verdict.UNKNOWN: "repeat error not known",
}
_NAMED = {
    Kind.NEW: "newly abnormal",
    Kind.WORSE: "worse",
    Kind.DIFFERENT: "different",
    Kind.UNRANKED: "abnormal both times but not graded",
    Kind.GONE: "normal again",
    Kind.BETTER: "better",
    Kind.COULD_NOT_BE_TESTED: "could not be tested this time",
}
"""Kinds named in the sentence, in its order."""
_WEIGHT = {Verdict.BEYOND: 0, None: 1, Verdict.UNKNOWN: 2, Verdict.WITHIN: 3}
"""Order within a kind: first what is more than noise."""
_STEPS = (
    (60, "minute", 60),
    (3_600, "hour", 48),
    (86_400, "day", 60),
    (2_629_800, "month", 24),
    (31_557_600, "year", math.inf),
)
"""Seconds in a unit, its name, and the count from which the next is used (judgement)."""


def interval_in_words(interval: timedelta | None) -> str:
    """Say how long before: ``"3 days before"``; ``"the earlier examination"`` where not known.

    Parameters
    ----------
    interval : timedelta or None

    Returns
    -------
    str
    """
    if interval is None:
        return "the earlier examination"
    seconds = interval.total_seconds()
    if seconds < 60:
        return "less than a minute before"
    counts = ((round(seconds / size), name, most) for size, name, most in _STEPS)
    count, name = next((count, name) for count, name, most in counts if count < most)
    return f"{count} {name}{'' if count == 1 else 's'} before"


def note_sentence(
    since: str,
    changes: Sequence[Change],
    places: PlacesThenAndNow | None,
    *,
    other_examiners: bool,
    shown: int = SHOWN,
    brief: bool = False,
) -> str:
    """Say a comparison in one sentence.

    Parameters
    ----------
    since : str
        As `interval_in_words`.
    changes : sequence of Change
    places : PlacesThenAndNow or None
    other_examiners : bool
    shown : int
        Most changes named; the rest are counted.
    brief : bool
        To be read aloud: no sizes of changes that are more than noise, and the place now, which
        the note says beside it, left out.

    Returns
    -------
    str
        New and worse before gone and better; what was not tested again is counted, never called
        gone.
    """
    found = [change for change in changes if not change.circumstance]
    named = sorted(
        (change for change in found if change.kind in _NAMED and change.changed),
        key=lambda change: (list(_NAMED).index(change.kind), _WEIGHT[_verdict(change)]),
    )
    items = [
        said
        for kind, words in _NAMED.items()
        if (said := _of_kind(words, kind, named, shown, brief=brief))
    ]
    if len(named) > shown and not brief:
        items.append(f"{len(named) - shown} more changed")
    retested = sum(c.earlier is not None and c.later is not None and c not in named for c in found)
    if named and retested:
        items.append(f"{retested} unchanged")
    elif not named:
        items.append(
            f"no change in the {retested} tested both times"
            if retested
            else "nothing was tested both times"
        )
    counts = (
        (_count(found, Kind.NEWLY_TESTED, normal=False), "newly tested and abnormal"),
        (_count(found, Kind.NEWLY_TESTED, normal=True), "newly tested and normal"),
        (sum(c.kind is Kind.NO_LONGER_TESTED for c in found), "not tested this time"),
    )
    items += [f"{count} {words}" for count, words in (counts[::2] if brief else counts) if count]
    if other_examiners:
        items.append("different examiners")
    differ = [c.name for c in changes if c.circumstance and c.kind is Kind.DIFFERENT]
    if differ:
        items.append(f"circumstances differ ({', '.join(differ)})")
    if places:
        items.append(places.before if brief else places.text)
    return f"Compared with {since}: {'; '.join(items)}."


def _of_kind(words: str, kind: Kind, named: Sequence[Change], shown: int, *, brief: bool) -> str:
    """Name the changes of one kind; a brief sentence counts the rest of each kind."""
    of_kind = [change for change in named[:shown] if change.kind is kind]
    rest = sum(change.kind is kind for change in named) - len(of_kind) if brief else 0
    if not of_kind:
        return f"{rest} {words}" if rest else ""
    listed = ", ".join(_item(change, brief=brief) for change in of_kind)
    return f"{words}: {listed}{f' and {rest} more' if rest else ''}"


def _item(change: Change, *, brief: bool) -> str:
    measured = change.measured
    if measured is None or measured.difference == 0:
        return change.name
    if brief and measured.verdict is not Verdict.BEYOND:
        return f"{change.name} ({_WORTH[measured.verdict]})"
    if brief:
        return change.name
    if measured.difference is None:
        size = f"{measured.later}, was {measured.earlier}"
    else:
        size = amount_in_words(abs(measured.difference), measured.unit)
    return f"{change.name} ({size}, {_WORTH[measured.verdict]})"


def _verdict(change: Change) -> Verdict | None:
    return change.measured.verdict if change.measured else None


def _count(changes: Sequence[Change], kind: Kind, *, normal: bool) -> int:
    return sum(
        change.kind is kind
        and change.later is not None
        and (change.later.response == "normal") is normal
        for change in changes
    )
