"""The pages on which a person sets up a second factor, and takes it off again.

Each act asks for the password once more: whoever finds a page open changes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from decussate.errors import BadInput
from decussate.records.people import Person
from decussate.records.roles import Permission
from decussate.web.access import access_of, needs, person_of, visit_of
from decussate.web.access_pages import checked_person, status_of
from decussate.web.rendering import templates

__all__ = ["router"]

router = APIRouter(prefix="/account/second-factor")

QUIET = 4
"""Modules kept free around a QR code (ISO/IEC 18004)."""


@dataclass(frozen=True, slots=True)
class QrCode:
    """A QR code to draw.

    Parameters
    ----------
    path : str
        Its dark modules as the path of an SVG drawing.
    width : int
        Modules across, with the quiet zone.
    """

    path: str
    width: int


@router.get("")
@needs(Permission.OWN)
def second_factor_page(request: Request) -> Response:
    """Show whether there is a second factor, and offer to set it up or take it off."""
    return _page(request)


@router.post("")
@needs(Permission.OWN)
def begin_second_factor(request: Request, password: Annotated[str, Form()] = "") -> Response:
    """Show a new secret for the app, as text and as a QR code."""
    person = _real(request)
    try:
        checked_person(request, person.name, password)
        secret = access_of(request).factors.begin(person)
    except BadInput as problem:
        return _page(request, said=problem, status=status_of(problem))
    return _page(request, secret=secret)


@router.post("/confirm")
@needs(Permission.OWN)
def confirm_second_factor(request: Request, code: Annotated[str, Form()] = "") -> Response:
    """Have the second factor count from now on, and show the recovery codes this once."""
    person, access, visit = _real(request), access_of(request), visit_of(request)
    try:
        here = visit.mark if visit else ""
        codes = access.factors.confirm(person, code, here=here)
    except BadInput as problem:
        secret = access.factors.begun(person)
        return _page(request, secret=secret, said=problem, status=422)
    return _page(request, codes=codes)


@router.post("/recovery")
@needs(Permission.OWN)
def new_recovery_codes(request: Request, password: Annotated[str, Form()] = "") -> Response:
    """Show new recovery codes this once; the old ones end."""
    person = _real(request)
    try:
        checked_person(request, person.name, password)
        codes = access_of(request).factors.new_recovery(person)
    except BadInput as problem:
        return _page(request, said=problem, status=status_of(problem))
    return _page(request, codes=codes)


@router.post("/off")
@needs(Permission.OWN)
def take_off_second_factor(request: Request, password: Annotated[str, Form()] = "") -> Response:
    """Take one's own second factor off, unless everybody is asked for one."""
    person, access = _real(request), access_of(request)
    try:
        checked_person(request, person.name, password)
        if access.factors.required_since() is not None:
            hint = "A new phone: whoever looks after accounts takes the old one off."
            raise BadInput("second factor", "asked of everybody here", "kept", hint=hint)
        access.factors.remove(person)
    except BadInput as problem:
        return _page(request, said=problem, status=status_of(problem))
    return RedirectResponse("/account?said=off", 303)


def _real(request: Request) -> Person:
    person = person_of(request)
    if person.demonstrator:
        raise BadInput("second factor", "the invented examiner", "a person with a password")
    return person


def _page(
    request: Request,
    *,
    secret: str = "",
    codes: Sequence[str] = (),
    said: BadInput | None = None,
    status: int = 200,
) -> Response:
    person, factors = person_of(request), access_of(request).factors
    context = {
        "person": person,
        "factor": factors.of(person),
        "required": factors.required_since() is not None,
        "secret": " ".join(secret[at : at + 4] for at in range(0, len(secret), 4)),
        "picture": _qr_code(factors.address(person, secret)) if secret else None,
        "codes": codes,
        "said": said,
    }
    return templates.TemplateResponse(request, "second_factor.html", context, status_code=status)


def _qr_code(address: str) -> QrCode:
    import segno

    rows = tuple(segno.make(address, error="m", micro=False).matrix_iter(border=QUIET))
    dark = (f"M{x} {y}h1v1h-1z" for y, row in enumerate(rows) for x, one in enumerate(row) if one)
    return QrCode("".join(dark), len(rows))
