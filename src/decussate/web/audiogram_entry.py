"""Taking in an audiogram touched or typed on its chart: its findings are one entry."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from decussate.measures.as_findings.tables import audiogram_entry_findings
from decussate.measures.audiogram import AUDIOMETRIC_HZ, Audiogram, Conduction
from decussate.records.roles import Permission
from decussate.sides import Side
from decussate.web.access import needs
from decussate.web.audiogram_chart import written_level
from decussate.web.entering import answer_changes, append_entry
from decussate.web.state import store_of

__all__ = ["router"]

router = APIRouter(prefix="/examinations/{examination_id}")


@router.post("/audiogram")
@needs(Permission.EXAMINE)
async def enter_audiogram(request: Request, examination_id: str) -> Response:
    """Record what follows from the thresholds on the chart, with the thresholds themselves."""
    form = {name: str(value) for name, value in (await request.form()).items()}
    return await run_in_threadpool(_enter, request, examination_id, form)


def _enter(request: Request, examination_id: str, form: dict[str, str]) -> Response:
    thresholds = tuple(
        written_level(side, way, hz, typed)
        for side in Side
        for way in Conduction
        for hz in AUDIOMETRIC_HZ
        if (typed := form.get(f"level {side} {way} {hz}", "").strip())
    )
    kept = audiogram_entry_findings(Audiogram(thresholds))
    store = store_of(request)
    append_entry(store, examination_id, form.get("entry", ""), {"findings": kept})
    tests = frozenset(finding.test for finding in kept)
    return answer_changes(request, store, examination_id, tests, "#group-hearing")
