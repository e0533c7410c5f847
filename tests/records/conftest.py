"""Every test of the store runs on SQLite and on PostgreSQL, and says loudly when one is missing."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from decussate.records import Store
from postgres_server import PROGRAMS, WHY_NOT, PostgresServer


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgresServer]:
    if not PROGRAMS:
        pytest.skip(WHY_NOT)
    server = PostgresServer()
    yield server
    server.close()


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Path | str:
    """An empty database: a file in a folder that is not there yet, or a PostgreSQL address."""
    if request.param == "sqlite":
        return tmp_path / "folder" / "records.db"
    server: PostgresServer = request.getfixturevalue("postgres")
    return server.new_database()


@pytest.fixture
def store(address: Path | str) -> Iterator[Store]:
    store = Store(address, by="an invented examiner")
    yield store
    store.close()
