"""Attached files: kept whole, known by their content, and part of everything that is kept."""

import base64
import hashlib
import json
from pathlib import Path
from uuid import UUID, uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from attached import AUDIOGRAM, JPEG, PDF, PERIMETRY, png
from decussate.errors import BadInput
from decussate.measures.audiogram import (
    AUDIOMETRIC_HZ,
    Audiogram,
    Conduction,
    Threshold,
    audiogram_to_csv,
)
from decussate.records import Store, acting_as
from decussate.records.attachments import (
    KINDS_IN_WORDS,
    LARGEST,
    LONGEST_NAME,
    attach,
    attachments_of,
    content_of,
    kind_of,
)
from decussate.records.backup import back_up, restore
from decussate.records.importing import import_records
from decussate.records.line_files import read_lines
from decussate.records.tables import attachments
from decussate.records.transfer import check_file, export_records
from decussate.sides import Side

FILES = {
    "audiogram": ("hearing.csv", AUDIOGRAM, "text/csv"),
    "perimetry": ("field.csv", PERIMETRY, "text/csv"),
    "picture": ("lid.png", png(), "image/png"),
    "document": ("letter.pdf", PDF, "application/pdf"),
}


@pytest.fixture
def examination(store: Store) -> str:
    return store.begin(store.add_patient("Bed 1, invented", invented=True))


@pytest.fixture
def full(store: Store, examination: str) -> Store:
    for name, content, _ in FILES.values():
        attach(store, examination, name, content)
    return store


def test_every_kind_comes_back_as_it_was(full: Store, examination: str):
    kept = attachments_of(full, examination)
    assert {one.kind for one in kept} == set(KINDS_IN_WORDS) == set(FILES)
    for one in kept:
        name, content, media_type = FILES[one.kind]
        assert (one.name, one.media_type, one.size) == (name, media_type, len(content))
        assert one.sha256 == hashlib.sha256(content).hexdigest()
        assert content_of(full, examination, one.id) == (one, content)


def test_it_says_who_attached_it_and_with_what(store: Store, examination: str):
    assert attach(store, examination, "a.pdf", PDF).by == "an invented examiner"
    with acting_as("Dr  Example, invented", device="Firefox on Linux"):
        attach(store, examination, "b.pdf", PDF)
    one = attachments_of(store, examination)[1]
    assert (one.by, one.device) == ("Dr Example, invented", "Firefox on Linux")


def test_sent_twice_it_is_kept_once(store: Store, examination: str):
    identity = str(uuid4())
    first = attach(store, examination, "a.pdf", PDF, attachment=identity)
    assert attach(store, examination, "a.pdf", PDF, attachment=identity) == first
    assert len(attachments_of(store, examination)) == 1
    with pytest.raises(BadInput, match="identity of the file"):
        attach(store, examination, "a.png", png(), attachment=identity)


def test_it_belongs_to_its_examination_alone(full: Store, examination: str):
    other = full.begin(full.add_patient("Bed 2, invented", invented=True))
    assert attachments_of(full, other) == ()
    one = attachments_of(full, examination)[0]
    with pytest.raises(BadInput, match="one of this examination"):
        content_of(full, other, one.id)
    with pytest.raises(BadInput, match="examination"):
        attach(full, str(uuid4()), "a.pdf", PDF)


# What is accepted


@pytest.mark.parametrize(
    "content",
    [
        b"<html><script>alert(1)</script></html>",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>",
        b"MZ\x90\x00\x03",
        b"PK\x03\x04",
        b"GIF89a",
        b"\x89PNG\r\n",
        b" %PDF-1.7",
        b"a,b\n1,2\n",
        b"=cmd|' /C calc'!A0",
        b"\xff\xfe",
        b"\n",
    ],
)
def test_other_content_is_refused_whatever_its_name(content: bytes):
    for name in ("scan.pdf", "lid.png", "hearing.csv"):
        with pytest.raises(BadInput, match="kind of file"):
            kind_of(name, content)


def test_the_kind_follows_from_the_content_and_the_name_from_the_kind(
    store: Store, examination: str
):
    one = attach(store, examination, "../../etc/harmless.html", png())
    assert (one.kind, one.media_type, one.name) == ("picture", "image/png", "harmless.html.png")
    assert attach(store, examination, "C:\\scans\\hand.JPEG", JPEG).name == "hand.JPEG"


def test_empty_and_oversized_files_are_refused():
    with pytest.raises(BadInput, match="nothing in it"):
        kind_of("a.pdf", b"")
    assert kind_of("a.pdf", PDF.ljust(LARGEST)) == ("document", "application/pdf")
    with pytest.raises(BadInput, match=r"8\.0 MB.*at most 8 MB"):
        kind_of("a.pdf", PDF.ljust(LARGEST + 1))


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r"])
def test_a_table_with_a_formula_is_refused(sign: str):
    """The signs with which a spreadsheet begins a formula (OWASP, CSV Injection)."""
    formula = f'"{sign}HYPERLINK(""http://x.invalid"")"'
    for table, cell in ((AUDIOGRAM, b"insert"), (AUDIOGRAM, b"-10"), (PERIMETRY, b"30")):
        with pytest.raises(BadInput):
            kind_of("table.csv", table.replace(cell, formula.encode()))
    with pytest.raises(BadInput):
        kind_of("table.csv", AUDIOGRAM.replace(b"transducer\n", b"transducer," + sign.encode()))


def test_a_table_with_a_fault_is_refused_with_its_line():
    with pytest.raises(BadInput, match=r"table\.csv, line 2"):
        kind_of("table.csv", AUDIOGRAM.replace(b"1000", b"1001"))
    with pytest.raises(BadInput, match="line 3"):
        kind_of("table.csv", PERIMETRY.replace(b"<0", b"bad"))


@given(
    st.lists(
        st.builds(
            Threshold,
            side=st.sampled_from(Side),
            frequency_hz=st.sampled_from(AUDIOMETRIC_HZ),
            conduction=st.sampled_from(Conduction),
            level_db_hl=st.integers(-10, 90).map(float),
        ),
        min_size=1,
        max_size=12,
        unique_by=lambda t: (t.side, t.frequency_hz, t.conduction),
    )
)
@settings(max_examples=40, deadline=None)
def test_every_audiogram_this_program_writes_can_be_attached(thresholds: list[Threshold]):
    written = audiogram_to_csv(Audiogram(tuple(thresholds))).encode()
    assert kind_of("a.csv", written) == ("audiogram", "text/csv")


@given(name=st.text(max_size=300) | st.text("./\\ .=:\u202egpdf", max_size=20))
@settings(max_examples=200, deadline=None)
def test_every_name_is_made_safe_and_stays_as_it_was_made(name: str):
    from decussate.records.attachments import _safe_name

    safe = _safe_name(name, "application/pdf")
    assert safe.lower().endswith(".pdf")
    assert len(safe) <= LONGEST_NAME
    assert not set(safe) & set('/\\<>:"|?*;%\0\r\n\u202e')
    assert not safe.startswith((".", " "))
    assert _safe_name(safe, "application/pdf") == safe


# Part of everything that is kept


def test_a_changed_content_is_found_by_the_trail_and_not_given_out(full: Store, examination: str):
    assert full.verify().problems == ()
    one = next(one for one in attachments_of(full, examination) if one.kind == "document")
    forged = base64.b64encode(PDF.replace(b"1.7", b"1.4")).decode()
    with full.database.writing() as connection:
        connection.execute(
            text("update attachment set content = :forged where id = :id"),
            {"forged": forged, "id": one.id},
        )
    assert full.verify().problems == (f"attachment {one.id} was changed",)
    with pytest.raises(BadInput, match="changed or damaged"):
        content_of(full, examination, one.id)


def test_attachments_go_with_backup_export_and_import(
    full: Store, examination: str, tmp_path: Path
):
    made = back_up(full, tmp_path / "backup")
    assert made.attachments == 4
    restore(tmp_path / "backup", tmp_path / "new.db")
    there = Store(tmp_path / "new.db")
    assert attachments_of(there, examination) == attachments_of(full, examination)
    there.close()
    in_use = Store(tmp_path / "in-use.db", by="another owner")
    in_use.add_patient("Bed 2, invented", invented=True)
    assert import_records(in_use, tmp_path / "backup").added == 6  # with patient and examination
    for one in attachments_of(full, examination):
        assert content_of(in_use, examination, one.id) == (one, FILES[one.kind][1])
    assert in_use.verify().problems == ()
    in_use.close()


def resealed(lines: list[bytes]) -> bytes:
    body = b"".join(lines)
    return body + json.dumps({"sha256": hashlib.sha256(body).hexdigest()}).encode() + b"\n"


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[bytes]]:
    """An export with one attachment, and its lines without the checksum."""
    folder = tmp_path_factory.mktemp("exported")
    store = Store(folder / "records.db", by="an invented owner")
    attach(store, store.begin(store.add_patient("Bed 1", invented=True)), "a.pdf", PDF)
    export_records(store, folder / "all.jsonl")
    store.close()
    return folder, [line for _, line in read_lines(folder / "all.jsonl")][:-1]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b'"media_type":"application/pdf"', b'"media_type":"text/html"', "kind of the attachment"),
        (b'"name":"a.pdf"', b'"name":"../a.pdf"', "kind of the attachment"),
        (b'"content":"JV', b'"content":"AAAAJV', "content of the attachment"),
        (b'"content":"JV', b'"content":"\xc3\xa4JV', "content of the attachment"),
        (b'"size":', b'"size":1', "content of the attachment"),
    ],
)
def test_a_forged_attachment_is_not_imported(exported, old: bytes, new: bytes, said: str):
    folder, lines = exported
    forged = [line.replace(old, new, 1) for line in lines]
    assert forged != lines
    (folder / "forged.jsonl").write_bytes(resealed(forged))
    store = Store(folder / "other.db")
    store.add_patient("Bed 2, invented", invented=True)
    with pytest.raises(BadInput, match=said):
        import_records(store, folder / "forged.jsonl")
    assert store.verify().links == 1  # the patient of before
    store.close()
    (folder / "other.db").unlink()


def test_an_export_from_before_attachments_is_still_read(tmp_path: Path):
    """As version 1 wrote it: no attachments in the manifest."""
    store = Store(tmp_path / "records.db", by="an invented owner")
    store.begin(store.add_patient("Bed 1", invented=True, patient=str(UUID(int=1))))
    export_records(store, tmp_path / "all.jsonl")
    store.close()
    lines = [line for _, line in read_lines(tmp_path / "all.jsonl")][:-1]
    old = lines[0].replace(b'"version":2', b'"version":1').replace(b'"attachments":0,', b"")
    assert old != lines[0]
    (tmp_path / "old.jsonl").write_bytes(resealed([old, *lines[1:]]))
    assert check_file(tmp_path / "old.jsonl").version == 1
    restore(tmp_path / "old.jsonl", tmp_path / "new.db")


def test_columns_and_description_agree(full: Store):
    assert {column.name for column in attachments.columns} == {
        "id", "examination", "at", "by", "device", "name", "kind", "media_type", "size", "sha256",
        "content",
    }  # fmt: skip
