"""Eight published cases entered wholly by touch, wholly by keys and in shorthand: one record.

Each case is a file of tests/published/cases, which carries its citation; the kinds are chosen to
use every part of the page. What the pages cannot express is the free text beside a finding.
"""

from __future__ import annotations

import socket
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import urlopen
from uuid import uuid4

import pytest
from hands import Keys, Touch, in_page_order, saved

from decussate.examination.record import Examination, read_examination
from decussate.examination.shorthand_writer import write_shorthand
from decussate.localisation import localise
from decussate.web.app import create_app
from signing_in import signed_in_cookie

pytestmark = pytest.mark.browser

FOLDER = Path(__file__).parents[1] / "published" / "cases"
CASES = {
    # Obiudu et al., Niger Med J 2009;50:68: aneurysm of the posterior communicating artery.
    "B03": "third nerve",
    # Thitiwichienlert et al., Ramathibodi Med J 2026, 10.33165/rmj.2026.e273522: apoplexy.
    "B25": "chiasm and both third nerves",
    # Case Western Reserve University, neuroscience syllabus: posterior inferior cerebellar artery.
    "C29": "lateral medulla with Horner's signs",
    # Case abstract on incudostapedial joints, discovery.researcher.life, 22074488.
    "B82": "facial palsy and conductive loss after an injury",
    # Horizontal canal positional vertigo, case report reproduced at entokey.com.
    "C04": "positional vertigo in attacks",
    # BMC Musculoskelet Disord 2020, 10.1186/s12891-020-03737-w: power measured on the MRC scale.
    "B61": "accessory nerve, measured",
    # Kakou et al., Open J Mod Neurosurg 2017;7:142, 10.4236/ojmn.2017.74015: trigeminal schwannoma.
    "C36": "cavernous sinus",
    # Umapathy et al., Kauvery Hospital: internuclear ophthalmoplegia, with an old hemiparesis.
    "A67": "internuclear ophthalmoplegia, old weakness set aside",
}


def case(name: str) -> Examination:
    return read_examination(FOLDER / f"{name}.json")


def told(examination: Examination) -> dict[str, object]:
    """Give what a record says, but for the free text and the order of entry."""
    return {
        "findings": {(f.test, f.side, f.response, f.measurement) for f in examination.present()},
        "story": examination.story,
        "old": set(examination.known_old),
        "unread": examination.unread,
    }


def where(examination: Examination) -> dict[tuple[str, object], float]:
    return {(c.place, c.side): c.probability for c in localise(examination).candidates}


@pytest.fixture
def begun(app):
    """Begin an examination of an invented patient."""

    def begin() -> str:
        store = app.state.store
        patient = store.add_patient("Bed 11, invented", invented=True)
        store.begin(patient, examination=(identity := str(uuid4())))
        return identity

    return begin


@pytest.mark.parametrize("name", CASES, ids=CASES.get)
def test_three_ways_of_entry_give_the_record_and_the_localisation_of_the_case(
    open_page, app, begun, name, record_property
):
    published = case(name)
    by_touch, by_keys, by_shorthand = begun(), begun(), begun()

    finger = Touch(open_page(f"/examinations/{by_touch}", size="phone"))
    finger.enter(published)
    record_property("touches", finger.touches)

    keys = Keys(open_page(f"/examinations/{by_keys}"))
    keys.enter(published)
    record_property("keys", keys.presses)

    page = open_page(f"/examinations/{by_shorthand}")
    page.locator("#shorthand > details > summary").click()
    page.locator("#shorthand-text").fill(write_shorthand(published))
    page.get_by_role("button", name="Read and record").click()
    page.get_by_text("all understood").wait_for()
    saved(page)

    print(f"{name} ({CASES[name]}): {finger.touches} touches, {keys.presses} keys")
    expected = where(published)
    shown = set()
    for identity, its_page in zip(
        (by_touch, by_keys, by_shorthand), (finger.page, keys.page, page), strict=True
    ):
        entered = app.state.store.examination(identity)
        assert told(entered) == told(published)
        assert where(entered) == pytest.approx(expected, abs=1e-12)
        shown.add(its_page.locator(".places").text_content())
    assert len(shown) == 1


@pytest.fixture
def served(tmp_path):
    """Serve a database of its own in a process that can be killed and started again."""
    database = tmp_path / "killed.db"
    app = create_app(database, demo=False)  # lays out the database, signs in, reads the record
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = ["serve", "--database", str(database), "--port", str(port)]
    running: list[subprocess.Popen] = []

    def start() -> subprocess.Popen:
        code = f"from decussate.cli import main; main({command})"
        running.append(subprocess.Popen([sys.executable, "-c", code]))
        deadline = time.monotonic() + 120
        while True:
            with suppress(OSError), urlopen(f"http://127.0.0.1:{port}/health"):
                return running[-1]
            assert time.monotonic() < deadline, "the server did not start within two minutes"
            time.sleep(0.05)

    yield app, f"http://127.0.0.1:{port}", start
    for process in running:
        process.kill()
        process.wait()


def test_a_server_killed_half_way_through_a_case_loses_and_doubles_nothing(browser, served):
    published = case("C36")
    app, address, start = served
    store = app.state.store
    identity = str(uuid4())
    patient = store.add_patient("Bed 12, invented", invented=True)
    store.begin(patient, examination=identity)
    server = start()
    context = browser.new_context(viewport={"width": 360, "height": 780}, has_touch=True)
    context.add_cookies([signed_in_cookie(app, address)])
    page = context.new_page()
    page.set_default_timeout(30_000)
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{address}/examinations/{identity}")
    finger = Touch(page)
    finger.story(published.story)
    tests = list(in_page_order(published))
    for test, (found, *_) in tests[: len(tests) // 2]:
        finger.to_test(test)
        finger.record(found, old=False)
    server.kill()  # at once after the touch: the last entry may be under way
    server.wait()
    for test, (found, *_) in tests[len(tests) // 2 :]:
        finger.to_test(test)
        finger.record(found, old=False)
    page.locator("#waiting").get_by_text("on this device").wait_for()
    start()
    page.locator("#waiting:empty").wait_for(state="attached")
    assert told(store.examination(identity)) == told(published)
    entries = [stored.entry for stored in store.history(identity)]
    assert sum(len(entry.findings) for entry in entries) == len(published.findings)
    assert {urlsplit(url).hostname for url in asked} == {"127.0.0.1"}
    context.close()


def test_usual_reasons_need_no_typing(open_page, app, begun):
    identity = begun()
    finger = Touch(open_page(f"/examinations/{identity}", size="phone"))
    finger.to_test("pin_forehead")
    cell = "#test-pin_forehead .cell.left"
    finger.opened(f"{cell} .scale")
    finger.tap(f"{cell} [name^='reason']")
    finger.tap("#keypad [data-words='too drowsy']")
    finger.page.locator(f"{cell}.hindered").wait_for()
    (found,) = app.state.store.examination(identity).findings
    assert (found.response, found.reason) == ("could_not_be_tested", "too drowsy")
    assert not finger.page.locator("#keypad").is_visible()


def test_a_number_touched_in_can_be_mended_and_its_refusal_is_said(open_page, app, begun):
    identity = begun()
    finger = Touch(open_page(f"/examinations/{identity}", size="tablet"))
    page = finger.page
    finger.opened("#story > details")
    finger.tap("#age")
    for key in ("1", "9", "⌫", "3", "0"):
        finger.tap(f"#keypad [data-digit='{key}']")
    finger.tap("#keypad .done")
    page.get_by_text("years from 0 to 120").wait_for()
    assert page.locator("#age").input_value() == "130"
    assert app.state.store.history(identity) == ()
    finger.digits("#age", "30")  # the first key takes the place of what stood there
    page.locator("#story-said").get_by_text("30 years").wait_for()
    page.locator("#age").tap()
    page.locator("#keypad .letters").tap()
    assert not page.locator("#keypad").is_visible()
    assert page.evaluate("document.activeElement.id") == "age"
    open_page.trouble.clear()  # the browser logs the refusal (422)
