"""The hazard log: every control is a place in the code, every proof a test that pytest collects."""

import csv
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

ROOT = Path(__file__).resolve().parents[2]
SAFETY = ROOT / "docs" / "safety"
SCALES = yaml.safe_load((SAFETY / "scales.yaml").read_text(encoding="utf-8"))
COLUMNS = [
    "id", "hazard", "cause", "effect", "harm", "severity", "likelihood", "risk", "controls",
    "code", "tests", "residual_severity", "residual_likelihood", "residual_risk", "owner",
    "status", "mend",
]  # fmt: skip


def read(name: str) -> list[dict[str, str]]:
    with (SAFETY / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


HAZARDS = read("hazard_log.csv")
each_hazard = pytest.mark.parametrize("hazard", HAZARDS, ids=lambda row: row["id"])


def named(cell: str) -> list[str]:
    return [part.strip() for part in cell.split(";") if part.strip()]


@pytest.fixture(scope="module")
def collected() -> set[str]:
    """Every test of the files that the log names, as pytest collects them, without parameters."""
    wanted = {test.partition("::")[0] for row in HAZARDS for test in named(row["tests"])}
    ours = Path(__file__).relative_to(ROOT).as_posix()
    known = {f"{ours}::{name}" for name in globals() if name.startswith("test_")}
    command = [sys.executable, "-m", "pytest", "--collect-only", "-q", "-p", "no:cacheprovider"]
    clean = {key: value for key, value in os.environ.items() if not key.startswith("PYTEST")}
    answer = subprocess.run(
        [*command, *sorted(wanted - {ours})],
        cwd=ROOT,
        env=clean,
        capture_output=True,
        text=True,
        check=False,
    )
    assert answer.returncode == 0, answer.stdout[-2000:] + answer.stderr[-2000:]
    return known | {line.partition("[")[0] for line in answer.stdout.splitlines() if "::" in line}


def test_there_are_at_least_thirty_hazards_numbered_without_gaps() -> None:
    assert len(HAZARDS) >= 30
    assert list(HAZARDS[0]) == COLUMNS
    assert [row["id"] for row in HAZARDS] == [f"H-{n:03d}" for n in range(1, len(HAZARDS) + 1)]


@each_hazard
def test_every_hazard_is_told_whole(hazard: dict[str, str]) -> None:
    for column in ("hazard", "cause", "effect", "harm", "controls", "code", "owner"):
        assert hazard[column].strip(), column


@each_hazard
def test_scores_are_those_of_the_scales(hazard: dict[str, str]) -> None:
    """Risk by the matrix of `scales.yaml` (secondary source of DCB0129)."""
    for prefix, risk in (("", "risk"), ("residual_", "residual_risk")):
        likelihood, severity = hazard[f"{prefix}likelihood"], hazard[f"{prefix}severity"]
        assert likelihood in SCALES["likelihood"]
        assert severity in SCALES["severity"]
        assert int(hazard[risk]) == SCALES["matrix"][likelihood][severity]
    assert int(hazard["residual_risk"]) <= int(hazard["risk"])


@each_hazard
def test_a_hazard_is_called_controlled_only_with_a_test_and_little_risk_left(
    hazard: dict[str, str],
) -> None:
    assert hazard["status"] in SCALES["status"]
    if hazard["status"] == "controlled":
        assert int(hazard["residual_risk"]) <= 2
        assert not hazard["mend"]
    else:
        assert hazard["mend"], "a hazard that is not controlled says what is to be done"
    if hazard["status"] != "open":
        assert named(hazard["tests"])


@each_hazard
def test_every_control_is_where_the_log_says(hazard: dict[str, str]) -> None:
    for place in named(hazard["code"]):
        path, _, word = place.partition(":")
        assert (ROOT / path).exists(), place
        if word:
            assert re.search(rf"\b{re.escape(word)}\b", (ROOT / path).read_text("utf-8")), place


@each_hazard
def test_every_named_test_is_collected(hazard: dict[str, str], collected: set[str]) -> None:
    assert [test for test in named(hazard["tests"]) if test not in collected] == []


def test_the_matrix_is_whole_and_rises() -> None:
    likelihoods, severities = list(SCALES["likelihood"]), list(SCALES["severity"])
    table = [[SCALES["matrix"][row][column] for column in severities] for row in likelihoods]
    assert {score for row in table for score in row} == set(SCALES["risk"])
    for lines in (table, list(zip(*table, strict=True))):
        assert all(list(line) == sorted(line) for line in lines)


def test_the_page_counts_what_the_log_holds() -> None:
    """The page beside the log says how many hazards are in each state, and names the open ones."""
    page = (SAFETY / "README.md").read_text(encoding="utf-8")
    for status in SCALES["status"]:
        count = sum(row["status"] == status for row in HAZARDS)
        assert f"| {status} | {count} |" in page
    for row in HAZARDS:
        assert (f"| {row['id']} | {row['hazard']} |" in page) == (row["status"] == "open"), row[
            "id"
        ]


def test_the_traceability_table_is_current() -> None:
    """Every urgency rule is tied to the tests that raise it (``docs/safety/traceability.csv``)."""
    clean = {key: value for key, value in os.environ.items() if not key.startswith("PYTEST")}
    answer = subprocess.run(
        [sys.executable, "tools/traceability.py", "--check"],
        cwd=ROOT,
        env=clean,
        capture_output=True,
        text=True,
        check=False,
    )
    assert answer.returncode == 0, answer.stdout[-2000:] + answer.stderr[-2000:]
    from decussate.urgency import load_rules

    rows = read("traceability.csv")
    assert [row["rule"] for row in rows] == [rule.id for rule in load_rules()]
    assert all(named(row["raised_by"]) for row in rows)
