"""A cohort from files to files: resumed, in one process or two, with problems reported."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from decussate.cli import main
from decussate.cohort import run
from decussate.errors import BadInput
from decussate.examination.record import read_examination
from decussate.localisation import localise

CASES = sorted((Path(__file__).parents[1] / "published" / "cases").glob("*.json"))


@pytest.fixture
def source(tmp_path: Path) -> Path:
    file = tmp_path / "cohort.ndjson"
    lines = [json.dumps(json.loads(case.read_text())) for case in CASES[:10]]
    lines.insert(3, '{"version": "1", "id": "bad", "findings": [{"test": "gaze_out"')
    lines.insert(
        6, '{"version": "1", "id": "bad", "findings": [{"test": "gaze", "response": "x"}]}'
    )
    file.write_bytes("\n".join(lines).encode() + b'\n\n{"id": "\xff"}\n')
    return file


def rows(folder: Path) -> list[dict]:
    files = sorted(folder.glob("results-*.ndjson"))
    return [json.loads(line) for file in files for line in file.read_text().splitlines()]


def test_every_line_has_a_row_with_its_answer_or_its_problem(source: Path, tmp_path: Path) -> None:
    steps = list(run(source, tmp_path / "out", chunk=5, top=3))
    assert [step.done for step in steps] == [5, 5, 3]
    assert [step.problems for step in steps] == [1, 1, 1]
    found = rows(tmp_path / "out")
    assert [row["source"] for row in found] == [f"line {n}" for n in (*range(1, 13), 14)]
    problems = {row["source"]: row["problem"] for row in found if "problem" in row}
    assert set(problems) == {"line 4", "line 7", "line 14"}
    assert "line 1, column" in problems["line 4"]
    assert "the id of a test" in problems["line 7"]
    assert "UTF-8" in problems["line 14"]
    located = localise(read_examination(CASES[0]))
    for row, candidate in zip(found[0]["candidates"], located.candidates[:3], strict=True):
        assert (row["place"], row["side"]) == (candidate.place, candidate.side)
        assert row["probability"] == pytest.approx(candidate.probability, abs=1e-9)
    for side, share in located.side_probability.items():
        assert found[0]["side_probability"][side] == pytest.approx(share, abs=1e-9)


def test_two_processes_write_the_same_files(source: Path, tmp_path: Path) -> None:
    one, two = tmp_path / "one", tmp_path / "two"
    assert len(list(run(source, one, chunk=3))) == len(list(run(source, two, chunk=3, workers=2)))
    files = sorted(file.name for file in one.iterdir())
    assert files == sorted(file.name for file in two.iterdir())
    for name in files:
        assert (one / name).read_bytes() == (two / name).read_bytes()


def test_goes_on_where_it_was_stopped(source: Path, tmp_path: Path) -> None:
    whole, stopped = tmp_path / "whole", tmp_path / "stopped"
    list(run(source, whole, chunk=4))
    step = next(run(source, stopped, chunk=4))  # as if it had been stopped after the first chunk
    (stopped / "results-000001.part").write_text('{"half a')
    first = step.file.stat().st_mtime_ns
    again = list(run(source, stopped, chunk=4))
    assert [step.resumed for step in again] == [True, False, False, False]
    assert step.file.stat().st_mtime_ns == first
    assert rows(stopped) == rows(whole)


def test_a_folder_holds_the_results_of_one_plan(source: Path, tmp_path: Path) -> None:
    list(run(source, tmp_path / "out", chunk=4))
    with pytest.raises(BadInput, match="new folder"):
        list(run(source, tmp_path / "out", chunk=5))
    source.write_text(source.read_text(errors="replace") + "\n{}\n")
    with pytest.raises(BadInput, match="new folder"):
        list(run(source, tmp_path / "out", chunk=4))
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "letter.txt").write_text("mine")
    with pytest.raises(BadInput, match="empty folder"):
        list(run(source, tmp_path / "other"))


def test_a_folder_of_documents_and_shorthand(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "a.json").write_bytes(CASES[0].read_bytes())
    (folder / "b.txt").write_text("R ptosis complete, R abduction normal\ngrumbling wibble")
    (folder / "notes.md").write_text("not an examination")
    list(run(folder, tmp_path / "out"))
    found = rows(tmp_path / "out")
    assert [row["source"] for row in found] == ["a.json", "b.txt"]
    assert found[1]["passages_not_understood"] >= 1
    assert found[1]["candidates"]


def test_what_cannot_be_read_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="can be read"):
        list(run(tmp_path / "nothing.ndjson", tmp_path / "out"))
    (tmp_path / "empty").mkdir()
    with pytest.raises(BadInput, match=r"\.json or \.txt"):
        list(run(tmp_path / "empty", tmp_path / "out"))


def test_the_command_counts_and_says_what_could_not_be_read(source: Path, tmp_path: Path) -> None:
    answer = CliRunner().invoke(
        main, ["cohort", str(source), str(tmp_path / "out"), "--chunk", "6"]
    )
    assert answer.exit_code == 0
    assert "13 examinations; 13 of them now" in answer.output
    assert "3 could not be read" in answer.output
    again = CliRunner().invoke(main, ["cohort", str(source), str(tmp_path / "out"), "--chunk", "6"])
    assert "13 examinations; 0 of them now" in again.output
