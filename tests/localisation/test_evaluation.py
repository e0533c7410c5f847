"""The evaluation on invented localisations whose right answers can be counted by hand."""

import math
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.examination.document import Examination, Truth
from decussate.localisation.evaluation import LEAST_PROBABILITY, evaluate, score_case
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT


def located(*candidates: tuple[str, Side | None, float]) -> Any:
    shares = {"right": 0.0, "left": 0.0, "midline": 0.0}
    for _, side, probability in candidates:
        shares[side.value if side else "midline"] += probability
    listed = tuple(
        SimpleNamespace(place=place, side=side, probability=probability)
        for place, side, probability in candidates
    )
    return SimpleNamespace(candidates=listed, side_probability=shares)


FOUND = located(
    ("pons", LEFT, 0.4), ("pons", RIGHT, 0.3), ("medulla", RIGHT, 0.2), ("normal", None, 0.1)
)


def case(*places: str, side: str | None, scored: bool = True) -> Examination:
    truth = Truth.model_validate({"places": places, "side": side, "scored": scored})
    return Examination(id="case", truth=truth)


@pytest.mark.parametrize(
    ("places", "side", "rank", "probability", "side_right"),
    [
        (("pons",), "left", 1, 0.4, False),
        (("pons",), "right", 2, 0.3, True),
        (("medulla",), "right", 3, 0.2, True),
        (("medulla",), "left", None, 0.0, False),
        (("medulla", "pons"), "right", 2, 0.3, True),
        (("pons",), "both", 1, 0.4, None),
        (("pons",), None, 1, 0.4, None),
        (("medulla",), "midline", 3, 0.2, None),
        (("normal",), None, 4, 0.1, None),
        (("nowhere",), "right", None, 0.0, True),
    ],
)
def test_rank_probability_and_side(
    places: tuple[str, ...],
    side: str | None,
    rank: int | None,
    probability: float,
    side_right: bool | None,
) -> None:
    score = score_case(case(*places, side=side), FOUND)
    assert (score.rank, score.probability, score.side_right) == (rank, probability, side_right)
    assert (score.first_place, score.first_side) == ("pons", LEFT)


def test_two_sides_equally_likely_are_not_right() -> None:
    even = located(("pons", LEFT, 0.5), ("pons", RIGHT, 0.5))
    assert score_case(case("pons", side="right"), even).side_right is False
    assert score_case(case("pons", side="left"), even).side_right is False


def test_figures_over_scored_and_unscored_cases_are_kept_apart() -> None:
    cases = [
        case("pons", side="left"),
        case("medulla", side="right"),
        case("nowhere", side=None),
        case("pons", side="right", scored=False),
    ]
    evaluation = evaluate(cases, lambda _: FOUND)
    scored, unscored = evaluation.scored, evaluation.unscored
    assert (scored.count, scored.lateralised) == (3, 2)
    assert (scored.top1, scored.top3, scored.side) == (1 / 3, 2 / 3, 0.5)
    expected = (math.log(0.4) + math.log(0.2) + math.log(LEAST_PROBABILITY)) / 3
    assert scored.log_score == pytest.approx(expected)
    assert (unscored.count, unscored.top1, unscored.top3, unscored.side) == (1, 0.0, 1.0, 1.0)
    assert unscored.log_score == pytest.approx(math.log(0.3))


def test_no_case_gives_no_figure_rather_than_nought() -> None:
    summary = evaluate([], lambda _: FOUND).scored
    assert summary.count == 0
    assert summary.top1 is summary.top3 is summary.side is summary.log_score is None


def test_an_examination_without_its_true_place_is_refused() -> None:
    with pytest.raises(BadInput, match="truth of stray"):
        score_case(Examination(id="stray"), FOUND)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["pons", "medulla", "orbit"]),
            st.sampled_from([RIGHT, LEFT, None]),
            st.floats(0.01, 1.0),
        ),
        min_size=1,
        max_size=8,
    ),
    st.sampled_from(["right", "left", "midline", "both", None]),
)
def test_mirroring_case_and_localisation_changes_no_score(
    candidates: list[tuple[str, Side | None, float]], side: str | None
) -> None:
    mirrored = [(place, there.other if there else None, p) for place, there, p in candidates]
    examination = case("pons", "orbit", side=side)
    here = score_case(examination, located(*candidates))
    there = score_case(examination.mirrored(), located(*mirrored))
    assert (here.rank, here.probability, here.side_right) == (
        there.rank,
        there.probability,
        there.side_right,
    )
