"""How heavy and how soon ready the pages are, and how long from a touch to the new localisation.

Usage: ``.venv/bin/python benchmarks/page_in_browser.py``. Targets on two free cores: 200 kB and one
second for the first page of an examination on a telephone; 100 ms from touch to localisation.
"""

from __future__ import annotations

import os
import socket
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import uvicorn
from playwright.sync_api import Browser, Page, StorageState, sync_playwright

from decussate.web import create_app

CHROMIUM = "/usr/bin/chromium"
PHONE = {"width": 360, "height": 780}
VISITS = 5
TOUCHES = 20

WEIGHT = """() => {
  const [page] = performance.getEntriesByType("navigation");
  const files = performance.getEntriesByType("resource");
  const bytes = page.transferSize + files.reduce((sum, file) => sum + file.transferSize, 0);
  return { kB: bytes / 1000, ready: page.domContentLoadedEventEnd };
}"""
# From the finger that is lifted to the first picture of the screen after the answer was put in.
WATCH = """() => {
  const live = () => document.getElementById("live").dataset.seen;
  const before = live();
  window.shown = new Promise(done => document.addEventListener("pointerup", () => {
    const start = performance.now();
    const look = () => {
      if (live() === before) requestAnimationFrame(look);
      else requestAnimationFrame(() => done(performance.now() - start));
    };
    look();
  }, { once: true, capture: true }));
}"""


@contextmanager
def served(app: object) -> Iterator[str]:
    """Serve the application on a free port."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(10)


def weigh(browser: Browser, signed_in: StorageState, address: str) -> None:
    """Print the weight and the time of a page for a browser that has nothing of it yet."""
    seen = []
    for _ in range(VISITS):
        context = browser.new_context(viewport=PHONE, has_touch=True, storage_state=signed_in)
        page = context.new_page()
        page.goto(address)
        seen.append(page.evaluate(WEIGHT))
        context.close()
    heaviest = max(one["kB"] for one in seen)
    ready = statistics.median(one["ready"] for one in seen)
    print(f"{heaviest:6.0f} kB {ready:6.0f} ms until ready (median of {VISITS})")


def touch(page: Page, number: int) -> float:
    """Return how many ms a touch with a finger takes until the page shows what follows from it."""
    cell = page.locator(f"#test-close_eyes .cell.{('right', 'left')[number % 2]}")
    cell.locator("details.scale").first.evaluate("scale => { scale.open = true }")
    response = cell.locator(".choice[data-key]").nth(1 + (number >> 1) % 2)
    page.evaluate(WATCH)
    response.tap()
    return float(page.evaluate("window.shown"))


def main() -> None:
    """Print weight, time until ready, and time from touch to localisation for each patient."""
    print(f"load average {os.getloadavg()[0]:.1f} (above 2, processes wait for each other)")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        app = create_app(Path(folder) / "demo.db", demo=True)
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        with served(app) as address:
            page = browser.new_context(viewport=PHONE, has_touch=True).new_page()
            page.set_default_timeout(60_000)
            page.goto(address)
            page.locator("form[action='/demonstration'] button").click()
            for head in app.state.store.examinations():
                print(head.label)
                place = f"{address}/examinations/{head.id}"
                weigh(browser, page.context.storage_state(), place)
                page.goto(place)
                page.locator("#group-face > details > summary").tap()
                spent = [touch(page, n) for n in range(TOUCHES)]
                median = statistics.median(spent)
                print(f"{median:10.0f} ms median {max(spent):6.0f} ms slowest from touch to page")
        browser.close()


if __name__ == "__main__":
    main()
