"""Cells that no spreadsheet runs: the signs of OWASP's page on CSV injection."""

import csv
import io
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import decussate
from decussate.csv_cells import csv_line, safe_cell
from decussate.measures.audiogram import (
    AUDIOMETRIC_HZ,
    Audiogram,
    Conduction,
    Threshold,
    Transducer,
    audiogram_to_csv,
)
from decussate.sides import Side

SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

text = st.text(
    st.characters(exclude_categories=("Cs",), exclude_characters="\0"), max_size=30
)  # a CSV file cannot hold half a letter or NUL
formula = st.builds("{}{}{}".format, st.sampled_from(["", " ", "  "]), st.sampled_from(SIGNS), text)


def read(line: str) -> list[str]:
    (row,) = csv.reader(io.StringIO(line, newline=""))
    return row


@pytest.mark.parametrize("sign", SIGNS)
def test_a_formula_becomes_text(sign: str):
    assert safe_cell(f"{sign}cmd|' /C calc'!A0") == f"'{sign}cmd|' /C calc'!A0"


@given(st.lists(text | formula, min_size=1, max_size=6))
@settings(max_examples=300)
def test_no_cell_begins_as_a_formula_and_no_word_is_lost(cells: list[str]):
    row = read(csv_line([*cells, "end"]))
    assert len(row) == len(cells) + 1  # no text breaks out of its cell
    for cell, given_text in zip(row, cells, strict=False):
        assert cell in (given_text, f"'{given_text}")
        try:
            float(cell)
        except ValueError:
            assert not cell.strip(" ").startswith(SIGNS)


@given(st.floats(allow_nan=False, allow_infinity=False) | st.integers(-(10**9), 10**9))
def test_numbers_stay_numbers_below_zero_too(number: float):
    for cell in (number, str(number)):
        (written,) = read(csv_line([cell]))
        assert float(written) == number


def test_nothing_is_an_empty_cell():
    assert csv_line([None, "a", 1]) == ",a,1\r\n"


def test_every_table_is_written_by_these_cells_or_has_no_typed_text():
    """The audiogram's columns hold numbers and this program's own words (checked below)."""
    package = Path(decussate.__file__).parent
    writing = {
        str(file.relative_to(package))
        for file in package.rglob("*.py")
        if re.search(r"csv\.(Dict)?[wW]riter|to_csv\(\s*(path|file)", file.read_text())
    }
    assert writing == {"csv_cells.py", "measures/audiogram.py"}


@given(
    st.builds(
        Threshold,
        side=st.sampled_from(Side),
        frequency_hz=st.sampled_from(AUDIOMETRIC_HZ),
        conduction=st.sampled_from(Conduction),
        level_db_hl=st.floats(-20, 90),
        masked=st.booleans(),
    ),
    st.sampled_from(Transducer),
)
def test_an_audiogram_table_has_no_formula_and_keeps_levels_below_zero(threshold, transducer):
    written = audiogram_to_csv(Audiogram((threshold,), transducer))
    heading, row = csv.reader(io.StringIO(written, newline=""))
    assert not any(cell.startswith(SIGNS) for cell in heading)
    for name, cell in zip(heading, row, strict=True):
        if name == "level_db_hl":
            assert float(cell) == threshold.level_db_hl
        else:
            assert not cell.startswith(SIGNS)
