"""The commands that keep records: search, export, import, backup, restore, audit."""

import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from decussate.cli import main
from decussate.records import Store
from decussate.records.demo import demo_examinations, load_demo


def run(*arguments: object) -> Result:
    done = CliRunner().invoke(main, [str(argument) for argument in arguments])
    assert done.exception is None or isinstance(done.exception, SystemExit)  # said in words
    return done


DEMO = demo_examinations()
EXAMINATIONS, PATIENTS = len(DEMO), len({one.label for one in DEMO})
ROWS = PATIENTS + 2 * EXAMINATIONS
"""Of the demo: its patients, its examinations and an entry of each."""


@pytest.fixture
def database(tmp_path: Path) -> Path:
    store = Store(tmp_path / "records.db")
    load_demo(store)
    store.close()
    return tmp_path / "records.db"


def head_of(printed: str) -> str:
    return printed.split()[-1]


def test_backup_then_restore_then_audit(database: Path, tmp_path: Path) -> None:
    file, new = tmp_path / "backup.jsonl", tmp_path / "new.db"
    made = run("backup", file, "--database", database, "--by", "the keeper")
    assert made.exit_code == 0, made.output
    counted = f"{PATIENTS} patients, {EXAMINATIONS} examinations and {EXAMINATIONS} entries"
    assert counted in made.output
    done = run("restore", file, "--database", new)
    assert done.exit_code == 0, done.output
    assert "the audit trail holds" in done.output
    verified = run("audit", "--verify", "--database", new)
    assert verified.exit_code == 0
    assert f"{ROWS + 2} links" in verified.output  # the rows, exported, restored
    passes = run("audit", "--passes", head_of(made.output), "--database", new)
    assert passes.exit_code == 0
    other = run("audit", "--passes", "f" * 64, "--database", new)
    assert other.exit_code == 1
    shown = run("audit", "--last", 2, "--database", new).output.splitlines()
    assert len(shown) == 2
    assert "the keeper  exported store backup.jsonl" in shown[0]


def test_audit_finds_a_changed_row(database: Path) -> None:
    with sqlite3.connect(database) as connection:
        connection.execute("update patient set label = 'someone else' where rowid = 3")
    verified = run("audit", "--verify", "--database", database)
    assert verified.exit_code == 1
    assert "patient " in verified.output
    assert "does not hold (problems: 1)" in verified.output


def test_export_then_import_elsewhere(database: Path, tmp_path: Path) -> None:
    file, other = tmp_path / "all.jsonl", tmp_path / "other.db"
    assert run("export", file, "--database", database).exit_code == 0
    first = run("import", file, "--database", other)
    assert f"{ROWS} records added, 0 were there already." in first.output
    again = run("import", file, "--database", other)
    assert f"0 records added, {ROWS} were there already." in again.output
    assert "keep it" in again.output  # the file's own audit trail is not in the database


def test_a_damaged_backup_is_refused_in_one_sentence(database: Path, tmp_path: Path) -> None:
    file = tmp_path / "backup.jsonl"
    run("backup", file, "--database", database)
    file.write_bytes(file.read_bytes().replace(b"sudden", b"subtle", 1))
    refused = run("restore", file, "--database", tmp_path / "new.db")
    assert refused.exit_code == 1
    assert "checksum" in refused.output
    assert "Traceback" not in refused.output
    assert not (tmp_path / "new.db").exists()


def test_search_prints_what_fits(database: Path) -> None:
    found = run("search", "right", "lid", "partial", "--database", database)
    assert found.exit_code == 0
    assert "right upper_lid_position: partial" in found.output
    assert "left upper_lid_position" not in found.output
    assert found.output.rstrip().endswith(" found.")
    assert run("search", "nobody", "--database", database).output == "0 found.\n"


@pytest.mark.parametrize("command", ["search x", "export x.jsonl", "backup x.jsonl", "audit"])
def test_a_wrong_name_of_the_database_makes_no_new_one(tmp_path: Path, command: str) -> None:
    missing = tmp_path / "typo.db"
    refused = run(*command.split(), "--database", missing)
    assert refused.exit_code == 1
    assert "a file that is there" in refused.output
    assert not missing.exists()


def test_export_without_identity_names_nobody_and_says_what_remains(
    database: Path, tmp_path: Path
) -> None:
    store = Store(database)
    labels = [head.label for head in store.examinations()]
    store.close()
    for name in ("all.jsonl", "all.csv"):
        done = run("export", tmp_path / name, "--without-identity", "--database", database)
        assert done.exit_code == 0, done.output
        assert f"{PATIENTS} patients, {EXAMINATIONS} examinations" in done.output
        assert "What remains:" in done.output
        written = (tmp_path / name).read_text()
        assert not any(label in written for label in labels)


def test_attach_keeps_a_file_and_reads_a_table(database: Path, tmp_path: Path) -> None:
    store = Store(database)
    examination = store.examinations()[0].id
    store.close()
    levels = "".join(f"right,{hz},air,40,yes,no,insert\n" for hz in (500, 1000, 2000, 4000))
    heading = "ear,frequency_hz,conduction,level_db_hl,masked,no_response,transducer\n"
    table, scan, bad = (tmp_path / name for name in ("hearing.csv", "scan.pdf", "bad.csv"))
    table.write_text(heading + levels)
    scan.write_bytes(b"%PDF-1.7")
    bad.write_text(heading + "right,1000,air,400,no,no,insert\n")
    done = run("attach", examination, table, "--read", "--database", database, "--by", "Dr A")
    assert done.exit_code == 0, done.output
    assert "audiogram table (CSV)" in done.output
    assert run("attach", examination, scan, "--database", database).exit_code == 0
    for file, said in (
        (scan, "a table"),
        (bad, "bad.csv, line 2"),
        (tmp_path / "no", "can be read"),
    ):
        refused = run("attach", examination, file, "--read", "--database", database)
        assert refused.exit_code == 1
        assert said in refused.output
    assert "1 found." in run("search", "hearing.csv, dr a", "--database", database).output
    assert "1 found." in run("search", "scan pdf, dr a", "--database", database).output
    store = Store(database)
    found = {f.test: f for f in store.examination(examination).present() if f.by == "Dr A"}
    store.close()
    assert found["audiogram_average"].measurement is not None
    assert found["audiogram_average"].measurement.value == 40


def test_a_terminal_shows_control_characters_and_does_not_obey_them(tmp_path: Path) -> None:
    """A name and an act from a database written past the program (CWE-150)."""
    store = Store(tmp_path / "odd.db")
    store.begin(store.add_patient("Bed 9", invented=True))
    store.record_act("seen", "\x1b]0;title\x07\x9b2J")
    with store.database.writing() as connection:
        connection.exec_driver_sql("update patient set label = 'Bed 9 ' || char(27) || '[2J'")
    store.close()
    for words in (("search", "bed 9"), ("audit",), ("audit", "--verify")):
        shown = run(*words, "--database", tmp_path / "odd.db").output
        assert shown
        assert not {"\x1b", "\x07", "\x9b"} & set(shown)


def test_what_the_search_shows_is_in_the_trail_under_the_name_without_the_words(
    database: Path,
) -> None:
    done = run("search", "lid", "--database", database, "--by", "the keeper")
    assert done.exit_code == 0
    (line,) = run("audit", "--last", 1, "--database", database).output.splitlines()
    assert "the keeper  seen store list of" in line
    assert "lid" not in line
