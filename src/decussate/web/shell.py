"""What makes the pages an app that can be installed: manifest, service worker, and the page shown
while the server is away.

The service worker keeps the program's own files and that page, nothing else: no page of a patient
and no answer of the server is ever stored by it.
"""

from __future__ import annotations

import hashlib

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from decussate.records.roles import Permission
from decussate.web.access import needs
from decussate.web.rendering import ROOM, static, templates

__all__ = ["SHELL_FILES", "router"]

router = APIRouter()

SHELL_FILES = (
    "app.css",
    "access.css",
    "icon.svg",
    "icon-192.png",
    "icon-512.png",
    "bedside.js",
    "keys.js",
    "keypad.js",
    "outbox.js",
    "pictures.js",
    "audiogram.js",
    "field_outline.js",
    "where.js",
    "drafts.js",
    "further.js",
    "access.js",
    "vendor/htmx-4.0.1.min.js",
)
"""Files of the static folder that the service worker keeps."""

AWAY = "/away"
PARTS_OF_AWAY = ("base.html", "_account_bar.html", "away.html")


@router.get("/manifest.webmanifest")
@needs(Permission.OPEN)
def manifest() -> Response:
    """Describe the app to the browser that installs it (W3C Web Application Manifest)."""
    icons = [
        {"src": static("icon.svg"), "sizes": "any", "type": "image/svg+xml"},
        {"src": static("icon-192.png"), "sizes": "192x192", "type": "image/png"},
        {"src": static("icon-512.png"), "sizes": "512x512", "type": "image/png"},
    ]
    return JSONResponse(
        {
            "name": "Decussate",
            "short_name": "Decussate",
            "description": "Cranial nerve examination at the bedside",
            "id": "/",
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "background_color": "#eef1f3",
            "theme_color": "#0b4f5c",
            "lang": "en-GB",
            "icons": icons,
        },
        media_type="application/manifest+json",
    )


@router.get("/service-worker.js")
@needs(Permission.OPEN)
def service_worker() -> Response:
    """Give the service worker; its text changes whenever a file it keeps does."""
    shell = [static(name) for name in SHELL_FILES]
    page = "".join((ROOM / "templates" / name).read_text() for name in PARTS_OF_AWAY)
    version = hashlib.sha256("".join([*shell, page]).encode()).hexdigest()[:12]
    text = templates.get_template("service-worker.js").render(
        {"shell": [*shell, AWAY], "away": AWAY, "version": version}
    )
    return Response(text, media_type="text/javascript")


@router.get(AWAY)
@needs(Permission.OPEN)
def away_page(request: Request) -> Response:
    """Give the page that stands in while the server cannot be reached."""
    return templates.TemplateResponse(request, "away.html", {})
