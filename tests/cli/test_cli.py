"""The command: what it prints, its exit codes, and one clear message for bad input."""

import json
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from decussate.cli import main
from decussate.examination.catalogue import load_catalogue

THIRD_NERVE = {
    "version": "1",
    "id": "third",
    "label": "An invented patient",
    "invented": True,
    "story": {"age": 58, "onset": "sudden"},
    "findings": [
        {"test": "upper_lid_position", "side": "right", "response": "complete"},
        {"test": "gaze_up", "side": "right", "response": "absent"},
        {"test": "gaze_in", "side": "right", "response": "reduced"},
        {"test": "gaze_out", "side": "right", "response": "normal"},
        {"test": "pupil_size_light", "side": "right", "response": "large"},
        {"test": "light_direct", "side": "right", "response": "absent"},
        {"test": "light_direct", "side": "left", "response": "normal"},
        {"test": "ask_headache", "response": "present"},
    ],
    "truth": {"places": ["third_cistern_compressed"], "side": "right"},
}


def run(*arguments: str, stdin: str | None = None) -> Result:
    return CliRunner().invoke(main, arguments, input=stdin)


@pytest.fixture
def third(tmp_path: Path) -> str:
    path = tmp_path / "third.json"
    path.write_text(json.dumps(THIRD_NERVE), encoding="utf-8")
    return str(path)


def changed(tmp_path: Path, **changes: object) -> str:
    path = tmp_path / "changed.json"
    path.write_text(json.dumps({**THIRD_NERVE, **changes}), encoding="utf-8")
    return str(path)


def test_localise_proposes_tests_with_their_cautions(tmp_path: Path) -> None:
    """Every test of the catalogue that has a caution is printed with it, as in the note."""
    face = [{"test": "touch_forehead", "side": "right", "response": "reduced"}]
    path = changed(tmp_path, findings=face)
    wanted = json.loads(run("localise", path, "--json", "--top", "9").output)["next_tests"]
    proposed = list({test["test"]: test for test in wanted}.values())[:3]
    assert any(test["cautions"] for test in proposed)
    line = next(li for li in run("localise", path).output.splitlines() if "Test next" in li)
    assert line.count("caution:") == sum(bool(test["cautions"]) for test in proposed)
    for key in {key for test in proposed for key in test["cautions"]}:
        assert load_catalogue().cautions[key].name in line


def test_help_names_every_subcommand() -> None:
    result = run("--help")
    assert result.exit_code == 0
    for name in ("serve", "localise", "note", "check", "places", "tests", "schema", "evaluate"):
        assert f"\n  {name} " in result.output
    assert "does not diagnose" in result.output


def test_help_loads_nothing_heavy() -> None:
    """Numerical and web libraries stay out until a subcommand needs them."""
    program = (
        "import sys; from decussate.cli import main; "
        "main(['--help'], standalone_mode=False); "
        "print(sorted({'numpy', 'pydantic', 'fastapi', 'yaml', 'uvicorn'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip().endswith("[]")


def test_localise_prints_urgency_first_then_the_place_and_the_reasons(third: str) -> None:
    result = run("localise", third)
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert lines[0].startswith("EMERGENCY")
    assert any("[third_nerve_pupil; third_nerve_aneurysm_2014]" in line for line in lines)
    assert any(line.startswith("Most likely right third nerve") for line in lines)
    assert " 1. " in result.output
    assert "for: " in result.output
    assert lines[-1] == "A licensed clinician decides."


@pytest.mark.parametrize("top", [1, 3])
def test_top_limits_the_places(third: str, top: int) -> None:
    result = run("localise", third, "--top", str(top))
    numbers = [line.split(".")[0].strip() for line in result.output.splitlines() if " %  " in line]
    assert numbers == [str(rank) for rank in range(1, top + 1)]


def test_localise_json_has_its_keys_and_is_only_json(third: str) -> None:
    answer = json.loads(run("localise", third, "--json", "--top", "2").output)
    assert set(answer) == {
        "id", "text", "candidates", "side_probability", "unexplained", "next_tests",
        "findings_used", "entropy_bits", "alerts", "invented", "reservations",
    }  # fmt: skip
    assert len(answer["candidates"]) == 2
    assert answer["candidates"][0]["place"] == "third_cistern_compressed"
    assert answer["candidates"][0]["side"] == "right"
    assert {"supports", "against", "unexplained", "causes"} <= set(answer["candidates"][0])
    assert answer["alerts"][0]["level"] == "emergency"


def test_standard_input_is_read(third: str) -> None:
    piped = run("localise", "-", stdin=json.dumps(THIRD_NERVE))
    assert piped.exit_code == 0
    assert piped.output == run("localise", third).output


def test_the_note_is_plain_text_or_markdown(third: str) -> None:
    plain, markdown = run("note", third), run("note", third, "--markdown")
    assert plain.exit_code == markdown.exit_code == 0
    assert plain.output.startswith("Cranial nerve examination\n")
    assert markdown.output.startswith("# Cranial nerve examination\n")
    assert "a licensed clinician decides" in plain.output


def test_check_of_a_sound_file_counts_its_findings(third: str) -> None:
    result = run("check", third)
    assert result.exit_code == 0
    assert result.output == "Findings read: 8; problems: 0.\n"


def test_check_reports_every_problem_with_its_position(tmp_path: Path) -> None:
    findings = [
        {"test": "gaze_upp", "side": "right", "response": "absent"},
        {"test": "gaze_up", "response": "absent"},
        {"test": "gaze_in", "side": "left", "response": "purple"},
    ]
    result = run("check", changed(tmp_path, findings=findings))
    assert result.exit_code == 1
    problems = result.output.splitlines()[:-1]
    assert len(problems) == 3
    for number, problem in enumerate(problems):
        assert "changed.json" in problem
        assert "line " in problem
        assert f"findings[{number}]" in problem


SHORTHAND = "age 58, sudden\nright ptosis complete\nflumox gribble\nRAPD left\n"


def test_shorthand_is_read_and_what_is_not_understood_is_counted_and_pointed_at(
    tmp_path: Path,
) -> None:
    path = tmp_path / "ward.txt"
    path.write_text(SHORTHAND, encoding="utf-8")
    checked = run("check", str(path))
    assert checked.exit_code == 1
    problem, summary = checked.output.splitlines()
    assert problem.startswith(f"{path}, line 3, column 1: text: found 'flumox gribble'")
    assert summary == "Findings read: 2; problems: 1."
    located = run("localise", str(path))
    assert located.exit_code == 0
    assert "Passages not understood: 1 (see decussate check)." in located.output
    assert "“flumox gribble” (line 3)" in run("note", str(path)).output


def test_shorthand_on_standard_input_gives_the_same_answer(tmp_path: Path) -> None:
    path = tmp_path / "ward.txt"
    path.write_text(SHORTHAND, encoding="utf-8")
    assert run("localise", "-", stdin=SHORTHAND).output == run("localise", str(path)).output


def test_five_megabytes_of_noise_are_refused_by_name(tmp_path: Path) -> None:
    for name in ("noise.txt", "noise.json"):
        path = tmp_path / name
        path.write_text("zq#7 xx~ " * 555_556, encoding="utf-8")
        result = run("check", str(path))
        assert result.exit_code == 1
        assert name in result.output
        assert "at most" in result.output


def test_an_unknown_test_is_one_message_and_no_traceback(tmp_path: Path) -> None:
    findings = [{"test": "gaze_upp", "side": "right", "response": "absent"}]
    for command in ("localise", "note", "evaluate"):
        result = run(command, changed(tmp_path, findings=findings))
        assert result.exit_code == 1
        assert result.output.startswith("Error: ")
        assert result.output.count("\n") == 1
        assert "gaze_up" in result.output
        assert "Traceback" not in result.output


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("cut.json", b'{"version": "1", "findings": [', "stops early"),
        ("list.json", b"[]", "one examination"),
        ("latin.json", b'{"label": "\xe9"}', "UTF-8"),
        ("latin.txt", b"ptosis \xe9", "UTF-8"),
    ],
)
def test_a_damaged_file_is_named_with_the_remedy(
    tmp_path: Path, name: str, content: bytes, said: str
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    for command in ("localise", "note"):
        result = run(command, str(path))
        assert result.exit_code == 1
        assert name in result.output
        assert said in result.output
        assert "Traceback" not in result.output


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    for command in ("localise", "note", "check", "evaluate"):
        result = run(command, str(tmp_path / "absent.json"))
        assert result.exit_code == 1
        assert "absent.json" in result.output
        assert "No such file" in result.output


def test_a_directory_is_refused(tmp_path: Path) -> None:
    result = run("localise", str(tmp_path))
    assert result.exit_code == 1
    assert "a file that can be read" in result.output


def test_wrong_use_of_an_option_exits_with_two(third: str) -> None:
    assert run("localise", third, "--top", "0").exit_code == 2
    assert run("localise").exit_code == 2
    assert run("evaluate").exit_code == 2
    assert run("diagnose").exit_code == 2


def test_evaluate_prints_each_case_and_the_figures(third: str) -> None:
    result = run("evaluate", third)
    assert result.exit_code == 0
    row, _, scored, unscored = result.output.splitlines()
    assert row.startswith("third")
    assert "rank 1" in row
    assert "side right" in row
    assert scored.startswith("Scored: 1 cases; true place first 100.0 %")
    assert unscored == "Not scored (reported apart): no case."


def test_evaluate_json_has_the_agreed_keys_and_one_row_a_case(third: str, tmp_path: Path) -> None:
    apart = changed(
        tmp_path,
        id="apart",
        truth={"places": ["medulla_lateral"], "side": "left", "scored": False},
    )
    answer = json.loads(run("evaluate", third, apart, "--json").output)
    assert {"cases", "top1", "top3", "side", "log_score", "unscored"} <= set(answer)
    assert [case["id"] for case in answer["cases"]] == ["third", "apart"]
    assert [case["scored"] for case in answer["cases"]] == [True, False]
    assert answer["top1"] == answer["top3"] == answer["side"] == 1.0
    assert answer["unscored"]["side"] == 0.0
    assert answer["log_score"] == answer["cases"][0]["log_score"]


def test_evaluate_needs_the_true_place(tmp_path: Path) -> None:
    result = run("evaluate", changed(tmp_path, truth=None))
    assert result.exit_code == 1
    assert "truth of third" in result.output
    assert "accepted places" in result.output


def test_places_lists_at_least_150() -> None:
    result = run("places")
    assert result.exit_code == 0
    assert len(result.output.splitlines()) >= 150
    rows = json.loads(run("places", "--json").output)
    assert len(rows) == len(result.output.splitlines())
    assert {"id", "name", "kind", "region", "sides", "source"} == set(rows[0])


def test_tests_lists_the_catalogue_by_nerve() -> None:
    result = run("tests")
    assert result.exit_code == 0
    assert "\npupils\n" in result.output
    rows = json.loads(run("tests", "--json").output)
    by_id = {row["id"]: row for row in rows}
    assert by_id["light_direct"]["sides"] == "each"
    assert by_id["light_direct"]["responses"]["absent"] == "no reaction"


def test_schema_is_the_schema_of_the_document(third: str) -> None:
    jsonschema = pytest.importorskip("jsonschema")
    schema = json.loads(run("schema").output)
    jsonschema.validate(THIRD_NERVE, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**THIRD_NERVE, "colour": "red"}, schema)


def test_serve_binds_only_this_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import uvicorn

    started: dict[str, object] = {}
    monkeypatch.setattr(uvicorn, "run", lambda app, **options: started.update(options, app=app))
    database = tmp_path / "examinations.sqlite"
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    result = run("serve", "--demo", "--port", str(port), "--database", str(database))
    assert result.exit_code == 0, result.output
    assert started["host"] == "127.0.0.1"
    assert started["port"] == port
    assert f"http://127.0.0.1:{port}/" in result.output
    assert database.exists()


def test_serve_says_when_the_port_is_taken(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        result = run("serve", "--port", str(port), "--database", str(tmp_path / "x.sqlite"))
    assert result.exit_code == 1
    assert "a port that no other program uses" in result.output
    assert "Open http" not in result.output


@pytest.mark.parametrize(
    "words",
    [
        ("letter", "{file}", "--pdf", "{nowhere}"),
        ("compare", "{file}", "{file}", "--drawing", "{nowhere}"),
        ("fhir", "{nowhere}", "--publish"),
    ],
)
def test_a_place_that_cannot_be_written_is_said(third: str, tmp_path: Path, words) -> None:
    nowhere = str(tmp_path / "missing" / "file")
    refused = run(*(word.format(file=third, nowhere=nowhere) for word in words))
    assert refused.exit_code == 1
    assert "expected a place that can be written" in refused.output
