"""Acuity as written: what is understood, what is refused, and that it reads back unchanged."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.acuity_chart import chart_named
from decussate.measures.acuity_notation import nearest_line, parse, write
from decussate.measures.distance_acuity import (
    LowVision,
    LowVisionAcuity,
    Notation,
    ReadAcuity,
    correct_for_distance,
    from_decimal,
    from_letter_score,
    from_logmar,
    mean_acuity,
    protocol_letter_score,
    snellen,
)

logmars = st.floats(-0.3, 2.0)


@pytest.mark.parametrize(
    ("text", "notation", "logmar"),
    [
        ("6/6", Notation.METRES, 0.0),
        ("6 / 12", Notation.METRES, math.log10(2)),
        ("6m/12", Notation.METRES, math.log10(2)),
        ("6/7,5", Notation.METRES, math.log10(1.25)),
        ("0.5/60", Notation.METRES, math.log10(120)),
        ("20/40", Notation.FEET, math.log10(2)),
        ("20ft/40", Notation.FEET, math.log10(2)),
        ("5/200 ft", Notation.FEET, math.log10(40)),
        ("logMAR 0.30", Notation.LOGMAR, 0.3),
        ("-0.1 LogMAR", Notation.LOGMAR, -0.1),
        ("decimal 0,5", Notation.DECIMAL, math.log10(2)),
        ("0.8 dec", Notation.DECIMAL, -math.log10(0.8)),
        ("55 letters", Notation.LETTERS, 0.6),
        ("ETDRS 70", Notation.LETTERS, 0.3),
        ("6/9−2", Notation.METRES, 0.176 + 2 * 0.125 / 6),
        ("6/12-1+2", Notation.METRES, 0.301 + 0.02 - 0.04),
    ],
)
def test_written_forms(text, notation, logmar):
    acuity = parse(text)
    assert isinstance(acuity, ReadAcuity)
    assert acuity.notation is notation
    assert acuity.logmar == pytest.approx(logmar, abs=6e-4)


@pytest.mark.parametrize(
    ("text", "level", "distance"),
    [
        ("CF 1 m", LowVision.COUNTING_FINGERS, 1.0),
        ("cf @ 50cm", LowVision.COUNTING_FINGERS, 0.5),
        ("counting fingers at 3 ft", LowVision.COUNTING_FINGERS, 0.9144),
        ("CF", LowVision.COUNTING_FINGERS, None),
        ("HM", LowVision.HAND_MOVEMENTS, None),
        ("hand motion", LowVision.HAND_MOVEMENTS, None),
        ("LP", LowVision.LIGHT, None),
        ("perception of light", LowVision.LIGHT, None),
        ("NLP", LowVision.NO_LIGHT, None),
        ("no perception of light", LowVision.NO_LIGHT, None),
    ],
)
def test_low_vision_forms(text, level, distance):
    assert parse(text) == LowVisionAcuity(level, pytest.approx(distance) if distance else None)


@pytest.mark.parametrize(
    ("text", "slip"),
    [
        ("60/6", "6/60"),
        ("12/6", "6/12"),
        ("600/60", "upside down"),
        ("20/6", "6/20"),
        ("6/1", "upside down"),
        ("0.5", "ambiguous"),
        ("6/9p", "how many letters"),
        ("CF 50 m", "centimetres"),
        ("CF 1 cm", "metres"),
        ("CF 1", "unit"),
        ("6/7000 ft", "CF, HM"),
        ("decimal 20", "logMAR"),
        ("6/9-6", "next line"),
        ("101 letters", ""),
        ("logMAR 30", "CF, HM"),
        ("6m/20ft", ""),
        ("", ""),
        ("quite good", ""),
    ],
)
def test_slips_are_refused_and_named(text, slip):
    with pytest.raises(BadInput) as caught:
        parse(text)
    assert slip in caught.value.sentence
    assert caught.value.expected


@given(st.sampled_from((6.0, 5.0, 4.0, 3.0, 2.0, 1.0, 0.5)), st.floats(3.0, 120.0))
@settings(max_examples=60)
def test_a_metre_fraction_reads_back_unchanged(numerator, denominator):
    acuity = snellen(numerator, float(f"{denominator:.4g}"))
    assert parse(write(acuity)) == acuity


@given(logmars, st.sampled_from(Notation))
@settings(max_examples=80)
def test_every_notation_round_trips_within_what_is_written(logmar, notation):
    acuity = from_logmar(logmar)
    if notation is Notation.LETTERS and not 0.0 <= acuity.letter_score <= 100.0:
        with pytest.raises(BadInput, match="write it as logMAR"):
            write(acuity, notation)
        return
    back = parse(write(acuity, notation))
    assert isinstance(back, ReadAcuity)
    assert back.notation is notation
    assert back.logmar == pytest.approx(logmar, abs=0.005)


@given(logmars)
@settings(max_examples=60)
def test_scales_invert_exactly(logmar):
    acuity = from_logmar(logmar)
    if 0.001 <= acuity.decimal <= 2.0:
        assert from_decimal(acuity.decimal).logmar == pytest.approx(logmar, abs=1e-9)
    if 0.0 <= acuity.letter_score <= 100.0:
        assert from_letter_score(acuity.letter_score).logmar == pytest.approx(logmar, abs=1e-9)
    assert acuity.mar_arcmin * acuity.decimal == pytest.approx(1.0)
    assert acuity.acuity_score - acuity.letter_score == pytest.approx(15.0)


@given(st.floats(-0.3, 1.0))
@settings(max_examples=60)
def test_the_nearest_line_is_within_half_a_letter(logmar):
    line = nearest_line(from_logmar(logmar))
    back = parse(line, chart=chart_named("logarithmic 5 letters"))
    # Half a letter, and the rounding of printed labels.
    assert back.logmar == pytest.approx(logmar, abs=0.01 + 0.005)


@given(logmars, st.floats(0.5, 6.0), st.floats(0.5, 6.0))
@settings(max_examples=60)
def test_distance_corrections_undo_each_other(logmar, chart_m, used_m):
    seen = correct_for_distance(
        from_logmar(logmar), chart_distance_m=chart_m, used_distance_m=used_m
    )
    back = correct_for_distance(seen, chart_distance_m=used_m, used_distance_m=chart_m)
    assert back.logmar == pytest.approx(logmar, abs=1e-9)
    assert (seen.logmar > logmar) == (used_m < chart_m) or used_m == pytest.approx(chart_m)


def test_a_nearer_chart_keeps_its_line_and_asks_for_focus():
    seen = correct_for_distance(parse("6/60"), chart_distance_m=6.0, used_distance_m=1.0)
    assert write(seen) == "1/60"
    assert "1.00 D" in seen.remarks[0]
    assert "same distance" in seen.remarks[1]
    assert correct_for_distance(parse("6/60"), chart_distance_m=6, used_distance_m=3).remarks == ()


@pytest.mark.parametrize("metres", [400.0, 0.0, -1.0, math.nan])
def test_an_impossible_distance_is_refused(metres):
    with pytest.raises(BadInput, match="centimetres"):
        correct_for_distance(parse("6/60"), chart_distance_m=6.0, used_distance_m=metres)


def test_the_chart_decides_what_a_letter_is_worth():
    log, snell = chart_named("logarithmic 5 letters"), chart_named("Snellen 6 m")
    assert parse("6/6+1", chart=log).logmar == pytest.approx(-0.02)
    assert parse("6/6+1", chart=snell).logmar == pytest.approx(-math.log10(1.2) / 8)
    assert parse("6/6+1").chart == log.name
    assert "if it was another" in parse("6/6+1").remarks[0]
    assert parse("6/6+1", chart=snell).remarks == ()
    assert parse("3/36-1").chart == "Snellen 6 m"


def test_more_than_half_missed_is_remarked_and_kept():
    acuity = parse("6/9.5-3")
    assert acuity.logmar == pytest.approx(0.26, abs=0.001)
    assert any("line above" in remark for remark in acuity.remarks)


def test_a_line_that_no_chart_has_is_refused_only_when_letters_are_counted():
    assert parse("6/10").logmar == pytest.approx(math.log10(10 / 6))
    with pytest.raises(BadInput, match="Name the chart"):
        parse("6/10-1")
    with pytest.raises(BadInput, match="Snellen 6 m"):
        parse("6/9.5-1", chart=chart_named("Snellen 6 m"))
    with pytest.raises(BadInput, match="acuity chart"):
        chart_named("a chart of the neighbour's")


def test_means_refuse_what_has_no_mean():
    with pytest.raises(BadInput):
        mean_acuity([])
    with pytest.raises(BadInput):
        mean_acuity([parse("6/6"), parse("HM")])


@pytest.mark.parametrize(("far", "near"), [(71, 0), (-1, 0), (10, 31)])
def test_impossible_letter_counts_are_refused(far, near):
    with pytest.raises(BadInput):
        protocol_letter_score(far, near)


def test_feet_and_metres_stay_what_they_are():
    assert write(parse("20/40")) == "20/40"
    assert write(parse("5/200 ft")) == "5/200 ft"
    assert parse(write(parse("5/200 ft"))) == parse("5/200 ft")
    assert write(parse("6/12"), Notation.FEET) == "20/40"
    assert write(parse("CF 50 cm")) == "CF 0.5 m"
