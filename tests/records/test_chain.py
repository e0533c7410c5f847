"""The audit trail: every change made past the program is found, on both databases."""

import hashlib
import json
import subprocess
from pathlib import Path
from uuid import UUID, uuid4

import pytest
from sqlalchemy import select, text

from decussate.examination.record import Finding
from decussate.records import Entry, Store, acting_as
from decussate.records.chain import FIRST, Link, links
from decussate.records.tables import audit, entries


@pytest.fixture
def filled(store: Store) -> Store:
    """A store with two patients, two examinations and four entries: eight links."""
    for number in (1, 2):
        patient = store.add_patient(f"Bed {number}, invented", invented=True)
        examination = store.begin(patient)
        for response in ("reduced", "absent"):
            finding = Finding(test="light_direct", side="right", response=response)
            store.append(examination, Entry(id=uuid4(), findings=(finding,)))
    assert store.verify().problems == ()
    return store


def trail(store: Store) -> list[Link]:
    with store.database.reading() as connection:
        return [link for link, _ in links(connection)]


def test_the_hash_of_a_link_is_that_of_another_program():
    """GNU coreutils ``sha256sum`` over the JSON text of the fields in their order."""
    link = Link(1, "2026-11-25T08:00:00+00:00", "Zoë", "added", "patient", "p", "ab", FIRST)
    written = '[1,"2026-11-25T08:00:00+00:00","Zo\\u00eb","added","patient","p","ab","'
    written += "0" * 64 + '"]'
    done = subprocess.run(["sha256sum"], input=written.encode(), capture_output=True, check=True)
    assert link.hash == done.stdout.split()[0].decode()


def test_a_link_holds_the_digest_of_its_row(filled: Store):
    """The digest is recomputed here from what the database holds, without the program's code."""
    with filled.database.reading() as connection:
        row = connection.execute(select(entries).limit(1)).one()
        content = connection.scalar(select(audit.c.content).where(audit.c.subject == row.id))
    columns = {"at": row.at, "body": row.body, "examination": row.examination, "id": row.id}
    written = json.dumps(columns, separators=(",", ":"))  # the keys are in order already
    assert content == hashlib.sha256(written.encode()).hexdigest()


def test_who_did_what_and_when_is_there(store: Store):
    patient = store.add_patient("Bed 1, invented", invented=True)
    with acting_as("Dr  Invented"):
        examination = store.begin(patient)
    store.append(examination, Entry(id=UUID(int=5), by="the one on call"))
    store.saw(examination, "note")
    assert [(link.by, link.action, link.kind, link.subject) for link in trail(store)] == [
        ("an invented examiner", "added", "patient", patient),
        ("Dr Invented", "added", "examination", examination),
        ("the one on call", "added", "entry", str(UUID(int=5))),
        ("an invented examiner", "seen", "examination", f"{examination} note"),
    ]
    stamps = [link.at for link in trail(store)]
    assert stamps == sorted(stamps)


def test_a_resent_entry_has_one_link(store: Store):
    examination = store.begin(store.add_patient("Bed 1, invented", invented=True))
    for _ in range(2):
        store.append(examination, Entry(id=UUID(int=5)))
    assert len(trail(store)) == 3
    assert store.verify().problems == ()


CHANGES = {
    "a finding": ("update entry set body = replace(body, 'absent', 'normal')", "was changed"),
    "a side": (
        "update entry set body = replace(body, 'right', 'left') where sequence = 1",
        "was changed",
    ),
    "the time of an entry": ("update entry set at = '2020-01-01T00:00:00+00:00'", "was changed"),
    "whose entry it is": (
        "update entry set examination = (select min(id) from examination)",
        "was changed",
    ),
    "a patient's label": ("update patient set label = 'Bed 9'", "was changed"),
    "an entry removed": ("delete from entry where sequence = 2", "was removed"),
    "an entry added": (
        "insert into entry (id, examination, at, body) "
        "select 'x', min(id), '2026-01-01T00:00:00+00:00', '{}' from examination",
        "added without a link",
    ),
    "who did it": ("update audit set by = 'someone else' where sequence = 3", "link 3 was changed"),
    "when it was": ("update audit set at = '2020' where sequence = 3", "link 3 was changed"),
    "a link removed": ("delete from audit where sequence = 3", "link 3 is missing"),
    "a link doubled": (
        "insert into audit select 9, at, by, action, kind, subject, content, previous, hash "
        "from audit where sequence = 8",
        "link 9 does not follow",
    ),
    "two links exchanged": (
        "update audit set sequence = case sequence when 3 then -3 else 99 end "
        "where sequence in (3, 4)",
        "link 3 is missing",
    ),
    "a hash": ("update audit set hash = 'a' where sequence = 3", "link 3 was changed"),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_made_past_the_program_is_found(filled: Store, change: str):
    statement, said = CHANGES[change]
    with filled.database.writing() as connection:
        assert connection.execute(text(statement)).rowcount > 0
    problems = filled.verify().problems
    assert any(said in problem for problem in problems), problems


def test_a_row_and_link_rewritten_together_break_the_chain(filled: Store):
    """Who knows how a link is made can fit one to a changed row, but not the links after it."""
    with filled.database.writing() as connection:
        found = connection.execute(select(entries).order_by(entries.c.sequence).limit(1)).one()
        body = found.body.replace("reduced", "normal")
        columns = {"at": found.at, "body": body, "examination": found.examination, "id": found.id}
        content = hashlib.sha256(json.dumps(columns, separators=(",", ":")).encode()).hexdigest()
        link = next(link for link, _ in links(connection) if link.subject == found.id)
        forged = Link(
            link.sequence, link.at, link.by, link.action,
            link.kind, link.subject, content, link.previous,
        )  # fmt: skip
        connection.execute(
            text("update entry set body = :body where id = :id"), {"body": body, "id": found.id}
        )
        connection.execute(
            text("update audit set content = :content, hash = :hash where sequence = :sequence"),
            {"content": content, "hash": forged.hash, "sequence": link.sequence},
        )
    assert filled.verify().problems == (
        f"link {link.sequence + 1} does not follow the one before it",
    )


def test_a_cut_off_end_is_found_by_a_head_noted_before(filled: Store):
    noted = filled.verify().head
    with filled.database.writing() as connection:
        connection.execute(text("delete from entry where sequence = 4"))
        connection.execute(text("delete from audit where sequence = 8"))
    assert filled.verify().problems == ()  # nothing inside can show it
    assert "does not pass through the head" in filled.verify(passes=noted).problems[0]


def test_the_chain_passes_through_every_earlier_head(filled: Store):
    noted = filled.verify().head
    filled.add_patient("Bed 3, invented", invented=True)
    assert filled.verify(passes=noted).problems == ()


def test_damaged_pages_are_found(tmp_path: Path):
    file = tmp_path / "records.db"
    store = Store(file)
    examination = store.begin(store.add_patient("Bed 1, invented", invented=True))
    for _ in range(200):
        store.append(examination, Entry(id=uuid4()))
    store.close()
    whole = bytearray(file.read_bytes())
    place = whole.rindex(examination.encode())
    whole[place] ^= 1
    file.write_bytes(whole)
    store = Store(file)
    assert store.verify().problems != ()
    store.close()
