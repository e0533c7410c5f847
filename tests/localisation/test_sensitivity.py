"""The bands of the leading answers, against the posterior worked out plainly."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings

from decussate.cli import main
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, read_examination
from decussate.localisation import load_model, localise
from decussate.localisation.localise import posterior_of
from decussate.localisation.observation import response_table
from decussate.localisation.posterior import log_sum
from decussate.localisation.sensitivity import DRAWS, Spread, draws, moved_sites, sensitivity
from strategies import examinations

MODEL = load_model()
CATALOGUE = load_catalogue()
CASE = Path(__file__).parents[1] / "published" / "cases" / "A02.json"


def plainly(examination: Examination, draw: int, spread: Spread) -> np.ndarray:
    """Site probabilities of one draw: every number moved, then every lesion summed."""
    posterior = posterior_of(examination)
    places, tests = draws(MODEL, CATALOGUE)
    row = {place: k for k, place in enumerate(MODEL.atlas.places)}
    logs = posterior.log_prior + np.log(MODEL.lesions.weight)
    shift = [np.log(spread.incidence) * places[row[s.place], draw] for s in MODEL.lesions.sites]
    logs = logs + np.array(shift)[MODEL.lesions.site_of]
    by_sign: dict = {}
    for seen in posterior.observations:
        test = CATALOGUE.test(seen.finding.test)
        alarms, detection = tests[test.id][:, draw]

        def found(p, move=detection):
            if p is None or p in (0, 1):
                return p
            return 1 / (1 + np.exp(-(np.log(p / (1 - p)) + spread.detection * move)))

        moved = replace(
            test.accuracy,
            specificity=1 - (1 - test.accuracy.specificity) * spread.false_alarms**alarms,
            partial=found(test.accuracy.partial),
            complete=found(test.accuracy.complete),
            present=found(test.accuracy.present),
        )
        sign = MODEL.atlas.signs[test.sign]
        table = response_table(sign, replace(test, accuracy=moved))
        by_sign.setdefault(seen.sign, []).append(table[seen.finding.response])
    for key, rows in by_sign.items():
        table = MODEL.signs[key]
        logs = logs + np.log(table.probability @ np.prod(rows, axis=0))[table.level_of]
    return np.add.reduceat(np.exp(logs - log_sum(logs)), MODEL.starts)


@settings(max_examples=8, deadline=None)
@given(examinations(10))
def test_every_draw_is_the_posterior_with_its_numbers(examination: Examination) -> None:
    moved = moved_sites(posterior_of(examination), CATALOGUE, Spread())
    for draw in (0, DRAWS // 2, DRAWS - 1):
        assert np.abs(moved[:, draw] - plainly(examination, draw, Spread())).max() < 5e-4


@settings(max_examples=8, deadline=None)
@given(examinations(10))
def test_without_spread_the_band_is_the_answer(examination: Examination) -> None:
    for band in sensitivity(examination, spread=Spread(1.0, 1.0, 0.0)):
        assert band.low == pytest.approx(band.probability, abs=1e-4)
        assert band.high == pytest.approx(band.probability, abs=1e-4)


@settings(max_examples=8, deadline=None)
@given(examinations(10))
def test_mirrored_examination_has_mirrored_bands(examination: Examination) -> None:
    one = {(b.place, b.side): b for b in sensitivity(examination, most=500)}
    for band in sensitivity(examination.mirrored(), most=10):
        other = one[band.place, band.side.other if band.side else None]
        assert (band.low, band.high) == pytest.approx((other.low, other.high), abs=1e-9)


def test_bands_of_a_published_case() -> None:
    case = read_examination(CASE)
    found = sensitivity(case)
    assert found == sensitivity(case)
    leading = localise(case).candidates[:5]
    assert [(b.place, b.side) for b in found] == [(c.place, c.side) for c in leading]
    for band, candidate in zip(found, leading, strict=True):
        assert band.probability == pytest.approx(candidate.probability, abs=1e-12)
        assert band.low < band.probability < band.high
    assert sum(band.first for band in found) <= 1 + 1e-9
    narrow = sensitivity(case, spread=Spread(1.2, 1.1, 0.1))
    for band, less in zip(found, narrow, strict=True):
        assert less.high - less.low < band.high - band.low


def test_the_command_shows_the_band() -> None:
    answer = CliRunner().invoke(main, ["localise", str(CASE), "--band", "--top", "2"])
    (first, second) = (
        line for line in answer.output.splitlines() if line.strip().startswith("moves between")
    )
    found = sensitivity(read_examination(CASE), most=2)
    assert f"between {100 * found[0].low:.0f} and {100 * found[0].high:.0f} %" in first
    assert f"first in {100 * found[1].first:.0f} of 100" in second
    said = json.loads(
        CliRunner().invoke(main, ["localise", str(CASE), "--json", "--band", "--top", "2"]).output
    )
    assert [band["low"] for band in said["bands"]] == [band.low for band in found]
    without = CliRunner().invoke(main, ["localise", str(CASE), "--json"]).output
    assert "bands" not in json.loads(without)
