"""Predicted frequencies of signs against published series; rows of series.yaml name sources."""

from __future__ import annotations

import sys
from itertools import product
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "tools"))
import series
import series_fit

from decussate.errors import BadInput
from decussate.localisation import load_model

MODEL = load_model()
ENTRIES = series.read_series(MODEL)
RESULTS = series.results(MODEL)
TARGET = 0.8
"""Share of the counted rows that must lie inside their widened interval."""


def test_most_published_frequencies_are_predicted() -> None:
    inside, counted = series.share_inside(RESULTS)
    assert counted >= 140
    assert inside >= TARGET * counted, [
        f"{r.entry.id} {r.entry.sign}: {r.entry.percent} published, {r.predicted:.0f} predicted"
        for r in RESULTS
        if r.entry.counted and not r.inside
    ]


def test_the_table_is_not_stale() -> None:
    assert series.main(["--check"]) == 0


def test_every_miss_has_its_reason() -> None:
    unexplained = [
        r.entry.id for r in RESULTS if r.entry.counted and not r.inside and not r.entry.miss
    ]
    assert unexplained == []


def test_every_published_row_is_read_or_refused_with_a_reason() -> None:
    rows = series.read_rows(series.SERIES)
    refused = [row for row in rows if "not_expressible" in row]
    assert len(ENTRIES) + len(refused) == 246
    assert all(len(row["not_expressible"]) > 8 for row in refused)


@pytest.mark.parametrize(
    "node",
    [
        {"any": ["ptosis.right", {"all": ["ptosis.left", "hoarse_voice"]}]},
        {"two_of": ["ptosis.right", "ptosis.left=complete", "pupil_size.right=small|large"]},
        {"all": [{"not": "ptosis.right=partial"}, {"any": ["ptosis.right", "tinnitus.left"]}]},
    ],
)
def test_event_chance_is_the_sum_over_all_states(node: object) -> None:
    """Brute force over every combination of states gives the same figure."""
    event = series.read_event(node, {}, MODEL, "test")
    signs = sorted(set(series.signs_of(event)), key=str)
    columns = series.columns_of(MODEL, "cavernous_sinus")[:40]
    seen = {
        s: MODEL.signs[s].probability[MODEL.signs[s].level_of[columns]]
        @ series.in_states(MODEL.atlas.signs[s[0]])
        for s in signs
    }
    states = {name: MODEL.atlas.signs[name].states for name, _ in signs}
    total = np.zeros(len(columns))
    for choice in product(*(range(len(states[name])) for name, _ in signs)):
        outcome = event
        chance = np.ones(len(columns))
        for sign, i in zip(signs, choice, strict=True):
            outcome = series.given_state(outcome, sign, states[sign[0]][i])
            chance = chance * seen[sign][:, i]
        assert isinstance(outcome, bool)
        total += chance * outcome
    np.testing.assert_allclose(series.chance_of(event, seen, states), total, atol=1e-12)


def test_a_misspelt_sign_is_refused() -> None:
    with pytest.raises(BadInput, match="ptossis"):
        series.read_event("ptossis.right", {}, MODEL, "test")


def test_the_fit_predicts_what_the_model_predicts() -> None:
    """At today's numbers the fast predictions of the fit equal those of the compiled model."""
    fitter = series_fit.Fitter(MODEL, ENTRIES)
    today = np.array([number.to_line(number.now) for number in fitter.numbers])
    direct = [series.predict(entry, MODEL) / 100 for entry in fitter.entries]
    np.testing.assert_allclose(fitter.predict(today), np.clip(direct, 1e-4, 1 - 1e-4), atol=1e-9)


def test_every_number_before_calibration_still_exists() -> None:
    fitter = series_fit.Fitter(MODEL, ENTRIES)
    assert set(fitter.before) <= set(fitter.at)
