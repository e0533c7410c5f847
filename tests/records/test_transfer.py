"""Export, import, backup, restore: everything comes back, and nothing damaged is taken."""

import hashlib
import json
import resource
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import UUID, uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.examination.record import Finding
from decussate.records import Entry, Store
from decussate.records.backup import back_up, restore
from decussate.records.deidentified import export_without_identity
from decussate.records.demo import load_demo
from decussate.records.encryption import Key
from decussate.records.importing import import_records
from decussate.records.line_files import read_lines
from decussate.records.transfer import export_records, row_lines


def content(store: Store) -> dict[str, object]:
    """Everything a person can see in a store."""
    return {
        head.id: (
            head.label, head.invented, head.opened_at, store.examination(head.id),
            [(stored.at, stored.entry) for stored in store.history(head.id)],
        )
        for head in store.examinations()
    }  # fmt: skip


def rows(store: Store) -> list[bytes]:
    with store.database.reading() as connection:
        return list(row_lines(connection))


@pytest.fixture
def filled(store: Store) -> Store:
    load_demo(store)
    examination = store.begin(store.add_patient("Zoë Ω, “bed 4”, invented", invented=True))
    finding = Finding(test="light_direct", side="left", response="reduced", comment="träge\n—")
    store.append(examination, Entry(id=uuid4(), findings=(finding,)))
    return store


@pytest.fixture
def other(request: pytest.FixtureRequest, address: Path | str, tmp_path: Path) -> Path | str:
    """An empty database of the other kind than `address`."""
    if isinstance(address, Path):
        return request.getfixturevalue("postgres").new_database()
    return tmp_path / "other.db"


def test_a_backup_restores_to_the_same_records_in_the_other_database(
    filled: Store, other: Path | str, tmp_path: Path
):
    made = back_up(filled, tmp_path / "backup.jsonl")
    heads = filled.examinations()
    patients = {head.patient for head in heads}
    assert (made.patients, made.examinations) == (len(patients), len(heads))
    assert made.entries == sum(head.entries for head in heads) > 8
    before = rows(filled)
    assert restore(tmp_path / "backup.jsonl", other, by="the keeper").trail_kept
    there = Store(other)
    assert content(there) == content(filled)
    assert rows(there)[: len(before)] == before  # letter for letter, audit trail included
    (link,) = rows(there)[len(before) :]
    assert b'"action":"restored"' in link
    assert b'"by":"the keeper"' in link
    assert there.verify(passes=made.head).problems == ()
    examination = there.examinations()[0].id
    there.append(examination, Entry(id=uuid4()))  # and it goes on from there
    assert there.verify(passes=made.head).problems == ()
    there.close()


def test_the_checksum_is_that_of_the_bytes_before_the_last_line(filled: Store, tmp_path: Path):
    file = tmp_path / "all.jsonl"
    manifest = export_records(filled, file)
    lines = [line for _, line in read_lines(file)]
    last = json.loads(lines[-1])
    assert last == {"sha256": hashlib.sha256(b"".join(lines[:-1])).hexdigest()}
    kinds = [next(iter(json.loads(line))) for line in lines[1:-1]]
    assert {kind: kinds.count(kind) for kind in kinds} == {
        "patient": manifest.patients, "examination": manifest.examinations,
        "entry": manifest.entries, "link": manifest.links,
    }  # fmt: skip
    assert file.stat().st_mode & 0o077 == 0
    assert [path.name for path in tmp_path.glob("*.part")] == []


def test_an_export_does_not_overwrite(filled: Store, tmp_path: Path):
    file = tmp_path / "all.jsonl"
    file.write_text("something dear")
    with pytest.raises(BadInput, match="a new name"):
        export_records(filled, file)
    assert file.read_text() == "something dear"


def test_an_export_to_a_place_that_cannot_be_written_says_so(filled: Store, tmp_path: Path):
    with pytest.raises(BadInput, match="No such file"):
        export_records(filled, tmp_path / "nowhere" / "all.jsonl")


def test_import_of_other_records_with_the_same_identities_changes_nothing(
    filled: Store, other, tmp_path: Path
):
    there = Store(other, by="the other owner")
    load_demo(there)
    own = there.begin(there.add_patient("Bed 11, invented", invented=True))
    there.append(own, Entry(id=uuid4()))
    mine = content(there)
    file = tmp_path / "all.jsonl"
    export_records(filled, file)
    # The demo was begun in both, at two times: two records with one identity.
    with pytest.raises(BadInput, match=r"patient .*opened_at"):
        import_records(there, file)
    assert content(there) == mine
    there.close()


def test_import_twice_adds_nothing_the_second_time(filled: Store, other, tmp_path: Path):
    file = tmp_path / "all.jsonl"
    manifest = export_records(filled, file)
    there = Store(other, by="the other owner")
    own = there.begin(there.add_patient("Bed 11, invented", invented=True))
    there.append(own, Entry(id=uuid4()))
    mine = content(there)
    done = import_records(there, file)
    rows_in_file = manifest.patients + manifest.examinations + manifest.entries
    assert (done.added, done.already, done.trail_kept) == (rows_in_file, 0, False)
    again = import_records(there, file)
    assert (again.added, again.already) == (0, rows_in_file)
    assert content(there) == mine | content(filled)
    assert there.verify().problems == ()
    assert manifest.head in rows(there)[-1].decode()  # the trail names the head of the file's
    there.close()


def test_restore_refuses_a_database_in_use(filled: Store, address, tmp_path: Path):
    file = tmp_path / "all.jsonl"
    back_up(filled, file)
    before = content(filled)
    with pytest.raises(BadInput, match="a new or empty one"):
        restore(file, address)
    assert content(filled) == before


def test_a_database_that_does_not_verify_is_not_backed_up(filled: Store, tmp_path: Path):
    with filled.database.writing() as connection:
        connection.exec_driver_sql("update patient set label = 'someone else'")
    with pytest.raises(BadInput, match=r"was changed.*a database that verifies"):
        back_up(filled, tmp_path / "backup.jsonl")
    assert not (tmp_path / "backup.jsonl").exists()
    export_records(filled, tmp_path / "all.jsonl")  # what is there can still be saved
    with pytest.raises(BadInput, match="fit its link"):
        restore(tmp_path / "all.jsonl", tmp_path / "new.db")
    new = Store(tmp_path / "new.db")
    assert new.examinations() == ()
    new.close()


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes]:
    """An export of one entry, and its bytes."""
    folder = tmp_path_factory.mktemp("small")
    store = Store(folder / "records.db")
    examination = store.begin(store.add_patient("Bed 1, invented", invented=True))
    store.append(examination, Entry(id=UUID(int=1)))
    export_records(store, folder / "all.jsonl")
    store.close()
    return folder, (folder / "all.jsonl").read_bytes()


@given(st.data())
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_file_with_any_one_byte_changed_is_refused(small: tuple[Path, bytes], data):
    folder, whole = small
    place = data.draw(st.integers(0, len(whole) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda new: new != whole[place]))
    file = folder / "changed.jsonl"
    file.write_bytes(whole[:place] + bytes([byte]) + whole[place + 1 :])
    with pytest.raises(BadInput):
        restore(file, folder / "changed.db")
    assert not (folder / "changed.db").exists()


@given(st.data())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_file_that_stops_early_or_goes_on_is_refused(small: tuple[Path, bytes], data):
    folder, whole = small
    file = folder / "cut.jsonl"
    more = data.draw(st.binary(min_size=1, max_size=9))
    cut = whole[: data.draw(st.integers(0, len(whole) - 1))]
    file.write_bytes(data.draw(st.sampled_from([cut, whole + more])))
    with pytest.raises(BadInput):
        restore(file, folder / "cut.db")
    assert not (folder / "cut.db").exists()


def resealed(lines: list[bytes]) -> bytes:
    """Lines with a checksum that fits them, as someone who knows the format could make."""
    body = b"".join(lines)
    return body + json.dumps({"sha256": hashlib.sha256(body).hexdigest()}).encode() + b"\n"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b'"label":"Bed 1', b'"label":"Bed 2', "fit its link"),
        (b'"entries":1', b'"entries":2', "rows"),
        (b'"invented":true', b'"invented":"yes"', "line 2.*valid boolean"),
        (b'"opened_at":"2', b'"opened_at":"x', "line 2.*a date and time with its zone"),
        (b'"opened_at":"2', b'"opened_at":"0', "line 2.*years 1900 to 2200"),
        (b'"at":"2', b'"at":"9', "line 4.*years 1900 to 2200"),
        (b'{"patient":', b'{"person":', "line 2.*one row"),
        (b'"version":2', b'"version":3', "line 1.*version"),
        (b'{\\"id\\"', b'{\\"no\\"', "line 4"),
        (b'0001\\"}"}}', b'0002\\"}"}}', "identity of the entry"),
    ],
)
def test_a_changed_file_with_a_new_checksum_is_refused(small, old: bytes, new: bytes, said: str):
    folder, whole = small
    assert old in whole
    file = folder / "forged.jsonl"
    file.write_bytes(resealed(whole.replace(old, new, 1).splitlines(keepends=True)[:-1]))
    with pytest.raises(BadInput, match=said):
        restore(file, folder / "forged.db")
    new_store = Store(folder / "forged.db")
    assert new_store.examinations() == ()
    new_store.close()


@pytest.mark.parametrize(
    ("label", "said"),
    [("\x1b]0;title\x07Bed 1", "control"), ("x" * 501, "at most 500"), (" ", "a name or a bed")],
)
def test_a_label_nobody_could_have_typed_is_not_imported(small, tmp_path, label: str, said: str):
    """A terminal would obey it, or no page could show the examination again (CWE-150)."""
    lines = small[1].splitlines(keepends=True)[:-1]
    row = json.loads(lines[1])
    row["patient"]["label"] = label
    file = tmp_path / "forged.jsonl"
    file.write_bytes(resealed([lines[0], json.dumps(row).encode() + b"\n", *lines[2:]]))
    store = Store(tmp_path / "records.db")
    store.record_act("seen", "something, so that it is in use")
    with pytest.raises(BadInput, match=said):
        import_records(store, file)
    with pytest.raises(BadInput, match=said):
        store.add_patient(label, invented=True)
    assert store.examinations() == ()
    store.close()


def test_the_name_of_an_export_is_no_way_to_another_file(filled: Store, tmp_path: Path):
    """A link, or a file open to all, laid beforehand where the unfinished export would be."""
    target = tmp_path / "open to all"
    target.touch(mode=0o666)
    for name in ("all.jsonl.part", "people.jsonl.part"):
        (tmp_path / name).symlink_to(target)
    export_records(filled, tmp_path / "all.jsonl")
    export_without_identity(filled, tmp_path / "people.jsonl")
    assert target.read_bytes() == b""
    for name in ("all.jsonl", "people.jsonl"):
        assert (tmp_path / name).stat().st_mode & 0o077 == 0
        assert not (tmp_path / name).is_symlink()


@contextmanager
def files_no_larger_than(size: int) -> Iterator[None]:
    """As on a disk that is full: what would grow beyond is refused to whoever writes it."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    signalled = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, signalled)


@pytest.mark.parametrize("key", [None, Key(b"invented" * 4, stretched=False)])
def test_a_full_disk_is_said_and_leaves_nothing_behind(tmp_path: Path, key: Key | None):
    store = Store(tmp_path / "records.db", key=key)
    load_demo(store)
    export_records(store, tmp_path / "all.jsonl")
    store.close()  # which empties its log, so that the log has room
    store = Store(tmp_path / "records.db", key=key)
    before = set(tmp_path.iterdir())
    with (
        files_no_larger_than((tmp_path / "all.jsonl").stat().st_size // 2),
        pytest.raises(BadInput, match="a place that can be written"),
    ):
        export_records(store, tmp_path / "again.jsonl")
    assert set(tmp_path.iterdir()) <= before
    assert store.verify().problems == ()
    store.close()


@pytest.mark.parametrize("broken", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_backup_that_could_not_be_tried_does_not_keep_its_name(
    filled: Store, tmp_path: Path, monkeypatch, broken: BaseException
):
    def fails(*_: object, **__: object) -> None:
        raise broken

    monkeypatch.setattr("decussate.records.backup.restore", fails)
    with pytest.raises((BadInput, KeyboardInterrupt), match=r"No space|^$"):
        back_up(filled, tmp_path / "backup.jsonl")
    assert not (tmp_path / "backup.jsonl").exists()
    assert (tmp_path / "backup.jsonl.unproved").exists()


def test_a_line_without_end_is_not_read_into_memory(tmp_path: Path, monkeypatch):
    monkeypatch.setattr("decussate.records.line_files.LONGEST_LINE", 1000)
    (tmp_path / "long.jsonl").write_bytes(b"{" + b"x" * 5000)
    with pytest.raises(BadInput, match="at most 1,000 bytes"):
        restore(tmp_path / "long.jsonl", tmp_path / "new.db")
