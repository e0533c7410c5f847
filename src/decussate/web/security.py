"""What every request must satisfy, and what every answer forbids the browser to do.

A state-changing request is accepted only from the program's own pages. The browser says where a
request comes from in ``Sec-Fetch-Site``, or failing that in ``Origin``; neither can be set by a
foreign page. This needs no token in every form, so fragments and plain forms are protected alike.
Pages may load nothing but this server's own files: no inline script or style, and no other host.
What goes wrong is logged by its place and kind alone, without the words of the fault.

References
----------
OWASP Cross-Site Request Forgery Prevention Cheat Sheet, "Fetch Metadata headers".
W3C, Content Security Policy Level 3; Fetch Metadata Request Headers.
"""

from __future__ import annotations

import logging
import re
import traceback
from collections.abc import Callable, Sequence
from urllib.parse import SplitResult, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from decussate.records.attachments import LARGEST

__all__ = ["LARGEST_BODY", "LARGEST_WITH_FILE", "SAFE_METHODS", "OwnPagesOnly"]

_log = logging.getLogger(__name__)

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

METHODS = SAFE_METHODS | {"POST", "PUT", "PATCH", "DELETE"}
"""Every method that is looked at; TRACE, which would send a request back, is not."""

LARGEST_BODY = 256 * 1024
"""Bytes accepted in one request: some 2 000 lines of shorthand (judgement)."""

LARGEST_WITH_FILE = LARGEST + 16 * 1024
"""Bytes accepted where a file is attached: the file, and the form around it."""

TAKES_FILES = re.compile(r"/examinations/[^/]+/attachments")

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; worker-src 'self'; manifest-src 'self'; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


ENCRYPTED_FOR_A_YEAR = {"Strict-Transport-Security": "max-age=31536000; includeSubDomains"}
"""Told with TLS: the browser then never asks this host, or one under it, unencrypted (RFC 6797)."""


ATTEMPTS = {403: "another site", 421: "another name"}
"""Refusals of which somebody should know, by their status."""


class OwnPagesOnly:
    """Middleware that refuses foreign or oversized requests and sets the security headers.

    Parameters
    ----------
    app : ASGIApp
        The application behind it.
    hosts : sequence of str
        Names under which this server may be addressed, without port. A page that points its own
        name at this machine is refused.
    tls : bool
        Whether the pages are served encrypted.
    refused : callable, optional
        Takes note of a request that tried to get round: reason, what was asked, where from.
    """

    def __init__(
        self,
        app: ASGIApp,
        hosts: Sequence[str],
        *,
        tls: bool,
        refused: Callable[[str, str, str], None] | None = None,
    ) -> None:
        self._app = app
        self._refused = refused
        self._hosts = frozenset(hosts)
        self._headers = HEADERS | (ENCRYPTED_FOR_A_YEAR if tls else {})

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        started = False

        async def send_with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                headers = MutableHeaders(scope=message)
                headers.update(self._headers)
                if not scope["path"].startswith("/static/"):
                    headers["Cache-Control"] = "no-store"
            await send(message)

        refusal = self._refusal(scope["method"], scope["path"], Headers(scope=scope))
        answer = self._app if refusal is None else refusal
        try:
            await self._note(scope, refusal)
            await answer(scope, receive, send_with_headers)
        except Exception as fault:
            if not isinstance(fault, ClientDisconnect):
                _log.error("%s at\n%s", type(fault).__name__, _places(fault))
            if not started:
                apology = PlainTextResponse("The server failed; it says why in its log.", 500)
                await apology(scope, receive, send_with_headers)

    async def _note(self, scope: Scope, refusal: PlainTextResponse | None) -> None:
        reason = ATTEMPTS.get(refusal.status_code) if refusal is not None else None
        if self._refused is None or reason is None:
            return
        address = scope["client"][0] if scope.get("client") else "unknown"
        asked = f"{scope['method']} {scope['path']}"
        await run_in_threadpool(self._refused, reason, asked, address)

    def _refusal(self, method: str, path: str, headers: Headers) -> PlainTextResponse | None:
        host = headers.get("host", "")
        if _parts_of(f"//{host}").hostname not in self._hosts:
            return PlainTextResponse("This server is not addressed by that name.", 421)
        if method not in METHODS:
            allowed = {"Allow": ", ".join(sorted(METHODS))}
            return PlainTextResponse("Refused: no such method.", 405, allowed)
        if method in SAFE_METHODS:
            return None
        if not _from_own_page(headers, host):
            return PlainTextResponse("Refused: the request did not come from this program.", 403)
        length = headers.get("content-length", "")
        if not length.isdigit():
            return PlainTextResponse("Refused: the request does not say how long it is.", 411)
        takes_file = TAKES_FILES.fullmatch(path) is not None
        largest = LARGEST_WITH_FILE if takes_file else LARGEST_BODY
        if int(length) > largest:
            hint = "Make the file smaller." if takes_file else "Send long shorthand in parts."
            return PlainTextResponse(
                f"Refused: {int(length)} bytes sent, at most {largest} accepted. Nothing was"
                f" saved. {hint}",
                413,
            )
        return None


def _places(fault: BaseException) -> str:
    """Return where a fault came about, and not its words: they may be a patient's."""
    return "".join(
        f"  {place.filename}:{place.lineno} in {place.name}\n"
        for place in traceback.extract_tb(fault.__traceback__)
    )


def _from_own_page(headers: Headers, host: str) -> bool:
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site == "same-origin"
    origin = headers.get("origin")
    return origin is not None and _parts_of(origin).netloc == host


def _parts_of(address: str) -> SplitResult:
    """Return the parts of an address; none of one that is no address."""
    try:
        return urlsplit(address)
    except ValueError:
        return urlsplit("")
