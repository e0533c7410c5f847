"""Take the pictures of docs/screenshots from the program itself, with its invented patients.

Usage: ``.venv/bin/python tools/screenshots.py``. Needs Chromium at /usr/bin/chromium.
"""

from __future__ import annotations

import socket
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright

from decussate.web import create_app

FOLDER = Path(__file__).parent.parent / "docs" / "screenshots"
SIZES = {360: 780, 820: 1180, 1440: 900}
PATIENT = "Tobias Wren"


@contextmanager
def served() -> Iterator[str]:
    """Serve the demo on a free port, from a database that is thrown away."""
    with tempfile.TemporaryDirectory() as folder, socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
        free.close()
        app = create_app(Path(folder) / "demo.db", demo=True)
        server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="error"))
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.05)
        yield f"http://127.0.0.1:{port}"
        server.should_exit = True
        thread.join()


def take(page: Page, name: str) -> None:
    """Save what is on the screen."""
    page.wait_for_timeout(300)
    # One taken while something fades in is faded itself, and a place being redrawn stands pale.
    page.locator(".htmx-request, .stale").first.wait_for(state="detached")
    page.evaluate("Promise.all(document.getAnimations().map(one => one.finished.catch(() => 0)))")
    page.screenshot(path=FOLDER / f"{name}.png")
    print(f"docs/screenshots/{name}.png")


def tour(browser: Browser, address: str, width: int, scheme: str) -> None:
    """Go through the pages at one width, light or dark."""
    context = browser.new_context(
        viewport={"width": width, "height": SIZES[width]},
        color_scheme="dark" if scheme == "dark" else "light",
        reduced_motion="reduce",
    )
    page = context.new_page()
    page.goto(address)
    page.get_by_role("button", name="Begin as the invented examiner").click()
    page.get_by_role("listitem").filter(has_text=PATIENT).locator("a.open").first.click()
    page.locator("#where-pictures figure").first.wait_for(state="attached", timeout=60_000)
    page.locator("#group-trigeminal > details > summary").click()
    page.evaluate("document.getElementById('group-trigeminal').scrollIntoView()")
    take(page, f"examine-{width}-{scheme}")
    for part in ("fields", "movements"):
        page.locator(f"#group-{part} > details > summary").click()
        page.locator(f"#group-{part} .spot").nth(2).press("Enter")
        page.evaluate(f"document.getElementById('group-{part}').scrollIntoView()")
        take(page, f"{part}-{width}-{scheme}")
        page.locator(f"#group-{part} > details > summary").click()
    page.wait_for_timeout(1500)  # the pictures of places are drawn once entries pause
    if width == 360:
        page.locator(".dock .where").click()
        take(page, f"where-{width}-{scheme}")
    if scheme == "light":
        examination = page.url.split("#")[0].split("?")[0]
        for name, place in (
            ("note", f"{examination}/note"),
            ("explore", f"{address}/explore?place=medulla_lateral&side=left"),
            ("settings", f"{address}/settings"),
        ):
            page.goto(place)
            take(page, f"{name}-{width}-{scheme}")
    context.close()


def main() -> None:
    """Take every picture."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    with served() as address, sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        for width in SIZES:
            for scheme in ("light", "dark"):
                tour(browser, address, width, scheme)
        browser.close()


if __name__ == "__main__":
    main()
