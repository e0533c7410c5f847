"""The store: nothing acknowledged is lost, nothing is doubled, nothing is overwritten."""

import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path
from uuid import UUID, uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.examination.record import Finding, Story, UnreadText
from decussate.records import Entry, NotSaved, Store, StoredEntry, in_force, present_state
from decussate.records.store import SCHEMA_VERSION
from decussate.sides import Side


@pytest.fixture
def store(tmp_path: Path):
    store = Store(tmp_path / "folder" / "records.db")
    yield store
    store.close()


def finding(response: str = "reduced", side: Side | None = Side.RIGHT, test: str = "light_direct"):
    return Finding(test=test, side=side, response=response)


def long_text(length: int) -> UnreadText:
    return UnreadText(text="x" * length, line=1, column=1, reason="not a word it knows")


def begun(store: Store) -> str:
    return store.begin(store.add_patient("Bed 4", invented=True))


def entry(*findings: Finding, **more) -> Entry:
    return Entry(id=uuid4(), findings=findings, **more)


def test_durability_settings_are_those_the_sqlite_manual_asks_for(store: Store):
    # sqlite.org, PRAGMA synchronous: 2 is FULL, which in WAL mode syncs the log at each commit.
    with store._engine.connect() as connection:
        answers = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys")
        }
    assert answers == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}


def test_an_entry_is_on_disk_when_it_is_acknowledged(store: Store, tmp_path: Path):
    examination = begun(store)
    receipt = store.append(examination, entry(finding()))
    with sqlite3.connect(tmp_path / "folder" / "records.db") as other:
        assert other.execute("select id from entry").fetchall() == [(str(receipt.stored.entry.id),)]


def test_resending_an_entry_does_not_double_it(store: Store):
    examination = begun(store)
    one = entry(finding())
    assert not store.append(examination, one).resent
    assert store.append(examination, one).resent
    assert len(store.history(examination)) == 1


def test_an_identity_cannot_be_used_for_another_entry(store: Store):
    examination = begun(store)
    one = entry(finding())
    store.append(examination, one)
    with pytest.raises(BadInput, match="entry identity"):
        store.append(examination, Entry(id=one.id, findings=(finding("absent"),)))
    assert [s.entry for s in store.history(examination)] == [one]


def test_a_correction_supersedes_and_keeps_what_it_corrects(store: Store):
    examination = begun(store)
    store.append(examination, entry(finding("reduced")))
    store.append(examination, entry(finding("absent")))
    now = store.examination(examination)
    assert [f.response for f in now.present()] == ["absent"]
    assert [f.response for f in now.findings] == ["reduced", "absent"]


def test_undo_takes_back_and_undoing_the_undo_brings_back(store: Store):
    examination = begun(store)
    first = store.append(examination, entry(finding("reduced"))).stored.entry
    undo = store.append(examination, Entry(id=uuid4(), undoes=first.id)).stored.entry
    assert store.examination(examination).present() == ()
    store.append(examination, Entry(id=uuid4(), undoes=undo.id))
    assert [f.response for f in store.examination(examination).present()] == ["reduced"]
    assert len(store.history(examination)) == 3


def test_withdrawing_makes_a_test_not_tested_again(store: Store):
    examination = begun(store)
    store.append(examination, entry(finding(), finding("normal", Side.LEFT)))
    store.append(examination, entry(finding("not_tested")))
    assert [(f.side, f.response) for f in store.examination(examination).present()] == [
        (Side.LEFT, "normal")
    ]


def test_story_old_findings_and_time_are_derived(store: Store):
    examination = begun(store)
    pair = ("light_direct", Side.RIGHT)
    stored = store.append(
        examination, entry(finding(), story=Story(age=61), known_old=(pair,))
    ).stored
    now = store.examination(examination)
    assert now.story.age == 61
    assert now.known_old == (pair,)
    assert now.findings[0].at == stored.at
    store.append(examination, Entry(id=uuid4(), not_old=(pair,)))
    assert store.examination(examination).known_old == ()


def test_unknown_examination_and_patient_are_refused(store: Store):
    with pytest.raises(BadInput, match="examination"):
        store.append("nowhere", entry(finding()))
    with pytest.raises(BadInput, match="patient"):
        store.begin("nobody")
    with pytest.raises(BadInput, match="patient"):
        store.add_patient("  ", invented=False)
    assert store.examinations() == ()


def test_beginning_twice_begins_once(store: Store):
    patient = store.add_patient("Bed 4", invented=False)
    identity = str(uuid4())
    assert store.begin(patient, examination=identity) == identity
    assert store.begin(patient, examination=identity) == identity
    assert [head.id for head in store.examinations()] == [identity]


def test_a_file_that_is_no_database_is_refused_and_left_alone(tmp_path: Path):
    file = tmp_path / "letter.txt"
    file.write_text("Dear colleague, " * 100)
    with pytest.raises(BadInput, match="database file"):
        Store(file)
    assert file.read_text().startswith("Dear colleague")


def test_a_newer_file_is_refused(tmp_path: Path):
    Store(tmp_path / "a.db").close()
    with sqlite3.connect(tmp_path / "a.db") as connection:
        connection.execute("update store_version set version = ?", (SCHEMA_VERSION + 1,))
    with pytest.raises(BadInput, match="database version"):
        Store(tmp_path / "a.db")


def test_the_store_has_no_way_to_change_or_delete():
    text = Path(sys.modules[Store.__module__].__file__).read_text()
    assert "update(" not in text
    assert "delete(" not in text


@given(
    st.lists(
        st.tuples(st.sampled_from(["reduced", "absent", "normal", "not_tested"]), st.booleans()),
        max_size=12,
    ),
    st.data(),
)
@settings(max_examples=60, deadline=None)
def test_undoing_every_entry_from_the_last_leaves_nothing(acts, data):
    from datetime import UTC, datetime

    history: list[StoredEntry] = []
    for number, (response, right) in enumerate(acts, start=1):
        side = Side.RIGHT if right else Side.LEFT
        made = Entry(id=UUID(int=number), findings=(finding(response, side),))
        history.append(StoredEntry(number, datetime.now(UTC), made))
    expected = {}
    for stored in history:
        found = stored.entry.findings[0]
        expected[found.side] = found.response
    now = present_state("e", "", True, history)
    assert {f.side: f.response for f in now.present()} == {
        side: code for side, code in expected.items() if code != "not_tested"
    }
    number = len(history)
    while (left := in_force([*history])) and any(s.entry.undoes is None for s in left):
        number += 1
        last = [s for s in left if s.entry.undoes is None][-1]
        undo = Entry(id=UUID(int=1000 + number), undoes=last.entry.id)
        history.append(StoredEntry(number, datetime.now(UTC), undo))
    assert present_state("e", "", True, history).findings == ()
    assert len(history) == 2 * len(acts)


def test_a_full_disk_is_said_and_leaves_the_record_as_it_was(store: Store):
    examination = begun(store)
    store.append(examination, entry(finding()))
    # SQLite itself then refuses to grow the file, as it does on a full disk (SQLITE_FULL).
    with store._engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA max_page_count = 1")
    too_long = entry(finding(), story=Story(age=50), unread=(long_text(100_000),))
    before = store.history(examination)
    with pytest.raises(NotSaved, match="full"):
        store.append(examination, too_long)
    assert store.history(examination) == before


def test_the_file_is_for_its_owner_only(store: Store, tmp_path: Path):
    begun(store)
    for file in (tmp_path / "folder").iterdir():
        assert file.stat().st_mode & 0o077 == 0, file.name


WRITER = """
import sys
from uuid import uuid4
from decussate.examination.record import Finding
from decussate.records import Entry, Store
store = Store(sys.argv[1])
examination = store.begin(store.add_patient("Bed 1", invented=True))
print(examination, flush=True)
while True:
    entry = Entry(id=uuid4(), findings=(Finding(test="weber", response="normal"),))
    store.append(examination, entry)
    print(entry.id, flush=True)
"""


@pytest.mark.parametrize("acknowledged", [1, 7, 40])
def test_killing_the_program_loses_nothing_acknowledged(tmp_path: Path, acknowledged: int):
    file = tmp_path / "records.db"
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(file)], stdout=subprocess.PIPE, text=True
    )
    assert writer.stdout is not None
    examination = writer.stdout.readline().strip()
    said = [writer.stdout.readline().strip() for _ in range(acknowledged)]
    os.kill(writer.pid, signal.SIGKILL)
    said += writer.stdout.read().split()
    writer.wait()
    store = Store(file)
    kept = [str(stored.entry.id) for stored in store.history(examination)]
    # The last line may be cut off in the pipe, and the last entry saved but not yet said.
    whole = [line for line in said if len(line) == 36]
    assert kept[: len(whole)] == whole
    assert len(kept) - len(whole) <= 1
    with sqlite3.connect(file) as connection:
        assert connection.execute("pragma integrity_check").fetchone() == ("ok",)
    store.close()
