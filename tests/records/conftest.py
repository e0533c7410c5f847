"""Every test of the store runs on SQLite and on PostgreSQL, and says loudly when one is missing."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from decussate.records import Store
from decussate.records.encryption import KEY_FILE, new_key_file
from postgres_server import PROGRAMS, WHY_NOT, PostgresServer


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgresServer]:
    if not PROGRAMS:
        pytest.skip(WHY_NOT)
    server = PostgresServer()
    yield server
    server.close()


@pytest.fixture(params=["sqlite", "encrypted", "postgresql"])
def address(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Path | str:
    """An empty database: a file in a folder that is not there yet, or a PostgreSQL address.

    Where it is encrypted, the environment offers a key file to everything that opens one.
    """
    if request.param == "encrypted":
        new_key_file(tmp_path / "owner.key")
        monkeypatch.setenv(KEY_FILE, str(tmp_path / "owner.key"))
    if request.param != "postgresql":
        return tmp_path / "folder" / "records.db"
    server: PostgresServer = request.getfixturevalue("postgres")
    return server.new_database()


@pytest.fixture
def store(address: Path | str) -> Iterator[Store]:
    store = Store(address, by="an invented examiner")
    yield store
    store.close()
