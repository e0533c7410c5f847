"""A short run of what ``make soak`` does at length (figures in docs/soak.md)."""

import random
from pathlib import Path

import pytest

import crash
from decussate.records import Store
from decussate.records.encryption import KEY_FILE, is_encrypted, new_key_file
from postgres_server import PostgresServer


def test_killing_the_program_loses_nothing_acknowledged(tmp_path: Path):
    tally = crash.crash_sqlite(tmp_path, 10, random.Random(1), each=5)
    assert sum(tally.kills.values()) == 10
    assert tally.acknowledged > 0
    assert tally.lost == []
    assert tally.faults == []


def test_killing_the_program_loses_nothing_from_an_encrypted_database(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    new_key_file(tmp_path / "owner.key")
    monkeypatch.setenv(KEY_FILE, str(tmp_path / "owner.key"))
    tally = crash.crash_sqlite(tmp_path, 6, random.Random(4), each=3)
    assert sum(tally.kills.values()) == 6
    assert tally.acknowledged > 0
    assert tally.lost == []
    assert tally.faults == []
    assert is_encrypted(tmp_path / "records-0.db")


def test_this_check_finds_what_a_careless_program_loses(tmp_path: Path):
    tally = crash.crash_sqlite(tmp_path, 6, random.Random(3), each=6, careless=True)
    assert tally.lost != []


def test_killing_program_or_postgresql_server_loses_nothing_acknowledged(postgres: PostgresServer):
    tally = crash.crash_postgres(postgres, 9, random.Random(2), each=5)
    assert set(tally.kills) == {"client", "server", "both"}
    assert tally.acknowledged > 0
    assert tally.lost == []
    assert tally.faults == []


def test_twenty_examiners_writing_at_once_lose_no_entry(address: Path | str):
    """How long an entry takes is measured by ``make soak``, not here."""
    rush = crash.rush(lambda: Store(address), examiners=20, entries=5)
    assert rush.entries == rush.kept == 100
    assert rush.problems == ()
