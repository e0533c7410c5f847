"""The referral letter: completed and edited by hand, kept, copied, printed as PDF."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response

from decussate.documents.document import Document
from decussate.documents.letter import referral_letter
from decussate.documents.letter_details import LetterDetails
from decussate.documents.patient_summary import patient_summary
from decussate.documents.typesetting import as_html, as_markdown, as_pdf, set_for_page
from decussate.errors import BadInput
from decussate.localisation import two_lesions
from decussate.records import ExaminationHead, Store, kept_texts
from decussate.records.roles import Permission
from decussate.web.access import needs
from decussate.web.before import compared_with_before
from decussate.web.conclusions import conclude
from decussate.web.note_pages import keep, kept_context
from decussate.web.pages import invented_words
from decussate.web.rendering import is_fragment, templates
from decussate.web.state import store_of

__all__ = ["router"]

router = APIRouter(prefix="/examinations/{examination_id}")

FIELDS: tuple[tuple[str, str, int], ...] = (
    ("to", "To", 1),
    ("sender", "From", 1),
    ("written", "Date of the letter", 1),
    ("patient_name", "Patient’s name", 1),
    ("date_of_birth", "Date of birth", 1),
    ("patient_number", "Number", 1),
    ("patient_address", "Address", 1),
    ("salutation", "Salutation", 1),
    ("reason", "Reason for referral", 3),
    ("history", "History, besides what is recorded", 4),
    ("findings", "Findings in your own words, in place of the table", 4),
    ("place", "Likely site in your own words, in place of the program’s", 4),
    ("plan", "Plan and requested actions", 4),
    ("information", "Information and advice given", 3),
    ("person", "Completed by", 1),
    ("role", "Role", 1),
    ("contact", "Contact", 1),
    ("copies", "Copies to, one a line", 2),
)
"""Fields of the letter in its reading order: name, label, lines of the box."""


@router.get("/letter")
@needs(Permission.READ, shows="letter")
def letter_page(request: Request, examination_id: str) -> Response:
    """Show the letter with what was typed into it, to be completed, copied or printed."""
    store = store_of(request)
    head = store.head(examination_id)
    fields = _kept_fields(store, head.id)
    kept = kept_texts(store.history(examination_id), "letter")
    letter = _letter(store, head, fields)
    context = {
        "head": head,
        "invented": invented_words(head),
        "alerts": conclude(store.examination(head.id)).alerts,
        "fields": [(name, label, rows, fields.get(name, "")) for name, label, rows in FIELDS],
        **kept_context(as_markdown(_letter(store, head, {})), kept),
        "letter": set_for_page(letter),
        "letter_text": as_markdown(letter),
    }
    return templates.TemplateResponse(request, "letter.html", context)


@router.post("/letter")
@needs(Permission.EXAMINE)
async def keep_letter(request: Request, examination_id: str) -> Response:
    """Keep what was typed into the letter, beside the letter as the program wrote it."""
    form = {name: str(value) for name, value in (await request.form()).items()}
    return await run_in_threadpool(_keep, request, examination_id, form)


def _keep(request: Request, examination_id: str, form: dict[str, str]) -> Response:
    store = store_of(request)
    head = store.head(examination_id)
    known = [name for name, _, _ in FIELDS]
    fields = {name: form[name].strip() for name in known if form.get(name, "").strip()}
    written: dict[str, Any] = {
        "document": "letter",
        "generated": as_markdown(_letter(store, head, {})),
        "text": as_markdown(_letter(store, head, fields)),
        "fields": fields,
    }
    keep(store, examination_id, form.get("entry", ""), **written)
    if is_fragment(request):
        return Response(headers={"HX-Refresh": "true"})
    return RedirectResponse(f"/examinations/{examination_id}/letter", 303)


@router.get("/letter.pdf")
@needs(Permission.READ, shows="letter as PDF")
def letter_pdf(request: Request, examination_id: str) -> Response:
    """Give the letter as PDF, with its drawings."""
    return _pdf(_kept_letter(request, examination_id))


@router.get("/letter.md")
@needs(Permission.READ, shows="letter as Markdown")
def letter_markdown(request: Request, examination_id: str) -> Response:
    """Give the letter as Markdown."""
    text = as_markdown(_kept_letter(request, examination_id))
    return PlainTextResponse(text, media_type="text/markdown")


@router.get("/letter.html")
@needs(Permission.READ, shows="letter as HTML")
def letter_html(request: Request, examination_id: str) -> Response:
    """Give the letter as a page that needs nothing else, to be saved."""
    headers = {"Content-Disposition": 'attachment; filename="letter.html"'}
    return HTMLResponse(as_html(_kept_letter(request, examination_id)), headers=headers)


@router.get("/summary.pdf")
@needs(Permission.READ, shows="patient’s summary as PDF")
def summary_pdf(request: Request, examination_id: str) -> Response:
    """Give the patient's summary in plain words as PDF, in larger type."""
    store = store_of(request)
    examination = store.examination(store.head(examination_id).id)
    conclusion = conclude(examination)
    details = _details(_kept_fields(store, examination_id))
    summary = patient_summary(examination, conclusion.localisation, conclusion.alerts, details)
    return _pdf(summary, large=True)


def _pdf(document: Document, *, large: bool = False) -> Response:
    return Response(as_pdf(document, large=large), media_type="application/pdf")


def _kept_letter(request: Request, examination_id: str) -> Document:
    store = store_of(request)
    return _letter(store, store.head(examination_id), _kept_fields(store, examination_id))


def _kept_fields(store: Store, examination_id: str) -> dict[str, str]:
    kept = kept_texts(store.history(examination_id), "letter")
    written = kept[-1].entry.written if kept else None
    return dict(written.fields) if written else {}


def _letter(store: Store, head: ExaminationHead, fields: dict[str, str]) -> Document:
    """Write the letter as the findings now stand, with what was typed into it."""
    examination = store.examination(head.id)
    conclusion = conclude(examination)
    return referral_letter(
        examination,
        conclusion.localisation,
        conclusion.alerts,
        _details(fields),
        comparison=compared_with_before(store, head).comparison,
        second=two_lesions(examination) if conclusion.used else None,
    )


def _details(fields: dict[str, str]) -> LetterDetails:
    typed: dict[str, Any] = dict(fields)
    if "copies" in typed:
        typed["copies"] = tuple(filter(None, map(str.strip, typed["copies"].splitlines())))
    try:
        return LetterDetails.model_validate(typed)
    except ValidationError as error:
        first = error.errors()[0]
        label = next(label for name, label, _ in FIELDS if name == first["loc"][0])
        raise BadInput(label, str(first["input"])[:60], str(first["msg"]).lower()) from None
