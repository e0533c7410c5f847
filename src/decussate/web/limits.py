"""How much and for how long a request may ask for attention: size, depth, number, time.

Everything a request can make grow has a bound here, so that one browser, broken or malicious, can
neither fill the memory nor keep the server from the others. The figures are our judgement.

References
----------
OWASP Denial of Service Cheat Sheet; OWASP API Security Top 10 2023, API4 (unrestricted resource
consumption).
"""

from __future__ import annotations

import asyncio
import json
from typing import Any

import h11
from fastapi import Request
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from decussate.errors import BadInput

__all__ = [
    "BODY_SECONDS",
    "DEEPEST_JSON",
    "HEAD_SECONDS",
    "SERVER_LIMITS",
    "BodyInTime",
    "HeadInTime",
    "json_object",
]

HEAD_SECONDS = 20.0
"""From the first byte of a request, or from the connection, to the end of its head."""
BODY_SECONDS = 60.0
"""For the body, so that a photograph gets through over a poor network."""
DEEPEST_JSON = 20
LARGEST_HEAD = 32 * 1024
CONNECTIONS = 500
"""Connections at once; each further one is told that the server is busy."""


class HeadInTime(H11Protocol):
    """A connection that is closed when the head of a request does not arrive in time."""

    _waiting: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first request."""
        super().connection_made(transport)
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Go on waiting while the head is not complete."""
        super().data_received(data)
        if self.conn.their_state is not h11.IDLE:
            self._stop_waiting()
        elif self._waiting is None:
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop waiting."""
        self._stop_waiting()
        super().connection_lost(exc)

    def _wait(self) -> None:
        self._waiting = self.loop.call_later(HEAD_SECONDS, self.transport.close)

    def _stop_waiting(self) -> None:
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None


SERVER_LIMITS: dict[str, Any] = {
    "http": HeadInTime,
    "ws": "none",
    "h11_max_incomplete_event_size": LARGEST_HEAD,
    "limit_concurrency": CONNECTIONS,
    "timeout_keep_alive": 15,
}
"""What the server is told, as uvicorn names it."""


class BodyInTime:
    """Middleware that takes in the body of a request before anything is done with it.

    What does not arrive in time is answered with 408 and dropped. How large it may be is decided
    before (`decussate.web.security`), by the length that the server holds the sender to.

    Parameters
    ----------
    app : ASGIApp
        The application behind it.
    seconds : float
        For the whole body.
    """

    def __init__(self, app: ASGIApp, seconds: float = BODY_SECONDS) -> None:
        self._app = app
        self._seconds = seconds

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        try:
            async with asyncio.timeout(self._seconds):
                whole = await _whole(receive)
        except TimeoutError:
            late = PlainTextResponse(
                "The request did not arrive in time. Nothing was saved; send it again.",
                408,
                {"Connection": "close"},
            )
            await late(scope, receive, send)
            return
        given = False

        async def receive_again() -> Message:
            nonlocal given
            if given:
                return await receive()
            given = True
            return whole

        await self._app(scope, receive_again, send)


async def _whole(receive: Receive) -> Message:
    """Return the messages of a body as one; what comes instead of one is handed on."""
    parts = []
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return message
        parts.append(message.get("body", b""))
        if not message.get("more_body", False):
            return {"type": "http.request", "body": b"".join(parts), "more_body": False}


async def json_object(request: Request, field: str) -> dict[str, Any]:
    """Read the body of a request as a JSON object that is not nested too deep.

    Parameters
    ----------
    request : Request
    field : str
        What it is, for the error.

    Returns
    -------
    dict

    Raises
    ------
    BadInput
        If it is anything else.
    """
    try:
        read = json.loads(await request.body(), parse_constant=_no_constant)
    except (ValueError, RecursionError):
        read = None
    if not isinstance(read, dict):
        raise BadInput(field, "something else", "a JSON object", hint="Reload the page.")
    if _depth(read) > DEEPEST_JSON:
        raise BadInput(field, "deeper nesting", f"at most {DEEPEST_JSON} levels")
    return read


def _no_constant(word: str) -> float:
    raise ValueError(word)  # NaN and Infinity are no JSON (RFC 8259, section 6)


def _depth(value: object) -> int:
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return 1 + max((_depth(one) for one in inner), default=0)
