import pytest
from hypothesis import given
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.facial_composite import (
    MOVEMENTS,
    REST_SITES,
    composite_score,
    healthy_range,
)
from decussate.sides import Side

REST = st.fixed_dictionaries(
    {"eye": st.integers(0, 1), "nasolabial fold": st.integers(0, 2), "mouth": st.integers(0, 1)}
)
MOVEMENT = st.fixed_dictionaries({m: st.integers(1, 5) for m in MOVEMENTS})
SYNKINESIS = st.fixed_dictionaries({m: st.integers(0, 3) for m in MOVEMENTS})


def scores(values, names):
    return dict(zip(names, values, strict=True))


@given(st.sampled_from(Side), REST, MOVEMENT, SYNKINESIS)
def test_parts_stay_in_range_and_sides_do_not_matter(side, rest, movement, synkinesis):
    one = composite_score(side, rest=rest, movement=movement, synkinesis=synkinesis)
    two = composite_score(side.other, rest=rest, movement=movement, synkinesis=synkinesis)
    assert (one.total, one.inconsistent) == (two.total, two.inconsistent)
    assert two.side is side.other
    assert 0 <= one.rest <= 20
    assert 20 <= one.movement <= 100
    assert 0 <= one.synkinesis <= 15
    assert (one.total < 0) <= bool(one.inconsistent)


def test_the_arithmetic_is_not_clamped_but_marked():
    worst = composite_score(
        Side.RIGHT,
        rest=scores([1, 2, 1], REST_SITES),
        movement=dict.fromkeys(MOVEMENTS, 1),
        synkinesis=dict.fromkeys(MOVEMENTS, 3),
    )
    assert worst.total == -15
    assert len(worst.inconsistent) == 6


def test_healthy_adults_do_not_all_reach_the_top():
    assert healthy_range() == (65, 100)


@pytest.mark.parametrize(
    ("rest", "movement", "says"),
    [
        ([0, 0, 0], [0, 5, 5, 5, 5], "starts at 1"),
        ([0, 3, 0], [5, 5, 5, 5, 5], "absent"),
        ([2, 0, 0], [5, 5, 5, 5, 5], "rest, eye"),
        ([0, 0, 0], [6, 5, 5, 5, 5], "brow lift"),
    ],
)
def test_scores_out_of_range(rest, movement, says):
    with pytest.raises(BadInput, match=says):
        composite_score(
            Side.LEFT, rest=scores(rest, REST_SITES), movement=scores(movement, MOVEMENTS)
        )


def test_every_item_is_needed():
    with pytest.raises(BadInput, match="items of movement"):
        composite_score(Side.LEFT, rest=dict.fromkeys(REST_SITES, 0), movement={"brow lift": 5})
