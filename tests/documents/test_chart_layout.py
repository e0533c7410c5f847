"""Charts laid out: rows that fit, letters of like difficulty, refusals that say what would do."""

import json
import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.documents.near_card import lay_out_near_card, near_card_pdf
from decussate.documents.optotypes import Gap, letter_sets, optotype_height_mm, optotype_svg
from decussate.documents.test_charts import PAPERS_MM, RINGS, chart_pdf, lay_out_chart
from decussate.errors import BadInput

KINDS = ["ten letters", "twelve letters", RINGS]


@given(
    st.floats(1.0, 6.5),
    st.sampled_from(KINDS),
    st.sampled_from(sorted(PAPERS_MM)),
    st.integers(1, 50),
)
@settings(max_examples=60, deadline=None)
def test_every_chart_keeps_to_its_paper_and_its_rules(distance, kind, paper, version):
    chart = lay_out_chart(distance, optotypes=kind, paper=paper, version=version)
    width, height = PAPERS_MM[paper]
    assert chart.rows
    for page in chart.pages:
        for row in page:
            symbols = [o.symbol for o in row.optotypes]
            assert len(set(symbols)) == 5
            assert row.optotypes[0].x_mm > 5.0
            assert row.optotypes[-1].x_mm + row.height_mm < width - 20.0
            assert row.optotypes[0].y_mm >= 12.0
            assert row.optotypes[0].y_mm + row.height_mm < height - 20.0
            # Ten dots of a 600 dpi printer across every stroke.
            assert row.height_mm / 5.0 >= 10 * 25.4 / 600 * 0.999
    sizes = [row.logmar for row in chart.rows]
    assert sizes == sorted(sizes, reverse=True)
    assert all(a - b == pytest.approx(0.1) for a, b in pairwise(sizes))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("version", range(1, 6))
def test_rows_are_of_like_difficulty(kind, version):
    for row in lay_out_chart(4.0, optotypes=kind, version=version).rows:
        symbols = [o.symbol for o in row.optotypes]
        if kind == RINGS:
            assert sum(gap.oblique for gap in symbols) in (2, 3)
        else:
            letters = letter_sets()[kind]
            assert sum(s in letters["round"] for s in symbols) == letters["round_per_row"]
            assert all(s in letters["round"] + letters["straight"] for s in symbols)


def test_versions_differ_and_repeat():
    def letters(version):
        chart = lay_out_chart(4.0, version=version)
        return [o.symbol for row in chart.rows for o in row.optotypes]

    assert letters(1) == letters(1)
    assert letters(1) != letters(2)


@pytest.mark.parametrize(
    ("asked", "slip"),
    [
        ({"distance_m": 600.0}, "centimetres"),
        ({"distance_m": 20.0}, "feet"),
        ({"distance_m": 6.0, "largest": 1.0}, "larger paper"),
        ({"distance_m": 1.0, "smallest": -0.3}, "finer printer"),
        ({"distance_m": 4.0, "largest": 0.25}, "steps of 0.1"),
        ({"distance_m": 4.0, "largest": 0.0, "smallest": 0.2}, "above"),
        ({"distance_m": 4.0, "paper": "A5"}, "A4"),
        ({"distance_m": 4.0, "optotypes": "pictures"}, "rings"),
        ({"distance_m": 4.0, "printer_dpi": 6}, "dots"),
    ],
)
def test_what_cannot_be_printed_is_refused_and_named(asked, slip):
    with pytest.raises(BadInput) as caught:
        lay_out_chart(asked.pop("distance_m"), **asked)
    assert slip in caught.value.sentence


def test_a_finer_printer_allows_smaller_rows():
    coarse = lay_out_chart(2.0, printer_dpi=300).rows[-1].logmar
    assert lay_out_chart(2.0, printer_dpi=1200).rows[-1].logmar < coarse


def test_the_same_chart_gives_the_same_bytes():
    chart = lay_out_chart(3.0, optotypes=RINGS)
    pdf = chart_pdf(chart)
    assert pdf.startswith(b"%PDF-")
    assert pdf == chart_pdf(chart)
    assert pdf != chart_pdf(lay_out_chart(3.0, optotypes=RINGS, version=2))
    card = lay_out_near_card()
    assert near_card_pdf(card) == near_card_pdf(card)


@given(st.floats(-0.3, 1.3), st.floats(0.5, 6.5))
@settings(max_examples=40)
def test_size_grows_with_distance_and_angle(logmar, distance):
    here = optotype_height_mm(logmar, distance)
    assert optotype_height_mm(logmar, distance * 1.5) == pytest.approx(1.5 * here)
    assert optotype_height_mm(logmar + 0.3, distance) == pytest.approx(here * 10**0.3, rel=1e-3)
    with pytest.raises(BadInput, match="centimetres"):
        optotype_height_mm(logmar, distance * 100)


def test_optotypes_are_placed_and_turned():
    ring = ET.fromstring(optotype_svg(Gap.DOWN, 10.0, 20.0, 5.0))
    assert ring.get("transform") == "translate(10.0000 20.0000) scale(1.000000) rotate(90 2.5 2.5)"
    assert [gap.degrees_clockwise for gap in Gap] == list(range(0, 360, 45))
    with pytest.raises(BadInput, match="letter"):
        optotype_svg("Q", 0, 0, 5)
    assert "Q" not in json.dumps(letter_sets())


def test_the_near_card_has_its_own_words_at_every_size():
    card = lay_out_near_card(0.33, n_rule="half the body")
    sizes = [p.n_size for p in card.passages]
    assert sizes == sorted(sizes, reverse=True)
    assert len({p.text for p in card.passages}) == len(sizes)
    assert {5, 6, 8, 10, 12, 14, 18, 24, 36, 48} <= set(sizes)
    assert card.passages[0].logmar > card.passages[-1].logmar
    with pytest.raises(BadInput, match="centimetres"):
        lay_out_near_card(40)
    with pytest.raises(BadInput, match="rule for N sizes"):
        lay_out_near_card(n_rule="by eye")
