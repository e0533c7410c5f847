import pytest
from hypothesis import given
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.sex import Sex
from decussate.measures.swallow import (
    WaterSwallow,
    expected_fall_ml_s,
    published_norms,
    published_notes,
    swallow_speed,
)


@given(st.floats(1, 300), st.floats(0, 1), st.floats(0.5, 300), st.integers(1, 50))
def test_the_parts_agree(given_ml, share, seconds, swallows):
    test = WaterSwallow(given_ml, seconds, share * given_ml, swallows)
    found = swallow_speed(test)
    assert found.speed_ml_s * seconds == pytest.approx(test.drunk_ml)
    assert found.volume_per_swallow_ml == pytest.approx(found.speed_ml_s * found.time_per_swallow_s)


def test_the_stop_counts_whatever_the_speed():
    found = swallow_speed(WaterSwallow(150, 5, left_ml=10, coughed=True, interrupted=True))
    assert not found.slow
    assert found.signs == ("cough", "interrupted", "water left")


def test_uncounted_swallows_give_no_volume():
    found = swallow_speed(WaterSwallow(150, 10))
    assert found.volume_per_swallow_ml is None
    assert found.time_per_swallow_s is None


def test_the_limit_belongs_to_the_full_volume():
    assert swallow_speed(WaterSwallow(150, 10)).limit_of_full_volume
    assert not swallow_speed(WaterSwallow(90, 10)).limit_of_full_volume


def test_norms_cover_the_age_and_carry_their_source():
    names = {row["name"] for row in published_norms(8)}
    assert "healthy mean" not in names
    assert "healthy mean" in {row["name"] for row in published_norms(70)}
    assert all(row.citation for row in published_norms(70))
    assert any("women of 90" in note for note in published_notes(91))


@given(st.floats(60, 92), st.floats(60, 92), st.sampled_from(Sex))
def test_falls_add_up(one, two, sex):
    one, two = sorted((one, two))
    total = expected_fall_ml_s(sex, 60, one) + expected_fall_ml_s(sex, one, two)
    assert total == pytest.approx(expected_fall_ml_s(sex, 60, two))


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: WaterSwallow(0.15, 10), "litres"),
        (lambda: WaterSwallow(150, 10, left_ml=160), "not what was drunk"),
        (lambda: WaterSwallow(150, 0), "time taken"),
        (lambda: WaterSwallow(150, 10, swallows=0), "swallows"),
        (lambda: published_norms(200), "age"),
        (lambda: expected_fall_ml_s(Sex.MALE, 50, 70), "ages studied"),
        (lambda: expected_fall_ml_s(Sex.MALE, 80, 70), "earlier age first"),
        (lambda: expected_fall_ml_s("other", 60, 70), "two columns"),
    ],
)
def test_bad_input(call, says):
    with pytest.raises(BadInput, match=says):
        call()
