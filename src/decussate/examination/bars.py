"""What bars a test: rows of ``data/bars.yaml`` held against the record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from decussate.bibliography import check_source
from decussate.data_rows import Row, read_rows
from decussate.errors import BadInput
from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import load_catalogue
from decussate.examination.document import ABNORMAL, CONTEXT_KEYS, Examination
from decussate.sides import Side

__all__ = ["Bar", "bars_against", "load_bars", "tests_that_bar", "tests_that_lift"]

Responses = Mapping[str, tuple[str, ...]]
"""Test id to responses."""


@dataclass(frozen=True, slots=True)
class Bar:
    """One reason to hold tests back.

    Attributes
    ----------
    id : str
        Name of the row.
    tests : frozenset of str
        Ids of the tests it holds back.
    found : mapping of str to tuple of str
        Responses that bar; of a test done on each side, on that side.
    context : tuple of str
        Circumstances of the story that bar, unless cleared.
    cleared : mapping of str to tuple of str
        Responses that lift the bar of a circumstance.
    needs : mapping of str to tuple of str
        Responses of which one must be recorded; empty when nothing need be.
    younger_than : float
        Years of age below which it bars; 0 when the age does not.
    why : str
        In words.
    """

    id: str
    tests: frozenset[str]
    found: Responses
    context: tuple[str, ...]
    cleared: Responses
    needs: Responses
    younger_than: float
    why: str


@cache
def load_bars() -> tuple[Bar, ...]:
    """Return every bar, in the order of the data file.

    Raises
    ------
    BadInput
        For a row that names an unknown caution, test, response, circumstance or source.
    """
    return tuple(_bar(row) for row in read_rows(files(__package__) / "data" / "bars.yaml"))


def bars_against(test: Test, side: Side | None, examination: Examination) -> tuple[str, ...]:
    """Say what in the record bars a test from being proposed.

    Parameters
    ----------
    test : Test
        The test that might be proposed.
    side : Side or None
        The side it would be done on.
    examination : Examination
        What was recorded; a deficit known to be old bars as well as a new one.

    Returns
    -------
    tuple of str
        Reasons in words; empty when nothing bars it.
    """
    return tuple(bar.why for bar in _holding(test, side, examination))


def tests_that_lift(test: Test, side: Side | None, examination: Examination) -> tuple[str, ...]:
    """Return the tests not yet recorded whose answer could lift what bars a test, by id.

    Parameters
    ----------
    test, side, examination
        As for `bars_against`.
    """
    recorded = {found.test for found in examination.present()}
    wanted = dict.fromkeys(
        name
        for bar in _holding(test, side, examination)
        for name in (*bar.needs, *bar.cleared)
        if name not in recorded
    )
    return tuple(wanted)


def _holding(test: Test, side: Side | None, examination: Examination) -> tuple[Bar, ...]:
    concerned = _bars_of().get(test.id, ())
    if not concerned:
        return ()
    recorded = {(f.test, f.side): f.response for f in examination.present()}
    age = examination.story.age

    def any_of(wanted: Responses) -> bool:
        return any(
            recorded.get((name, place)) in responses
            for name, responses in wanted.items()
            for place in {None, side}
        )

    def holds(bar: Bar) -> bool:
        told = any(key in examination.story.context for key in bar.context)
        return (
            any_of(bar.found)
            or (told and not any_of(bar.cleared))
            or bool(bar.needs and not any_of(bar.needs))
            or (age is not None and age < bar.younger_than)
        )

    return tuple(bar for bar in concerned if holds(bar))


@cache
def tests_that_bar() -> frozenset[str]:
    """Return the tests whose answer can bar another, or lift a bar."""
    return frozenset(name for bar in load_bars() for name in (*bar.found, *bar.cleared, *bar.needs))


@cache
def _bars_of() -> Mapping[str, tuple[Bar, ...]]:
    concerned: dict[str, tuple[Bar, ...]] = {}
    for bar in load_bars():
        for name in bar.tests:
            concerned[name] = (*concerned.get(name, ()), bar)
    return concerned


def _bar(row: Row) -> Bar:
    row.only(
        "id", "cautions", "tests", "spares", "found", "context", "cleared", "needs", "younger_than",
        "why", "source",
    )  # fmt: skip
    check_source(row["source"], row.where)
    for key in row.get("context", ()):
        _among("context", key, CONTEXT_KEYS, row)
    return Bar(
        id=row["id"],
        tests=_held_back(row),
        found=_responses(row, "found"),
        context=tuple(row.get("context", ())),
        cleared=_responses(row, "cleared"),
        needs=_responses(row, "needs"),
        younger_than=float(row.get("younger_than", 0.0)),
        why=row["why"],
    )


def _held_back(row: Row) -> frozenset[str]:
    catalogue = load_catalogue()
    for key in row.get("cautions", ()):
        _among("cautions", key, tuple(catalogue.cautions), row)
    wanted = set(row.get("cautions", ()))
    held = {test.id for test in catalogue if wanted.intersection(test.cautions)}
    for field in ("tests", "spares"):
        for name in row.get(field, ()):
            _among(field, name, tuple(test.id for test in catalogue), row)
    held.update(row.get("tests", ()))
    held.difference_update(row.get("spares", ()))
    if not held:
        raise BadInput("bar", row["id"], "at least one test that it holds back", where=row.where)
    return frozenset(held)


def _responses(row: Row, field: str) -> Responses:
    wanted = {name: tuple(codes) for name, codes in row.get(field, {}).items()}
    for name, codes in wanted.items():
        known = (*load_catalogue().test(name).codes, ABNORMAL)
        for code in codes:
            _among(f"{field}.{name}", code, known, row)
    return wanted


def _among(field: str, name: str, known: tuple[str, ...], row: Row) -> None:
    if name not in known:
        raise BadInput(field, name, "one of " + ", ".join(known), where=row.where)
