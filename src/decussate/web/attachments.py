"""Files of an examination: attached, shown, downloaded, and read into findings."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.responses import RedirectResponse, Response

from decussate.errors import BadInput
from decussate.measures.as_findings.tables import (
    audiogram_table_findings,
    perimetry_table_findings,
)
from decussate.records.attachments import (
    KINDS_IN_WORDS,
    LARGEST,
    attach,
    attachments_of,
    content_of,
)
from decussate.records.roles import Permission
from decussate.web.access import needs, person_of
from decussate.web.entering import append_entry
from decussate.web.measured_entries import side_in
from decussate.web.pages import check_identity, invented_words
from decussate.web.rendering import templates
from decussate.web.state import store_of

__all__ = ["router"]

router = APIRouter(prefix="/examinations/{examination_id}/attachments")


class _InMemory(MultiPartParser):
    """Keeps a file that comes in from being put, readable, into the folder for temporary files."""

    spool_max_size = LARGEST + 1


@router.get("")
@needs(Permission.READ, shows="attached files")
def attachments_page(request: Request, examination_id: str) -> Response:
    """List what is attached, and offer to attach a file."""
    store = store_of(request)
    head = store.head(examination_id)
    context = {
        "head": head,
        "attached": attachments_of(store, examination_id),
        "kinds": KINDS_IN_WORDS,
        "largest_mb": LARGEST // 1024**2,
        "here_may_examine": person_of(request).may(Permission.EXAMINE),
        "invented": invented_words(head),
    }
    return templates.TemplateResponse(request, "attachments.html", context)


@router.post("")
@needs(Permission.EXAMINE)
async def add_attachment(request: Request, examination_id: str) -> Response:
    """Attach a file."""
    if not request.headers.get("content-type", "").startswith("multipart/form-data"):
        raise BadInput("file", "none", "a file to attach")
    parser = _InMemory(request.headers, request.stream(), max_files=1, max_fields=4)
    try:
        form = await parser.parse()
    except (MultiPartException, KeyError):
        hint = "Reload the page and attach it again."
        raise BadInput("file", "a form that cannot be read", "one file", hint=hint) from None
    file = form.get("file")
    if not isinstance(file, UploadFile) or not file.filename:
        raise BadInput("file", "none", "a file to attach")
    identity = check_identity(str(form.get("attachment", "")))
    name, content = file.filename, await file.read()
    await run_in_threadpool(
        attach,
        store_of(request),
        examination_id,
        name,
        content,
        attachment=identity,
        scanner=request.app.state.scanner,
    )
    return RedirectResponse(f"/examinations/{examination_id}/attachments#a-{identity}", 303)


@router.get("/{attachment_id}")
@needs(Permission.READ, shows="attached file")
def attachment_content(request: Request, examination_id: str, attachment_id: str) -> Response:
    """Give an attached file, to be saved and not to be run in the page's own name."""
    one, content = content_of(store_of(request), examination_id, attachment_id)
    disposition = f"attachment; filename*=UTF-8''{quote(one.name, safe='')}"
    kind = f"{one.media_type}; charset=utf-8" if one.media_type == "text/csv" else one.media_type
    return Response(content, media_type=kind, headers={"Content-Disposition": disposition})


@router.post("/{attachment_id}/findings")
@needs(Permission.EXAMINE)
def read_into_findings(
    request: Request,
    examination_id: str,
    attachment_id: str,
    entry: Annotated[str, Form()],
    side: Annotated[str, Form()] = "",
) -> Response:
    """Record what follows from an attached table, as one entry."""
    store = store_of(request)
    one, content = content_of(store, examination_id, attachment_id)
    text = content.decode("utf-8-sig") if one.media_type == "text/csv" else ""
    if one.kind == "audiogram":
        findings, part = audiogram_table_findings(text), "hearing"
    elif one.kind == "perimetry":
        findings, part = perimetry_table_findings(text, side_in({"side": side})), "fields"
    else:
        raise BadInput("attachment to read", one.name, "an audiogram or perimetry table")
    append_entry(store, examination_id, entry, {"findings": findings})
    return RedirectResponse(f"/examinations/{examination_id}#group-{part}", 303)
