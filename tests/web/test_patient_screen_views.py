"""The two views of the patient's screen in a browser: in step, alone, by touch and by keys.

Accessibility is checked with axe-core against WCAG 2.2 A and AA; target size against the 44 CSS
pixels of WCAG 2.2, success criterion 2.5.5.
"""

import re

import pytest

from patient_screen_pages import READ, calibrate, patients_page, send, state, until

pytestmark = pytest.mark.browser


def test_nothing_is_drawn_to_size_before_the_screen_is_measured(open_page, client, examination):
    page = patients_page(open_page, examination)
    send(client, examination, "state", {"view": "chart", "distance_m": 3.0})
    page.locator(".note", has_text="Measure this screen with a card first").wait_for()
    calibrate(page, 5.0)
    page.locator(".optotype").first.wait_for()
    send(client, examination, "state", {"row": 13})
    page.locator(".note", has_text="too large").wait_for()
    send(client, examination, "state", {"row": -3, "distance_m": 0.5})
    page.locator(".note", has_text="too fine").wait_for()


def test_the_examiner_directs_marks_and_records_by_keys(open_page, app, examination):
    patient = patients_page(open_page, examination)
    calibrate(patient, 5.0)
    page = open_page(f"/examinations/{examination}/screen")
    page.get_by_role("button", name="Chart", exact=True).press("Enter")
    page.get_by_role("button", name="3 metres").press("Enter")
    patient.locator(".optotype").nth(4).wait_for(state="attached")
    copy = page.locator("#stage .optotype")
    until(lambda: copy.count() == 5)

    def drawn(view):
        uses = view.locator("#stage .optotype")
        return [uses.nth(n).get_attribute("transform") for n in range(uses.count())]

    # The examiner's copy is the patient's picture, line for line.
    assert drawn(page) == drawn(patient)
    row = page.locator("#row-name")
    started = row.inner_text()
    page.locator("#all-read").focus()
    page.keyboard.press("a")
    until(lambda: row.inner_text() != started)
    before = row.inner_text()
    for key in ("1", "2", "2", "d"):  # the second letter: read, then corrected to not read
        page.keyboard.press(key)
    until(lambda: row.inner_text() != before)
    assert page.locator("#marked li").nth(1).inner_text().endswith("1 of 5")
    until(lambda: drawn(page) == drawn(patient))
    start = float(re.search(r"[\d.]+", started)[0])
    # It can be recorded once the server has scored the last letter.
    page.locator("#record-right:enabled").press("Enter")
    page.locator("#recorded-acuity", has_text="Distance acuity").wait_for()
    (found,) = app.state.store.examination(examination).findings
    assert found.measurement.value == f"logMAR {start - 0.02:.2f}"


def test_one_letter_at_a_time_moves_on_as_it_is_marked(open_page, client, examination):
    patient = patients_page(open_page, examination)
    calibrate(patient, 5.0)
    page = open_page(f"/examinations/{examination}/screen")
    page.get_by_role("button", name="Chart", exact=True).click()
    page.get_by_role("button", name="2 metres").click()
    page.get_by_label("One at a time").check()
    until(lambda: patient.locator(".optotype").count() == 1)
    for n in range(5):
        page.locator("#letters button").nth(n).click()
    until(lambda: state(client, examination)["shown"]["marks"]["right"]["rows"] == {"6": "11111"})
    assert state(client, examination)["shown"]["marks"]["right"]["single"] is True


def test_words_follow_the_language_and_say_that_nobody_reviewed_them(
    open_page, client, examination
):
    patient = patients_page(open_page, examination)
    page = open_page(f"/examinations/{examination}/screen")
    page.get_by_role("button", name="Words and picture").click()
    page.get_by_label("Patient’s language").select_option("ar")
    page.get_by_label("Test", exact=True).select_option("tongue_protrusion")
    say = patient.locator(".say[dir=rtl][lang=ar]")
    say.wait_for()
    patient.locator(".review[lang=ar]").wait_for()
    patient.locator("use[href='#picture-tongue_out']").wait_for(state="attached")
    assert "not yet reviewed by a native speaker" in page.locator("#review").inner_text()
    # Large print, on a screen 1440 by 900.
    size = patient.evaluate("parseFloat(getComputedStyle(document.querySelector('.say')).fontSize)")
    assert size >= 60
    page.get_by_label("Or your own words").fill("Your daughter is here <b>now</b>")
    patient.get_by_text("Your daughter is here <b>now</b>").wait_for()
    assert patient.locator(".picture").count() == 0


def test_each_view_goes_on_alone_and_both_meet_again(open_page, client, examination):
    patient = patients_page(open_page, examination)
    calibrate(patient, 5.0)
    send(client, examination, "state", {"view": "chart", "distance_m": 3.0, "row": 4})
    patient.locator(".optotype").first.wait_for()
    patient.context.set_offline(True)
    patient.locator("#trouble", has_text="goes on alone").wait_for()
    first = patient.locator(".optotype").first.get_attribute("transform")
    patient.locator("#stage").press("ArrowDown")
    assert patient.locator(".optotype").first.get_attribute("transform") != first
    patient.locator("#stage").press("4")
    patient.locator(".mark").first.wait_for()
    patient.context.set_offline(False)
    until(lambda: state(client, examination)["shown"]["view"] == "fixation")
    assert state(client, examination)["shown"]["row"] == 3
    send(client, examination, "state", {"marks": {"right": READ}})
    until(lambda: patient.evaluate("'right' in link.state.shown.marks"))
    open_page.trouble[:] = [t for t in open_page.trouble if "ERR_INTERNET_DISCONNECTED" not in t]


AXE = {
    "resultTypes": ["violations"],
    "runOnly": {
        "type": "tag",
        "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    },
}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_either_view(open_page, client, examination, scheme):
    from axe_playwright_python.sync_playwright import Axe

    axe = Axe()
    patient = patients_page(open_page, examination, scheme=scheme, bypass_csp=True)
    page = open_page(f"/examinations/{examination}/screen", scheme=scheme, bypass_csp=True)
    calibrate(patient, 5.0)
    wrong = []

    def check(where):
        for name, view in (("patient", patient), ("examiner", page)):
            found = axe.run(view, options=AXE).response["violations"]
            wrong.extend(
                f"{where}, {name}: {v['id']}: {v['nodes'][0]['html'][:150]}" for v in found
            )

    for view in ("chart", "near", "red", "fixation", "words"):
        fields = {"view": view, "distance_m": 3.0, "row": 3, "ground": "dim", "language": "ar"}
        send(client, examination, "state", fields)
        until(lambda v=view: patient.evaluate("link.state.shown.view") == v)
        until(lambda v=view: page.locator(f"[data-view={v}][aria-pressed=true]").count() == 1)
        check(view)
    patient.locator("#open-controls").click()
    check("controls")
    patient.locator("#calibrate").click()
    check("calibration")
    assert wrong == []


@pytest.mark.parametrize("size", ["phone", "tablet", "laptop"])
def test_targets_are_large_and_nothing_runs_off_the_screen(open_page, client, examination, size):
    patient = patients_page(open_page, examination, size=size)
    patient.locator("#open-controls").click()
    page = open_page(f"/examinations/{examination}/screen", size=size)
    for view in ("chart", "near", "words"):
        send(client, examination, "state", {"view": view, "distance_m": 2.0})
        page.locator(f"#panel-{view}").wait_for()
        for one in (patient, page):
            small = one.evaluate(
                "[...document.querySelectorAll('button, select, input:not([type=hidden]),"
                " main a:not(p a), textarea')].filter(e => e.checkVisibility() && !e.disabled)"
                ".map(e => [e.closest('label') ?? e, e])"
                ".map(([box, e]) => [e.outerHTML.slice(0, 90), box.getBoundingClientRect()])"
                ".filter(([, r]) => r.width < 44 || r.height < 44)"
                ".map(([html, r]) => `${html} ${r.width}x${r.height}`)"
            )
            assert small == []
            wide = one.evaluate("document.documentElement.scrollWidth - innerWidth")
            assert wide <= 0
