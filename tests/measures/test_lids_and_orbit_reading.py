"""Lids and orbit: mirror symmetry, limits by population, and refusals."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.lids_and_orbit import (
    Lids,
    Protrusion,
    compare_margin,
    fissure_mm,
    levator_grade,
    protrusion_groups,
    read_lids,
    read_protrusion,
)
from decussate.measures.sex import Sex
from decussate.sides import Side

margins = st.floats(-4.0, 7.0)
levators = st.floats(0.0, 20.0)


@given(margins, margins, levators, levators)
@settings(max_examples=80)
def test_lids_mirror(right, left, levator_right, levator_left):
    here = read_lids(Lids(right, left, levator_right, levator_left))
    there = read_lids(Lids(left, right, levator_left, levator_right))
    assert there.difference_mm == pytest.approx(-here.difference_mm)
    assert there.droop_side is (None if here.droop_side is None else here.droop_side.other)
    assert {s.other for s in there.low_sides} == set(here.low_sides)
    assert (there.grade, there.levator) == (here.grade, here.levator)


@given(st.floats(8, 30), st.floats(8, 30), st.sampled_from(protrusion_groups()))
@settings(max_examples=60)
def test_protrusion_mirrors(right, left, group):
    here = read_protrusion(Protrusion(right, left), group=group, sex=Sex.MALE)
    there = read_protrusion(Protrusion(left, right), group=group, sex=Sex.MALE)
    assert {s.other for s in there.beyond_limit} == set(here.beyond_limit)
    assert there.unequal is (None if here.unequal is None else here.unequal.other)
    assert here.people.startswith(group)


def test_readings_of_a_droop():
    assert read_lids(Lids(4, 4)).meaning.startswith("No droop")
    assert "Measure the levator" in read_lids(Lids(4, 2)).meaning
    weak = read_lids(Lids(1, 4, right_levator_mm=4, left_levator_mm=14))
    assert (weak.droop_side, weak.levator) == (Side.RIGHT, "poor")
    assert "third nerve" in weak.meaning
    both = read_lids(Lids(1, 1.5))
    assert (both.droop_side, both.low_sides) == (None, (Side.RIGHT, Side.LEFT))
    large = read_lids(Lids(4, 0, 14, 14))
    assert (large.grade, "sustained upgaze" in large.meaning) == ("severe", True)


def test_a_lower_lid_that_is_not_low_points_at_the_other_eye():
    assert "other lid raised" in read_lids(Lids(6.5, 4.0)).caution
    assert "other lid raised" not in read_lids(Lids(4.0, 1.0)).caution


def test_limits_follow_the_population_and_sex():
    with pytest.raises(BadInput, match="published by sex"):
        read_protrusion(Protrusion(18, 18), group="black adults")
    with pytest.raises(BadInput, match="Han Chinese adults"):
        read_protrusion(Protrusion(18, 18), group="everyone")
    mexican = read_protrusion(Protrusion(20, 18), group="Mexican adults", sex=Sex.FEMALE)
    assert mexican.upper_limit_mm == pytest.approx(14.82 + 2 * 1.98)
    assert "standard deviations" in mexican.remarks[0]
    memory = read_protrusion(Protrusion(20, 18), group="white adults (United States)", sex=Sex.MALE)
    assert memory.mark == "from memory"


@pytest.mark.parametrize(
    ("make", "slip"),
    [
        (lambda: Lids(12, 4), "whole fissure"),
        (lambda: Lids(4, 4, 1.4, 40), "centimetres"),
        (lambda: levator_grade(-1), "25 mm"),
        (lambda: Protrusion(1.8, 18), "centimetres"),
        (lambda: Protrusion(18, 18, base_mm=9.6), "base"),
        (lambda: fissure_mm(-3, 1), "fissure"),
    ],
)
def test_slips_are_refused_and_named(make, slip):
    with pytest.raises(BadInput, match=slip):
        make()


def test_a_margin_is_compared_only_where_a_spread_was_published():
    elderly = compare_margin(2.42, group="Korean, 60 years and over")
    assert (elderly.deviations, elderly.below_limit) == (0.0, False)
    assert not compare_margin(0.4, group="Korean, 60 years and over").below_limit
    assert compare_margin(0.3, group="Korean, 60 years and over").below_limit
    with pytest.raises(BadInput, match="standard deviation"):
        compare_margin(3.0, group="Australian adults, mean age 58")
    with pytest.raises(BadInput, match="population"):
        compare_margin(3.0, group="everyone")


@given(levators, levators)
@settings(max_examples=40)
def test_levator_grades_rise_with_excursion(one, other):
    order = ["poor", "fair", "good", "normal"]
    low, high = sorted((one, other))
    assert order.index(levator_grade(low)["name"]) <= order.index(levator_grade(high)["name"])
