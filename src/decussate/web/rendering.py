"""Templates, the words they share, and the answer to bad input."""

from __future__ import annotations

import hashlib
import re
from datetime import datetime
from functools import cache
from pathlib import Path
from uuid import uuid4

from fastapi import Request
from jinja2 import StrictUndefined
from starlette.responses import HTMLResponse, Response
from starlette.templating import Jinja2Templates

from decussate.bibliography import load_sources
from decussate.documents.note import made_with
from decussate.errors import BadInput
from decussate.urgency import Alert
from decussate.web.bedside import common_reasons
from decussate.web.device import device_in_words
from decussate.web.settings import settings_of
from decussate.web.view import side_words

__all__ = ["ROOM", "STATIC", "is_fragment", "problem_response", "slug", "templates"]

ROOM = Path(__file__).parent
STATIC = ROOM / "static"

templates = Jinja2Templates(directory=ROOM / "templates")


def is_fragment(request: Request) -> bool:
    """Whether the page asks for parts of itself and not for a whole page."""
    return request.headers.get("hx-request") == "true"


def problem_response(
    request: Request,
    problem: BadInput,
    status: int,
    *,
    recorded: str = "Nothing was recorded.",
) -> Response:
    """Answer bad input: what was found, what was expected, and that nothing was recorded.

    Parameters
    ----------
    request : Request
        The request.
    problem : BadInput
        What is wrong.
    status : int
        HTTP status.
    recorded : str
        What became of what was sent.

    Returns
    -------
    Response
        A fragment for the page's message line, or a whole page.
    """
    shown = str(problem.found)
    context = {
        "recorded": recorded,
        "title": "That could not be used" if status != 404 else "Not found",
        "problem": {
            "where": problem.where,
            "field": problem.field,
            "found": shown if len(shown) <= 200 else shown[:200] + "…",
            "expected": problem.expected,
            "hint": problem.hint,
        },
        "back": "/",
        "closable": is_fragment(request),
    }
    if is_fragment(request):
        body = templates.get_template("_problem.html").render(context)
        return HTMLResponse(
            f'<hx-partial hx-target="#message" hx-swap="innerHTML">{body}</hx-partial>', status
        )
    parts = request.url.path.split("/")
    if len(parts) > 3 and parts[1] == "examinations":
        context["back"] = f"/examinations/{parts[2]}"
    return templates.TemplateResponse(request, "problem.html", context, status_code=status)


def slug(key: str) -> str:
    """Return a source key as the anchor it has on the page of sources."""
    return re.sub(r"[^a-z0-9]+", "-", key.lower())


def cite(key: str) -> str:
    """Return a source in a few words, or the word for an unsourced value."""
    source = load_sources().get(key)
    if source is None:
        return key
    author = str(source.get("author", "")).split(",")[0] or str(source.get("title", key))
    return f"{author}, {source.get('issued', 'no date')}"


def alert_sides(alert: Alert) -> str:
    """Return the sides an alert concerns, in words after a comma; empty when it has none."""
    return "".join(f", {side_words(side)}" for side in alert.sides)


def local(moment: datetime, form: str) -> str:
    """Return a moment in this machine's time."""
    return moment.astimezone().strftime(form)


@cache
def static(name: str) -> str:
    """Return the address of a static file; it changes when the file does."""
    mark = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:10]
    return f"/static/{name}?{mark}"


def token() -> str:
    """Return a new identity for the entry that a form will make."""
    return str(uuid4())


templates.env.undefined = StrictUndefined
templates.env.trim_blocks = True
templates.env.lstrip_blocks = True
templates.env.filters.update(
    device=device_in_words,
    side_words=side_words,
    slug=slug,
    cite=cite,
    local=local,
    sides=alert_sides,
)
templates.env.globals.update(
    static=static,
    token=token,
    invented="",
    display=settings_of,
    common_reasons=common_reasons,
    made_with=made_with,
)
