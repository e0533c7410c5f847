"""What cannot wait is in sight wherever a patient is: list, note, letter, comparison, scrolled."""

from html import unescape

import pytest

TEXT = "R ptosis complete. R pupil large. R light reaction absent. R adduction -4."
PLACES = ("", "/note", "/letter", "/comparison")


@pytest.fixture
def emergency(enter, examination):
    """A third-nerve palsy with a large pupil, of sudden onset."""
    enter("shorthand", text=TEXT)
    enter("story", onset="sudden")
    return examination


@pytest.mark.parametrize("place", PLACES)
def test_every_page_of_a_patient_says_what_cannot_wait_when_and_whence(client, emergency, place):
    page = unescape(client.get(f"/examinations/{emergency}{place}").text)
    alerts = page.split('id="alerts"')[1].split("<main")[0]
    assert "Cannot wait" in alerts
    assert "emergency" in alerts
    assert "vessel imaging the same day" in alerts  # the time frame
    assert "Source:" in alerts
    assert "/sources#" in alerts


def test_the_list_of_patients_names_it_with_time_frame_and_source(client, emergency):
    page = client.get("/").text
    assert f'hx-get="/examinations/{emergency}/urgent"' in page
    part = unescape(client.get(f"/examinations/{emergency}/urgent").text)
    assert "Cannot wait:" in part
    assert "vessel imaging the same day" in part
    assert "/sources#" in part


def test_a_quiet_examination_adds_nothing_to_the_list(client, enter, examination):
    enter("findings", test="smell_detection", choice="record right normal")
    assert client.get(f"/examinations/{examination}/urgent").text.strip() == ""


@pytest.mark.browser
def test_it_stays_in_sight_on_a_phone_however_far_one_scrolls(open_page, emergency):
    page = open_page(f"/examinations/{emergency}", size="phone")
    for place in PLACES:
        page.goto(page.url.split("/examinations/")[0] + f"/examinations/{emergency}{place}")
        line = page.locator("#alerts .titles").first
        line.wait_for()
        page.evaluate("scrollTo(0, document.documentElement.scrollHeight)")
        box = line.bounding_box()
        assert box is not None
        assert 0 <= box["y"] < 780 / 3, place
        shown = page.evaluate(
            """([x, y]) => document.elementFromPoint(x, y).closest('#alerts') !== null""",
            [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2],
        )
        assert shown, place


@pytest.mark.browser
def test_the_list_shows_it_without_a_touch(open_page, emergency):
    page = open_page("/", size="phone")
    place = page.locator(f'[hx-get="/examinations/{emergency}/urgent"]')
    place.scroll_into_view_if_needed()
    place.get_by_text("Cannot wait:").wait_for()
