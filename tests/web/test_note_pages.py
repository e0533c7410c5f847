"""The note and the letter: read, edited, kept beside what was generated, and never lost."""

import re
from html import unescape
from uuid import uuid4

import pytest

from decussate.records import kept_texts
from decussate.web.note_pages import differences, same_findings

FRAGMENT = {"hx-request": "true"}


@pytest.fixture
def note(client, examination):
    def read() -> str:
        return client.get(f"/examinations/{examination}/note").text

    return read


@pytest.fixture
def keep(client, examination):
    def send(where: str, token: str | None = None, **fields: str):
        data = {"entry": token or str(uuid4())} | fields
        return client.post(f"/examinations/{examination}/{where}", data=data, headers=FRAGMENT)

    return send


def generated(page: str) -> str:
    return unescape(re.search(r'id="generated"[^>]*>\n(.*?)</textarea>', page, re.S)[1])


def shown(page: str) -> str:
    return unescape(re.search(r'<pre id="note-text"[^>]*>(.*?)</pre>', page, re.S)[1])


def test_an_edited_note_is_kept_beside_the_generated_one(note, keep, enter, app, examination):
    enter("findings", test="weber", choice="record whole left")
    written = generated(note())
    edited = written.replace("WHAT NEXT", "Seen with the daughter.\n\nWHAT NEXT")
    assert keep("note", text=edited, generated=written).headers["hx-refresh"] == "true"
    (kept,) = kept_texts(app.state.store.history(examination), "note")
    assert kept.entry.written.text.strip() == edited.strip()
    assert kept.entry.written.generated.strip() == written.strip()
    page = note()
    assert "Seen with the daughter." in shown(page)
    assert "edited by hand" in page
    changed = page.split("What was changed by hand")[1].split("</details>")[0]
    assert "<ins>" in changed
    assert "Seen with the daughter." in changed
    assert "<del>" not in changed
    assert "The findings have changed" not in page


def test_a_change_of_the_findings_after_editing_is_said_and_nothing_is_lost(
    note, keep, enter, client, examination
):
    enter("findings", test="weber", choice="record whole left")
    written = generated(note())
    keep("note", text=written + "By hand.\n", generated=written)
    enter("findings", test="light_direct", choice="record right absent")
    page = note()
    assert "The findings have changed since this text was kept" in page
    notice = page.split('id="stale-title"')[1].split("</section>")[0]
    assert "direct light reaction" in notice
    assert "By hand." in shown(page)
    assert "By hand." in client.get(f"/examinations/{examination}/note.txt").text
    # What the program writes now is on the page too, and can be kept in its turn.
    keep("note", text=generated(page), generated=generated(page))
    page = note()
    assert "The findings have changed" not in page
    assert "By hand." not in shown(page)
    assert "By hand." in page.split("Kept before (1)")[1]


def test_a_correction_that_restores_the_findings_ends_the_notice(
    note, keep, enter, app, examination
):
    enter("findings", test="weber", choice="record whole left")
    keep("note", text="Mine.", generated=generated(note()))
    enter("findings", test="weber", choice="record whole right")
    assert "The findings have changed" in note()
    last = app.state.store.history(examination)[-1].entry
    enter("undo", undoes=str(last.id))
    assert "The findings have changed" not in note()


def test_another_version_of_the_program_alone_is_no_change_of_findings():
    first = "Note\n- Weber: left.\n\nDecussate 0.1.0, data 1f0c22ab.\n"
    assert same_findings(first, first.replace("1f0c22ab", "99999999"))
    assert not same_findings(first, first.replace("left", "right"))


def test_an_empty_or_endless_note_is_refused(keep, app, examination):
    assert keep("note", text=" \n ", generated="x").status_code == 422
    assert keep("note", text="x" * 40_001, generated="x").status_code == 422
    assert kept_texts(app.state.store.history(examination), "note") == ()


def test_the_same_note_sent_twice_is_kept_once(keep, app, examination):
    token = str(uuid4())
    for _ in range(2):
        keep("note", token, text="Mine.", generated="Theirs.")
    assert len(kept_texts(app.state.store.history(examination), "note")) == 1


def test_keeping_a_note_is_in_the_history_and_can_be_taken_back(
    keep, enter, client, app, examination
):
    keep("note", text="Mine.", generated="Theirs.")
    history = client.get(f"/examinations/{examination}/history").text
    assert "Note kept, edited by hand" in history
    last = app.state.store.history(examination)[-1].entry
    enter("undo", undoes=str(last.id))
    assert kept_texts(app.state.store.history(examination), "note") == ()
    assert len(app.state.store.history(examination)) == 2


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", "</textarea><b>x</b>"])
def test_what_is_typed_is_shown_as_text(keep, note, text):
    keep("note", text=text, generated="x")
    assert text not in note()
    assert text in unescape(note())


def test_differences_name_what_went_and_what_came():
    parts = differences("a\nb\nc", "a\nB\nc\nd")
    assert [(p.kind, p.lines) for p in parts] == [
        ("same", ("a",)),
        ("out", ("b",)),
        ("in", ("B",)),
        ("same", ("c",)),
        ("in", ("d",)),
    ]
    assert all(part.kind == "same" for part in differences("a\nb", "a\nb"))


def test_a_letter_is_completed_kept_and_set(client, keep, enter, examination):
    enter("findings", test="light_direct", choice="record right absent")
    fields = {
        "to": "Eye clinic, Invented Hospital",
        "plan": "Please see within the week.\nReturn at once if worse.",
        "findings": "The right pupil does not react.",
        "copies": "The patient\nThe practice",
    }
    assert keep("letter", **fields).headers["hx-refresh"] == "true"
    page = client.get(f"/examinations/{examination}/letter").text
    text = client.get(f"/examinations/{examination}/letter.md").text
    for said in ("Eye clinic, Invented Hospital", "Return at once if worse", "does not react"):
        assert said in unescape(page)
        assert said in text
    assert "The patient; The practice" in text
    assert "What was changed by hand" in page
    pdf = client.get(f"/examinations/{examination}/letter.pdf")
    assert pdf.headers["content-type"] == "application/pdf"
    assert pdf.content.startswith(b"%PDF")
    assert client.get(f"/examinations/{examination}/summary.pdf").content.startswith(b"%PDF")
    saved = client.get(f"/examinations/{examination}/letter.html")
    assert saved.headers["content-disposition"].startswith("attachment")


def test_own_words_never_take_what_cannot_wait_out_of_a_letter(client, keep, enter, examination):
    text = "Sudden onset. R ptosis complete. R pupil large. R light reaction absent."
    enter("shorthand", text=text + " R adduction -4.")
    enter("story", onset="sudden")
    before = client.get(f"/examinations/{examination}/letter.md").text
    urgent = before.split("## What cannot wait")[1].split("## ")[0]
    assert "EMERGENCY" in urgent
    keep("letter", findings="Well.", place="Nothing.", reason="None.", plan="None.")
    after = client.get(f"/examinations/{examination}/letter.md").text
    assert after.split("## What cannot wait")[1].split("## ")[0] == urgent


def test_a_letter_says_when_findings_changed_after_it_was_kept(client, keep, enter, examination):
    enter("findings", test="weber", choice="record whole left")
    keep("letter", to="Ear clinic", findings="Weber to the left.")
    enter("findings", test="weber", choice="record whole right")
    page = client.get(f"/examinations/{examination}/letter").text
    assert "The findings have changed since this letter was kept" in page


def test_too_long_a_line_of_a_letter_is_refused(client, keep, examination):
    answer = keep("letter", to="x" * 301)
    assert answer.status_code == 422
    assert "To" in answer.text


@pytest.mark.browser
def test_a_draft_survives_a_reload_and_goes_when_it_is_kept(open_page, enter, app, examination):
    enter("findings", test="weber", choice="record whole left")
    page = open_page(f"/examinations/{examination}/note", size="phone")
    page.locator("#edit summary").tap()
    page.locator("#edited").fill("Typed at the bedside.")
    page.reload()
    page.get_by_text("Typed on this device and not yet kept").wait_for()
    assert page.locator("#edited").input_value() == "Typed at the bedside."
    page.get_by_role("button", name="Keep this text").tap()
    page.locator("#note-text").get_by_text("Typed at the bedside.").wait_for()
    (kept,) = kept_texts(app.state.store.history(examination), "note")
    assert kept.entry.written.text == "Typed at the bedside.\n"
    assert page.evaluate("Object.keys(localStorage).filter((k) => k.startsWith('draft'))") == []
    page.get_by_text("edited by hand").wait_for()
