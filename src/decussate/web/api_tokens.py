"""Read tokens on a person's own account page: made, shown once, listed, ended."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from decussate.records.read_tokens import GOOD_FOR, MOST, ReadTokens
from decussate.records.roles import Permission
from decussate.web.access import access_of, needs, person_of
from decussate.web.rendering import templates

__all__ = ["router"]

router = APIRouter(prefix="/account/tokens")


@router.get("")
@needs(Permission.OWN)
def tokens_page(request: Request) -> Response:
    """List a person's read tokens."""
    return _page(request, "")


@router.post("")
@needs(Permission.OWN)
def make_token(request: Request, name: Annotated[str, Form()] = "") -> Response:
    """Make a read token, and show it this once."""
    return _page(request, _tokens(request).make(person_of(request), name))


@router.post("/end")
@needs(Permission.OWN)
def end_token(request: Request, number: Annotated[str, Form()]) -> Response:
    """End a read token of one's own."""
    _tokens(request).end(person_of(request), number)
    return RedirectResponse("/account/tokens", 303)


def _tokens(request: Request) -> ReadTokens:
    return access_of(request).tokens


def _page(request: Request, new: str) -> Response:
    context = {
        "tokens": _tokens(request).of(person_of(request)),
        "new": new,
        "most": MOST,
        "days": GOOD_FOR.days,
    }
    return templates.TemplateResponse(request, "read_tokens.html", context)
