"""``decussate compare``: two or three files, words and JSON."""

import json
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner
from comparison_cases import LEFT, RIGHT, examined, found

from decussate.cli.compare import compare
from decussate.errors import BadInput
from decussate.examination.record import write_examination


@pytest.fixture
def files(tmp_path):
    def lid(value, response):
        return found("upper_lid_position", RIGHT, response, value, by="A")

    rows = [
        (0, lid(4.0, "normal"), found("gag", LEFT, "absent")),
        (3, lid(2.0, "partial"), found("gag", LEFT, "absent")),
        (9, lid(4.0, "normal")),
    ]
    paths = []
    for days, *findings in rows:
        path = tmp_path / f"day{days}.json"
        path.write_text(write_examination(examined(*findings, days=days, id=f"day{days}")))
        paths.append(str(path))
    return paths


def run(*arguments):
    result = CliRunner().invoke(compare, arguments, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


def test_the_changes_are_said_in_order_of_time(files):
    said = run(*reversed(files))
    assert "put in order of time" in said
    assert "newly abnormal: right upper lid position (2 mm, beyond repeat error)" in said
    assert "normal again: right upper lid position (2 mm, beyond repeat error)" in said
    assert said.index("newly abnormal") < said.index("normal again")
    assert "left gag: not tested this time, was absent" in said
    assert "left gag: unchanged" not in said
    assert "left gag: unchanged" in run("--unchanged", *files[:2])
    assert "A licensed clinician decides." in said


def test_json_holds_the_same_and_the_drawing_is_written(files, tmp_path):
    drawing = tmp_path / "course.svg"
    answer = json.loads(run("--json", "--drawing", str(drawing), *files))
    assert [step["earlier"] for step in answer["steps"]] == ["day0", "day3"]
    lid = next(c for c in answer["steps"][0]["changes"] if c["test"] == "upper_lid_position")
    assert (lid["kind"], lid["side"]) == ("new", "right")
    assert lid["measured"]["verdict"] == "beyond repeat error"
    assert lid["measured"]["limit"]["source"] == "bodnar_2016"
    assert answer["tracks"][0]["lines"][0]["values"] == [4.0, 2.0, 4.0]
    assert answer["whole"]["sentence"].startswith("Compared with 9 days before")
    assert ET.parse(drawing).getroot().tag.endswith("svg")


def test_one_file_is_not_enough(files):
    with pytest.raises(BadInput, match="two or more"):
        run(files[0])
