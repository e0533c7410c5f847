"""Timers and counters that the hands need, and the findings they give."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from math import inf
from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from decussate.errors import BadInput
from decussate.examination.catalogue import Caution, load_catalogue
from decussate.examination.record import Examination, Finding
from decussate.measures.as_findings.hearing import fork_findings, whisper_findings
from decussate.measures.as_findings.positional_test import positional_findings
from decussate.measures.as_findings.swallow import water_swallow_findings
from decussate.measures.as_findings.writing import could_not, graded, stated
from decussate.measures.fork_prediction import Fork
from decussate.measures.nystagmus import FastPhase
from decussate.measures.positional_observation import Manoeuvre, PositionalObservation
from decussate.measures.swallow import WaterSwallow
from decussate.measures.tuning_forks import ForkFindings, Rinne, Weber
from decussate.measures.whisper import WHISPER_DISTANCES_M, WhisperTest, protocol
from decussate.records.roles import Permission
from decussate.sides import Side
from decussate.web.access import needs
from decussate.web.measured_entries import number_in, save_measured, side_in, tick_in
from decussate.web.pages import invented_words
from decussate.web.rendering import templates
from decussate.web.state import store_of
from decussate.web.view import sides_of

__all__ = ["router"]

router = APIRouter(prefix="/examinations/{examination_id}/timers")

LETTERS, DIGITS = "AFHKMORX", "2345689"
"""Letters and digits to whisper, of differing sound (judgement)."""

BEFORE = {
    "positional": ("neck_safe",),
    "swallow": ("alertness", "cough", "voice_wet"),
}
"""Tests whose result decides whether a timed test may be done at all (common practice)."""

ASK_FIRST = {"neck_safe", "alertness"}
"""Of these, those that must be recorded as normal beforehand: unknown is not safe."""


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
        "positional_cautions": _cautions("positional_test"),
        "swallow_cautions": _cautions("water_swallow"),
        "fork_cautions": _cautions("rinne"),
        "record_stops": {kind: _stops(examination, tests) for kind, tests in BEFORE.items()},
        "whisper_steps": protocol(),
        "whisper_far_m": WHISPER_DISTANCES_M[0],
        "whisper_near_m": WHISPER_DISTANCES_M[1],
        "whisper_items": _whisper_items(),
        "rinne_pairs": [(answer.value, answer.value) for answer in Rinne],
        "weber_pairs": [(answer.value, answer.value) for answer in Weber],
        "fork_pairs": [(fork.value, fork.value) for fork in Fork],
        "blink_answers": [
            (code, response.label)
            for code, response in load_catalogue().test("blink").responses.items()
        ],
    }
    return templates.TemplateResponse(request, "timers.html", context)


def _cautions(test: str) -> tuple[Caution, ...]:
    catalogue = load_catalogue()
    return tuple(catalogue.cautions[key] for key in catalogue.test(test).cautions)


def _stops(examination: Examination, tests: tuple[str, ...]) -> tuple[str, ...]:
    """Return what is recorded against doing a test, or not recorded though it must be."""
    catalogue = load_catalogue()
    present = {(found.test, found.side): found for found in examination.present()}
    stops = []
    for key in tests:
        test = catalogue.test(key)
        found = [present[key, side] for side in sides_of(test) if (key, side) in present]
        if not found and key in ASK_FIRST:
            stops.append(f"{test.name}: not recorded. Ask first.")
        for one in found:
            if one.response != "normal":
                label = test.responses[one.response].label if one.response in test.codes else ""
                stops.append(f"{test.name}: {label or one.response.replace('_', ' ')}.")
    return tuple(stops)


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
    return save_measured(
        request,
        store_of(request),
        examination_id,
        form.get("entry", ""),
        READERS[kind](form),
        page="timers",
        kind=kind,
    )


def _positional(form: dict[str, str]) -> tuple[Finding, ...]:
    side = side_in(form)
    seen = _choice(form, "nystagmus", ("none", *_beats(side)), "nystagmus")
    latency = number_in(form, "latency_s", "latency", "seconds")
    duration = number_in(form, "duration_s", "duration", "seconds")
    went_on = tick_in(form, "went_on")
    if seen == "none" and (latency or duration or went_on):
        raise BadInput(
            "nystagmus",
            "none, with a time",
            "a direction with the times, or none without them",
            hint="Clear the times, or say which way it beat.",
        )
    observation = PositionalObservation(
        Manoeuvre.HEAD_HANGING,
        side,
        _beats(side).get(seen),
        latency_s=None if seen == "none" else latency,
        duration_s=None if seen == "none" else inf if went_on else duration,
        reverses_on_sitting=tick_in(form, "reverses"),
        fatigues=tick_in(form, "fatigues"),
        vertigo=tick_in(form, "vertigo"),
    )
    return positional_findings([observation])


def _beats(side: Side) -> Mapping[str, FastPhase]:
    # The record keeps no side of torsion or of a horizontal beat: the lower ear stands in for it.
    return {
        "upbeat_torsional": FastPhase(upward=1, torsion=side),
        "downbeat": FastPhase(upward=-1),
        "horizontal": FastPhase(horizontal=side),
        "other": FastPhase(torsion=side),
    }


def _swallow(form: dict[str, str]) -> tuple[Finding, ...]:
    given = _needed(number_in(form, "given_ml", "water given", "mL"), "water given", "mL")
    return water_swallow_findings(
        WaterSwallow(
            given_ml=given,
            seconds=_needed(number_in(form, "seconds", "time taken", "seconds"), "time taken", "s"),
            left_ml=number_in(form, "left_ml", "water left", "mL") or 0.0,
            swallows=_count(form, "swallows", "swallows"),
            coughed=_yes_no(form, "cough"),
            wet_voice=_yes_no(form, "wet_voice"),
            interrupted=_yes_no(form, "stopped"),
        )
    )


def _whisper(form: dict[str, str]) -> tuple[Finding, ...]:
    first = _count(form, "first", "whispers repeated of the first set")
    if first is None:
        raise BadInput("whispers repeated of the first set", "nothing", "0 to 3")
    far, near = WHISPER_DISTANCES_M
    distance = _choice(form, "distance", ("far", "near"), "distance of the whisper")
    return whisper_findings(
        WhisperTest(
            side_in(form),
            first,
            _count(form, "second", "whispers repeated of the second set"),
            other_ear_masked=_yes_no(form, "masked"),
            distance_m=far if distance == "far" else near,
        )
    )


def _rinne(form: dict[str, str]) -> tuple[Finding, ...]:
    ears = {
        side: Rinne(_choice(form, side.value, tuple(Rinne), f"Rinne, {side} ear"))
        for side in Side
        if form.get(side.value)
    }
    weber = Weber(_choice(form, "weber", tuple(Weber), "Weber")) if form.get("weber") else None
    fork = Fork(_choice(form, "fork", tuple(Fork), "fork")) if form.get("fork") else None
    if len(ears) == 2 and weber is not None:
        found = list(fork_findings(ForkFindings(ears[Side.RIGHT], ears[Side.LEFT], weber), fork))
    else:
        found = [_one_rinne(side, answer) for side, answer in ears.items()]
        if weber is Weber.NOT_HEARD:
            found.append(could_not("weber", "the fork was not heard"))
        elif weber is not None:
            found.append(graded("weber", "weber", weber))
        used = {"technique": fork.value if fork else None}
        found = [finding.model_copy(update=used) for finding in found]
    for side in ears:
        times = [
            f"heard by {way} {seconds:g} s"
            for way in ("bone", "air")
            if (seconds := number_in(form, f"{way}_{side}", f"heard by {way}", "seconds"))
            is not None
        ]
        found = [_with_times(finding, side, times) for finding in found]
    if ears:
        method = _choice(form, "method", ("normal", "fading"), "way of comparing")
        found.append(stated("rinne_method", method))
    return tuple(found)


def _one_rinne(side: Side, answer: Rinne) -> Finding:
    if answer is Rinne.NOT_HEARD:
        return could_not("rinne", "the fork was not heard by air or by bone", side)
    return graded("rinne", "rinne", answer, side)


def _with_times(finding: Finding, side: Side, times: list[str]) -> Finding:
    if finding.test != "rinne" or finding.side is not side or not times:
        return finding
    comment = "; ".join(filter(None, (finding.comment, *times)))
    return finding.model_copy(update={"comment": comment})


def _blink(form: dict[str, str]) -> tuple[Finding, ...]:
    codes = tuple(load_catalogue().test("blink").responses)
    seconds = number_in(form, "seconds", "time watched", "seconds")
    found = []
    for side in Side:
        if not form.get(side.value):
            continue
        code = _choice(form, side.value, codes, f"blink, {side} eye")
        full = _count(form, f"full_{side}", f"full blinks, {side} eye")
        part = _count(form, f"part_{side}", f"incomplete blinks, {side} eye")
        counts = [
            f"{count} {name}"
            for count, name in ((full, "full"), (part, "incomplete"))
            if count is not None
        ]
        watched = f" in {seconds:g} s" if seconds and counts else ""
        comment = " and ".join(counts) + watched
        found.append(stated("blink", code, side, comment=comment))
    return tuple(found)


READERS: dict[str, Callable[[dict[str, str]], tuple[Finding, ...]]] = {
    "positional": _positional,
    "swallow": _swallow,
    "whisper": _whisper,
    "rinne": _rinne,
    "blink": _blink,
}


def _choice(form: dict[str, str], field: str, allowed: tuple[Any, ...], name: str) -> str:
    answer = form.get(field, "")
    if answer not in allowed:
        expected = "one of " + ", ".join(str(one).replace("_", " ") for one in allowed)
        raise BadInput(name, answer or "nothing", expected)
    return answer


def _count(form: dict[str, str], field: str, name: str) -> int | None:
    count = number_in(form, field, name, "a count")
    if count is not None and count != int(count):
        raise BadInput(name, form[field], "a whole number")
    return None if count is None else int(count)


def _needed(value: float | None, name: str, unit: str) -> float:
    if value is None:
        raise BadInput(name, "nothing", f"a number ({unit})")
    return value


def _yes_no(form: dict[str, str], field: str) -> bool:
    """Return a yes or no that must be given: nothing is taken as normal unasked."""
    answer = tick_in(form, field)
    if answer is None:
        raise BadInput(field.replace("_", " "), "nothing", "yes or no")
    return answer
