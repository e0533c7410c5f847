"""Taking in a visual field drawn by hand: every line drawn on an eye's chart is one entry."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any
from uuid import UUID, uuid5

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from decussate.errors import BadInput
from decussate.examination.record import NOT_TESTED, Examination, Finding
from decussate.measures.as_findings.drawn_field import (
    TECHNIQUES,
    drawn_field_findings,
    drawn_field_in,
)
from decussate.measures.visual_field import FieldPosition, temporal_sign
from decussate.measures.visual_field_drawn import (
    FARTHEST_DEG,
    MERIDIANS_DEG,
    HandDrawnField,
    drawn_from_extents,
    full_drawn_field,
)
from decussate.measures.visual_field_outline import outline_from_positions
from decussate.measures.visual_field_scotoma import Scotoma
from decussate.records.roles import Permission
from decussate.sides import Side
from decussate.web.access import needs
from decussate.web.entering import answer_changes, append_entry
from decussate.web.field_outline_chart import PRINCIPAL_DEG
from decussate.web.held_back import done_all_the_same
from decussate.web.measured_entries import side_in
from decussate.web.pages import check_identity
from decussate.web.state import store_of

__all__ = ["router"]

router = APIRouter(prefix="/examinations/{examination_id}")

MOST_POINTS = 2000
WAYS = ("lost", "seen", "extents", "full", "none")
"""What a form brings: a line round what is not seen, a line round what is, the table, the normal
outline, or the drawing taken back."""

_EXTENT = re.compile(r"\s*(\d+(?:\.\d+)?)\s*°?\s*(?:/\s*(\d+(?:\.\d+)?)\s*°?\s*)?")


@router.post("/field-outline")
@needs(Permission.EXAMINE)
async def enter_field(request: Request, examination_id: str) -> Response:
    """Record what follows from a field as it is drawn, with the drawing itself."""
    form = {name: str(value) for name, value in (await request.form()).items()}
    return await run_in_threadpool(_enter, request, examination_id, form)


def _enter(request: Request, examination_id: str, form: dict[str, str]) -> Response:
    eye = side_in(form, "eye")
    store = store_of(request)
    touched: set[str] = set()

    def with_drawing(_: dict[str, Any], examination: Examination) -> dict[str, Any]:
        findings = _findings(eye, form, examination)
        touched.update(one.test for one in findings)
        return {"findings": done_all_the_same(findings, examination, {})}

    # What a line shows depends on what was drawn before, so the line alone makes the identity:
    # the same line sent twice is drawn once.
    made_of = "\n".join(f"{name} {form[name]}" for name in sorted(form) if name != "entry")
    token = str(uuid5(UUID(check_identity(form.get("entry", ""))), made_of))
    append_entry(store, examination_id, token, {}, completed=with_drawing)
    return answer_changes(request, store, examination_id, frozenset(touched), "#group-fields")


def _findings(eye: Side, form: Mapping[str, str], examination: Examination) -> tuple[Finding, ...]:
    """Return what is drawn now, and the withdrawal of what only the drawing before showed."""
    present = {(one.test, one.side): one for one in examination.present()}
    before = drawn_field_in(present, eye)
    way = form.get("drawn", "")
    if way not in WAYS:
        raise BadInput(
            "drawing", way or "nothing", "one of the ways to draw", hint="Reload the page."
        )
    earlier = drawn_field_findings(*before) if before else ()
    now: tuple[Finding, ...] = ()
    if way != "none":
        technique = form.get("technique", TECHNIQUES[0])
        now = drawn_field_findings(_drawn(eye, way, form, before and before[0]), technique)
    elif not before:
        raise BadInput("drawing", "none of this eye", "a drawing to take back")
    kept = {one.test for one in now}
    withdrawn = tuple(
        Finding(test=one.test, side=eye, response=NOT_TESTED)
        for one in earlier
        if one.test not in kept and _stands(present.get((one.test, eye)), one)
    )
    return now + withdrawn


def _stands(standing: Finding | None, one: Finding) -> bool:
    return standing is not None and (standing.response, standing.technique) == (
        one.response,
        one.technique,
    )


def _drawn(
    eye: Side, way: str, form: Mapping[str, str], before: HandDrawnField | None
) -> HandDrawnField:
    if way == "full":
        return full_drawn_field(eye)
    if way == "extents":
        return _typed(eye, form, before)
    line = _line(form.get("line", ""))
    start = before or full_drawn_field(eye)
    return start.seen_within(line) if way == "seen" else start.without(line)


def _line(text: str) -> tuple[FieldPosition, ...]:
    """Read a line as the page sends it: ``x,y;x,y`` in degrees, right and up positive."""
    points = text.split(";") if text else []
    if len(points) > MOST_POINTS:
        raise BadInput("line", f"{len(points)} points", f"at most {MOST_POINTS}")
    try:
        pairs = [tuple(float(part) for part in point.split(",")) for point in points]
        placed = [FieldPosition.from_chart(x, y) for x, y in (_held(*pair) for pair in pairs)]
    except (ValueError, TypeError):
        raise BadInput(
            "line", text[:40], "points x,y in degrees", hint="Reload the page."
        ) from None
    return tuple(placed)


def _held(x_deg: float, y_deg: float) -> tuple[float, float]:
    """Bring a point beyond the chart's farthest degree back to it: a hand draws past the edge."""
    reach = (x_deg**2 + y_deg**2) ** 0.5
    part = min(1.0, FARTHEST_DEG / reach) if reach else 1.0
    return x_deg * part, y_deg * part


def _typed(eye: Side, form: Mapping[str, str], before: HandDrawnField | None) -> HandDrawnField:
    """Read the table: the principal meridians, others where they were filled in."""
    missing = [m for m in PRINCIPAL_DEG if not form.get(f"at {m}", "").strip()]
    if missing:
        raise BadInput(
            "meridians of the field",
            "nothing at " + ", ".join(f"{one}°" for one in missing),
            "degrees at each of the eight principal meridians",
            hint="Write 0 where nothing is seen: not tested is not the same.",
        )
    positions = []
    for meridian in MERIDIANS_DEG:
        typed = form.get(f"at {meridian}", "").strip()
        for extent in _extents(meridian, typed) if typed else ():
            positions.append(FieldPosition(float(meridian), extent))
    first = [one for one in positions if one.meridian_deg == 0.0]
    ring = [*positions[1:], positions[0]] if len(first) > 1 else positions
    as_right = HandDrawnField(outline_from_positions(Side.RIGHT, ring))
    field = drawn_from_extents(eye, as_right.extents_deg)
    field = HandDrawnField(field.outline, before.areas if before else ())
    spot = _typed_spot(eye, form)
    return field.without(spot.edge[::10]) if spot else field


def _extents(meridian: int, typed: str) -> tuple[float, ...]:
    match = _EXTENT.fullmatch(typed)
    values = tuple(float(one) for one in match.groups() if one is not None) if match else ()
    if not values or max(values) > FARTHEST_DEG:
        raise BadInput(
            f"field at {meridian}°",
            typed,
            f"degrees from fixation, 0 to {FARTHEST_DEG:g}",
            hint="Where the edge runs along the meridian write both sides: 60/0.",
        )
    return values[:1] if len(set(values)) == 1 else values


def _typed_spot(eye: Side, form: Mapping[str, str]) -> Scotoma | None:
    names = {"temporal": "middle, degrees temporal", "up": "middle, degrees up"}
    names |= {"wide": "width, degrees", "high": "height, degrees"}
    typed = {key: form.get(f"spot {key}", "").strip().replace("−", "-") for key in names}
    if not any(typed.values()):
        return None
    values = {}
    for key, name in names.items():
        try:
            values[key] = float(typed[key])
        except ValueError:
            raise BadInput(
                f"part not seen, {name}",
                typed[key] or "nothing",
                "a number",
                hint="Nasal and down are negative.",
            ) from None
    out = temporal_sign(eye)
    return Scotoma(eye, out * values["temporal"], values["up"], values["wide"], values["high"])
