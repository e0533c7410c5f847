"""A change of the medical data names the reference cases it changes (hazard H-063)."""

import re
import shutil
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tools"))

from data_change import INVENTED, SOURCE, answers, differences  # noqa: E402

CASES = [
    ROOT / INVENTED / f"demo-{name}.json" for name in ("1-drooping-lid", "8-bumps-into-doorways")
]


@pytest.fixture(scope="module")
def before():
    return answers(SOURCE, CASES)


def changed_copy(folder: Path, file: str, old: str, new: str) -> Path:
    """The package with one row of its data edited, as a clinician would."""
    shutil.copytree(SOURCE, folder, ignore=shutil.ignore_patterns("__pycache__", "static"))
    (path,) = (folder / "decussate").rglob(file)
    text = path.read_text(encoding="utf-8")
    edited = re.sub(old, new, text, count=1)
    assert edited != text
    path.write_text(edited, encoding="utf-8")
    return folder


def test_the_same_data_change_nothing(before):
    assert list(differences(before, before)) == []
    assert len(before) == len(CASES)
    assert "third nerve" in before[CASES[0].stem]["place"]


def test_an_alert_that_is_lost_is_named_with_its_case(before, tmp_path: Path):
    """A rule is renamed, as good as taken out."""
    changed = changed_copy(
        tmp_path / "src", "rules.yaml", "id: both_temporal_fields\n", "id: other\n"
    )
    (line,) = differences(before, answers(changed, CASES))
    assert line.startswith(CASES[1].stem)
    assert re.search(r"alerts: .*both_temporal_fields.* -> .*other", line)
    assert "place" not in line


def test_data_that_cannot_be_meant_leave_no_case_answered(before, tmp_path: Path):
    """Another rule names this one: the loader refuses the file, and every case says why."""
    changed = changed_copy(tmp_path / "src", "rules.yaml", "id: third_nerve_pupil\n", "id: other\n")
    lines = list(differences(before, answers(changed, CASES)))
    assert len(lines) == len(CASES)
    assert all("not answered: " in line and "third_nerve_pupil" in line for line in lines)


def test_a_place_that_changes_or_is_no_longer_answered_is_named():
    old = {"a": {"place": "left pons", "chance": "80 in 100", "alerts": "none", "true": "pons"}}
    new = {"a": old["a"] | {"place": "right pons", "chance": "51 in 100"}}
    (line,) = differences(old, new)
    assert line == "a [true: pons]\n    place: left pons (80 in 100) -> right pons (51 in 100)"
    (line,) = differences(old, {"a": {"place": "not answered: why"}})
    assert "-> not answered: why" in line
    (line,) = differences(old, {})
    assert "-> nothing" in line
