"""Encryption at rest: nothing readable on the disk, nothing lost, and no key but the right one."""

import os
import random
import signal
import subprocess
import sys
import time
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from uuid import UUID, uuid4

import pytest
import sqlcipher3.dbapi2 as sqlcipher
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.examination.record import Finding
from decussate.records import Entry, Store
from decussate.records.backup import back_up, restore
from decussate.records.database import PRAGMAS
from decussate.records.demo import load_demo
from decussate.records.encryption import (
    KEY_FILE,
    PASSPHRASE,
    Key,
    is_encrypted,
    new_key_file,
    new_passphrase,
    open_file,
    present_key,
    unlocking,
)
from decussate.records.rewriting import rewrite
from decussate.records.schema import copy_sqlite
from decussate.records.transfer import check_file, export_records, row_lines

CANARY = "Canary Quillfeather-Østby"
WORDS = "orbit lantern seven herring"
KEY, OTHER = Key.of_passphrase(WORDS), Key(bytes(range(32)), stretched=False)


def filled(database: Path | str, key: Key | None) -> Store:
    store = Store(database, by="an invented owner", key=key)
    examination = store.begin(store.add_patient(CANARY, invented=True))
    comment = f"{CANARY} could not see the pin"
    finding = Finding(test="weber", response="normal", comment=comment)
    for number in range(40):
        store.append(examination, Entry(id=UUID(int=number + 1), findings=(finding,)))
    return store


def rows(store: Store) -> list[bytes]:
    with store.database.reading() as connection:
        return list(row_lines(connection))


def files_that_tell(folder: Path) -> set[str]:
    """Files in which the invented name can be read."""
    return {
        file.name
        for file in folder.rglob("*")
        if file.is_file()
        for written in (CANARY.encode(), CANARY.encode("utf-16-le"), b"Quillfeather")
        if written in file.read_bytes()
    }


def keep_everything(folder: Path, key: Key | None) -> None:
    """Write a database and everything that is made from one, and leave its log on the disk."""
    store = filled(folder / "records.db", key)
    assert (folder / "records.db-wal").stat().st_size > 0
    back_up(store, folder / "backup.jsonl")
    export_records(store, folder / "export.jsonl")
    copy_sqlite(folder / "records.db", folder / "records.db.of-0001", key)


@pytest.mark.parametrize("key", [KEY, OTHER], ids=["passphrase", "key file"])
def test_no_name_can_be_read_in_any_file_of_an_encrypted_store(tmp_path: Path, key: Key):
    keep_everything(tmp_path, key)
    assert {file.name for file in tmp_path.iterdir()} >= {
        "records.db", "records.db-wal", "backup.jsonl", "export.jsonl", "records.db.of-0001",
    }  # fmt: skip
    assert files_that_tell(tmp_path) == set()


def test_this_check_finds_the_name_where_nothing_is_encrypted(tmp_path: Path):
    keep_everything(tmp_path, None)
    assert files_that_tell(tmp_path) >= {"records.db-wal", "backup.jsonl", "export.jsonl"}


def test_the_journal_of_a_rollback_is_encrypted_too(tmp_path: Path):
    """The store itself uses a write-ahead log; an older SQLite tool may leave a journal."""
    filled(tmp_path / "records.db", KEY).close()
    with closing(open_file(tmp_path / "records.db", KEY, new=True)) as connection:
        connection.execute("PRAGMA journal_mode = PERSIST")
        connection.execute("UPDATE patient SET label = label || ' again'")
    assert (tmp_path / "records.db-journal").stat().st_size > 4096
    assert files_that_tell(tmp_path) == set()


def test_a_file_made_with_a_passphrase_opens_with_sqlcipher_alone(tmp_path: Path):
    """The library stretches the passphrase itself here: an independent check of ours."""
    filled(tmp_path / "records.db", Key.of_passphrase('it\'s a "quoted" phrase')).close()
    with closing(sqlcipher.connect(str(tmp_path / "records.db"))) as connection:
        connection.execute("PRAGMA key = 'it''s a \"quoted\" phrase'")
        assert connection.execute("SELECT label FROM patient").fetchall() == [(CANARY,)]


def test_an_encrypted_connection_keeps_the_same_word(tmp_path: Path):
    store = filled(tmp_path / "records.db", KEY)
    with store.database.engine.connect() as connection:
        for name, wanted in PRAGMAS.items():
            assert connection.exec_driver_sql(f"PRAGMA {name}").scalar() == wanted, name
        assert connection.exec_driver_sql("PRAGMA cipher_version").scalar()
        assert connection.exec_driver_sql("PRAGMA temp_store").scalar() in (0, 2)
        options = connection.exec_driver_sql("PRAGMA compile_options").scalars().all()
        assert "TEMP_STORE=2" in options  # what does not fit in memory is not put in a plain file
    store.close()


@pytest.mark.parametrize("key", [Key.of_passphrase("another phrase, long enough"), OTHER])
def test_a_wrong_key_is_refused_in_one_sentence_and_changes_nothing(
    tmp_path: Path, key: Key, capfd: pytest.CaptureFixture[str]
):
    filled(tmp_path / "records.db", KEY).close()
    before = (tmp_path / "records.db").read_bytes()
    with pytest.raises(BadInput, match=r"key: found .*the key with which .* Nothing was changed"):
        Store(tmp_path / "records.db", key=key)
    assert (tmp_path / "records.db").read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == ["records.db"]
    assert capfd.readouterr() == ("", "")  # the library does not talk past us
    store = Store(tmp_path / "records.db", key=KEY)
    assert store.verify().problems == ()
    store.close()


def test_no_key_for_an_encrypted_file_and_a_key_for_a_plain_one_are_refused(tmp_path: Path):
    filled(tmp_path / "encrypted.db", KEY).close()
    with pytest.raises(BadInput, match="encrypted, or no database at all"):
        Store(tmp_path / "encrypted.db")
    filled(tmp_path / "plain.db", None).close()
    with pytest.raises(BadInput, match=r"not encrypted.*decussate encryption on"):
        Store(tmp_path / "plain.db", key=KEY)
    Store(tmp_path / "plain.db").close()


def test_a_changed_page_is_found(tmp_path: Path):
    store = filled(tmp_path / "records.db", KEY)
    assert store.verify().problems == ()
    store.close()
    file = tmp_path / "records.db"
    held = bytearray(file.read_bytes())
    held[-4096 + 100] ^= 1
    file.write_bytes(held)
    store = Store(file, key=KEY)
    problems = store.verify().problems
    assert any("HMAC verification failed" in problem for problem in problems)
    assert any("cannot be read" in problem for problem in problems)
    store.close()


def test_programs_that_begin_a_database_together_agree_on_it(tmp_path: Path):
    program = (
        "import sys; from pathlib import Path; from decussate.records import Store; "
        "store = Store(Path(sys.argv[1])); store.add_patient('Bed 1', invented=True); store.close()"
    )
    environment = os.environ | {PASSPHRASE: WORDS}
    running = [
        subprocess.Popen([sys.executable, "-c", program, tmp_path / "new.db"], env=environment)
        for _ in range(3)
    ]
    assert [process.wait(60) for process in running] == [0, 0, 0]
    assert [file.name for file in tmp_path.iterdir()] == ["new.db"]
    store = Store(tmp_path / "new.db", key=KEY)
    assert store.verify().links == 3
    store.close()


# The key


def test_a_key_does_not_show_itself():
    assert WORDS not in repr(KEY)
    assert OTHER.secret.hex() not in repr(OTHER)
    assert "secret" not in repr(OTHER)


def test_a_key_file_is_for_its_owner_only(tmp_path: Path):
    key = new_key_file(tmp_path / "owner.key")
    assert (tmp_path / "owner.key").stat().st_mode & 0o777 == 0o600
    assert Key.of_file(tmp_path / "owner.key") == key
    assert len(set(key.secret)) > 8
    (tmp_path / "owner.key").chmod(0o640)
    with pytest.raises(BadInput, match=r"mode 640.*chmod 600"):
        Key.of_file(tmp_path / "owner.key")
    with pytest.raises(BadInput, match="File exists"):
        new_key_file(tmp_path / "owner.key")


@pytest.mark.parametrize("held", ["", "secret", "ab" * 31, "zz" * 32, "ab" * 33, "äb" * 32])
def test_a_key_file_that_holds_no_key_is_refused(tmp_path: Path, held: str):
    file = tmp_path / "owner.key"
    file.write_text(held)
    file.chmod(0o600)
    with pytest.raises(BadInput, match="64 hexadecimal digits"):
        Key.of_file(file)


def test_a_new_passphrase_is_long_enough_and_the_same_however_it_was_typed():
    with pytest.raises(BadInput, match=r"14 characters.*at least 15"):
        new_passphrase("x" * 14)
    composed, decomposed = "Zo\u00eb reads nine maps", "Zoe\u0308 reads nine maps"
    assert new_passphrase(composed) == new_passphrase(decomposed)


def test_the_key_comes_from_the_environment_unless_one_is_offered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    assert present_key() is None
    monkeypatch.setenv(PASSPHRASE, WORDS)
    assert present_key() == KEY
    with unlocking(OTHER):
        assert present_key() == OTHER
    with unlocking(None):
        assert present_key() is None
    new_key_file(tmp_path / "owner.key")
    monkeypatch.setenv(KEY_FILE, str(tmp_path / "owner.key"))
    with pytest.raises(BadInput, match="one of them"):
        present_key()
    monkeypatch.delenv(PASSPHRASE)
    assert present_key() == Key.of_file(tmp_path / "owner.key")


# Encrypting, giving another key, making plain again


@given(
    keys=st.lists(st.sampled_from([None, KEY, OTHER]), min_size=2, max_size=5).filter(
        lambda keys: all(a != b for a, b in pairwise(keys))
    )
)
@settings(max_examples=8, deadline=None)
def test_rewriting_keeps_every_row(tmp_path_factory: pytest.TempPathFactory, keys):
    folder = tmp_path_factory.mktemp("rewriting")
    store = filled(folder / "records.db", keys[0])
    load_demo(store)
    before = rows(store)
    store.close()
    for old, new in pairwise(keys):
        rewrite(folder / "records.db", old, new)
        assert is_encrypted(folder / "records.db") == (new is not None)
    assert {file.name for file in folder.iterdir()} == {"records.db"}
    assert (folder / "records.db").stat().st_mode & 0o077 == 0
    store = Store(folder / "records.db", key=keys[-1])
    assert rows(store) == before
    assert store.verify().problems == ()
    store.append(store.examinations()[0].id, Entry(id=uuid4()))  # and it goes on
    store.close()


def test_the_plain_file_is_overwritten_once_the_encrypted_one_has_its_name(tmp_path: Path):
    filled(tmp_path / "records.db", None).close()
    with (tmp_path / "records.db").open("rb") as old:  # as its blocks would be found on the disk
        assert CANARY.encode() in old.read()
        rewrite(tmp_path / "records.db", None, KEY)
        old.seek(0)
        assert set(old.read()) == {0}


def test_the_file_behind_a_link_is_rewritten_and_the_link_stays(tmp_path: Path):
    (tmp_path / "elsewhere").mkdir()
    file, link = tmp_path / "elsewhere" / "records.db", tmp_path / "records.db"
    filled(file, None).close()
    link.symlink_to(file)
    rewrite(link, None, KEY)
    assert link.is_symlink()
    assert is_encrypted(file)
    Store(link, key=KEY).close()


def test_a_file_with_a_second_name_is_not_rewritten(tmp_path: Path):
    """It might be yesterday's copy: some programs copy whole disks by such links."""
    filled(tmp_path / "records.db", None).close()
    (tmp_path / "yesterday.db").hardlink_to(tmp_path / "records.db")
    before = (tmp_path / "yesterday.db").read_bytes()
    with pytest.raises(BadInput, match="hard link"):
        rewrite(tmp_path / "records.db", None, KEY)
    assert (tmp_path / "yesterday.db").read_bytes() == before
    assert {file.name for file in tmp_path.iterdir()} == {"records.db", "yesterday.db"}


@pytest.mark.skipif(os.name != "posix", reason="permissions as POSIX has them")
def test_owner_and_permissions_stay_and_others_get_none(tmp_path: Path, monkeypatch):
    file = tmp_path / "records.db"
    filled(file, None).close()
    file.chmod(0o664)
    given: list[tuple[int, int]] = []
    monkeypatch.setattr(os, "fchown", lambda _, user, group: given.append((user, group)))
    rewrite(file, None, KEY)
    assert file.stat().st_mode & 0o777 == 0o660
    assert given == []
    true_fstat = os.fstat

    def anothers(descriptor: int) -> os.stat_result:
        found = list(true_fstat(descriptor))
        if found[6]:  # the old file, which alone holds something
            found[4:6] = 4001, 4002
        return os.stat_result(found)

    monkeypatch.setattr(os, "fstat", anothers)
    rewrite(file, KEY, None)
    assert given == [(4001, 4002)]

    def not_allowed(*_: int) -> None:
        raise PermissionError

    monkeypatch.setattr(os, "fchown", not_allowed)
    before = file.read_bytes()
    with pytest.raises(BadInput, match="another user"):
        rewrite(file, None, KEY)
    assert file.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["records.db"]


def run_rewrite(file: Path) -> subprocess.CompletedProcess[str]:
    """Encrypt in another program, as the command does: locks are between programs."""
    program = (
        "import sys; from pathlib import Path\n"
        "from decussate.records.encryption import Key\n"
        "from decussate.records.rewriting import rewrite\n"
        "rewrite(Path(sys.argv[1]), None, Key.of_passphrase(sys.argv[2]))"
    )
    arguments = [sys.executable, "-c", program, str(file), WORDS]
    return subprocess.run(arguments, capture_output=True, text=True)


def test_a_database_in_use_is_not_rewritten(tmp_path: Path):
    store = filled(tmp_path / "records.db", None)
    assert "found 'in use'" in run_rewrite(tmp_path / "records.db").stderr
    assert [file.name for file in tmp_path.glob("*.rewritten")] == []
    store.append(store.examinations()[0].id, Entry(id=uuid4()))
    store.close()
    assert run_rewrite(tmp_path / "records.db").returncode == 0
    Store(tmp_path / "records.db", key=KEY).close()


def test_a_wrong_key_rewrites_nothing(tmp_path: Path):
    filled(tmp_path / "records.db", KEY).close()
    before = (tmp_path / "records.db").read_bytes()
    for old, said in ((OTHER, "the key with which"), (None, "one that is not encrypted")):
        with pytest.raises(BadInput, match=said):
            rewrite(tmp_path / "records.db", old, None)
    assert (tmp_path / "records.db").read_bytes() == before


def test_killed_at_any_moment_there_is_one_whole_database(tmp_path: Path):
    file, chance = tmp_path / "records.db", random.Random(6)
    store = filled(file, None)
    before = rows(store)
    store.close()
    start = time.monotonic()
    rewrite(file, None, KEY)
    lasts = time.monotonic() - start
    key: Key | None = KEY
    for number in range(12):
        new = (None, KEY, OTHER)[number % 3]
        process = os.fork()
        if process == 0:
            try:
                if new != key:
                    rewrite(file, key, new)
            finally:
                os._exit(0)
        time.sleep(chance.uniform(0, 1.2 * lasts))
        os.kill(process, signal.SIGKILL)
        os.waitpid(process, 0)
        if is_encrypted(file) != (key is not None) or not opens(file, key):
            key = new
        store = Store(file, key=key)
        assert rows(store) == before
        store.close()


def opens(file: Path, key: Key | None) -> bool:
    try:
        open_file(file, key).close()
    except BadInput:
        return False
    return True


# Backups and exports


def test_a_backup_is_under_the_key_of_its_store_and_opens_with_no_other(tmp_path: Path):
    store = filled(tmp_path / "records.db", KEY)
    made = back_up(store, tmp_path / "backup")
    before = rows(store)
    store.close()
    assert is_encrypted(tmp_path / "backup")
    assert (tmp_path / "backup").stat().st_mode & 0o077 == 0
    with pytest.raises(BadInput, match="its key, or an export"):
        check_file(tmp_path / "backup")
    with unlocking(OTHER), pytest.raises(BadInput, match="the key with which"):
        restore(tmp_path / "backup", tmp_path / "new.db")
    assert not (tmp_path / "new.db").exists()
    with unlocking(KEY):
        assert restore(tmp_path / "backup", tmp_path / "new.db").manifest == made
        store = Store(tmp_path / "new.db")
    assert is_encrypted(tmp_path / "new.db")
    assert rows(store)[: len(before)] == before
    store.close()


def test_an_encrypted_store_can_be_exported_as_plain_text_when_asked(tmp_path: Path):
    store = filled(tmp_path / "records.db", KEY)
    export_records(store, tmp_path / "plain.jsonl", plain=True)
    store.close()
    assert check_file(tmp_path / "plain.jsonl").entries == 40
    assert files_that_tell(tmp_path) == {"plain.jsonl"}


def test_a_key_encrypts_the_backups_of_postgresql(postgres, tmp_path: Path):
    store = filled(postgres.new_database(), KEY)
    made = back_up(store, tmp_path / "backup")
    store.close()
    assert files_that_tell(tmp_path) == set()
    with unlocking(KEY):
        assert check_file(tmp_path / "backup") == made


@pytest.fixture(scope="module")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sealed")
    store = filled(folder / "records.db", OTHER)
    export_records(store, folder / "export")
    store.close()
    return folder / "export"


@given(st.data())
@settings(max_examples=80, deadline=None)
def test_an_encrypted_export_with_any_one_byte_changed_is_refused(sealed: Path, data):
    whole = sealed.read_bytes()
    place = data.draw(st.integers(0, len(whole) - 1))
    change = data.draw(st.integers(1, 255))
    file = sealed.with_name("changed")
    file.write_bytes(whole[:place] + bytes([whole[place] ^ change]) + whole[place + 1 :])
    with unlocking(OTHER), pytest.raises(BadInput):
        check_file(file)


@pytest.mark.parametrize("pages", [0, 1, 2, 5])
def test_an_encrypted_export_that_stops_early_is_refused(sealed: Path, pages: int):
    file = sealed.with_name("cut")
    file.write_bytes(sealed.read_bytes()[: 4096 * pages])
    with unlocking(OTHER), pytest.raises(BadInput):
        check_file(file)
