"""Checking the findings of an examination against the catalogue of tests."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from decussate.errors import BadInput
from decussate.examination.bedside_test import Measurement, Test
from decussate.examination.catalogue import Catalogue
from decussate.examination.document import (
    ABNORMAL,
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Examination,
    Finding,
    MeasuredValue,
)
from decussate.sides import Side

__all__ = [
    "AS_WRITTEN",
    "STATUSES",
    "Problem",
    "check_findings",
    "measured_response",
    "nearest_test",
]

STATUSES = (COULD_NOT_BE_TESTED, NOT_TESTED)
AS_WRITTEN = "as written"
"""Unit of a value given as text that carries its own units (``6/9-2``, ``N8 at 40 cm``)."""


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong in a document: where, what was found, what was expected, the usual slip.

    Attributes
    ----------
    path : tuple of str or int
        Place in the document: ``("findings", 3, "side")``.
    field : str
    found : object
    expected, hint, where : str
        As in `BadInput`; `where` is the place in words, with its line when read from a text.
    """

    path: tuple[str | int, ...]
    field: str
    found: object
    expected: str
    hint: str = ""
    where: str = ""

    @classmethod
    def of(cls, error: BadInput, path: tuple[str | int, ...] = ()) -> Problem:
        """Return the problem an error describes."""
        return cls(path, error.field, error.found, error.expected, error.hint, error.where)

    def placed(self, where: str) -> Problem:
        """Return this problem with its place in words."""
        return replace(self, where=where)

    def error(self, more: str = "") -> BadInput:
        """Return the error to raise, with a further hint."""
        hint = " ".join(part for part in (self.hint, more) if part)
        return BadInput(self.field, self.found, self.expected, hint=hint, where=self.where)

    @property
    def sentence(self) -> str:
        """The problem in one or two plain sentences."""
        return self.error().sentence


def check_findings(examination: Examination, catalogue: Catalogue) -> tuple[Problem, ...]:
    """List what in an examination the catalogue does not know or allow.

    Parameters
    ----------
    examination : Examination
    catalogue : Catalogue

    Returns
    -------
    tuple of Problem
        In the order of the document; empty when there is none. `Problem.where` is the path.
    """
    found: list[Problem] = []
    for index, finding in enumerate(examination.findings):
        found += _check_finding(finding, ("findings", index), catalogue)
    for index, (test_id, side) in enumerate(examination.known_old):
        test = _known(test_id, ("known_old", index, 0), catalogue)
        if isinstance(test, Problem):
            found.append(test)
        else:
            found += _check_side(test, side, ("known_old", index, 1))
    return tuple(problem.placed(_in_words(problem.path)) for problem in found)


def measured_response(test: Test, measured: MeasuredValue) -> str | None:
    """Turn a measured value into the response it means.

    Parameters
    ----------
    test : Test
    measured : MeasuredValue
        A number in the unit of the test; ``"k/n"`` for a fraction; or text in the clinician's
        notation, with the unit `AS_WRITTEN`, where the test takes one.

    Returns
    -------
    str or None
        A code of the test; None where no bands are given and the examiner states the response.

    Raises
    ------
    BadInput
        If the test takes no measurement, or the unit or the value is not possible.
    """
    return _read(test, measured)[1]


def measured_number(test: Test, measured: MeasuredValue) -> float:
    """Return a measured value as a number in the unit of the test.

    Parameters
    ----------
    test : Test
    measured : MeasuredValue

    Returns
    -------
    float
        The greatest value of the scale for a word (``counting fingers``).

    Raises
    ------
    BadInput
        As `measured_response`.
    """
    return _read(test, measured)[0]


def nearest_test(name: str, catalogue: Catalogue) -> str:
    """Suggest the test a wrong id was meant for; empty when none is near."""
    near = difflib.get_close_matches(name.lower(), list(catalogue.tests), 1, 0.6)
    short = catalogue.by_abbreviation.get(name.lower().replace("_", " "))
    meant = short.id if short else near[0] if near else ""
    return f"Did you mean {meant!r}?" if meant else "See: decussate tests."


def _check_finding(
    finding: Finding, path: tuple[str | int, ...], catalogue: Catalogue
) -> Iterator[Problem]:
    test = _known(finding.test, (*path, "test"), catalogue)
    if isinstance(test, Problem):
        yield test
        return
    if test.story:
        hint = f"Write it in the story block, as {test.story!r}."
        yield Problem((*path, "test"), "test", test.id, "a test, not the story", hint)
        return
    yield from _check_side(test, finding.side, (*path, "side"))
    if finding.response not in (*test.codes, *STATUSES):
        yield _wrong_response(test, finding.response, (*path, "response"))
        return
    if finding.measurement is None:
        return
    place = (*path, "measurement")
    if finding.response in STATUSES:
        expected = "no measurement, as it was not tested"
        yield Problem(place, "measurement", finding.measurement.value, expected)
        return
    try:
        meant = measured_response(test, finding.measurement)
    except BadInput as error:
        yield Problem.of(error, place)
        return
    agree = meant in (None, finding.response) or (
        finding.response == ABNORMAL and meant != "normal"
    )
    if not agree:
        shown = f"{finding.measurement.value} {finding.measurement.unit}"
        expected = f"{meant!r}, which {shown} means for {test.name.lower()}"
        hint = "Correct the value or the response: they say different things."
        yield Problem((*path, "response"), "response", finding.response, expected, hint)


def _known(test_id: str, path: tuple[str | int, ...], catalogue: Catalogue) -> Test | Problem:
    if test_id in catalogue:
        return catalogue.test(test_id)
    hint = nearest_test(test_id, catalogue)
    return Problem(path, "test", test_id, "the id of a test in the catalogue", hint)


def _check_side(test: Test, side: Side | None, path: tuple[str | int, ...]) -> Iterator[Problem]:
    if test.paired and side is None:
        expected = f"right or left: {test.name.lower()} is tested on each side"
        yield Problem(path, "side", "no side", expected)
    elif side is not None and not test.paired:
        expected = f"no side: {test.name.lower()} is one response for the whole patient"
        directed = side.value in test.responses
        hint = f"Was the response {side.value!r}?" if directed else ""
        yield Problem(path, "side", side.value, expected, hint)


def _wrong_response(test: Test, response: str, path: tuple[str | int, ...]) -> Problem:
    labels = {answer.label.lower(): code for code, answer in test.responses.items()}
    meant = labels.get(response.lower())
    if meant is None:
        near = difflib.get_close_matches(response.lower(), [*test.codes, *STATUSES], 1)
        meant = near[0] if near else ""
    hint = f"Did you mean {meant!r}?" if meant else ""
    codes = ", ".join((*test.codes, *STATUSES))
    return Problem(path, f"response to {test.id}", response, f"one of {codes}", hint)


def _read(test: Test, measured: MeasuredValue) -> tuple[float, str | None]:
    """Return a measured value as a number and as the response it means."""
    scale = test.measurement
    field = f"{test.name.lower()}"
    value, unit = measured.value, measured.unit
    if scale is None:
        raise BadInput(field, value, "a response without a measurement")
    if isinstance(value, str) and scale.kind == "text":
        if unit not in (AS_WRITTEN, scale.unit):
            raise BadInput(f"unit of {field}", unit, f"{AS_WRITTEN!r} for a value given as text")
        return _read_text(scale, value)
    if unit != scale.unit:
        raise BadInput(
            f"unit of {field}",
            unit,
            repr(scale.unit),
            hint="Convert the value, or correct the unit.",
        )
    if isinstance(value, str):
        value = _fraction(field, value, scale)
    try:
        return value, scale.response_for(value)
    except BadInput as error:
        hint = "Is this the right unit?" if value > scale.high else ""
        raise BadInput(field, value, error.expected, hint=hint) from None


def _fraction(field: str, value: str, scale: Measurement) -> float:
    """Read ``k/n`` as a share."""
    parts = value.split("/")
    if scale.kind == "fraction" and len(parts) == 2 and all(p.strip().isdigit() for p in parts):
        share, of = (int(part) for part in parts)
        if 0 <= share <= of and of > 0:
            return share / of
    expected = "k/n with k not above n" if scale.kind == "fraction" else f"a number of {scale.unit}"
    raise BadInput(field, value, expected)


def _read_text(scale: Measurement, value: str) -> tuple[float, str | None]:
    """Read a value in the clinician's notation with the reader the catalogue names."""
    if scale.reader == "near_acuity":
        from decussate.measures import near_acuity

        near = near_acuity.parse(value)
        size = near.n_size if near.n_size is not None else near_acuity.n_from_m(near.m_units)
        return size, scale.response_for(size)
    from decussate.measures import acuity_notation
    from decussate.measures.distance_acuity import LowVisionAcuity

    acuity: Any = acuity_notation.parse(value)
    if not isinstance(acuity, LowVisionAcuity):
        return acuity.logmar, scale.response_for(acuity.logmar)
    for word, response in scale.words.items():
        of_word: Any = acuity_notation.parse(word)
        if of_word.level is acuity.level:
            return scale.high, response
    return scale.high, None


def _in_words(path: tuple[str | int, ...]) -> str:
    return "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path)[1:]
