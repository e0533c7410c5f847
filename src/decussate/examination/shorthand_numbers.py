"""Numbers of the shorthand: which test a number belongs to, its unit, and its value."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.examination.bedside_test import Test
from decussate.examination.checking import AS_WRITTEN, measured_response
from decussate.examination.document import MeasuredValue
from decussate.examination.shorthand_lexicon import Head
from decussate.examination.shorthand_tokens import Clause, NotUnderstood, Token

__all__ = ["Reading", "measured", "written_value"]

LONGEST_NUMBER = 20
"""Characters of a number with its sign or its share."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A value of a test; `note` keeps what the value cannot hold (``4+/5``, ``0.6 cm``)."""

    test: Test
    value: MeasuredValue
    note: str = ""


def written_value(
    head: Head, tokens: Sequence[Token], clause: Clause
) -> tuple[Sequence[Token], Reading] | None:
    """Read a value such as ``6/9-2``, ``CF 1 m`` or ``N8 at 40 cm`` as it stands.

    Returns
    -------
    tuple or None
        Words before the value, and the value; None where there is no such value.
    """
    scale = head.tests[0].measurement if len(head.tests) == 1 else None
    if scale is None or scale.kind != "text":
        return None
    problem: BadInput | None = None
    for at, token in enumerate(tokens):
        text = clause.note[token.start : tokens[-1].end]
        value = MeasuredValue(value=" ".join(text.split())[:200], unit=AS_WRITTEN)
        try:
            measured_response(head.tests[0], value)
        except BadInput as error:
            problem = error
        else:
            return tokens[:at], Reading(head.tests[0], value)
        if token.kind not in ("value", "normal"):
            break
    number = any(token.kind == "number" for token in tokens)
    if problem and (number or (token.kind == "unknown" and any(map(str.isdigit, text)))):
        raise NotUnderstood(problem.sentence) from None
    return None


def measured(head: Head, token: Token, clause: Clause, throughout: bool) -> list[Reading]:
    """Find the test a number belongs to by its unit.

    A name of several tests of one scale (``power 5/5``) takes a number for all of them only when
    it is normal or said of the whole (`throughout`).
    """
    text, units = token.value
    written = clause.note[token.start : token.end]
    names = dict.fromkeys(claim.test for claim in head.findings)
    tests = head.tests or [clause.lexicon.catalogue.test(name) for name in names]
    unclear_values = clause.lexicon.value_unclear
    scaled = [test for test in tests if test.measurement]
    if not scaled:
        raise NotUnderstood(f"{written!r}: no measurement belongs to this name")
    found = []
    for test in scaled:
        if head.findings and test.id in unclear_values:
            raise NotUnderstood(f"{written!r}: {unclear_values[test.id]}")
        reading = _of_test(test, text, units, written, clause)
        if reading is not None:
            found.append(reading)
    if not found:
        expected = " or ".join(dict.fromkeys(t.measurement.unit for t in scaled if t.measurement))
        what = "the unit is missing" if units is None else "this unit does not belong here"
        raise NotUnderstood(f"{written!r}: {what}, expected {expected}")
    together = [one for one in found if one.test.id in head.normal]
    if len(together) < 2:
        return found[:1]
    try:
        normal = all(measured_response(one.test, one.value) == "normal" for one in together)
    except BadInput as error:
        raise NotUnderstood(error.sentence) from None
    if not normal and not throughout:
        which = " or ".join(one.test.name.lower() for one in together)
        raise NotUnderstood(f"{written!r}: of which, {which}? Name it, or write `throughout`")
    return together


def _of_test(
    test: Test, text: str, units: frozenset[str] | None, written: str, clause: Clause
) -> Reading | None:
    """Read the number on the scale of one test; None where it does not fit."""
    scale = test.measurement
    if scale is None:
        return None
    if len(text) > LONGEST_NUMBER:
        raise NotUnderstood("a number so long is not one that is measured")
    lexicon = clause.lexicon
    if units is None and test.id not in lexicon.bare:
        return None
    if units is None or scale.unit in units:
        return _value(test, text, scale.kind, scale.unit, clause)
    for other in units:
        rule = lexicon.conversions.get((other, scale.unit))
        if rule is not None and "/" not in text:
            value = round(_plain(text) * rule[0] + rule[1], 2)
            return Reading(test, MeasuredValue(value=value, unit=scale.unit), written)
    return None


def _value(test: Test, text: str, kind: str, unit: str, clause: Clause) -> Reading | None:
    """Turn the digits into a value of this kind of scale."""
    share, _, of = text.replace(" ", "").partition("/")
    if of and kind == "fraction":
        return Reading(test, MeasuredValue(value=f"{share}/{of}", unit=unit))
    top = clause.lexicon.out_of.get(unit)
    if of and (top is None or not of.isdigit() or float(of) != top):
        return None
    sign = share[-1] if share[-1] in "+-" else ""
    value = _plain(share.rstrip("+-"))
    if sign and unit not in clause.lexicon.signed:
        raise NotUnderstood(f"{text!r}: the sign after the number is not clear")
    if sign == "-" and value == top:
        raise NotUnderstood(f"{text!r} lies between normal and weak: write the grade it is")
    return Reading(test, MeasuredValue(value=value, unit=unit), text if sign else "")


def _plain(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise NotUnderstood(f"{text!r}: the sign after the number is not clear") from None
    if not math.isfinite(value):
        raise NotUnderstood(f"{text!r} is not a number that is measured")
    return value
