"""Letter-by-letter scores.

Checked against: the letter score of the 100-letter chart, 85 - 50 logMAR, with 30 letters credited
at 4 m (Beck RW et al. Am J Ophthalmol 2003;135:194-205; the rule of credit from memory); 0.02
logMAR a letter (Rosser DA et al. Br J Ophthalmol 2001;85:432-436).
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.distance_acuity import protocol_letter_score
from decussate.measures.letter_by_letter import METHOD, RowRead, score_by_letter
from decussate.measures.published_rows import read_tables

ROWS = [1.0 - 0.1 * n for n in range(14)]


def read_to(letters: int) -> list[RowRead]:
    """A chart of 14 rows read in order, so many letters in all."""
    return [RowRead(round(row, 1), min(5, max(0, letters - 5 * n))) for n, row in enumerate(ROWS)]


@pytest.mark.parametrize("letters", [20, 37, 54, 55, 56, 60, 70])
def test_a_chart_read_in_order_gives_the_published_letter_score(letters):
    score = score_by_letter(read_to(letters))
    assert score.letter_score == pytest.approx(protocol_letter_score(letters))


def test_fifty_five_letters_at_four_metres_are_six_six():
    assert score_by_letter(read_to(55)).logmar == pytest.approx(0.0)


@given(st.integers(5, 69))
@settings(max_examples=40)
def test_one_letter_more_is_two_hundredths(letters):
    more, fewer = score_by_letter(read_to(letters + 1)), score_by_letter(read_to(letters))
    assert fewer.logmar - more.logmar == pytest.approx(0.02)


def test_mistakes_on_a_larger_row_cost_what_they_are_worth():
    rows = [RowRead(0.4, 4), RowRead(0.3, 5), RowRead(0.2, 2)]
    assert score_by_letter(rows).logmar == pytest.approx(0.3 + 0.02 - 0.04)
    assert score_by_letter(rows[::-1]) == score_by_letter(rows)


def test_a_last_row_read_whole_is_said_to_leave_room():
    assert "may be better" in score_by_letter([RowRead(0.1, 5)]).remarks[0]
    assert score_by_letter([RowRead(0.1, 5), RowRead(0.0, 0)]).remarks == ()


@pytest.mark.parametrize(
    ("rows", "wants"),
    [
        ([], "one row read whole"),
        ([RowRead(0.3, 4), RowRead(0.2, 1)], "one row read whole"),
        ([RowRead(0.3, 5), RowRead(0.1, 2)], "every row below"),
        ([RowRead(0.3, 5), RowRead(0.3, 4)], "each row once"),
    ],
)
def test_no_score_without_a_row_to_count_from(rows, wants):
    with pytest.raises(BadInput, match=wants):
        score_by_letter(rows)


@pytest.mark.parametrize(("logmar", "read"), [(0.3, 6), (0.3, -1), (0.25, 3)])
def test_a_row_no_chart_has_is_refused(logmar, read):
    with pytest.raises(BadInput):
        RowRead(logmar, read)


def test_the_method_is_one_whose_noise_is_published():
    names = [row["name"] for row in read_tables("distance_acuity.yaml")["repeatability"]]
    assert METHOD in names
