"""Intervals and reliability against formulas and worked values from outside the project."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from decussate.examination.document import Examination, Finding, Truth
from decussate.localisation import localise
from decussate.localisation.evaluation import CaseScore, evaluate
from decussate.localisation.reliability import assess, bands, bootstrap, figures
from decussate.sides import Side


def case(rank: int | None, probability: float, side_right: bool | None = True) -> CaseScore:
    return CaseScore(
        id="x", label="", scored=True, places=("p",), side="right", rank=rank,
        probability=probability, side_right=side_right, first_place="p", first_side=Side.RIGHT,
    )  # fmt: skip


def test_interval_agrees_with_the_library() -> None:
    """scipy.stats.bootstrap, percentile method, on the mouse data of Efron and Tibshirani.

    Their table 2.1 (from memory): seven treated mice, mean 86.86.
    """
    treated = [94.0, 197, 16, 38, 99, 141, 23]
    found = bootstrap(treated)
    other = stats.bootstrap(
        (np.array(treated),), np.mean, n_resamples=10_000, method="percentile", rng=7
    ).confidence_interval
    assert found.value == pytest.approx(86.857, abs=1e-3)
    assert found.low == pytest.approx(other.low, abs=2.5)
    assert found.high == pytest.approx(other.high, abs=2.5)


def test_figures_are_those_of_the_evaluation() -> None:
    cases = [case(1, 0.8), case(2, 0.1), case(None, 0.0, False), case(5, 0.01, None)]
    found = figures(cases)
    assert found["top1"].value == 0.25
    assert found["top3"].value == 0.5
    assert found["side"].value == pytest.approx(2 / 3)
    assert found["side"].count == 3
    expected = (math.log(0.8) + math.log(0.1) + math.log(1e-9) + math.log(0.01)) / 4
    assert found["log_score"].value == pytest.approx(expected)


def test_a_figure_without_cases_is_left_out() -> None:
    assert "side" not in figures([case(1, 0.5, None)])
    assert figures([]) == {}
    with pytest.raises(ValueError, match="at least one"):
        bootstrap([])


def test_wilson_interval_of_a_band() -> None:
    """Newcombe, Stat Med 1998;17:857-872, table I: 81 of 263 gives 0.2553 to 0.3662.

    The score method, from memory.
    """
    (band,) = bands([(0.3, k < 81) for k in range(263)], 1)
    assert band.right.value == pytest.approx(81 / 263)
    assert band.right.low == pytest.approx(0.2553, abs=5e-5)
    assert band.right.high == pytest.approx(0.3662, abs=5e-5)


@given(st.lists(st.tuples(st.floats(0, 1), st.booleans()), max_size=40), st.integers(1, 8))
def test_bands_hold_every_forecast_once_in_order(forecasts, count) -> None:
    found = bands(forecasts, count)
    assert sum(band.right.count for band in found) == len(forecasts)
    assert sum(band.right.value * band.right.count for band in found) == pytest.approx(
        sum(right for _, right in forecasts)
    )
    edges = [edge for band in found for edge in (band.lowest, band.highest)]
    assert edges == sorted(edges)
    assert all(b.lowest - 1e-12 <= b.stated <= b.highest + 1e-12 for b in found)
    assert all(b.right.low <= b.right.value <= b.right.high for b in found)


def test_honest_forecasts_lie_on_the_diagonal() -> None:
    chance = np.random.default_rng(5)
    stated = chance.random(20_000)
    for band in bands([(p, bool(chance.random() < p)) for p in stated], 10):
        assert band.right.value == pytest.approx(band.stated, abs=0.03)


def test_assess_agrees_with_evaluate_and_keeps_the_first_probability() -> None:
    one = Examination(
        id="x",
        findings=(
            Finding(test="upper_lid_position", side=Side.LEFT, response="complete"),
            Finding(test="gaze_in", side=Side.LEFT, response="absent"),
        ),
        truth=Truth(places=("third_cistern_compressed",), side="left"),
    )
    found = assess([one], localise)
    assert found.evaluation == evaluate([one], localise)
    assert found.stated == (localise(one).candidates[0].probability,)
    assert found.scored == ((found.stated[0], found.evaluation.cases[0].rank == 1),)
