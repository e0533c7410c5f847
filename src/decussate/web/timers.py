"""Timers and counters that the hands need, and the findings they give."""

from __future__ import annotations

import random

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, Response

from decussate.errors import BadInput
from decussate.examination.bars import bars_against
from decussate.examination.catalogue import Caution, load_catalogue
from decussate.examination.record import Examination, Finding
from decussate.measures.fork_prediction import Fork
from decussate.measures.tuning_forks import Rinne, Weber
from decussate.measures.whisper import WHISPER_DISTANCES_M, protocol
from decussate.records.roles import Permission
from decussate.web.access import needs
from decussate.web.measured_entries import save_measured
from decussate.web.pages import invented_words
from decussate.web.rendering import is_fragment, templates
from decussate.web.state import store_of
from decussate.web.timed_forms import OPACITY_SPOTS, READERS, TARGETS, gate_findings, unit_of

__all__ = ["router"]

router = APIRouter(prefix="/examinations/{examination_id}/timers")

LETTERS, DIGITS = "AFHKMORX", "2345689"
"""Letters and digits to whisper, of differing sound (judgement)."""

HELD_BY = {"positional": "positional_test", "swallow": "water_swallow"}
"""The test whose bars hold back a timer."""


@router.get("")
@needs(Permission.EXAMINE, shows="timers")
def timers_page(request: Request, examination_id: str, saved: str = "") -> Response:
    """Show the timers and counters, with the cautions before each."""
    store = store_of(request)
    head = store.head(examination_id)
    examination = store.examination(examination_id)
    context = {
        "head": head,
        "invented": invented_words(head),
        "saved": bool(saved),
        "cautions_of": _cautions,
        "held": {kind: _held(kind, examination) for kind in HELD_BY},
        "whisper_steps": protocol(),
        "whisper_far_m": WHISPER_DISTANCES_M[0],
        "whisper_near_m": WHISPER_DISTANCES_M[1],
        "whisper_items": _whisper_items(),
        "rinne_pairs": [(answer.value, answer.value) for answer in Rinne],
        "weber_pairs": [(answer.value, answer.value) for answer in Weber],
        "fork_pairs": [(fork.value, fork.value) for fork in Fork],
        "answers_of": _answers,
        "opacity_spots": [(spot, spot) for spot in OPACITY_SPOTS],
        "target_pairs": [(pair, pair) for pair in TARGETS],
        "targets": {
            pair: [
                {
                    "test": load_catalogue().test(name),
                    "unit": unit_of(name),
                }
                for name in tests
            ]
            for pair, tests in TARGETS.items()
        },
    }
    return templates.TemplateResponse(request, "timers.html", context)


def _cautions(test: str) -> tuple[Caution, ...]:
    catalogue = load_catalogue()
    return tuple(catalogue.cautions[key] for key in catalogue.test(test).cautions)


def _answers(test: str) -> list[tuple[str, str]]:
    responses = load_catalogue().test(test).responses
    return [(code, response.label) for code, response in responses.items()]


def _held(kind: str, examination: Examination) -> dict[str, tuple[str, ...]]:
    """Return what bars a timed test, and what would still bar it once its line is ticked."""
    test = load_catalogue().test(HELD_BY[kind])
    now = bars_against(test, None, examination)
    lifted = (*gate_findings(kind), *(_SAFE_SIPS if kind == "swallow" else ()))
    after = bars_against(test, None, _with_unrecorded(examination, lifted))
    return {"now": now, "after": after}


_SAFE_SIPS = (Finding(test="sip_swallow", response="normal"),)


def _with_unrecorded(examination: Examination, said: tuple[Finding, ...]) -> Examination:
    """Return the record with what is said of tests that are not recorded; the rest stands."""
    new = _unrecorded(examination, said)
    return examination.model_copy(update={"findings": (*examination.findings, *new)})


def _unrecorded(examination: Examination, said: tuple[Finding, ...]) -> tuple[Finding, ...]:
    known = {found.test for found in examination.present()}
    return tuple(finding for finding in said if finding.test not in known)


def _whisper_items() -> list[str]:
    chance = random.SystemRandom()
    return [
        f"{a} {chance.choice(LETTERS)} {b}"
        for a, b in (chance.sample(DIGITS, 2) for _ in range(24))
    ]


@router.post("/{kind}")
@needs(Permission.EXAMINE)
async def record_timed(request: Request, examination_id: str, kind: str) -> Response:
    """Record what was timed or counted."""
    form = {name: str(value) for name, value in (await request.form()).items()}
    return await run_in_threadpool(_record, request, examination_id, kind, form)


def _record(request: Request, examination_id: str, kind: str, form: dict[str, str]) -> Response:
    if kind not in READERS:
        raise BadInput("timer", kind, "one of " + ", ".join(READERS))
    store = store_of(request)
    ticked = gate_findings(kind) if form.get("gate") == "yes" else ()
    answer = save_measured(
        request,
        store,
        examination_id,
        form.get("entry", ""),
        READERS[kind](form),
        page="timers",
        kind=kind,
        also=lambda examination: _unrecorded(examination, ticked),
        although=form.get("although", ""),
    )
    if kind in HELD_BY and is_fragment(request):
        held = {"kind": kind, "held": _held(kind, store.examination(examination_id))}
        body = templates.get_template("_held.html").render(held | {"renewed": True})
        return HTMLResponse(bytes(answer.body).decode() + body)
    return answer
