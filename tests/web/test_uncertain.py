"""An entry of which nobody knows whether it is saved: said plainly, sent again, recorded once."""

import pytest

from decussate.records import NotSaved, Store


@pytest.fixture
def broken_connection(monkeypatch):
    """The database saves the first entry and loses the connection before it can say so."""
    saved = Store.append
    answers = {"lost": 0}

    def append(self, examination, entry):
        receipt = saved(self, examination, entry)
        if answers["lost"] < 1:
            answers["lost"] += 1
            raise NotSaved("server closed the connection unexpectedly", uncertain=True)
        return receipt

    monkeypatch.setattr(Store, "append", append)
    return answers


def test_it_is_said_that_an_entry_may_or_may_not_be_saved(enter, broken_connection):
    answer = enter("findings", test="weber", choice="record whole left")
    assert answer.status_code == 507
    assert answer.headers["recorded"] == "uncertain"
    assert "may or may not be saved" in answer.text
    assert "Nothing was recorded" not in answer.text


def test_a_write_that_failed_for_sure_is_not_called_uncertain(enter, monkeypatch):
    def full(*_: object) -> None:
        raise NotSaved("database or disk is full")

    monkeypatch.setattr(Store, "append", full)
    answer = enter("findings", test="weber", choice="record whole left")
    assert answer.headers["recorded"] == "no"
    assert "Nothing was recorded" in answer.text


@pytest.mark.browser
def test_the_page_says_so_sends_it_again_and_records_it_once(
    open_page, app, examination, broken_connection
):
    page = open_page(f"/examinations/{examination}?test=weber#test-weber")
    page.locator("#test-weber .choice").first.click()
    place = page.locator("#waiting")
    place.get_by_text("May or may not be saved").wait_for()
    open_page.trouble.clear()  # the answer 507 is told on the console
    page.locator(".dock .last").get_by_text("Weber").wait_for()
    place.get_by_text("May or may not be saved").wait_for(state="detached", timeout=15000)
    assert broken_connection["lost"] == 1
    assert len(app.state.store.history(examination)) == 1


@pytest.mark.browser
def test_a_page_without_the_makers_of_plain_http_still_records_and_copies(
    open_page, app, examination
):
    """`crypto.randomUUID` and the clipboard are missing on a page fetched over plain HTTP."""
    page = open_page(f"/examinations/{examination}?test=weber#test-weber")
    page.evaluate("Object.defineProperty(crypto, 'randomUUID', { value: undefined })")
    page.locator("#test-weber .choice").first.click()
    page.locator(".dock .last").get_by_text("Weber").wait_for()
    (entry,) = app.state.store.history(examination)
    assert str(entry.entry.id)
    page.goto(page.url.split("?")[0] + "/note")
    page.evaluate("Object.defineProperty(navigator, 'clipboard', { value: undefined })")
    page.get_by_role("button", name="Copy").click()
    page.get_by_text("Copied.").wait_for()
