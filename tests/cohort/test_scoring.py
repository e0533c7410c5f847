"""Many examinations at once give the answers of one at a time."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.cohort import Scorer, compact
from decussate.errors import BadInput
from decussate.examination.record import Examination, Finding, Story, read_examination
from decussate.localisation import localise
from decussate.localisation.localise import posterior_of
from decussate.sides import Side
from strategies import examinations

CASES = sorted((Path(__file__).parents[1] / "published" / "cases").glob("*.json"))
SCORER = Scorer()


def test_equals_localise_on_published_cases() -> None:
    cases = [read_examination(file) for file in CASES[::8]]
    for case, probability in zip(cases, SCORER.score(cases), strict=True):
        expected = {(c.place, c.side): c.probability for c in localise(case).candidates}
        for site, found in zip(SCORER.model.lesions.sites, probability, strict=True):
            assert found == pytest.approx(expected[site.place, site.side], abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.lists(examinations(40), min_size=1, max_size=4))
def test_equals_one_at_a_time(some: list[Examination]) -> None:
    for one, probability in zip(some, SCORER.score(some), strict=True):
        assert np.abs(probability - posterior_of(one).sites).max() < 1e-9


def test_superseded_withdrawn_untestable_and_old_findings_are_taken_as_localise_takes_them() -> (
    None
):
    def gaze(response: str, side: Side = Side.RIGHT, **more: str) -> Finding:
        return Finding(test="gaze_out", side=side, response=response, **more)

    one = Examination(
        id="x",
        story=Story(age=64, sex="male", onset="sudden", context=("hypertension", "diabetes")),
        findings=(
            gaze("absent"),
            gaze("normal"),
            gaze("absent", Side.LEFT),
            gaze("could_not_be_tested", Side.LEFT, reason="asleep"),
            Finding(test="show_teeth", side=Side.LEFT, response="absent"),
            Finding(test="show_teeth", side=Side.RIGHT, response="absent"),
            Finding(test="show_teeth", side=Side.RIGHT, response="not_tested"),
            Finding(test="palate_rise", side=Side.RIGHT, response="absent"),
        ),
        known_old=(("palate_rise", Side.RIGHT),),
    )
    assert np.abs(SCORER.score([one])[0] - posterior_of(one).sites).max() < 1e-9


def test_the_last_digit_depends_on_nothing_else() -> None:
    """Neither on what is scored together with it nor on what was scored before."""
    cases = [read_examination(file) for file in CASES[:100]]
    together = SCORER.score(cases)
    alone = Scorer()
    for k in (99, 0, 47, 48):
        assert np.array_equal(alone.score([cases[k]])[0], together[k])


def test_the_way_in_logarithms_agrees(monkeypatch: pytest.MonkeyPatch) -> None:
    cases = [read_examination(file) for file in CASES[:3]]
    usual = SCORER.score(cases)
    monkeypatch.setattr(compact, "SMALLEST", np.inf)
    assert np.abs(SCORER.score(cases) - usual).max() < 1e-12


def test_an_extreme_contradiction_is_still_answered() -> None:
    """Every test of every sign abnormal in the most extreme way: the logarithms are far apart."""
    found = []
    for test in SCORER.encoder.catalogue:
        if test.sign and test.accuracy:
            code = list(test.responses)[-1]
            for side in tuple(Side) if test.sides == "each" else (None,):
                found.append(Finding(test=test.id, side=side, response=code))
    one = Examination(id="x", findings=tuple(found))
    assert np.abs(SCORER.score([one])[0] - posterior_of(one).sites).max() < 1e-9


def test_no_examination_and_an_empty_one() -> None:
    assert SCORER.score([]).shape == (0, len(SCORER.model.lesions.sites))
    empty = Examination(id="x")
    assert np.abs(SCORER.score([empty])[0] - posterior_of(empty).sites).max() < 1e-12


def test_an_unknown_test_is_refused() -> None:
    with pytest.raises(BadInput, match="phrenology"):
        SCORER.score([Examination(id="x", findings=(Finding(test="phrenology", response="big"),))])
