"""Pairing a second device with the patient's screen: the code on one, the page to type it on."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Form, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from decussate.errors import BadInput
from decussate.records.roles import Permission
from decussate.web.access import access_of, address_of, hand_over, needs
from decussate.web.access_guesses import TooManyGuesses
from decussate.web.access_pairing import CODE_FOR, PAIRED_FOR, paired_cookie
from decussate.web.rendering import templates
from decussate.web.state import store_of

__all__ = ["router"]

router = APIRouter()


@router.post("/examinations/{examination_id}/screen/pair")
@needs(Permission.EXAMINE)
def new_code(request: Request, examination_id: str) -> Response:
    """Show a code that lets a second device be the patient's screen of this examination."""
    head = store_of(request).head(examination_id)
    address = urlsplit(str(request.base_url))
    context = {
        "head": head,
        "code": access_of(request).pairings.new_code(head.id),
        "address": f"{address.scheme}://{address.netloc}/patient",
        "here_only": address.hostname in ("127.0.0.1", "localhost", "::1"),
        "minutes": round(CODE_FOR.total_seconds() / 60),
        "hours": round(PAIRED_FOR.total_seconds() / 3600),
    }
    return HTMLResponse(templates.get_template("_pairing.html").render(context))


@router.post("/examinations/{examination_id}/screen/unpair")
@needs(Permission.EXAMINE)
def end_pairing(request: Request, examination_id: str) -> Response:
    """End every pairing with this examination."""
    access_of(request).pairings.end(store_of(request).head(examination_id).id)
    return HTMLResponse("<p>✓ No second device is paired now.</p>")


@router.get("/patient")
@needs(Permission.OPEN)
def code_page(request: Request) -> Response:
    """Ask the second device for the code."""
    return _code_page(request)


@router.post("/patient")
@needs(Permission.OPEN)
def pair_device(request: Request, code: Annotated[str, Form()] = "") -> Response:
    """Pair this device, once, if the code is right."""
    access = access_of(request)
    key = ("pairing", address_of(request))
    try:
        access.guesses.begin(key)
    except TooManyGuesses as early:
        return _code_page(request, early, 429)
    paired = access.pairings.pair(code)
    if paired is None:
        hint = "Ask the examiner for a new one: it is good for ten minutes, once."
        expected = "the code on the examiner’s page"
        problem = BadInput("code", "one that does not fit", expected, hint=hint)
        return _code_page(request, problem, 422)
    access.guesses.succeeded(key)
    examination, secret = paired
    answer = RedirectResponse(f"/examinations/{examination}/screen/patient", 303)
    hand_over(answer, paired_cookie(tls=access.tls), secret, tls=access.tls)
    return answer


def _code_page(request: Request, said: BadInput | None = None, status: int = 200) -> Response:
    return templates.TemplateResponse(
        request, "patient_code.html", {"said": said}, status_code=status
    )
