"""Every layout ever released opens as the present one, with all that was in it."""

import json
import sqlite3
from pathlib import Path
from uuid import UUID

import psycopg
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import select, text

from decussate.errors import BadInput
from decussate.records import Entry, Store, schema
from decussate.records.attachments import attachments_of, content_of
from decussate.records.demo import load_demo
from decussate.records.encryption import present_key
from decussate.records.rewriting import rewrite
from decussate.records.tables import audit, metadata
from postgres_server import PostgresServer

SAMPLES = Path(__file__).with_name("samples")
RELEASED = ("0001", "0002", "0003", "0004", "0005", "0006", "0007")


def unpacked(revision: str, address: Path | str, postgres: PostgresServer | None) -> Path | str:
    """Put the kept sample of a layout where the address points."""
    if isinstance(address, Path):
        address.parent.mkdir()
        address.write_bytes((SAMPLES / f"schema-{int(revision)}.db").read_bytes())
        address.chmod(0o600)
        if (key := present_key()) is not None:
            rewrite(address, None, key)  # which knows nothing of layouts
        return address
    assert postgres is not None
    with psycopg.connect(postgres.conninfo(address)) as connection:
        connection.execute((SAMPLES / f"schema-{int(revision)}.postgresql.sql").read_text())
    return address


@pytest.fixture(params=RELEASED)
def sample(request: pytest.FixtureRequest, address: Path | str) -> Path | str:
    server = None if isinstance(address, Path) else request.getfixturevalue("postgres")
    return unpacked(request.param, address, server)


def test_a_sample_is_kept_of_every_layout():
    assert (*schema.OLDER, schema.REVISION) == RELEASED
    script = ScriptDirectory(str(Path(schema.__file__).with_name("migrations")))
    assert sorted(step.revision for step in script.walk_revisions()) == list(RELEASED)
    assert script.get_current_head() == schema.REVISION


def test_a_sample_opens_with_all_that_was_in_it(sample: Path | str):
    store = Store(sample)
    heads = {head.id: head for head in store.examinations()}
    # The demo when the layout was released (eight, later ten), and one more.
    assert len(heads) in (9, 11)
    one = heads[str(UUID(int=70))]
    assert one.label == "Bed 7, Zoë Åkesson-O'Hara, invented"
    assert one.entries == 4
    history = store.history(one.id)
    assert [stored.entry.id for stored in history] == [UUID(int=700 + n) for n in (1, 2, 3, 4)]
    assert history[0].entry.findings[0].comment == "slow — “sluggish”"
    assert history[0].entry.by == "an invented examiner"
    now = store.examination(one.id)
    assert [f.response for f in now.present()] == ["reduced"]  # the second was undone
    assert [text.text for text in now.unread] == ["zig zag"]
    assert store.verify().problems == ()
    store.append(one.id, Entry(id=UUID(int=705), undoes=UUID(int=703)))
    assert [f.response for f in store.examination(one.id).present()] == ["absent"]
    assert store.verify().problems == ()
    store.close()


def test_the_demo_of_a_sample_is_found_again_and_what_came_later_is_added(sample: Path | str):
    store = Store(sample)
    before = store.examinations()
    added = load_demo(store)
    after = store.examinations()
    assert {head.id for head in before} <= {head.id for head in after}
    assert len(after) == len(before) + added
    assert all(head in after for head in before)  # and nothing was entered into them
    people = {(head.label, head.patient) for head in after}
    assert len(people) == len({label for label, _ in people})  # nobody is there twice
    assert load_demo(store) == 0
    store.close()


def test_attachments_of_a_sample_open(request: pytest.FixtureRequest, address: Path | str):
    server = None if isinstance(address, Path) else request.getfixturevalue("postgres")
    store = Store(unpacked("0004", address, server))
    (one,) = attachments_of(store, str(UUID(int=70)))
    assert (one.id, one.name, one.kind) == (str(UUID(int=7001)), "hörtest.csv", "audiogram")
    _, content = content_of(store, one.examination, one.id)
    assert content.startswith(b"ear,frequency_hz,")
    store.close()


def test_upgraded_and_new_databases_have_the_same_tables(sample: Path | str):
    """Alembic's own comparison finds nothing to change."""
    store = Store(sample)
    with store.database.engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"version_table": schema.REVISION_TABLE}
        )
        assert compare_metadata(context, metadata) == []
    store.close()


def test_a_new_database_has_the_tables_the_program_expects(store: Store):
    with store.database.engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"version_table": schema.REVISION_TABLE}
        )
        assert compare_metadata(context, metadata) == []


def test_a_file_is_copied_before_it_is_changed(tmp_path: Path):
    file = unpacked("0001", tmp_path / "folder" / "records.db", None)
    with sqlite3.connect(file) as connection:
        before = list(connection.iterdump())
    store = Store(file)
    assert store.copied_to == tmp_path / "folder" / "records.db.of-0001"
    with sqlite3.connect(store.copied_to) as connection:
        assert list(connection.iterdump()) == before
    assert store.copied_to.stat().st_mode & 0o077 == 0
    store.close()
    again = Store(file)
    assert again.copied_to is None
    again.close()


def test_rows_from_before_the_trail_are_adopted_into_it(tmp_path: Path):
    store = Store(unpacked("0001", tmp_path / "folder" / "records.db", None))
    with store.database.reading() as connection:
        rows = connection.execute(select(audit.c.action, audit.c.kind)).all()
    assert {row.action for row in rows} == {"adopted"}
    kinds = [row.kind for row in rows]
    assert {kind: kinds.count(kind) for kind in kinds} == {
        "patient": 9, "examination": 9, "entry": 12,
    }  # fmt: skip
    store.close()


def test_a_failed_upgrade_leaves_the_database_as_it_was(
    request: pytest.FixtureRequest, address: Path | str, monkeypatch
):
    server = None if isinstance(address, Path) else request.getfixturevalue("postgres")
    unpacked("0001", address, server)

    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("the power went")

    with monkeypatch.context() as broken:
        broken.setattr("decussate.records.chain.add_link", fail)
        with pytest.raises(BadInput, match="the power went"):
            Store(address)
    store = Store(address)
    assert len(store.examinations()) == 9
    assert store.verify().problems == ()
    store.close()


def test_a_program_from_before_the_trail_refuses_the_upgraded_database(sample: Path | str):
    """It reads the highest number here and refuses more than its own, which was 1."""
    store = Store(sample)
    with store.database.reading() as connection:
        assert connection.scalar(text("select max(version) from store_version")) == 2
    store.close()


def test_a_newer_database_is_refused(store: Store, address: Path | str):
    with store.database.writing() as connection:
        connection.execute(text("update decussate_revision set version_num = '9999'"))
    store.close()
    with pytest.raises(BadInput, match=r"database version.*'9999'.*newer"):
        Store(address)


def test_a_database_of_another_program_is_refused_and_left_alone(tmp_path: Path):
    file = tmp_path / "other.db"
    with sqlite3.connect(file) as connection:
        connection.execute("create table recipe (id integer)")
        before = list(connection.iterdump())
    with pytest.raises(BadInput, match=r"'recipe'.*another program"):
        Store(file)
    with sqlite3.connect(file) as connection:
        assert list(connection.iterdump()) == before


def test_alembic_is_not_loaded_to_open_a_database_of_the_present_layout(tmp_path: Path):
    import subprocess
    import sys

    Store(tmp_path / "records.db").close()
    program = (
        "import sys, json; from decussate.records import Store; Store(sys.argv[1]).close(); "
        "print(json.dumps('alembic' in sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / "records.db")],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert json.loads(done.stdout) is False
