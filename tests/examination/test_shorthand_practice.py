"""The shorthand reads the lines of doctors of ward, clinic, emergency, eye and ear departments."""

import re
import time
from pathlib import Path

import pytest
import yaml

from decussate.examination.catalogue import load_catalogue
from decussate.examination.checking import check_findings
from decussate.examination.shorthand import LONGEST_NOTE, read_shorthand, write_shorthand

TABLE = yaml.safe_load((Path(__file__).parent / "shorthand_lines.yaml").read_text(encoding="utf-8"))
SETTINGS = ("ward", "clinic", "emergency", "ophthalmology", "ENT")
ROWS = [row for setting in SETTINGS for row in TABLE[setting]]
LINES = [row["line"] for row in ROWS]
MIRRORED = {
    one: other
    for pair in (
        ("R", "L"),
        ("RE", "LE"),
        ("OD", "OS"),
        ("RVA", "LVA"),
        ("VAR", "VAL"),
        ("RHT", "LHT"),
        ("right", "left"),
    )
    for one, other in (pair, pair[::-1])
}


def latest(reading):
    """Findings that stand, as ``test side response`` words."""
    last = reading.examination("x").latest().values()
    return {" ".join(filter(None, (one.test, one.side, one.response))) for one in last}


def expected(row):
    """Findings of a row, `both` written out."""
    sides = ("right", "left")
    return {found.replace(" both ", f" {side} ") for found in row["gives"] for side in sides}


def test_the_table_is_long_and_every_line_of_it_stands_once():
    assert len(LINES) >= 230
    assert len(set(LINES)) == len(LINES)
    assert all(len(TABLE[setting]) >= 35 for setting in SETTINGS)


@pytest.mark.parametrize("row", ROWS, ids=LINES)
def test_it_reads_the_lines_of_practice(row):
    reading = read_shorthand(row["line"])
    assert not reading.unread, reading.unread
    assert latest(reading) == expected(row)
    told = {name: value for name, value in reading.story.model_dump().items() if value}
    assert told == {
        name: tuple(value) if isinstance(value, list) else value
        for name, value in row.get("story", {}).items()
    }


@pytest.mark.parametrize(
    "row", [row for row in ROWS if "notes" in row or "values" in row], ids=lambda row: row["line"]
)
def test_it_keeps_values_and_what_has_no_place_of_its_own(row):
    findings = read_shorthand(row["line"]).findings
    for test, text in row.get("notes", {}).items():
        kept = [(one.comment or "", one.technique or "") for one in findings if one.test == test]
        assert any(text in note for notes in kept for note in notes), kept
    for test, value in row.get("values", {}).items():
        measured = [one.measurement for one in findings if one.test == test and one.measurement]
        numbers = [f"{m.value:g} {m.unit}" for m in measured if isinstance(m.value, float)]
        assert value in [*numbers, *(m.value for m in measured)]


@pytest.mark.parametrize("line", LINES)
def test_the_mirrored_line_gives_the_mirrored_findings(line):
    mirrored = re.sub(r"[A-Za-z]+", lambda word: MIRRORED.get(word[0], word[0]), line)
    plain = read_shorthand(line).examination("x").mirrored()
    there = read_shorthand(mirrored).examination("x")

    def bare(examination):
        found = examination.latest().values()
        return {(one.test, one.side, one.response, one.measurement) for one in found}

    assert bare(there) == bare(plain)
    assert set(there.known_old) == set(plain.known_old)


@pytest.mark.parametrize("line", LINES)
def test_what_it_reads_the_catalogue_accepts_and_the_writer_writes_back(line):
    examination = read_shorthand(line).examination("x")
    assert check_findings(examination, load_catalogue()) == ()
    again = read_shorthand(write_shorthand(examination))
    assert again.unread == ()
    assert again.findings == examination.findings
    assert again.story == examination.story


@pytest.mark.parametrize("row", TABLE["unread"], ids=lambda row: row["line"])
def test_what_could_mean_two_things_stays_unread_with_its_reason(row):
    reading = read_shorthand(row["line"])
    assert any(row["reason"] in kept.reason for kept in reading.unread), reading
    wrong = {one.response for one in reading.findings} - {"normal", "abnormal"}
    assert not wrong


def test_all_the_lines_make_one_note():
    reading = read_shorthand("\n".join(line for line in LINES if not re.match(r"\d", line)))
    assert not [kept for kept in reading.unread if "no place for it" not in kept.reason]


@pytest.mark.parametrize("piece", ["V1, ", "no ptosis, ", "x3/7 ", "v1 - ", "68M ", "E4 V5 "])
def test_the_longest_note_of_new_noise_takes_seconds(piece):
    text = (piece * (LONGEST_NOTE // len(piece)))[:LONGEST_NOTE]
    began = time.process_time()
    reading = read_shorthand(text)
    assert reading.unread or reading.findings
    assert time.process_time() - began < 15
