"""The patient's screen: a second window or device, and the examiner's view that directs it."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response

from decussate.documents.optotypes import letter_sets, optotype_svg
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.measures.as_findings.acuity import distance_acuity_findings, near_acuity_findings
from decussate.measures.letter_by_letter import LETTERS_A_ROW, METHOD
from decussate.measures.near_acuity import DEFAULT_N_RULE, NearAcuity, m_from_n, x_height_mm
from decussate.records.roles import Permission
from decussate.web.access import needs, visit_of
from decussate.web.limits import json_object
from decussate.web.measured_entries import number_in, save_measured, side_in
from decussate.web.pages import invented_words
from decussate.web.patient_shown import Marks, Screen, checked, mark_acuity
from decussate.web.patient_words import NEAR_SENTENCES, load_languages, load_word_tests
from decussate.web.rendering import templates
from decussate.web.state import store_of

__all__ = ["router"]

router = APIRouter()

CARD_MM = (85.60, 53.98)
"""Width and height of a bank or identity card, ISO/IEC 7810 ID-1."""
NEAR_N = (36, 24, 18, 12, 10, 8, 6, 5)
"""N sizes of the near card, largest first (common practice)."""
FIXATION_DEGREES = (0.6, 0.2)
"""Diameters of the fixation mark and of its dot, seen from the patient (from memory).

References
----------
Thaler L, Schütz AC, Goodale MA, Gegenfurtner KR. What is the best fixation target? The effect of
target shape on stability of fixational eye movements. Vision Res 2013;76:31-42.
"""
RED_MM = 20.0
"""Diameter of the red target, millimetres (judgement)."""
OWN_CONTROLS = frozenset({"view", "row", "distance_m"})
"""What a paired device may change: its own controls, and never what was read or is said."""
STROKE_PIXELS = 2.0
"""A row is not shown when a stroke would take fewer pixels of the screen (judgement)."""


@cache
def _content() -> dict[str, Any]:
    """Return what both views need once: words, sizes and limits."""
    assert len(NEAR_N) == NEAR_SENTENCES  # noqa: S101
    return {
        "languages": {
            key: {
                "name": one.name,
                "direction": one.direction,
                "not_reviewed": "" if one.reviewed_by else one.not_reviewed,
                "near": one.near,
                "say": dict(one.say),
                "outdated": sorted(one.outdated),
            }
            for key, one in load_languages().items()
        },
        "pictures": {one.test: one.picture for one in load_word_tests()},
        "near": [{"n": n, "x_height_mm": x_height_mm(n)} for n in NEAR_N],
        "letters_a_row": LETTERS_A_ROW,
        "fixation_degrees": FIXATION_DEGREES,
        "red_mm": RED_MM,
        "stroke_pixels": STROKE_PIXELS,
        "card_mm": CARD_MM,
    }


@cache
def _optotypes() -> tuple[tuple[str, Markup], ...]:
    """Return the drawing of every optotype on its 5 by 5 grid; the ring is the letter C."""
    letters = sorted({x for one in letter_sets().values() for x in one["round"] + one["straight"]})
    # Made by this program from its own data file, so that no outside text is in it.
    return tuple((x, Markup(optotype_svg(x, 0.0, 0.0, 5.0))) for x in letters)  # noqa: S704


@router.get("/screen-content")
@needs(Permission.SCREEN)
def screen_content() -> Response:
    """Give what the two views need once."""
    return JSONResponse(_content())


@router.get("/examinations/{examination_id}/screen")
@needs(Permission.EXAMINE, shows="patient’s screen")
def examiner_page(request: Request, examination_id: str, saved: str = "") -> Response:
    """Show the examiner's view: what the patient sees, and what to show next."""
    head = store_of(request).head(examination_id)
    catalogue = load_catalogue()
    context = {
        "head": head,
        "invented": invented_words(head),
        "saved": bool(saved),
        "optotypes": _optotypes(),
        "letter_sets": [*letter_sets(), "rings"],
        "languages": tuple(load_languages().values()),
        "word_tests": [(one.test, catalogue.test(one.test).name) for one in load_word_tests()],
        "near_n": NEAR_N,
        "near_distance_cm": 40,
    }
    return templates.TemplateResponse(request, "patient_examiner.html", context)


@router.get("/examinations/{examination_id}/screen/patient")
@needs(Permission.SCREEN)
def patient_page(request: Request, examination_id: str) -> Response:
    """Show the patient's screen; it carries no name and nothing of the record."""
    head = store_of(request).head(examination_id)
    context = {"place": f"/examinations/{head.id}/screen", "optotypes": _optotypes()}
    return templates.TemplateResponse(request, "patient_screen.html", context)


@router.get("/examinations/{examination_id}/screen/state")
@needs(Permission.SCREEN, looks=True)
def screen_state(
    request: Request, examination_id: str, since: int = -1, patient: bool = False
) -> Response:
    """Give the state, or nothing when it has not changed since the version known."""
    screen = _screen(request, examination_id)
    if patient:
        screen.seen()
    open_ = {"Patient-Screen": "open" if screen.is_open() else "closed"}
    if since == screen.version():
        return Response(status_code=204, headers=open_)
    return JSONResponse(screen.document(), headers=open_)


@router.post("/examinations/{examination_id}/screen/state")
@needs(Permission.SCREEN)
async def change_screen(request: Request, examination_id: str) -> Response:
    """Change what is shown or marked; on a paired device no more than its own controls do."""
    fields = await json_object(request, "change of the screen")
    if visit_of(request) is None and (beyond := sorted(fields.keys() - OWN_CONTROLS)):
        raise BadInput(
            "change of the screen",
            ", ".join(beyond)[:80],
            "what is shown, the row or the distance",
            hint="Letters are marked and words chosen on the examiner’s page.",
        )
    screen = await run_in_threadpool(_screen, request, examination_id)
    return JSONResponse(await run_in_threadpool(screen.change, fields))


@router.post("/examinations/{examination_id}/screen/report")
@needs(Permission.SCREEN, looks=True)
async def report_screen(request: Request, examination_id: str) -> Response:
    """Take over what a patient's screen says of its size and calibration."""
    fields = await json_object(request, "change of the screen")
    screen = await run_in_threadpool(_screen, request, examination_id)
    await run_in_threadpool(screen.reported, fields)
    return Response(status_code=204)


@router.post("/examinations/{examination_id}/screen/acuity")
@needs(Permission.EXAMINE)
async def record_acuity(request: Request, examination_id: str) -> Response:
    """Record the distance acuity that was marked for one eye, with its pinhole reading if any."""
    form = {name: str(value) for name, value in (await request.form()).items()}
    return await run_in_threadpool(_record_acuity, request, examination_id, form)


def _record_acuity(request: Request, examination_id: str, form: dict[str, str]) -> Response:
    # The form carries what the examiner saw when recording, whatever the views show meanwhile.
    side = side_in(form)
    marks, pinhole = _marks(form, "reading"), _marks(form, "pinhole")
    if marks is None:
        raise BadInput(f"chart, {side} eye", "nothing marked", "letters marked as read or not read")
    _refuse_uncalibrated(form)
    findings = distance_acuity_findings(
        side,
        mark_acuity(marks),
        mark_acuity(pinhole) if pinhole else None,
        method=METHOD,
        technique=_technique(marks),
    )
    return save_measured(
        request,
        store_of(request),
        examination_id,
        form.get("entry", ""),
        findings,
        page="screen",
        kind="acuity",
    )


def _marks(form: dict[str, str], field: str) -> Marks | None:
    if not form.get(field):
        return None
    try:
        fields = json.loads(form[field])
    except ValueError:
        fields = None
    if not isinstance(fields, dict):
        raise BadInput("marks", "something else", "a JSON object", hint="Reload the page.")
    marks = checked(Marks, fields)
    return marks if marks.rows else None


def _refuse_uncalibrated(form: dict[str, str]) -> None:
    if number_in(form, "px_per_mm", "calibration", "pixels per mm") is None:
        raise BadInput(
            "patient’s screen",
            "not calibrated",
            "a screen measured with a card",
            hint="Open the patient’s screen and calibrate it; sizes are not true before.",
        )


def _technique(marks: Marks) -> str:
    kind = "Landolt rings" if marks.optotypes == "rings" else "letters"
    alone = ", one at a time" if marks.single else ""
    return f"{kind} on a calibrated screen at {marks.distance_m:g} m{alone}, letter by letter"


@router.post("/examinations/{examination_id}/screen/near")
@needs(Permission.EXAMINE)
async def record_near(request: Request, examination_id: str) -> Response:
    """Record the smallest print read by one eye, with the distance at which it was held."""
    form = {name: str(value) for name, value in (await request.form()).items()}
    return await run_in_threadpool(_record_near, request, examination_id, form)


def _record_near(request: Request, examination_id: str, form: dict[str, str]) -> Response:
    side = side_in(form)
    _refuse_uncalibrated(form)
    size = number_in(form, "n_size", "print size", "an N size")
    held_cm = number_in(form, "held_cm", "reading distance", "cm")
    if size not in NEAR_N or held_cm is None:
        found = f"{form.get('n_size') or 'no size'} at {form.get('held_cm') or 'no distance'}"
        raise BadInput("near acuity", found, "an N size of the card and the distance in cm")
    acuity = NearAcuity(m_from_n(size), held_cm / 100.0, size, DEFAULT_N_RULE)
    findings = near_acuity_findings(side, acuity, technique="calibrated screen")
    return save_measured(
        request,
        store_of(request),
        examination_id,
        form.get("entry", ""),
        findings,
        page="screen",
        kind="near",
    )


def _screen(request: Request, examination_id: str) -> Screen:
    store = store_of(request)
    return Screen(store, store.head(examination_id).id)
