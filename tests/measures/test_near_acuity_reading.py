"""Near acuity: forms, conversions, and whether focus explains it."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.acuity_notation import parse as parse_distance
from decussate.measures.near_acuity import (
    Focus,
    NearAcuity,
    m_from_n,
    n_from_m,
    near_impairment,
    parse,
    read_with_add,
    suggested_add,
    write,
    x_height_mm,
)

RULES = ("N8 is 1 M", "half the body", "Times New Roman")


@pytest.mark.parametrize(
    ("text", "m_units", "metres"),
    [
        ("N8 at 40 cm", 1.0, 0.4),
        ("n6@33cm", 0.75, 0.33),
        ("0.8 M at 40 cm", 0.8, 0.4),
        ("M1.0 at 0.4 m", 1.0, 0.4),
        ("1,25 M at 25 cm", 1.25, 0.25),
        ("1 M at 16 in", 1.0, 0.4064),
    ],
)
def test_written_forms(text, m_units, metres):
    acuity = parse(text)
    assert acuity.m_units == pytest.approx(m_units)
    assert acuity.distance_m == pytest.approx(metres)
    assert parse(write(acuity)).logmar == pytest.approx(acuity.logmar, abs=1e-4)


@pytest.mark.parametrize(
    ("text", "slip"),
    [
        ("J3 at 40 cm", "catalogue"),
        ("Jaeger 5", "catalogue"),
        ("N8", "distance"),
        ("N8 at 40", "unit"),
        ("N8 at 40 m", "centimetres"),
        ("N200 at 40 cm", "N96"),
        ("30 M at 40 cm", "20 M"),
        ("small print", ""),
    ],
)
def test_slips_are_refused_and_named(text, slip):
    with pytest.raises(BadInput) as caught:
        parse(text)
    assert slip in caught.value.sentence


@given(st.floats(3.0, 96.0), st.sampled_from(RULES))
@settings(max_examples=60)
def test_n_and_m_invert(n_size, rule):
    assert n_from_m(m_from_n(n_size, rule=rule), rule=rule) == pytest.approx(n_size)


def test_the_rule_matters_and_is_named():
    heights = [x_height_mm(8, rule=rule) for rule in RULES]
    assert max(heights) / min(heights) == pytest.approx(10**0.06, abs=0.01)
    assert parse("N8 at 40 cm", n_rule="half the body").n_rule == "half the body"
    with pytest.raises(BadInput, match="rule for N sizes"):
        m_from_n(8, rule="by eye")
    with pytest.raises(BadInput):
        n_from_m(50.0)


@given(st.floats(0.2, 4.0), st.floats(0.1, 0.5))
@settings(max_examples=40)
def test_twice_the_distance_is_half_the_angle(m_units, distance):
    near, far = NearAcuity(m_units, distance), NearAcuity(m_units, 2 * distance)
    assert near.logmar - far.logmar == pytest.approx(0.30103, abs=1e-5)
    assert near.decimal * 2 == pytest.approx(far.decimal)


def test_focus_explains_or_does_not():
    good, poor = parse("0.5 M at 40 cm"), parse("2 M at 40 cm")
    distance = parse_distance("6/6")

    def read(near, add, amplitude):
        return read_with_add(near, distance, add_dioptres=add, amplitude_dioptres=amplitude)

    assert read(good, 0.0, 0.0).focus is Focus.NOTHING_TO_EXPLAIN
    short = read(poor, 0.0, 1.0)
    assert (short.focus, short.short_by_dioptres) == (Focus.EXPLAINS, pytest.approx(1.5))
    assert read(poor, 1.0, 2.0).focus is Focus.STRAINED
    assert read(poor, 2.5, 0.0).focus is Focus.DOES_NOT_EXPLAIN
    assert "does not explain" in read(poor, 2.5, 0.0).meaning
    with pytest.raises(BadInput, match="amplitude"):
        read(poor, 0.0, -1.0)
    with pytest.raises(BadInput, match="reading add"):
        read(poor, 25.0, 0.0)


def test_the_suggested_add_is_never_negative_and_refuses_centimetres():
    assert suggested_add(0.4, 12.0) == 0.0
    with pytest.raises(BadInput, match="centimetres"):
        suggested_add(40, 2.0)


def test_the_near_limit_is_for_forty_centimetres():
    with pytest.raises(BadInput, match="for this limit"):
        near_impairment(parse("N8 at 33 cm"))
