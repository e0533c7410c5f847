"""The bedside page in a browser: few touches, results at once, nothing lost, nothing doubled."""

import re
from itertools import count

import pytest
from hands import Touch, saved, until

from decussate.web.bedside import load_parts
from decussate.web.view import entry_words, sides_of

pytestmark = pytest.mark.browser

PARTS = load_parts()
BEDS = count(300)  # a name that is on the list already is asked about


def begin(page) -> str:
    page.goto(re.sub(r"(//[^/]+).*", r"\1/new", page.url))
    page.locator("[name=label]").fill(f"Bed {next(BEDS)}, invented")
    page.get_by_label("Invented patient").check()
    page.get_by_role("button", name="Begin the examination").click()
    page.wait_for_url("**/examinations/*")
    return page.url.rsplit("/", 1)[1]


def standing(app, examination: str) -> set[tuple[str, str | None, str]]:
    found = app.state.store.examination(examination).present()
    return {(f.test, f.side and f.side.value, f.response) for f in found}


def test_a_full_normal_examination_takes_one_touch_a_part(open_page, app):
    page = open_page(size="phone")
    examination = begin(page)
    touches = 0
    while (button := page.locator(".sweep button")).count():
        button.first.tap()
        touches += 1
        until(page, f"document.querySelectorAll('.sweep button').length === {len(PARTS) - touches}")
    assert touches == len(PARTS) <= 90
    assert standing(app, examination) == {
        (test.id, side and side.value, "normal")
        for part in PARTS
        for test in part.routine
        for side in sides_of(test)
    }


def test_double_vision_on_the_short_path_takes_at_most_30_touches(open_page, app):
    # Drooping lid, eye turned out, large unreactive pupil, pain in eye and head, and weakness of
    # adduction, elevation and depression of one eye: third nerve (Brazis, Masdeu, Biller:
    # Localization in Clinical Neurology, 2011).
    page = open_page(size="phone")
    begin(page)
    finger = Touch(page)
    tap = finger.tap
    tap(".paths > summary")
    tap(".paths button[value='double_vision']")  # lays the page out anew
    page.get_by_text("Double vision first").wait_for()
    tap("#test-pupil_comparison .choice[value='record whole left']")
    tap("#test-ask_double_vision .choice.ill")
    graded = {
        "upper_lid_position": "partial",
        "eye_position": "out",
        "cover_uncover": "out",
        "light_direct": "absent",
        "gaze_in": "reduced",
        "gaze_up": "reduced",
        "gaze_down": "reduced",
    }
    for test, response in graded.items():
        tap(f"#test-{test} .cell.left .scale > summary")
        tap(f"#test-{test} .cell.left .choice[value$=' {response}']")
    tap("#test-ask_eye_pain .cell.left .choice.ill")
    tap("#test-ask_headache .choice.ill")
    places = []
    while left := page.locator(".sweep button").count():
        tap(".sweep button >> nth=0")
        until(page, f"document.querySelectorAll('.sweep button').length < {left}")
        places.append(page.locator(".dock .where small").inner_text())
    assert finger.touches <= 30
    assert len(set(places[-3:])) == 1, places
    assert re.search("left third nerve", places[-1], re.IGNORECASE), places


def test_results_follow_every_entry_and_undo_at_once(open_page, app):
    page = open_page()
    examination = begin(page)
    before = page.locator("#conclusion").inner_text()
    page.locator("#group-face > details > summary").click()
    page.locator("#test-raise_brows .cell.left .scale > summary").click()
    page.locator("#test-raise_brows .cell.left .choice[value$=' absent']").click()
    page.locator("#test-raise_brows .cell.left.abnormal").wait_for()
    assert "raise the eyebrows" in page.locator("#conclusion").inner_text().lower()
    assert "patient’s left" in page.locator(".dock .last").inner_text()
    page.locator(".dock form button").click()
    page.locator("#test-raise_brows .cell.left.untested").wait_for()
    assert standing(app, examination) == set()
    assert page.locator("#conclusion").inner_text() == before
    assert len(app.state.store.history(examination)) == 2


def test_what_cannot_wait_stays_on_the_screen(open_page, app):
    page = open_page(size="phone")
    head = next(h for h in app.state.store.examinations() if "Penhallow" in h.label)
    page.goto(page.url + f"examinations/{head.id}")
    strip = page.locator("#alerts .alert > summary")
    assert "Cannot wait" in strip.inner_text()
    assert "patient’s left" in strip.text_content()
    page.locator("#group-tongue").scroll_into_view_if_needed()
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    box = strip.bounding_box()
    assert 0 <= box["y"] < 5
    assert box["height"] < 160  # of 780: the tests must still have room
    strip.tap()
    assert "A licensed clinician decides" in page.locator("#alerts").inner_text()


def test_a_next_test_opens_where_it_is_to_be_done(open_page):
    page = open_page()
    begin(page)
    link = page.locator(".next-tests a").first
    test = link.get_attribute("href").split("#test-")[1]
    link.click()
    until(page, f"document.activeElement.closest('.test')?.id === 'test-{test}'")
    assert page.locator(f"#test-{test}").is_visible()
    # A test that is not among the usual ones is fetched first.
    page.evaluate("location.hash = '#test-tongue_power'")
    until(page, "document.activeElement.closest('.test')?.id === 'test-tongue_power'")


def test_reloading_loses_nothing_and_a_double_touch_is_one_entry(open_page, app):
    page = open_page(size="phone")
    examination = begin(page)
    page.locator("#group-tongue > details > summary").tap()
    button = page.locator("#test-tongue_protrusion .choice[value='record whole right']")
    button.dblclick()
    page.locator("#test-tongue_protrusion .cell.abnormal").wait_for()
    saved(page)
    assert len(app.state.store.history(examination)) == 1
    page.reload()
    assert "1 abnormal" in page.locator("#count-tongue").inner_text()
    assert (
        page.locator(
            "#test-tongue_protrusion .choice[value='record whole right'][aria-pressed='true']"
        ).count()
        == 1
    )


def test_quick_touches_are_all_kept_in_their_order(open_page, app):
    page = open_page()
    examination = begin(page)
    page.locator("#group-trigeminal > details > summary").click()
    page.evaluate(
        "document.querySelectorAll('#group-trigeminal .cell .choice.well')"
        ".forEach(button => button.click())"
    )
    until(page, "document.querySelectorAll('#group-trigeminal .cell.untested').length === 0")
    saved(page)
    entries = [s.entry for s in app.state.store.history(examination)]
    assert len(entries) == len({e.id for e in entries}) == 15
    assert "Light touch, forehead" in entry_words(entries[0])
    assert len(standing(app, examination)) == 15


def test_bad_input_is_said_on_the_page_and_the_typing_is_kept(open_page, app):
    page = open_page()
    examination = begin(page)
    page.locator("#group-look > details > summary").click()
    cell = page.locator("#test-upper_lid_position .cell.right")
    cell.locator(".scale > summary").click()
    cell.get_by_label("Measured (mm)").fill("40")
    cell.get_by_label("Measured (mm)").press("Enter")
    page.get_by_text("Nothing was recorded").wait_for()
    assert "40" in page.locator("#message").inner_text()
    assert page.locator("#message .problem").is_visible()
    assert cell.get_by_label("Measured (mm)").input_value() == "40"
    assert cell.get_by_label("Measured (mm)").is_visible()
    assert standing(app, examination) == set()
    open_page.trouble.clear()  # the browser logs the refusal (422)


def test_without_its_script_the_page_works_by_plain_forms(open_page, app):
    page = open_page(java_script_enabled=False)
    examination = begin(page)
    page.locator("#group-tongue > details > summary").click()
    page.locator("#test-tongue_protrusion .choice[value='record whole left']").click()
    assert standing(app, examination) == {("tongue_protrusion", None, "left")}
    page.locator("#group-tongue .sweep button").click()
    assert len(standing(app, examination)) == 6
    page.locator(".dock form button").click()
    assert standing(app, examination) == {("tongue_protrusion", None, "left")}
    page.get_by_role("link", name=re.compile("Note")).first.click()
    assert "tongue" in page.locator("#note-text").inner_text().lower()


def test_the_note_is_copied_with_one_touch(open_page, app, address):
    page = open_page(permissions=["clipboard-read", "clipboard-write"])
    head = next(h for h in app.state.store.examinations() if "Wren" in h.label)
    page.goto(f"{address}/examinations/{head.id}/note")
    page.get_by_role("button", name="Copy").click()
    page.get_by_text("Copied.").wait_for()
    copied = page.evaluate("navigator.clipboard.readText()")
    assert copied == page.locator("#note-text").text_content()
