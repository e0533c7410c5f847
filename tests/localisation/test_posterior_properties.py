"""What must hold for every examination, whatever the medicine in the data files says."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import (
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Examination,
    Finding,
    Story,
)
from decussate.localisation import load_model, localise
from decussate.localisation.localise import posterior_of
from decussate.sides import Side
from strategies import TELLING_TESTS, examinations, findings

EXACT = 1e-12
MODEL = load_model()
MIRROR = np.array([MODEL.lesions.sites.index(site.mirrored) for site in MODEL.lesions.sites])


@settings(max_examples=60, deadline=None)
@given(examinations())
def test_swapping_sides_mirrors_the_posterior(examination: Examination) -> None:
    seen = posterior_of(examination).sites
    mirrored = posterior_of(examination.mirrored()).sites
    assert np.abs(mirrored[MIRROR] - seen).max() < EXACT


@settings(max_examples=40, deadline=None)
@given(examinations(), st.randoms(use_true_random=False))
def test_order_of_entry_changes_nothing(examination: Examination, random) -> None:
    shuffled = list(examination.findings)
    random.shuffle(shuffled)
    other = examination.model_copy(update={"findings": tuple(shuffled)})
    assert np.abs(posterior_of(other).sites - posterior_of(examination).sites).max() < EXACT


@settings(max_examples=40, deadline=None)
@given(examinations(), findings())
def test_not_tested_changes_nothing(examination: Examination, extra: Finding) -> None:
    keys = {(found.test, found.side) for found in examination.findings}
    if (extra.test, extra.side) in keys:
        return
    reasons = {NOT_TESTED: None, COULD_NOT_BE_TESTED: "asleep"}
    for status, reason in reasons.items():
        blank = Finding(test=extra.test, side=extra.side, response=status, reason=reason)
        other = examination.model_copy(update={"findings": (*examination.findings, blank)})
        assert np.array_equal(posterior_of(other).sites, posterior_of(examination).sites)


@settings(max_examples=30, deadline=None)
@given(examinations(), st.sampled_from([t for t in load_catalogue() if not t.sign and t.responses]))
def test_a_finding_with_no_bearing_changes_nothing(examination: Examination, test) -> None:
    side = Side.RIGHT if test.sides == "each" else None
    for response in test.responses:
        extra = Finding(test=test.id, side=side, response=response)
        other = examination.model_copy(update={"findings": (*examination.findings, extra)})
        assert np.array_equal(posterior_of(other).sites, posterior_of(examination).sites)


@settings(max_examples=40, deadline=None)
@given(examinations(30))
def test_probabilities_sum_to_one(examination: Examination) -> None:
    found = localise(examination)
    assert sum(c.probability for c in found.candidates) == pytest.approx(1, abs=1e-9)
    assert all(0 <= c.probability <= 1 for c in found.candidates)
    assert sum(found.side_probability.values()) == pytest.approx(1, abs=1e-9)
    assert sum(p for _, _, p in found.regions) == pytest.approx(1, abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(examinations())
def test_taking_a_finding_back_restores_the_posterior(examination: Examination) -> None:
    posterior = posterior_of(examination)
    before = posterior.sites
    for observation in posterior.observations:
        posterior.remove(observation)
        posterior.add(observation)
    assert np.abs(posterior.sites - before).max() < 1e-9


@settings(max_examples=20, deadline=None)
@given(examinations())
def test_a_later_entry_replaces_the_earlier(examination: Examination) -> None:
    if not examination.findings:
        return
    first = examination.findings[0]
    test = load_catalogue().test(first.test)
    for code in test.responses:
        changed = first.model_copy(update={"response": code})
        appended = examination.model_copy(update={"findings": (*examination.findings, changed)})
        replaced = examination.model_copy(update={"findings": (changed, *examination.findings[1:])})
        difference = posterior_of(appended).sites - posterior_of(replaced).sites
        assert np.abs(difference).max() < EXACT


def test_a_known_old_finding_hardly_speaks_for_a_new_place() -> None:
    """The rest of what it does, for an old lesion, is tested in `test_known_old`."""
    old = Finding(test="upper_lid_position", side=Side.LEFT, response="complete")
    pairs = (("upper_lid_position", Side.LEFT),)
    nothing = posterior_of(Examination(id="a")).sites
    known = posterior_of(Examination(id="a", findings=(old,), known_old=pairs)).sites
    fresh = posterior_of(Examination(id="a", findings=(old,))).sites
    assert np.abs(known - nothing).sum() / 2 < 0.05
    assert np.abs(fresh - nothing).sum() / 2 > 0.5


def test_every_test_that_reveals_a_sign_moves_the_posterior() -> None:
    """No test of the catalogue is wired to nothing."""
    prior = posterior_of(Examination(id="none")).sites
    for test in TELLING_TESTS:
        side = Side.RIGHT if test.sides == "each" else None
        code = next(c for c, r in test.responses.items() if r.state and c != "normal")
        one = Examination(id="one", findings=(Finding(test=test.id, side=side, response=code),))
        assert np.abs(posterior_of(one).sites - prior).max() > 1e-4, test.id


def test_story_moves_cause_and_place() -> None:
    found = (
        Finding(test="gaze_out", side=Side.RIGHT, response="reduced"),
        Finding(test="gaze_in", side=Side.LEFT, response="normal"),
    )
    young = localise(Examination(id="y", story=Story(age=8), findings=found))
    old = localise(Examination(id="o", story=Story(age=70, onset="sudden"), findings=found))

    def share(localisation, place: str, cause: str) -> float:
        candidate = next(c for c in localisation.candidates if c.place == place and c.causes)
        return next(c.share for c in candidate.causes if c.cause == cause)

    assert share(old, "abducens_cistern", "small_vessel") > 0.8
    assert old.candidates[0].place == "abducens_cistern"
    assert young.candidates[0].probability != old.candidates[0].probability
