"""A server of the bedside pages on this machine, and a browser that may talk to nothing else."""

import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit
from uuid import uuid4

import pytest
import uvicorn
from fastapi.testclient import TestClient

from decussate.web.app import create_app
from decussate.web.limits import SERVER_LIMITS
from signing_in import signed_in, signed_in_cookie

CHROMIUM = "/usr/bin/chromium"
SIZES = {"phone": (360, 780), "tablet": (820, 1180), "laptop": (1440, 900)}
PATIENCE_MS = 30_000  # a busy machine is slow, not wrong
OWN_PAGE = {"sec-fetch-site": "same-origin"}
FRAGMENT = {"hx-request": "true"}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let a browser test that fails try twice more: a busy machine can starve a real browser."""
    for item in items:
        if item.get_closest_marker("browser"):
            item.add_marker(pytest.mark.flaky(reruns=2, reruns_delay=1))


@pytest.fixture(scope="session")
def database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("web") / "examinations.db"


@pytest.fixture(scope="session")
def app(database: Path):
    return create_app(database, demo=True)


@pytest.fixture(scope="session")
def client(app) -> TestClient:
    """A browser in which the invented examiner is signed in."""
    client = TestClient(app, base_url="http://127.0.0.1:8000", headers=OWN_PAGE)
    client.cookies.set("signed-in", signed_in(app))
    return client


@pytest.fixture
def examination(client: TestClient) -> str:
    """A new examination of an invented patient."""
    identity = str(uuid4())
    form = {"examination": identity, "label": "Bed 9, invented", "invented": "yes"}
    answer = client.post("/examinations", data=form, follow_redirects=False)
    assert answer.status_code == 303
    return identity


@pytest.fixture
def enter(client: TestClient, examination: str):
    """Send one entry as the page does; returns the answer."""

    def send(where: str, token: str | None = None, **form: object):
        data = {"entry": token or str(uuid4())} | form
        return client.post(f"/examinations/{examination}/{where}", data=data, headers=FRAGMENT)

    return send


@pytest.fixture
def present(app, examination: str):
    """The findings that stand, as (test, side, response)."""

    def read() -> set[tuple[str, str | None, str]]:
        found = app.state.store.examination(examination).present()
        return {(f.test, f.side and f.side.value, f.response) for f in found}

    return read


@pytest.fixture(scope="session")
def address(app) -> Iterator[str]:
    """Where the pages are served, over a real socket."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = uvicorn.Server(
        uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", **SERVER_LIMITS)
    )
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    deadline = time.monotonic() + 120  # the first start on a machine compiles
    while not server.started:
        assert time.monotonic() < deadline, "the server did not start within two minutes"
        time.sleep(0.02)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="session")
def browser():
    """Headless Chromium of the system."""
    if not Path(CHROMIUM).exists():
        pytest.skip(f"NO BROWSER TEST WAS RUN: {CHROMIUM} is missing (Debian package chromium)")
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as driver:
        found = driver.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        yield found
        found.close()


@pytest.fixture
def open_page(browser, app, address) -> Iterator:
    """Open a page in a new browser; afterwards nothing may have gone elsewhere or gone wrong."""
    contexts = []
    asked: list[str] = []
    trouble: list[str] = []

    def open_(path: str = "/", size="laptop", scheme="light", as_examiner=True, **more):
        width, height = SIZES[size]
        context = browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            has_touch=size != "laptop",
            reduced_motion="reduce",
            **more,
        )
        contexts.append(context)
        if as_examiner:
            context.add_cookies([signed_in_cookie(app, address)])
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.on("request", lambda request: asked.append(request.url))
        page.on("pageerror", lambda error: trouble.append(str(error)))
        page.on(
            "console",
            lambda said: trouble.append(said.text) if said.type == "error" else None,
        )
        page.goto(address + path)
        return page

    open_.trouble = trouble
    yield open_
    for context in contexts:
        context.close()
    assert asked
    assert {urlsplit(url).hostname for url in asked} == {"127.0.0.1"}
    assert trouble == []
