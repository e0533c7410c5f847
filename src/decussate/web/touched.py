"""What one touch on a test says: the finding that its button stands for."""

from __future__ import annotations

from decussate.errors import BadInput
from decussate.examination.catalogue import Test, load_catalogue
from decussate.examination.checking import AS_WRITTEN, check_findings, measured_response
from decussate.examination.record import (
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Examination,
    Finding,
    MeasuredValue,
)
from decussate.records import Store
from decussate.sides import Side
from decussate.web.held_back import holding_back
from decussate.web.view import sides_of

__all__ = ["key_of", "marked_form", "refuse_problems", "side_named", "touched_finding"]


def marked_form(mark: str) -> dict[str, str]:
    """Return a touch on a picture as the form of the test's own buttons."""
    words = mark.split(" ")
    if len(words) != 4:
        raise BadInput("mark", mark, "a shape of a picture", hint="Reload the page.")
    test, verb, side, what = words
    return {"test": test, "choice": f"{verb} {side} {what}", f"value {side}": what}


def side_named(test: Test, key: str) -> Side | None:
    """Return the side that a button names, if the test has it."""
    allowed = {(side.value if side else "whole"): side for side in sides_of(test)}
    if key not in allowed:
        raise BadInput(f"side of {test.name.lower()}", key, " or ".join(allowed))
    return allowed[key]


def key_of(side: Side | None) -> str:
    """Return how a button names a side."""
    return side.value if side else "whole"


def touched_finding(
    verb: str,
    code: str,
    test: Test,
    side: Side | None,
    form: dict[str, str],
    store: Store,
    examination_id: str,
) -> Finding:
    """Return the finding that a button stands for.

    Parameters
    ----------
    verb, code : str
        What the button does, and the response it names.
    test : Test
    side : Side or None
    form : dict of str to str
        What was typed beside it.
    store : Store
    examination_id : str

    Raises
    ------
    BadInput
        For a button of another page, or a value that is missing or not possible.
    """
    key = key_of(side)
    if verb == "leave":
        bars = holding_back(store.examination(examination_id))(test, side)
        if not bars:
            raise BadInput("choice", "left", "a test held back", hint="Reload the page.")
        return Finding(test=test.id, side=side, response=COULD_NOT_BE_TESTED, reason=bars)
    if verb == "record":
        return Finding(test=test.id, side=side, response=code)
    if verb == "withdraw":
        return Finding(test=test.id, side=side, response=NOT_TESTED)
    if verb == "hinder":
        reason = form.get(f"reason {key}", "").strip()
        if not reason:
            raise BadInput("reason", "nothing", "why it could not be tested, in a few words")
        return Finding(test=test.id, side=side, response=COULD_NOT_BE_TESTED, reason=reason)
    if verb == "measure":
        measured = _measured(test, form.get(f"value {key}", "").strip())
        response = measured_response(test, measured)
        if response is None:
            known = store.examination(examination_id).latest().get((test.id, side))
            if known is None or known.response not in test.codes:
                raise BadInput(
                    test.name.lower(),
                    measured.value,
                    "the response first",
                    hint="Touch what was found, then record the measurement with it.",
                )
            response = known.response
        return Finding(test=test.id, side=side, response=response, measurement=measured)
    raise BadInput("choice", verb, "one of the buttons of the page", hint="Reload the page.")


def _measured(test: Test, text: str) -> MeasuredValue:
    scale = test.measurement
    if scale is None or not text:
        expected = f"a value in {scale.unit}" if scale else "a response without a measurement"
        raise BadInput(test.name.lower(), text or "nothing", expected)
    if scale.kind == "text":
        return MeasuredValue(value=text, unit=AS_WRITTEN)
    if scale.kind == "fraction" and "/" in text:
        return MeasuredValue(value=text, unit=scale.unit)
    try:
        return MeasuredValue(value=float(text), unit=scale.unit)
    except ValueError:
        hint = "Write the decimal with a point." if "," in text else ""
        raise BadInput(test.name.lower(), text, f"a number in {scale.unit}", hint=hint) from None


def refuse_problems(findings: tuple[Finding, ...]) -> None:
    """Refuse findings that do not pass the catalogue, with the reason."""
    examination = Examination(id="entry", findings=findings)
    for problem in check_findings(examination, load_catalogue()):
        raise problem.placed("").error()
