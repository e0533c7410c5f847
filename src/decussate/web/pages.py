"""The pages that are read: patients, the examination and its history, the sources."""

from __future__ import annotations

from dataclasses import asdict
from itertools import groupby
from typing import Annotated
from uuid import UUID, uuid4

from fastapi import APIRouter, Form, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from decussate.bibliography import load_sources
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import write_examination
from decussate.records import ExaminationHead, Store, in_force
from decussate.records.attachments import attachments_of
from decussate.records.authors import authors_of, writers_of
from decussate.records.roles import Permission
from decussate.web.access import needs
from decussate.web.bedside import chance_words, part_of
from decussate.web.conclusions import conclude
from decussate.web.rendering import templates
from decussate.web.settings import COOKIE, OPTIONS, settings_from, settings_of
from decussate.web.state import bedside_state, store_of
from decussate.web.view import entry_words, finding_words

__all__ = ["router"]

router = APIRouter()


@router.get("/")
@needs(Permission.READ, shows="list of patients")
def patients_page(request: Request) -> Response:
    """List patients with their examinations, newest first."""
    heads = sorted(store_of(request).examinations(), key=lambda head: (head.label, head.patient))
    patients = []
    for _, group in groupby(heads, key=lambda head: head.patient):
        visits = sorted(group, key=lambda head: head.opened_at, reverse=True)
        patients.append(
            {
                "id": visits[0].patient,
                "label": visits[0].label,
                "invented": visits[0].invented,
                "examinations": visits,
            }
        )
    invented = "patients are marked" if any(p["invented"] for p in patients) else ""
    return templates.TemplateResponse(
        request, "list.html", {"patients": patients, "invented": invented}
    )


@router.get("/new")
@needs(Permission.EXAMINE)
def new_page(request: Request) -> Response:
    """Ask for a new patient."""
    return templates.TemplateResponse(request, "new.html", {"label": "", "namesakes": ()})


@router.post("/examinations")
@needs(Permission.EXAMINE)
def begin_examination(
    request: Request,
    examination: Annotated[str, Form()],
    patient: Annotated[str, Form()] = "",
    label: Annotated[str, Form()] = "",
    invented: Annotated[str, Form()] = "",
    another: Annotated[str, Form()] = "",
) -> Response:
    """Begin an examination, of a new patient or again of a known one; sent twice it begins once."""
    store = store_of(request)
    identity = check_identity(examination)
    if not patient and not any(head.id == identity for head in store.examinations()):
        namesakes = () if invented or another else _namesakes(store, label)
        if namesakes:
            context = {"label": label, "namesakes": namesakes}
            return templates.TemplateResponse(request, "new.html", context, status_code=409)
        patient = store.add_patient(label, invented=invented == "yes", patient=str(uuid4()))
    if patient:
        store.begin(patient, examination=identity)
    return RedirectResponse(f"/examinations/{identity}", 303)


def _namesakes(store: Store, label: str) -> tuple[ExaminationHead, ...]:
    """Return the newest examination of each real patient who is already called this."""
    wanted = " ".join(label.split()).casefold()
    heads = (head for head in store.examinations() if not head.invented)
    found = (head for head in heads if head.label.casefold() == wanted)
    return tuple({head.patient: head for head in reversed(tuple(found))}.values())


@router.get("/examinations/{examination_id}")
@needs(Permission.READ, shows="page")
def examine_page(request: Request, examination_id: str, test: str = "") -> Response:
    """Show the bedside page; a test asked for is on it even if it is a further one."""
    state = bedside_state(store_of(request), examination_id, settings_of(request), shown_test=test)
    return templates.TemplateResponse(request, "examine.html", state)


@router.get("/examinations/{examination_id}/urgent")
@needs(Permission.READ)
def urgent_part(request: Request, examination_id: str) -> Response:
    """Give what cannot wait of one examination, for the list of patients."""
    examination = store_of(request).examination(examination_id)
    context = {"examination": examination.id, "alerts": conclude(examination).alerts}
    return templates.TemplateResponse(request, "_urgent.html", context)


@router.get("/examinations/{examination_id}/parts/{key}")
@needs(Permission.READ)
def further_tests(request: Request, examination_id: str, key: str) -> Response:
    """Give the further tests of a part, for a page that has only the usual ones."""
    state = bedside_state(store_of(request), examination_id, settings_of(request))
    group = next((group for group in state["groups"] if group.key == key), None)
    if group is None:
        raise BadInput("part of the examination", key, "a part of the page")
    return templates.TemplateResponse(request, "_further.html", state | {"group": group})


@router.get("/examinations/{examination_id}/examination.json")
@needs(Permission.READ, shows="examination as JSON")
def examination_data(request: Request, examination_id: str) -> Response:
    """Give the examination as a document of the published schema."""
    document = write_examination(store_of(request).examination(examination_id))
    return Response(document, media_type="application/json")


@router.get("/examinations/{examination_id}/history")
@needs(Permission.READ, shows="history")
def history_page(request: Request, examination_id: str) -> Response:
    """Show every entry in the order it was saved."""
    store = store_of(request)
    head = store.head(examination_id)
    history = store.history(examination_id)
    counting = {stored.sequence for stored in in_force(history)}
    words = {s.entry.id: entry_words(s.entry) for s in history}
    writers = writers_of(store, examination_id)
    lines = [
        {
            "at": s.at,
            "by": writers[str(s.entry.id)],
            "device": s.entry.device or "",
            "words": f"Took back: {words.get(s.entry.undoes, 'an entry')}"
            if s.entry.undoes
            else words[s.entry.id],
            "counts": s.sequence in counting,
            "findings": [finding_words(f) for f in s.entry.findings]
            if len(s.entry.findings) > 1
            else [],
            "unread": [text.text for text in s.entry.unread],
        }
        for s in history
    ]
    context = {
        "head": head,
        "lines": lines,
        "authors": authors_of(store, examination_id),
        "attached": attachments_of(store, examination_id),
        "invented": invented_words(head),
    }
    return templates.TemplateResponse(request, "history.html", context)


@router.get("/settings")
@needs(Permission.OWN)
def settings_page(request: Request, saved: str = "") -> Response:
    """Show how this browser shows things, to be changed."""
    now = asdict(settings_of(request))
    options = [(name, heading, choices, now[name]) for name, (heading, choices) in OPTIONS.items()]
    context = {"options": options, "saved": bool(saved)}
    return templates.TemplateResponse(request, "settings.html", context)


@router.post("/settings")
@needs(Permission.OWN)
async def change_settings(request: Request) -> Response:
    """Keep the settings in a cookie of this browser."""
    form = {name: str(value) for name, value in (await request.form()).items()}
    answer = RedirectResponse("/settings?saved=yes", 303)
    year_s = 365 * 24 * 3600
    answer.set_cookie(
        COOKIE, settings_from(form).text(), max_age=year_s, httponly=True, samesite="strict"
    )
    return answer


@router.get("/about")
@needs(Permission.LEARN)
def about_page(request: Request) -> Response:
    """Say what the program is, and how each kind of number comes about."""
    return templates.TemplateResponse(request, "about.html", {"chances": chance_words()})


@router.get("/sources")
@needs(Permission.LEARN)
def sources_page(request: Request) -> Response:
    """List the bibliography."""
    sources = sorted(load_sources().items(), key=lambda item: str(item[1].get("author", item[0])))
    return templates.TemplateResponse(request, "sources.html", {"sources": sources})


@router.get("/catalogue")
@needs(Permission.LEARN)
def catalogue_page(request: Request) -> Response:
    """List every test of the catalogue."""
    return templates.TemplateResponse(
        request, "catalogue.html", {"groups": load_catalogue().groups}
    )


@router.get("/catalogue/{test_id}")
@needs(Permission.LEARN)
def test_page(request: Request, test_id: str) -> Response:
    """Show one test of the catalogue whole, with its accuracy and sources."""
    catalogue = load_catalogue()
    if test_id not in catalogue:
        raise BadInput("test page", test_id, "a test of the catalogue", hint="See /catalogue.")
    test = catalogue.test(test_id)
    context = {
        "test": test,
        "part": part_of().get(test_id),
        "cautions": [catalogue.cautions[key] for key in test.cautions],
    }
    return templates.TemplateResponse(request, "test.html", context)


@router.get("/health")
@needs(Permission.OPEN)
def health() -> Response:
    """Answer that the server is up."""
    return JSONResponse({"status": "ok"})


def check_identity(text: str) -> str:
    """Return an identity if it has the form of one.

    Parameters
    ----------
    text : str
        As sent.

    Returns
    -------
    str
        The identity in its usual form.

    Raises
    ------
    BadInput
        If it is not a UUID.
    """
    try:
        return str(UUID(text))
    except ValueError:
        raise BadInput("identity", text, "a UUID", hint="Reload the page.") from None


def invented_words(head: ExaminationHead) -> str:
    """Return what the banner says of an invented patient; empty for a real one."""
    return "patient, invented hospital" if head.invented else ""
