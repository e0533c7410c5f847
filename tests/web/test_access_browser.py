"""Signing in, locking and pairing in a real browser; what waits to be sent outlives a lock.

Checked against WCAG 2.2 A and AA with axe-core, and target size against the 44 CSS pixels of WCAG
2.2, success criterion 2.5.5.
"""

import socket
import threading
import time
from collections.abc import Iterator
from uuid import uuid4

import pyotp
import pytest
import uvicorn
from playwright.sync_api import expect

from decussate.records.people import People
from decussate.records.roles import Role
from decussate.web.app import create_app
from signing_in import PASSWORD, a_person, an_owner, signed_in_cookie

pytestmark = pytest.mark.browser

SIZES = {"phone": (360, 780), "tablet": (820, 1180), "laptop": (1440, 900)}


class OwnServer:
    """A server of its own database, which a test can stop and start."""

    def __init__(self, folder) -> None:
        self.file = folder / "own.db"
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        self.app = create_app(self.file, demo=False)
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

    def entries(self, examination: str) -> list[tuple[str, str | None]]:
        history = self.app.state.store.history(examination)
        return [(f.response, s.entry.by) for s in history for f in s.entry.findings]


@pytest.fixture
def server(tmp_path) -> Iterator[OwnServer]:
    made = OwnServer(tmp_path)
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
    """Open a page on a new device, with somebody signed in or nobody."""
    contexts = []

    def open_(path: str, person=None, size: str = "laptop", **more):
        width, height = SIZES[size]
        context = browser.new_context(
            viewport={"width": width, "height": height}, reduced_motion="reduce", **more
        )
        contexts.append(context)
        if person:
            context.add_cookies([signed_in_cookie(server.app, server.address, person)])
        page = context.new_page()
        page.set_default_timeout(20000)
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


def lock_behind_the_page(server, person) -> None:
    """Lock every browser of a person on the server, as another window would."""
    access = server.app.state.access
    with access.store.database.writing() as connection:
        from sqlalchemy import update

        from decussate.records.tables import signed_in

        mine = signed_in.c.person == person.id
        connection.execute(update(signed_in).where(mine).values(locked=True))


def unlock(page) -> None:
    page.get_by_role("heading", name="Locked").wait_for()
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Unlock").click()


def arrived(server, examination, expected) -> None:
    deadline = time.monotonic() + 20
    while server.entries(examination) != expected:
        assert time.monotonic() < deadline, server.entries(examination)
        time.sleep(0.05)


def test_a_touch_on_a_page_that_was_locked_is_saved_once_after_unlocking(
    server, examination, device
):
    owner = an_owner(server.app)
    page = device(f"/examinations/{examination}", owner)
    page.locator("#group-hearing").wait_for()
    lock_behind_the_page(server, owner)
    touch(page, "weber", "record whole left")
    page.get_by_role("heading", name="Locked").wait_for()
    assert "Bed 5" not in page.content()
    page.get_by_text("1 entry waits on this device").wait_for()
    assert server.entries(examination) == []
    unlock(page)
    page.locator("#group-hearing").wait_for()
    assert page.url.startswith(f"{server.address}/examinations/{examination}")
    arrived(server, examination, [("left", owner.name)])
    page.locator("#waiting:empty").wait_for(state="attached")
    touch(page, "weber", "record whole right")
    arrived(server, examination, [("left", owner.name), ("right", owner.name)])


def test_what_waits_for_the_server_outlives_a_lock_and_keeps_its_order(server, examination, device):
    owner = an_owner(server.app)
    page = device(f"/examinations/{examination}", owner)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    server.stop()
    for count, code in enumerate(("left", "right", "normal"), start=1):
        touch(page, "weber", f"record whole {code}")
        page.get_by_text(f"{count} entr{'y waits' if count == 1 else 'ies wait'}").wait_for()
    server.start()
    lock_behind_the_page(server, owner)
    page.reload()
    page.get_by_role("heading", name="Locked").wait_for()
    assert server.entries(examination) == []
    unlock(page)
    arrived(server, examination, [(code, owner.name) for code in ("left", "right", "normal")])


def test_what_one_person_entered_is_never_sent_in_the_name_of_another(server, examination, device):
    owner = an_owner(server.app)
    other = a_person(server.app, Role.EXAMINER)
    page = device(f"/examinations/{examination}", owner)
    page.locator("#group-hearing").wait_for()
    lock_behind_the_page(server, owner)
    touch(page, "weber", "record whole left")
    page.get_by_role("heading", name="Locked").wait_for()
    page.get_by_role("button", name="Sign in as somebody else").click()
    page.get_by_label("Name").fill(other.name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="Patients").wait_for()
    page.get_by_text(f"1 entry waits on this device until {owner.name} is signed in").wait_for()
    page.goto(f"{server.address}/examinations/{examination}")
    touch(page, "weber", "record whole right")
    arrived(server, examination, [("right", other.name)])
    page.get_by_role("link", name="Your account").click()
    page.get_by_role("button", name="Sign out", exact=True).click()
    page.get_by_label("Name").fill(owner.name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    arrived(server, examination, [("right", other.name), ("left", owner.name)])


def test_a_page_nobody_touches_locks_by_itself_and_keeps_what_was_typed(
    server, examination, device
):
    owner = an_owner(server.app)
    page = device("/settings", owner)
    page.clock.install()
    page.goto(f"{server.address}/examinations/{examination}")
    page.locator("#shorthand summary").first.click()
    page.locator("#shorthand-text").fill("R ptosis partial")
    page.clock.run_for(4 * 60_000)
    assert page.locator("#shorthand-text").input_value() == "R ptosis partial"
    page.clock.run_for(62_000)
    page.get_by_role("heading", name="Locked").wait_for()
    assert "Bed 5" not in page.content()
    unlock(page)
    expect(page.locator("#shorthand-text")).to_have_value("R ptosis partial")


def test_the_first_start_in_a_browser(server, device):
    page = device("/")
    page.get_by_role("heading", name="First start").wait_for()
    page.get_by_label("Your name").fill("Olga Example")
    field = page.get_by_label("Password", exact=True)
    field.fill("an invented word")
    page.get_by_role("button", name="Show").click()
    assert field.get_attribute("type") == "text"
    page.get_by_role("button", name="Show").click()
    assert field.get_attribute("type") == "password"
    page.get_by_role("button", name="Make the owner").click()
    page.get_by_role("heading", name="Patients").wait_for()
    assert People(server.app.state.store).has_owner()


def test_a_second_device_is_paired_by_a_code_and_shows_what_the_examiner_chooses(
    server, examination, device
):
    owner = an_owner(server.app)
    examiner = device(f"/examinations/{examination}/screen", owner)
    examiner.get_by_role("button", name="Code for a second device").click()
    code = examiner.locator("#pairing code").inner_text()
    patient = device("/patient", size="tablet")
    patient.get_by_label("Code").fill(code.upper())
    patient.get_by_role("button", name="Show the patient’s screen").click()
    patient.locator("#stage").wait_for()
    assert "Bed 5" not in patient.content()
    examiner.locator("button[data-view='red']").click()
    patient.locator("#stage svg, #stage [class*='red'], #stage *").first.wait_for()
    patient.goto(server.address + "/")
    patient.get_by_role("heading", name="Sign in").wait_for()


@pytest.mark.parametrize(
    ("size", "scheme"),
    [("phone", "light"), ("tablet", "light"), ("laptop", "dark")],  # dark differs in colours alone
)
def test_pages_of_people_fit_every_hand_and_eye(server, examination, device, size, scheme):
    from axe_playwright_python.sync_playwright import Axe

    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    options = {"resultTypes": ["violations"], "runOnly": {"type": "tag", "values": tags}}
    wrong = []

    def look(page, where: str) -> None:
        page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
        wrong.extend(
            f"{where}: {v['id']}: {node['html'][:120]}"
            for v in Axe().run(page, options=options).response["violations"]
            for node in v["nodes"]
        )
        small = page.evaluate(
            """() => [...document.querySelectorAll('button, summary, .links a, .me a, .action,'
                 + ' select, input:not([type="hidden"], [type="radio"])')]
               .filter(e => e.checkVisibility()).map(e => [e, e.getBoundingClientRect()])
               .filter(([e, box]) => box.width && (box.width < 43.5 || box.height < 43.5))
               .map(([e, box]) => e.outerHTML.slice(0, 90) + ` ${box.width}x${box.height}`)"""
        )
        wrong.extend(f"{where}: small: {one}" for one in small)
        if not page.evaluate("document.documentElement.scrollWidth <= innerWidth"):
            wrong.append(f"{where}: runs off the screen")

    # The policy of the pages forbids the checker's own script; it is lifted for the checker alone.
    more = {"size": size, "color_scheme": scheme, "bypass_csp": True}
    page = device("/", **more)
    look(page, "first start")
    page.get_by_label("Your name").fill("Olga Example")
    page.get_by_label("Password", exact=True).fill("passwordpassword")
    page.get_by_role("button", name="Make the owner").click()
    page.get_by_role("alert").wait_for()
    look(page, "first start, password easy to guess")
    owner = an_owner(server.app)
    a_person(server.app, Role.READER)
    page = device("/sign-in", **more)
    look(page, "sign in")
    page.goto(server.address + "/patient")
    look(page, "code")
    page = device("/account", owner, **more)
    look(page, "account")
    for path in ("/people", "/trail", "/away", "/account/tokens"):
        page.goto(server.address + path)
        look(page, path)
    for name in ("   ", "ward list"):
        page.get_by_label("What it is for").fill(name)
        page.get_by_role("button", name="Make a read token").click()
        page.get_by_text("Copy it now" if name.strip() else "expected").wait_for()
        look(page, f"token for {name!r}")
        page.goto(server.address + "/account/tokens")
    page.get_by_role("button", name="End “ward list”").wait_for()
    look(page, "a token in use")
    page.goto(f"{server.address}/examinations/{examination}/screen")
    page.get_by_role("button", name="Code for a second device").click()
    page.locator("#pairing code").wait_for()
    look(page, "pairing")
    page.goto(server.address + "/account/second-factor")
    look(page, "second factor, none")
    page.get_by_label("Password").first.fill(PASSWORD)
    page.get_by_role("button", name="Set it up").click()
    secret = page.locator(".once code").inner_text().replace(" ", "")
    look(page, "second factor, its secret")
    page.get_by_label("Six digits").fill(pyotp.TOTP(secret).now())
    page.get_by_role("button", name="Use it from now on").click()
    page.locator(".recovery").wait_for()
    look(page, "recovery codes")
    page.goto(server.address + "/account/second-factor")
    look(page, "second factor, set up")
    other = device("/sign-in", **more)
    other.get_by_label("Name").fill(owner.name)
    other.get_by_label("Password").fill(PASSWORD)
    other.get_by_role("button", name="Sign in").click()
    other.get_by_role("heading", name="The code").wait_for()
    look(other, "code after the password")
    server.app.state.access.factors.remove(owner)
    page.goto(server.address + "/people")
    page.locator("#new-name").fill(f"New {uuid4().hex[:6]}")
    page.get_by_label("reader:").check()
    page.get_by_role("button", name="Make the account").click()
    page.locator(".given").wait_for()
    look(page, "given password")
    lock_behind_the_page(server, owner)
    page.goto(server.address + "/people")
    look(page, "locked")
    person, given = server.app.state.access.people.add("Nora Example", Role.READER)
    page = device("/sign-in", **more)
    page.get_by_label("Name").fill(person.name)
    page.get_by_label("Password").fill(given)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="Choose a password").wait_for()
    look(page, "own password")
    assert not wrong, "\n".join(wrong)
