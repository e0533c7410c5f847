"""Files on the pages: attached, downloaded as they were, read into findings, and refused."""

import re
import tempfile
from collections.abc import Callable
from pathlib import Path
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from attached import AUDIOGRAM, PDF, png
from decussate.measures.visual_field_points import central_pattern
from decussate.records.attachments import LARGEST
from decussate.records.roles import Role
from decussate.sides import Side
from decussate.web.device import device_in_words
from signing_in import a_person, signed_in

IPAD = (
    "Mozilla/5.0 (iPad; CPU OS 17_5 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) "
    "Version/17.5 Mobile/15E148 Safari/604.1"
)
POINTS = sorted(central_pattern(Side.RIGHT, "24-2"))
PERIMETRY = "x,y,dB\n" + "".join(f"{x:g},{y:g},{'<0' if x > 0 else 30}\n" for x, y in POINTS)
"""The right eye's temporal half not seen, on the published grid of 54 points."""


@pytest.fixture
def send(client: TestClient, examination: str) -> Callable[..., object]:
    """Attach a file as the form does; returns the answer."""

    def post(name: str, content: bytes, token: str | None = None, **more: object):
        return client.post(
            f"/examinations/{examination}/attachments",
            data={"attachment": token or str(uuid4())},
            files={"file": (name, content, "application/octet-stream")},
            follow_redirects=False,
            **more,
        )

    return post


def kept(app, examination: str):
    from decussate.records.attachments import attachments_of

    return attachments_of(app.state.store, examination)


def test_a_file_is_attached_listed_and_downloaded_as_it_was(client, app, examination, send):
    answer = send("Scan of “bed 9”.PDF", PDF)
    assert answer.status_code == 303
    (one,) = kept(app, examination)
    assert answer.headers["location"].endswith(f"/attachments#a-{one.id}")
    page = client.get(f"/examinations/{examination}/attachments")
    assert "Scan of “bed 9”.PDF" in page.text
    assert "document (PDF)" in page.text
    answer = client.get(f"/examinations/{examination}/attachments/{one.id}")
    assert answer.content == PDF
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["content-disposition"] == (
        "attachment; filename*=UTF-8''Scan%20of%20%E2%80%9Cbed%209%E2%80%9D.PDF"
    )
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"
    assert "default-src 'none'" in answer.headers["content-security-policy"]


def test_a_picture_is_shown_and_a_script_in_a_name_is_only_text(client, examination, send):
    send("<script>alert(1)</script>.png", png())
    page = client.get(f"/examinations/{examination}/attachments").text
    assert "<script>alert" not in page
    assert 'alt="Attached picture: ' in page


def test_sent_twice_it_is_attached_once(app, examination, send):
    token = str(uuid4())
    assert {send("a.pdf", PDF, token).status_code for _ in range(2)} == {303}
    assert len(kept(app, examination)) == 1


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.html", b"<html><script>alert(1)</script></html>"),
        ("a.pdf", b"<html>"),
        ("a.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>"),
        ("a.csv", b"=1+1\n"),
        ("a.csv", AUDIOGRAM.replace(b"insert", b"=cmd")),
        ("a.pdf", b""),
        ("", PDF),
    ],
)
def test_what_is_not_accepted_is_refused_in_words(app, examination, send, name, content):
    answer = send(name, content)
    assert answer.status_code == 422
    assert "expected" in answer.text.lower()
    assert "Traceback" not in answer.text
    assert kept(app, examination) == ()


def test_size_is_limited_before_and_after_the_form_is_read(app, examination, send):
    assert send("a.pdf", PDF.ljust(LARGEST)).status_code == 303
    assert send("a.pdf", PDF.ljust(LARGEST + 1)).status_code == 422
    assert send("a.pdf", PDF.ljust(LARGEST + 40_000)).status_code == 413
    assert len(kept(app, examination)) == 1


def test_a_file_that_comes_in_is_never_put_on_the_disk_in_the_clear(send, monkeypatch):
    def refuse(_: object) -> None:
        raise AssertionError("written to a temporary file")

    monkeypatch.setattr(tempfile.SpooledTemporaryFile, "rollover", refuse)
    assert send("a.pdf", PDF.ljust(3_000_000)).status_code == 303


def test_a_form_that_is_none_is_refused(client, app, examination):
    address = f"/examinations/{examination}/attachments"
    cases = [
        {"data": {"attachment": str(uuid4())}},
        {"content": b"--x", "headers": {"content-type": "multipart/form-data"}},
        {"content": b"--x\r\nno", "headers": {"content-type": "multipart/form-data; boundary=x"}},
        {"files": [("file", ("a.pdf", PDF)), ("file", ("b.pdf", PDF))]},
        {"files": {"file": ("a.pdf", PDF)}, "data": {"attachment": "../../etc"}},
    ]  # fmt: skip
    for case in cases:
        answer = client.post(address, follow_redirects=False, **case)
        assert answer.status_code == 422, case
        assert "Traceback" not in answer.text
    assert kept(app, examination) == ()


def test_another_site_cannot_attach(examination, send, app):
    assert send("a.pdf", PDF, headers={"sec-fetch-site": "cross-site"}).status_code == 403
    assert kept(app, examination) == ()


def test_a_file_is_found_in_its_own_examination_alone(client, app, examination, send):
    send("a.pdf", PDF)
    (one,) = kept(app, examination)
    other = next(h.id for h in app.state.store.examinations() if h.id != examination)
    assert client.get(f"/examinations/{other}/attachments/{one.id}").status_code == 404
    for guess in ("..%2f..%2fetc%2fpasswd", "0", str(uuid4())):
        assert client.get(f"/examinations/{examination}/attachments/{guess}").status_code == 404


def read(client, examination: str, attachment: str, **form: str):
    return client.post(
        f"/examinations/{examination}/attachments/{attachment}/findings",
        data={"entry": str(uuid4())} | form,
        follow_redirects=False,
    )


def test_an_audiogram_table_is_read_into_findings(client, app, examination, send, present):
    levels = {500: 40, 1000: 40, 2000: 50, 4000: 60}
    rows = "".join(f"left,{hz},air,{db},yes,no,insert\n" for hz, db in levels.items())
    rows += "".join(f"right,{hz},air,0,no,no,insert\n" for hz in levels)
    heading = AUDIOGRAM.decode().splitlines()[0]
    send("hearing.csv", f"{heading}\n{rows}".encode())
    (one,) = kept(app, examination)
    assert read(client, examination, one.id).status_code == 303
    found = {f.side: f for f in app.state.store.examination(examination).present()
             if f.test == "audiogram_average"}  # fmt: skip
    assert found[Side.LEFT].measurement.value == 47.5  # the mean of 40, 40, 50 and 60
    assert found[Side.RIGHT].measurement.value == 0
    assert ("audiogram_average", "right", "normal") in present()
    page = client.get(f"/examinations/{examination}").text
    assert re.search(r'name="level left air 4000"[^>]*value="60 m"', page)  # on the chart again


def test_a_perimetry_table_is_read_for_the_eye_that_is_named(
    client, app, examination, send, present
):
    send("field.csv", PERIMETRY.encode())
    (one,) = kept(app, examination)
    assert read(client, examination, one.id).status_code == 422  # neither eye named
    wrong = read(client, examination, one.id, side="left")
    assert wrong.status_code == 422
    assert "wrong eye" in wrong.text
    assert read(client, examination, one.id, side="right").status_code == 303
    assert {
        ("peripheral_upper_temporal", "right", "absent"),
        ("peripheral_lower_temporal", "right", "absent"),
        ("peripheral_upper_nasal", "right", "normal"),
        ("peripheral_lower_nasal", "right", "normal"),
    } <= present()


def test_a_picture_is_not_read(client, app, examination, send):
    send("a.png", png())
    (one,) = kept(app, examination)
    assert read(client, examination, one.id).status_code == 422


def test_who_saw_and_who_attached_is_in_the_trail(client, app, examination, send):
    send("a.pdf", PDF)
    (one,) = kept(app, examination)
    client.get(f"/examinations/{examination}/attachments/{one.id}")
    with app.state.store.database.reading() as connection:
        rows = connection.exec_driver_sql(
            'select action, kind, subject, "by" from audit order by sequence desc limit 2'
        ).all()
    assert [tuple(row) for row in rows] == [
        ("seen", "examination", f"{examination} attached file", "Invented examiner"),
        ("added", "attachment", one.id, "Invented examiner"),
    ]


def test_the_history_says_who_wrote_what_with_what(client, app, examination, send, enter):
    client.post(
        f"/examinations/{examination}/shorthand",
        data={"entry": str(uuid4()), "text": "Weber midline"},
        headers={"user-agent": IPAD},
    )
    send("a.pdf", PDF, headers={"user-agent": IPAD})
    page = client.get(f"/examinations/{examination}/history").text
    assert "Who wrote it" in page
    assert "<b>Invented examiner</b>: 1 entry and 1 file" in page
    assert "Mobile Safari on iPad" in page
    assert "Files attached: 1" in page


def test_a_reader_sees_files_and_may_not_add_any(app, client, examination, send):
    send("a.pdf", PDF)
    (one,) = kept(app, examination)
    reader = TestClient(app, base_url="http://127.0.0.1:8000", headers=dict(client.headers))
    reader.cookies.set("signed-in", signed_in(app, a_person(app, Role.READER)))
    page = reader.get(f"/examinations/{examination}/attachments")
    assert page.status_code == 200
    assert 'type="file"' not in page.text
    assert reader.get(f"/examinations/{examination}/attachments/{one.id}").content == PDF
    posted = reader.post(
        f"/examinations/{examination}/attachments",
        data={"attachment": str(uuid4())}, files={"file": ("b.pdf", PDF)},
    )  # fmt: skip
    assert posted.status_code == 403
    assert read(reader, examination, one.id).status_code == 403
    assert len(kept(app, examination)) == 1


@pytest.mark.parametrize(
    ("header", "words"),
    [
        (IPAD, "Mobile Safari on iPad"),
        ("Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) "
         "Chrome/126.0.0.0 Safari/537.36 Edg/126.0.0.0", "Edge on Windows"),
        ("Mozilla/5.0 (X11; Linux x86_64; rv:128.0) Gecko/20100101 Firefox/128.0",
         "Firefox on Linux"),
        ("a ward's own program", "a ward's own program"),
        ("", ""),
    ],
)  # fmt: skip
def test_a_browser_is_named_in_words(header: str, words: str):
    assert device_in_words(header) == words


@pytest.mark.browser
@pytest.mark.parametrize("size", ["phone", "tablet", "laptop"])
def test_a_table_is_attached_and_read_on_the_page(
    open_page, app, examination, size, tmp_path: Path
):
    from axe_playwright_python.sync_playwright import Axe

    (tmp_path / "field.csv").write_text(PERIMETRY)
    page = open_page(f"/examinations/{examination}/attachments", size=size, bypass_csp=True)
    page.locator("input[type=file]").set_input_files(tmp_path / "field.csv")
    page.get_by_role("button", name="Attach", exact=True).click()
    page.get_by_role("heading", name="field.csv").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    small = page.evaluate(
        """() => [...document.querySelectorAll('main button, main a, main [type=file]')]
           .map(e => [e, e.getBoundingClientRect()])
           .filter(([e, box]) => box.width < 43.5 || box.height < 43.5)
           .map(([e]) => e.outerHTML.slice(0, 90))"""
    )
    assert small == []
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    options = {"resultTypes": ["violations"], "runOnly": {"type": "tag", "values": tags}}
    found = Axe().run(page, options=options).response["violations"]
    assert [(v["id"], [node["html"][:120] for node in v["nodes"]]) for v in found] == []
    with page.expect_download() as download:
        page.get_by_role("link", name="Download field.csv").click()
    assert Path(download.value.path()).read_text() == PERIMETRY
    page.get_by_role("button", name="Read as the right eye").click()
    page.wait_for_url("**/examinations/*#group-fields")
    responses = {f.test: f.response for f in app.state.store.examination(examination).present()}
    assert responses["peripheral_upper_temporal"] == "absent"
