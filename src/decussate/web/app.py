"""The bedside pages: one web application over a store of examinations."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from pathlib import Path

from fastapi import Depends, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import Response
from starlette.staticfiles import StaticFiles

from decussate.errors import BadInput
from decussate.records import NotSaved, Store
from decussate.records.demo import load_demo
from decussate.records.people import People
from decussate.records.scanning import Scanner
from decussate.web import (
    access_pages,
    access_patient,
    access_second_factor,
    api,
    api_tokens,
    attachments,
    audiogram_entry,
    comparison_page,
    entering,
    field_outline_entry,
    letter_pages,
    note_pages,
    pages,
    patient_screen,
    people,
    shell,
    timers,
    where,
)
from decussate.web.access import Access, NotAdmitted, gate
from decussate.web.access_pages import answer_not_admitted
from decussate.web.access_rate import TooManyRequests
from decussate.web.bedside import load_parts
from decussate.web.limits import BodyInTime
from decussate.web.pictures import load_pictures
from decussate.web.ready import make_ready
from decussate.web.rendering import STATIC, problem_response
from decussate.web.security import OwnPagesOnly

__all__ = ["LOCAL_HOSTS", "create_app"]

LOCAL_HOSTS = ("127.0.0.1", "localhost", "::1")
"""Names under which a program on this machine is addressed."""


def create_app(
    database: Path | str,
    demo: bool,
    *,
    hosts: Sequence[str] = LOCAL_HOSTS,
    tls: bool = False,
    scanner: Scanner | None = None,
) -> FastAPI:
    """Make the web application.

    Parameters
    ----------
    database : Path or str
        File that holds the examinations; made if it is not there.
    demo : bool
        Add the invented patients that are not in the file yet. What was entered for them before is
        kept. While nobody owns the database and the program is addressed on this machine alone, the
        invented examiner can be signed in with one touch.
    hosts : sequence of str
        Names under which the server may be addressed.
    tls : bool
        Whether the pages are served encrypted.
    scanner : Scanner, optional
        What looks for malware in files that are attached.

    Returns
    -------
    FastAPI
        The application; nothing outside this machine is ever addressed.

    Raises
    ------
    BadInput
        If the file cannot be used.
    """
    load_parts()  # a fault in the data must stop the start, not an examination
    load_pictures()
    store = Store(database)
    accounts = People(store)
    demonstration = demo and set(hosts) <= set(LOCAL_HOSTS) and not accounts.has_owner()
    if demo:
        load_demo(store)
    if demonstration:
        accounts.demonstrator()

    @asynccontextmanager
    async def ready_to_closed(_: FastAPI) -> AsyncIterator[None]:
        make_ready()
        yield
        store.close()

    app = FastAPI(
        title="Decussate",
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=ready_to_closed,
        dependencies=[Depends(gate)],
    )
    app.state.store = store
    app.state.scanner = scanner
    app.state.access = Access(store, demonstration=demonstration, tls=tls)
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    app.add_middleware(BodyInTime)
    app.add_middleware(OwnPagesOnly, hosts=hosts, tls=tls, refused=_foreign(app))
    app.mount("/static", StaticFiles(directory=STATIC))
    app.include_router(access_pages.router)
    app.include_router(access_second_factor.router)
    app.include_router(access_patient.router)
    app.include_router(people.router)
    app.include_router(pages.router)
    app.include_router(note_pages.router)
    app.include_router(letter_pages.router)
    app.include_router(comparison_page.router)
    app.include_router(entering.router)
    app.include_router(audiogram_entry.router)
    app.include_router(field_outline_entry.router)
    app.include_router(attachments.router)
    app.include_router(shell.router)
    app.include_router(where.router)
    app.include_router(patient_screen.router)
    app.include_router(timers.router)
    app.include_router(api_tokens.router)
    app.include_router(api.router)
    app.add_exception_handler(NotAdmitted, answer_not_admitted)
    app.add_exception_handler(BadInput, _bad_input)
    app.add_exception_handler(NotSaved, _not_saved)
    app.add_exception_handler(RequestValidationError, _bad_form)
    app.add_exception_handler(ValidationError, _bad_value)
    app.add_exception_handler(TooManyRequests, _too_many)
    app.add_exception_handler(HTTPException, _bad_request)
    return app


def _foreign(app: FastAPI) -> Callable[[str, str, str], None]:
    """Put into the trail what did not come from the program's own pages."""

    def note(reason: str, asked: str, address: str) -> None:
        app.state.access.refusals.note(reason, asked, address)

    return note


async def _bad_input(request: Request, error: Exception) -> Response:
    assert isinstance(error, BadInput)  # noqa: S101  (registered for this class only)
    missing = error.field in ("examination", "source", "test page", "attachment")
    return problem_response(request, error, 404 if missing else 422)


async def _not_saved(request: Request, error: Exception) -> Response:
    assert isinstance(error, NotSaved)  # noqa: S101
    if error.uncertain:
        problem = BadInput(
            "saving",
            error.reason,
            "a connection to the database that holds",
            hint="It is sent again by itself; sent twice, it is recorded once. The history tells.",
        )
        answer = problem_response(request, problem, 507, recorded="It may or may not be saved.")
    else:
        problem = BadInput(
            "saving",
            error.reason,
            "a database that can be written",
            hint="Make room on the disk or mend its permissions, then touch it again.",
        )
        answer = problem_response(request, problem, 507)
    answer.headers["Recorded"] = "uncertain" if error.uncertain else "no"
    return answer


async def _bad_form(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # noqa: S101
    first = error.errors()[0]
    field = str(first["loc"][-1])
    problem = BadInput(field, first.get("input"), str(first["msg"]).lower())
    return problem_response(request, problem, 422)


async def _bad_value(request: Request, error: Exception) -> Response:
    """Answer what the record cannot hold: a comment beyond its length, a value that is none."""
    assert isinstance(error, ValidationError)  # noqa: S101
    first = error.errors(include_url=False)[0]
    field = str(first["loc"][0]) if first["loc"] else "entry"
    return problem_response(request, BadInput(field, first["input"], first["msg"].lower()), 422)


async def _too_many(request: Request, error: Exception) -> Response:
    assert isinstance(error, TooManyRequests)  # noqa: S101
    who = "you" if error.kind == "person" else "this network address"
    problem = BadInput(
        "requests",
        f"very many from {who} in this minute",
        f"the next in {error.wait_s} s",
        hint="Entries wait on this device and are sent again by themselves.",
    )
    answer = problem_response(request, problem, 429, recorded="Not answered yet.")
    answer.headers["Retry-After"] = str(error.wait_s)
    return answer


async def _bad_request(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101
    problem = BadInput("page", request.url.path, "an address of this program")
    return problem_response(request, problem, error.status_code)
