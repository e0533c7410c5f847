"""Entering and withdrawing findings one by one, however long, against the sum of logarithms."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import ABNORMAL, Examination, Finding, Story
from decussate.localisation import load_model, posterior
from decussate.localisation.localise import posterior_of
from decussate.localisation.observation import Observation, observations
from decussate.localisation.posterior import Posterior
from decussate.localisation.reasons import Weights
from decussate.sides import Side
from strategies import TELLING_TESTS, examinations, findings, stories

EXACT = 1e-12
MODEL = load_model()
LEADING = 6


def added_logs(known: Posterior, seen: tuple[Observation, ...]) -> np.ndarray:
    """Return log prior plus the log likelihood of every sign, written out plainly."""
    logs = known.log_prior + np.log(MODEL.lesions.weight)
    for sign in {one.sign for one in seen}:
        table = MODEL.signs[sign]
        states = np.prod([one.likelihood for one in seen if one.sign == sign], axis=0)
        logs += np.log(table.probability @ states)[table.level_of]
    return logs


def normalised(logs: np.ndarray) -> np.ndarray:
    weight = np.exp(logs - logs.max())
    return weight / weight.sum()


def assert_agrees(known: Posterior) -> None:
    logs = added_logs(known, known.observations)
    assert np.abs(known.lesions - normalised(logs)).max() < EXACT
    most = logs.max()
    evidence = most + np.log(np.exp(logs - most).sum())
    prior = known.log_prior_sites()
    evidence -= np.log(np.exp(prior).sum())
    assert known.log_evidence == pytest.approx(evidence, abs=1e-9)
    for site in np.argsort(known.sites)[[0, 10, -1]]:
        here = slice(*MODEL.span(int(site)))
        assert np.abs(known.patterns(int(site)) - normalised(logs[here])).max() < EXACT
    for one in known.observations[:3]:
        others = tuple(other for other in known.observations if other is not one)
        left = np.add.reduceat(normalised(added_logs(known, others)), MODEL.starts)
        assert np.abs(known.sites_without(one) - left).max() < EXACT


@settings(max_examples=10, deadline=None)
@given(st.lists(findings(), min_size=1, max_size=60), stories(), st.integers(0, 2**32))
def test_a_long_history_of_changes_leaves_what_the_last_findings_say(
    found: list[Finding], story: Story, seed: int
) -> None:
    """Two thousand changes, so that the products are also made afresh on the way."""
    pool = observations(found, load_catalogue(), MODEL.atlas.signs)
    known, chance = Posterior(MODEL, story), random.Random(seed)
    for _ in range(2000):
        one = chance.choice(pool)
        key = (one.finding.test, one.finding.side)
        held = {(o.finding.test, o.finding.side): o for o in known.observations}
        if key in held and chance.random() < 0.5:
            known.remove(held[key])
        else:
            known.add(one)
    assert_agrees(known)


@settings(max_examples=10, deadline=None)
@given(examinations(30))
def test_beyond_reach_the_logarithms_say_the_same(examination: Examination) -> None:
    inside = posterior_of(examination)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(posterior, "REACH", 1.0)
        beyond = posterior_of(examination)
        assert_agrees(beyond)
        leading = [int(site) for site in np.argsort(-inside.sites)[:LEADING]]
        for one in inside.observations:
            ours, theirs = (Weights(each, leading).of(one) for each in (inside, beyond))
            assert np.allclose(ours, theirs, rtol=1e-9, atol=EXACT)
    assert np.abs(beyond.lesions - inside.lesions).max() < EXACT


def test_findings_that_could_outrun_a_double_say_the_same() -> None:
    """Every sign of both sides in its worst state, without a doubt."""
    seen = []
    for test in TELLING_TESTS:
        for side in Side if test.sides == "each" else (None,):
            found = Finding(test=test.id, side=side, response=ABNORMAL)
            (one,) = observations([found], load_catalogue(), MODEL.atlas.signs)
            surely = np.full(len(one.likelihood), 1e-9)
            surely[-1] = 1.0
            seen.append(replace(one, likelihood=surely))
    known = Posterior(MODEL, Story())
    reached = {}
    for one in seen:
        known.add(one)
        table = MODEL.signs[one.sign]
        ratio = (table.probability @ one.likelihood) / (
            table.probability[table.common] @ one.likelihood
        )
        reached[one.sign] = np.abs(np.log(ratio)).max()
    assert sum(reached.values()) > posterior.REACH
    assert_agrees(known)
    for one in seen[::2]:
        known.remove(one)
    assert_agrees(known)
    for one in seen[1::2]:
        known.remove(one)
    assert np.abs(known.lesions - Posterior(MODEL, Story()).lesions).max() < EXACT


def test_what_cannot_be_is_refused() -> None:
    found = Finding(test="uvula_movement", response="right")
    (one,) = observations([found], load_catalogue(), MODEL.atlas.signs)
    impossible = replace(one, likelihood=np.zeros_like(one.likelihood))
    with np.errstate(all="ignore"), pytest.raises(ArithmeticError):
        _ = Posterior(MODEL, Story(), [impossible]).lesions
