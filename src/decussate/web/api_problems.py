"""Errors of the read interface as problem details, with what was found and what was expected.

References
----------
RFC 9457, Problem Details for HTTP APIs; RFC 9110, section 15.5 (client errors).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Coroutine, Mapping
from http import HTTPStatus
from typing import Any

from fastapi import Request
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from decussate.errors import BadInput

__all__ = ["PROBLEMS", "PROBLEM_TYPE", "Problem", "ProblemRoute", "problem_details"]

PROBLEM_TYPE = "application/problem+json"
LONGEST_SHOWN = 200
"""Characters of a rejected value that are sent back."""


class Problem(BaseModel):
    """What is wrong with a request (RFC 9457), in the words the pages use."""

    type: str = Field("about:blank", description="`about:blank`: the title says what it is.")
    title: str = Field(description="The HTTP status in words.")
    status: int = Field(description="The HTTP status code.")
    detail: str = Field(description="The problem in one or two plain sentences.")
    instance: str = Field(description="The address that was asked for.")
    field: str = Field(description="What was being read.")
    found: str | None = Field(description="What was given.")
    expected: str = Field(description="What would have been accepted.")
    hint: str = Field("", description="The usual slip and its remedy; may be empty.")
    where: str = Field("", description="Position of the problem; may be empty.")


PROBLEMS: dict[int | str, dict[str, Any]] = {
    status: {
        "description": words,
        "content": {PROBLEM_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
    for status, words in (
        (401, "Nobody is signed in, or the token is not valid"),
        (403, "This account may not read that"),
        (404, "There is no such thing"),
        (422, "Something in the request cannot be used"),
    )
}
"""Answers that any address of the interface can give, for its description."""


def problem_details(
    request: Request, problem: BadInput, status: int, headers: Mapping[str, str] | None = None
) -> Response:
    """Answer a problem as RFC 9457 has it.

    Parameters
    ----------
    request : Request
        The request.
    problem : BadInput
        What is wrong.
    status : int
        HTTP status.
    headers : mapping, optional
        More headers, such as ``Allow``.

    Returns
    -------
    Response
        ``application/problem+json``.
    """
    body = Problem(
        title=HTTPStatus(status).phrase,
        status=status,
        detail=problem.sentence,
        instance=request.url.path,
        field=problem.field,
        found=None if problem.found is None else _shown(problem.found),
        expected=problem.expected,
        hint=problem.hint,
        where=problem.where,
    )
    return JSONResponse(
        body.model_dump(), status, media_type=PROBLEM_TYPE, headers=dict(headers or {})
    )


class ProblemRoute(APIRoute):
    """A route whose errors are problem details and not a page."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Return the handler with the errors of its request turned into answers."""
        answer = super().get_route_handler()

        async def answer_or_problem(request: Request) -> Response:
            try:
                return await answer(request)
            except BadInput as problem:
                # An identity that is not there is a missing page, wherever it was met.
                missing = problem.found in request.path_params.values()
                return problem_details(request, problem, 404 if missing else 422)
            except RequestValidationError as wrong:
                first = wrong.errors()[0]
                field = str(first["loc"][-1])
                expected = str(first["msg"]).removeprefix("Input should be ").lower()
                return problem_details(request, BadInput(field, first.get("input"), expected), 422)
            except HTTPException as refused:
                refusal = BadInput("request", request.url.path, str(refused.detail).lower())
                headers = dict(refused.headers or {})
                if refused.status_code == 401:
                    headers["WWW-Authenticate"] = 'Bearer realm="decussate"'
                return problem_details(request, refusal, refused.status_code, headers)

        return answer_or_problem


def _shown(found: object) -> str:
    if isinstance(found, float) and not math.isfinite(found):
        return repr(found)
    text = str(found).encode("utf-8", "backslashreplace").decode("utf-8")
    return text if len(text) <= LONGEST_SHOWN else text[:LONGEST_SHOWN] + "…"
