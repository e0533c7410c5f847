"""Saving what a page measured: the findings become one entry, and the page hears what was saved."""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID, uuid5

from fastapi import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.checking import check_findings
from decussate.examination.record import Examination, Finding
from decussate.records import Entry, Store
from decussate.sides import Side
from decussate.web.held_back import done_all_the_same
from decussate.web.pages import check_identity
from decussate.web.rendering import is_fragment, templates
from decussate.web.view import finding_words

__all__ = ["number_in", "save_measured", "side_in", "tick_in"]


def save_measured(
    request: Request,
    store: Store,
    examination_id: str,
    token: str,
    findings: tuple[Finding, ...],
    *,
    page: str,
    kind: str,
    also: Callable[[Examination], tuple[Finding, ...]] | None = None,
    although: str = "",
) -> Response:
    """Save findings as one entry and answer with what was saved.

    Parameters
    ----------
    request : Request
        The request.
    store : Store
        Where the examination is kept.
    examination_id : str
        The examination.
    token : str
        Identity of the form; with the content it makes the identity of the entry, so that the same
        form sent twice is one entry.
    findings : tuple of Finding
        What was measured.
    page : str
        Last part of the address of the page, for a plain form.
    kind : str
        Part of the page in which the answer stands.
    also : callable, optional
        Findings that go before them, by the record as it stands.
    although : str
        Why a test held back was done all the same.

    Returns
    -------
    Response
        A fragment that names what was recorded, or the way back to the page.

    Raises
    ------
    BadInput
        If there is nothing to save, a finding does not pass the catalogue, or a test is held back
        and no reason is given.
    """
    if not findings:
        raise BadInput("what was measured", "nothing", "at least one result")
    checked = Examination(id="entry", findings=findings)
    for problem in check_findings(checked, load_catalogue()):
        raise problem.placed("").error()
    # The record as it stands is no part of the identity: the same form sent again is one entry.
    made_from = Entry(id=UUID(int=0), findings=findings).model_dump_json(exclude={"id"})
    identity = uuid5(UUID(check_identity(token)), made_from)
    if all(stored.entry.id != identity for stored in store.history(examination_id)):
        examination = store.examination(examination_id)
        findings = (*(also(examination) if also else ()), *findings)
        known = examination.model_copy(update={"findings": (*examination.findings, *findings)})
        findings = done_all_the_same(findings, known, dict.fromkeys((None, *Side), although))
        store.append(examination_id, Entry(id=identity, findings=findings))
    if not is_fragment(request):
        return RedirectResponse(f"/examinations/{examination_id}/{page}?saved={identity}", 303)
    return HTMLResponse(
        templates.get_template("patient_recorded.html").render(
            {"kind": kind, "recorded": [finding_words(f) for f in findings]}
        )
    )


def side_in(form: dict[str, str], field: str = "side") -> Side:
    """Return the side named in a form.

    Raises
    ------
    BadInput
        If it is neither right nor left.
    """
    try:
        return Side(form.get(field, ""))
    except ValueError:
        found = form.get(field) or "nothing"
        raise BadInput("side", found, "the patient’s right or left") from None


def number_in(form: dict[str, str], field: str, name: str, unit: str) -> float | None:
    """Return a number typed in a form, or None where nothing was typed.

    Parameters
    ----------
    form : dict
        Field name to text.
    field : str
        The field.
    name, unit : str
        What it is called, and its unit, for messages.

    Returns
    -------
    float or None

    Raises
    ------
    BadInput
        If it is not a number of zero or more.
    """
    text = form.get(field, "").strip()
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        hint = "Write the decimal with a point." if "," in text else ""
        raise BadInput(name, text, f"a number, {unit}", hint=hint) from None
    if not 0.0 <= value < 1e6:
        raise BadInput(name, text, f"a number of zero or more, {unit}")
    return value


def tick_in(form: dict[str, str], field: str) -> bool | None:
    """Return a yes or no chosen in a form, or None where neither was.

    Raises
    ------
    BadInput
        If it is anything else.
    """
    answer = form.get(field, "")
    if answer not in ("", "yes", "no"):
        raise BadInput(field.replace("_", " "), answer, "yes or no")
    return None if not answer else answer == "yes"
