"""``decussate encryption``: a key put on, changed and taken off, and never on the command line."""

import os
import re
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from decussate.cli import main
from decussate.records import Store
from decussate.records.demo import load_demo
from decussate.records.disk import disk_is_encrypted
from decussate.records.encryption import KEY_FILE, PASSPHRASE, Key, is_encrypted
from postgres_server import PROGRAMS, WHY_NOT, PostgresServer

WORDS = "orbit lantern seven herring"


def run(*arguments: object, typed: str = "") -> Result:
    done = CliRunner().invoke(main, [str(argument) for argument in arguments], input=typed)
    assert done.exception is None or isinstance(done.exception, SystemExit)  # said in words
    return done


@pytest.fixture
def database(tmp_path: Path) -> Path:
    store = Store(tmp_path / "records.db")
    load_demo(store)
    store.close()
    return tmp_path / "records.db"


@pytest.fixture
def key_file(tmp_path: Path) -> Path:
    made = run("encryption", "new-key", tmp_path / "owner.key")
    assert made.exit_code == 0, made.output
    assert "Keep a copy of the key apart" in made.output
    return tmp_path / "owner.key"


def test_on_then_everything_with_the_key_then_off(database: Path, key_file: Path, tmp_path: Path):
    done = run("encryption", "on", "--database", database, "--key-file", key_file)
    assert done.exit_code == 0, done.output
    assert "is encrypted" in done.output
    assert is_encrypted(database)
    without = run("search", "bed", "--database", database)
    assert without.exit_code == 1
    assert "--key-file" in without.output
    key = ("--key-file", key_file)
    assert run("audit", "--verify", "--database", database, *key).exit_code == 0
    assert "encrypted store records.db" in run("audit", "--database", database, *key).output
    backup, new = tmp_path / "backup", tmp_path / "new.db"
    assert run("backup", backup, "--database", database, *key).exit_code == 0
    assert is_encrypted(backup)
    assert run("restore", backup, "--database", new, *key).exit_code == 0
    assert is_encrypted(new)
    plain = tmp_path / "plain.jsonl"
    assert run("export", plain, "--plain", "--database", database, *key).exit_code == 0
    assert plain.read_bytes().startswith(b'{"format":')
    done = run("encryption", "off", "--database", database, *key)
    assert done.exit_code == 0, done.output
    assert not is_encrypted(database)
    assert run("audit", "--verify", "--database", database).exit_code == 0


def test_off_while_the_environment_names_the_key(
    database: Path, key_file: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv(KEY_FILE, str(key_file))
    assert run("encryption", "on", "--database", database).exit_code == 0
    assert run("search", "bed", "--database", database).exit_code == 0
    off = run("encryption", "off", "--database", database)
    assert off.exit_code == 0, off.output
    assert not is_encrypted(database)


def test_a_passphrase_is_typed_unseen_and_twice(database: Path, monkeypatch: pytest.MonkeyPatch):
    short = run("encryption", "on", "--database", database, typed="short\nshort\n")
    assert short.exit_code == 1
    assert "at least 15" in short.output
    assert not is_encrypted(database)
    on = run("encryption", "on", "--database", database, typed=f"{WORDS}\n{WORDS}\n")
    assert on.exit_code == 0, on.output
    assert WORDS not in on.output
    monkeypatch.setattr("decussate.cli.options._person_is_there", lambda: True)
    wrong = run("search", "bed", "--database", database, typed="something else\n")
    assert wrong.exit_code == 1
    assert "the key with which the file was encrypted" in wrong.output
    right = run("search", "bed", "--database", database, typed=f"{WORDS}\n")
    assert right.exit_code == 0, right.output
    assert WORDS not in right.output


def test_change_gives_another_key(database: Path, key_file: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv(PASSPHRASE, WORDS)
    assert run("encryption", "on", "--database", database).exit_code == 0
    done = run("encryption", "change", "--new-key-file", key_file, "--database", database)
    assert done.exit_code == 0, done.output
    assert run("search", "bed", "--database", database).exit_code == 1
    monkeypatch.delenv(PASSPHRASE)
    assert run("search", "bed", "--database", database, "--key-file", key_file).exit_code == 0
    Store(database, key=Key.of_file(key_file)).close()


def test_the_present_key_is_no_other_key(database: Path, key_file: Path):
    """Who believes that the key was changed would hand out the old one."""
    assert run("encryption", "on", "--database", database, "--key-file", key_file).exit_code == 0
    before = database.read_bytes()
    words = ("--database", database, "--key-file", key_file, "--new-key-file", key_file)
    again = run("encryption", "change", *words)
    assert again.exit_code == 1
    assert "expected another key" in again.output
    assert database.read_bytes() == before


@pytest.mark.parametrize(
    "command", ["search x", "backup new", "encryption on", "audit", "people list"]
)
def test_a_folder_where_a_file_is_meant_is_refused_in_words(command: str, tmp_path: Path):
    refused = run(
        *command.split(), *(["x"] if command == "restore" else []), "--database", tmp_path
    )
    assert refused.exit_code == 1
    assert "directory" in refused.output.lower()


def test_a_database_is_no_export(database: Path, tmp_path: Path):
    refused = run("import", database, "--database", tmp_path / "new.db")
    assert refused.exit_code == 1
    assert "found 'a database', expected an export" in refused.output
    assert not (tmp_path / "new.db").exists()


def test_a_new_database_can_be_encrypted_from_its_beginning(tmp_path: Path, key_file: Path):
    done = run("encryption", "on", "--database", tmp_path / "new.db", "--key-file", key_file)
    assert done.exit_code == 0, done.output
    assert is_encrypted(tmp_path / "new.db")


def test_what_was_made_before_is_named(database: Path, key_file: Path):
    (database.parent / "records.db.of-0001").write_bytes(b"")
    done = run("encryption", "on", "--database", database, "--key-file", key_file)
    assert "Not encrypted, made before" in done.output
    assert "records.db.of-0001" in done.output


def test_no_command_takes_a_key_as_a_word():
    for name, command in main.commands.items():
        for parameter in command.params:
            if re.search("key|pass", " ".join(parameter.opts)) and parameter.opts != ["--passes"]:
                assert isinstance(parameter.type, click.Path), (name, parameter.opts)


def test_state_says_what_is_encrypted(database: Path, key_file: Path):
    state = ("encryption", "state", "--database", database)
    assert "is not encrypted by this program" in run(*state).output
    run("encryption", "on", "--database", database, "--key-file", key_file)
    said = run(*state).output  # which needs no key
    assert "is encrypted by this program" in said
    assert "The disk under the database" in said


def test_state_of_postgresql_says_that_its_disk_must_be_encrypted(
    monkeypatch: pytest.MonkeyPatch,
):
    if not PROGRAMS:
        pytest.skip(WHY_NOT)
    server = PostgresServer()
    try:
        address = server.new_database()
        said = run("encryption", "state", "--database", address)
        assert said.exit_code == 0, said.output
        assert "PostgreSQL keeps its own files" in said.output
        assert "It must be" in said.output
        monkeypatch.setattr("decussate.records.disk.disk_is_encrypted", lambda _: True)
        monkeypatch.setattr("decussate.records.disk._server_folder", lambda _: Path("/"))
        said = run("encryption", "state", "--database", address)
        assert "server is encrypted by the operating system" in said.output
    finally:
        server.close()


@pytest.mark.parametrize("command", ["on", "off", "change"])
def test_postgresql_is_told_to_encrypt_its_disk(command: str):
    done = run("encryption", command, "--database", "postgresql+psycopg://name@/records")
    assert done.exit_code == 1
    assert "encrypt the disk of the server" in done.output


def test_the_disk_is_read_from_what_the_kernel_says(tmp_path: Path):
    """Device-mapper devices as Linux describes them: a volume on a LUKS mapping on a disk."""
    number = tmp_path.stat().st_dev
    named = tmp_path / f"{os.major(number)}:{os.minor(number)}"
    assert disk_is_encrypted(tmp_path, tmp_path) is None
    volume, mapping, disk = (tmp_path / name for name in ("volume", "mapping", "disk"))
    for device, uuid in ((volume, "LVM-0123"), (mapping, "CRYPT-LUKS2-4567-root")):
        (device / "dm").mkdir(parents=True)
        (device / "dm" / "uuid").write_text(uuid)
        (device / "slaves").mkdir()
    disk.mkdir()
    (volume / "slaves" / "dm-0").symlink_to(mapping)
    (mapping / "slaves" / "sda1").symlink_to(disk)
    named.symlink_to(volume)
    assert disk_is_encrypted(tmp_path, tmp_path) is True
    (volume / "slaves" / "sda2").symlink_to(disk)  # half of it lies on a plain disk
    assert disk_is_encrypted(tmp_path, tmp_path) is False
