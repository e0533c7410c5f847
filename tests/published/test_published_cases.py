"""The published cases with a confirmed lesion, through `decussate evaluate`.

Each file of `cases/` carries its citation and the places accepted for it, named before the model
was run. The figures asserted are floors for development, not claims about other cases.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from decussate.anatomy import load_atlas
from decussate.cli import main
from decussate.examination.record import read_examination

FILES = sorted((Path(__file__).parent / "cases").glob("*.json"))
PUBLISHED = 156
"""Cases in the collection that the files were encoded from."""


@pytest.fixture(scope="module")
def evaluation() -> dict:
    answer = CliRunner().invoke(main, ["evaluate", "--json", *map(str, FILES)])
    assert answer.exit_code == 0, answer.output
    return json.loads(answer.stdout)


def test_nine_in_ten_cases_are_encoded() -> None:
    assert len(FILES) >= 0.9 * PUBLISHED


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_case_cites_its_paper_and_names_places_that_exist(file: Path) -> None:
    case = read_examination(file)
    assert case.citation
    assert not case.invented
    assert case.findings
    assert case.truth.places
    assert set(case.truth.places) <= set(load_atlas().places)


def test_every_case_has_its_row(evaluation: dict) -> None:
    assert {row["id"] for row in evaluation["cases"]} == {file.stem for file in FILES}
    assert evaluation["count"] == sum(row["scored"] for row in evaluation["cases"]) >= 90


def test_the_true_place_is_among_the_first_three(evaluation: dict) -> None:
    assert evaluation["top3"] >= 0.75


def test_the_side_is_right(evaluation: dict) -> None:
    assert evaluation["side"] >= 0.97


def test_the_figures_follow_from_the_rows(evaluation: dict) -> None:
    scored = [row for row in evaluation["cases"] if row["scored"]]
    first = sum(row["rank"] == 1 for row in scored) / len(scored)
    third = sum(row["rank"] is not None and row["rank"] <= 3 for row in scored) / len(scored)
    assert evaluation["top1"] == pytest.approx(first)
    assert evaluation["top3"] == pytest.approx(third)
    assert evaluation["top1"] <= evaluation["top3"]
    assert evaluation["log_score"] < 0
