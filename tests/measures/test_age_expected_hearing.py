import pytest
from hypothesis import given
from hypothesis import strategies as st

from audiogram_strategies import air
from decussate.errors import BadInput
from decussate.measures.age_expected_hearing import compare_with_age, expected_threshold
from decussate.measures.audiogram import Audiogram, Conduction, Threshold
from decussate.measures.sex import Sex
from decussate.sides import Side

HZ = (125, 250, 500, 1000, 1500, 2000, 3000, 4000, 6000, 8000)
EDITIONS = ("2017", "2000")


@given(
    st.floats(18, 70),
    st.floats(0, 10),
    st.sampled_from(Sex),
    st.sampled_from(HZ),
    st.sampled_from(EDITIONS),
)
def test_hearing_never_improves_with_age(age, more, sex, hz, edition):
    later = min(70, age + more)
    one = expected_threshold(age, sex, hz, edition=edition).median_db
    assert one <= expected_threshold(later, sex, hz, edition=edition).median_db + 1e-9


@given(
    st.floats(18, 70),
    st.sampled_from(Sex),
    st.sampled_from(HZ),
    st.sampled_from(EDITIONS),
    st.floats(0.01, 0.99),
)
def test_fraction_and_level_round_trip(age, sex, hz, edition, fraction):
    expected = expected_threshold(age, sex, hz, edition=edition)
    level = expected.at_fraction_worse(fraction)
    assert expected.fraction_worse_than(level) == pytest.approx(fraction, abs=1e-9)


@pytest.mark.parametrize("edition", EDITIONS)
def test_at_eighteen_the_median_is_zero(edition):
    assert expected_threshold(18, Sex.FEMALE, 4000, edition=edition).median_db == 0


def test_median_is_exceeded_by_half():
    expected = expected_threshold(65, Sex.MALE, 4000)
    assert expected.fraction_worse_than(expected.median_db) == pytest.approx(0.5)


def test_high_tones_above_seventy_are_for_information_and_get_no_fraction():
    expected = expected_threshold(75, Sex.MALE, 8000)
    assert expected.informative
    with pytest.raises(BadInput, match="information only"):
        expected.fraction_worse_than(60)
    assert not expected_threshold(75, Sex.MALE, 2000).informative
    found = compare_with_age(air(60, 60, (2000, 8000)), Side.RIGHT, 75, Sex.MALE)
    assert found[0].fraction_worse is not None
    assert found[1].fraction_worse is None


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: expected_threshold(17, Sex.MALE, 1000), "18 to 80"),
        (lambda: expected_threshold(81, Sex.MALE, 1000), "scope"),
        (lambda: expected_threshold(71, Sex.MALE, 1000, edition="2000"), "18 to 70"),
        (lambda: expected_threshold(50, Sex.MALE, 4), "kHz"),
        (lambda: expected_threshold(50, Sex.MALE, 750, edition="2000"), "frequency"),
        (lambda: expected_threshold(50, "other", 1000), "two columns"),
        (lambda: expected_threshold(50, Sex.MALE, 1000, edition="1984"), "edition"),
        (lambda: expected_threshold(50, Sex.MALE, 1000).at_fraction_worse(10), "percentage"),
    ],
)
def test_bad_input(call, says):
    with pytest.raises(BadInput, match=says):
        call()


def test_comparison_mirrors_and_marks_tones_not_heard():
    a = air(30, 60)
    a = Audiogram(
        (*a.thresholds, Threshold(Side.LEFT, 8000, Conduction.AIR, 100, no_response=True))
    )
    left = compare_with_age(a, Side.LEFT, 60, Sex.MALE)
    mirrored = compare_with_age(a.mirrored(), Side.RIGHT, 60, Sex.MALE)
    assert [(c.frequency_hz, c.excess_db, c.fraction_worse) for c in left] == [
        (c.frequency_hz, c.excess_db, c.fraction_worse) for c in mirrored
    ]
    assert left[-1].at_least
    assert left[-1].excess_db == pytest.approx(
        100 - expected_threshold(60, Sex.MALE, 8000).median_db
    )
