"""Entries outlive the server, the page and the browser: nothing is lost, doubled or reordered.

The server is really stopped and started again, on the same port and the same database.
"""

import json
import os
import signal
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
import uvicorn

from decussate.web.app import create_app
from decussate.web.shell import SHELL_FILES
from signing_in import signed_in_cookie

pytestmark = pytest.mark.browser

CHROMIUM = "/usr/bin/chromium"
SIZE = {"width": 1000, "height": 900}
PATIENCE_MS = 30_000  # a busy machine is slow, not wrong


class OwnServer:
    """A server that a test can stop and start."""

    def __init__(self, database: Path) -> None:
        self.database = database
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"
        self.server = None
        self.start()

    def start(self) -> None:
        self.app = create_app(self.database, demo=False)
        config = uvicorn.Config(self.app, host="127.0.0.1", port=self.port, log_level="error")
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        deadline = time.monotonic() + 120  # the first start on a machine compiles
        while not self.server.started:
            assert time.monotonic() < deadline, "the server did not start within two minutes"
            time.sleep(0.02)

    def stop(self) -> None:
        self.server.force_exit = self.server.should_exit = True
        self.thread.join(10)
        assert not self.thread.is_alive()

    def entries(self, examination: str) -> list[tuple[str, str]]:
        history = self.app.state.store.history(examination)
        return [(f.test, f.response) for s in history for f in s.entry.findings]


@pytest.fixture
def server(tmp_path) -> Iterator[OwnServer]:
    made = OwnServer(tmp_path / "own.db")
    yield made
    made.stop()


@pytest.fixture
def examination(server) -> str:
    identity = str(uuid4())
    store = server.app.state.store
    store.begin(store.add_patient("Bed 5, invented", invented=True), examination=identity)
    return identity


@pytest.fixture
def device(browser, server) -> Iterator:
    """Open the examination on a new device."""
    contexts = []

    def open_(path: str):
        context = browser.new_context(viewport=SIZE, reduced_motion="reduce")
        contexts.append(context)
        context.add_cookies([signed_in_cookie(server.app, server.address)])
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.goto(server.address + path)
        return page

    yield open_
    for context in contexts:
        context.close()


def touch(page, test: str, choice: str) -> None:
    button = page.locator(f"#test-{test} .choice[value='{choice}']")
    button.evaluate(
        "b => { for (let d = b; d; d = d.parentElement) if ('open' in d) d.open = true; }"
    )
    button.click()


def says(page, words: str) -> None:
    page.locator("#waiting").get_by_text(words).wait_for()


def send(page) -> None:
    page.locator("#waiting").get_by_role("button", name="Send now").click()


def emptied(page) -> None:
    page.locator("#waiting:empty").wait_for(state="attached")


def arrived(server, examination, expected) -> None:
    deadline = time.monotonic() + 30
    while server.entries(examination) != expected:
        assert time.monotonic() < deadline, server.entries(examination)
        time.sleep(0.05)


EVERYTHING_KEPT = """() => new Promise((done, failed) => {
    const asked = indexedDB.open("decussate-outbox");
    asked.onerror = failed;
    asked.onsuccess = () => {
        const rows = asked.result.transaction("entries").objectStore("entries").getAll();
        rows.onsuccess = () => done(rows.result.map((row) => Object.fromEntries(
            Object.entries(row).filter(([, value]) => value !== undefined))));
    };
})"""
SEALED = ["iv", "number", "person", "personName", "sealed"]
"""What a browser keeps of an entry that waits: whose it is, and the rest sealed (ASVS V14.3.3)."""

IN_ORDER = [("weber", "left"), ("weber", "right"), ("weber", "normal")]


def test_entries_wait_while_the_server_is_down_survive_reload_and_are_sent_once(
    server, examination, device
):
    page = device(f"/examinations/{examination}")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    server.stop()
    for count, (test, code) in enumerate(IN_ORDER, start=1):
        touch(page, test, f"record whole {code}")
        says(page, f"{count} entr{'y waits' if count == 1 else 'ies wait'} on this device")
    rows = page.evaluate(EVERYTHING_KEPT)
    assert [sorted(row) for row in rows] == [SEALED] * 3  # nobody reads there what was found
    page.reload()
    # The page of the patient is not kept; what waits is.
    page.get_by_role("heading", name="The server cannot be reached").wait_for()
    says(page, "3 entries wait on this device")
    assert "Bed 5" not in page.content()
    server.start()
    page.locator("#group-hearing").wait_for()
    arrived(server, examination, IN_ORDER)
    emptied(page)
    kept = page.evaluate(
        "caches.keys().then(names => Promise.all(names.map(name => caches.open(name)"
        ".then(cache => cache.keys())))).then(all => all.flat().map(r => new URL(r.url).pathname))"
    )
    assert set(kept) == {f"/static/{name}" for name in SHELL_FILES} | {"/away"}


def test_the_further_tests_of_a_part_never_opened_open_without_the_server(
    server, examination, device
):
    page = device(f"/examinations/{examination}")
    assert page.locator("#test-tongue_power").count() == 0
    page.locator(".further[data-from]").first.wait_for(state="detached")
    server.stop()
    page.locator("#group-tongue > details > summary").click()
    page.locator("#group-tongue .further > summary").click()
    cell = page.locator("#test-tongue_power .cell.left")
    cell.locator(".scale > summary").click()
    cell.locator(".choice[value='record left reduced']").click()
    says(page, "1 entry waits on this device")
    server.start()
    arrived(server, examination, [("tongue_power", "reduced")])
    page.locator("#test-tongue_power .cell.left.abnormal").wait_for()


def test_undo_takes_back_what_waits_and_not_an_entry_of_before(server, examination, device):
    page = device(f"/examinations/{examination}")
    touch(page, "weber", "record whole left")
    page.locator("#test-weber .cell.abnormal").wait_for()
    server.stop()
    touch(page, "weber", "record whole right")
    says(page, "1 entry waits")
    assert "Waiting" in page.locator(".dock .last").inner_text()
    page.locator(".dock form button").click()
    emptied(page)
    server.start()
    touch(page, "rinne", "record left normal")
    page.locator("#test-rinne .cell.left.normal").wait_for()
    assert server.entries(examination) == [("weber", "left"), ("rinne", "normal")]


def test_a_crash_of_the_browser_loses_nothing(browser, server, examination, tmp_path):
    profile = tmp_path / "profile"

    def launch():
        context = browser.browser_type.launch_persistent_context(
            profile,
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-gpu"],
            viewport=SIZE,
            reduced_motion="reduce",
        )
        context.add_cookies([signed_in_cookie(server.app, server.address)])
        context.pages[0].set_default_timeout(PATIENCE_MS)
        return context.pages[0]

    page = launch()
    page.goto(f"{server.address}/examinations/{examination}")
    server.stop()
    for count, (test, code) in enumerate(IN_ORDER, start=1):
        touch(page, test, f"record whole {code}")
        says(page, f"{count} entr{'y waits' if count == 1 else 'ies wait'}")
    for process in Path("/proc").glob("[0-9]*"):
        try:
            if str(profile) in (process / "cmdline").read_text():
                os.kill(int(process.name), signal.SIGKILL)
        except OSError:
            continue  # gone already
    server.start()
    page = launch()
    page.goto(f"{server.address}/examinations/{examination}")
    emptied(page)
    arrived(server, examination, IN_ORDER)
    page.context.close()


def test_quick_touches_as_the_server_goes_keep_their_order(server, examination, device):
    page = device(f"/examinations/{examination}")
    touch(page, "weber", "record whole left")
    page.locator("#test-weber .cell.abnormal").wait_for()
    server.stop()
    page.evaluate(
        """codes => codes.forEach(code => document.querySelector(
             `#test-weber .choice[value='record whole ${code}']`).click())""",
        ["right", "normal", "left"],
    )
    says(page, "3 entries wait")
    server.start()
    send(page)
    emptied(page)
    expected = [("weber", code) for code in ("left", "right", "normal", "left")]
    assert server.entries(examination) == expected
    page.locator("#test-weber .choice[value='record whole left'][aria-pressed='true']").wait_for()


def test_what_the_server_refuses_later_is_said_and_kept_until_removed(server, examination, device):
    page = device(f"/examinations/{examination}")
    server.stop()
    touch(page, "upper_lid_position", "record right normal")
    says(page, "1 entry waits")
    page.evaluate(
        """async () => { const [entry] = await waiting();
             entry.body = entry.body.replace("normal", "sideways");
             await kept("readwrite", entries => entries.put(entry)); }"""
    )
    server.start()
    send(page)
    says(page, "Not taken: Normal")
    assert "sideways" in page.locator("#waiting").inner_text()
    page.locator("#waiting").get_by_role("button", name="Remove").click()
    emptied(page)
    assert server.entries(examination) == []


def test_another_device_is_seen_without_reload_and_nothing_is_lost(server, examination, device):
    first = device(f"/examinations/{examination}")
    second = device(f"/examinations/{examination}")
    touch(first, "weber", "record whole left")
    touch(second, "rinne", "record right present")
    touch(first, "light_direct", "record left absent")
    for page in (first, second):
        page.locator("#test-weber .cell.abnormal").wait_for(state="attached")
        page.locator("#test-rinne .cell.right.abnormal").wait_for(state="attached")
        page.locator("#test-light_direct .cell.left.abnormal").wait_for(state="attached")

    def panels() -> set[str]:
        shown = (page.locator(".place, .chance").all_text_contents() for page in (first, second))
        return {"\n".join(words) for words in shown}

    deadline = time.monotonic() + 30
    while len(panels()) != 1:
        assert time.monotonic() < deadline, "the two devices do not agree"
        first.wait_for_timeout(100)
    assert len(server.entries(examination)) == 3


def test_the_app_can_be_installed(server, device):
    page = device("/")
    address = page.locator("link[rel=manifest]").get_attribute("href")
    manifest = json.loads(page.request.get(server.address + address).text())
    # W3C Web Application Manifest: what a browser needs to offer installation.
    assert manifest["name"]
    assert manifest["start_url"] == manifest["scope"] == "/"
    assert manifest["display"] == "standalone"
    assert {"192x192", "512x512"} <= {icon["sizes"] for icon in manifest["icons"]}
    for icon in manifest["icons"]:
        assert page.request.get(server.address + icon["src"]).ok
    assert page.evaluate("navigator.serviceWorker.ready.then(found => found.scope)").endswith("/")
