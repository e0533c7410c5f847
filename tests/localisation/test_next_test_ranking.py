"""The tests proposed next against a plain ranking of every test of the catalogue."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings

from decussate.examination.bars import bars_against
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import ABNORMAL, Examination
from decussate.localisation import load_model
from decussate.localisation.localise import posterior_of
from decussate.localisation.next_test import NEGLIGIBLE, SETTLING_SECONDS, next_tests
from decussate.localisation.observation import response_table
from decussate.sides import Side
from strategies import TELLING_TESTS, examinations

MODEL = load_model()
MOST = 8


def plain_bits(likely: np.ndarray, weight: np.ndarray, test, side: Side | None) -> float:
    """Mutual information of site and response, from the plain table of lesions and responses."""
    table = MODEL.signs[test.sign, side]
    said = response_table(MODEL.atlas.signs[test.sign], test)
    given_state = np.stack([row for code, row in said.items() if code != ABNORMAL], axis=1)
    joint = np.zeros((len(MODEL.lesions.sites), given_state.shape[1]))
    each = (table.probability @ given_state)[table.level_of[likely]]
    np.add.at(joint, MODEL.lesions.site_of[likely], weight[:, None] * each)
    joint = joint[joint.sum(axis=1) > 0]
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    return float((joint * np.log2(joint / apart)).sum())


def plain_ranking(examination: Examination) -> list[tuple[str, Side | None, float, float]]:
    posterior = posterior_of(examination, MODEL)
    likely = np.flatnonzero(posterior.lesions > NEGLIGIBLE)
    weight = posterior.lesions[likely]
    done = {(found.test, found.side) for found in examination.present()}
    seen = {observation.sign for observation in posterior.observations}
    best: dict[tuple[str, Side | None], tuple[str, Side | None, float, float]] = {}
    for test in TELLING_TESTS:
        for side in tuple(Side) if test.sides == "each" else (None,):
            if (test.id, side) in done or (test.sign, side) in seen:
                continue
            if test.sums_up and done.issuperset(test.parts(side)):
                continue
            if bars_against(test, side, examination):
                continue
            bits = plain_bits(likely, weight, test, side)
            rate = bits / (test.seconds + SETTLING_SECONDS)
            known = best.get((test.sign, side))
            if known is None or rate > known[3]:
                best[test.sign, side] = (test.id, side, bits, rate)
    return sorted(best.values(), key=lambda one: -one[3])


@settings(max_examples=6, deadline=None)
@given(examinations(25))
def test_the_most_telling_tests_come_first(examination: Examination) -> None:
    plain = plain_ranking(examination)
    bits = {(test, side): bits for test, side, bits, _ in plain}
    proposed = next_tests(posterior_of(examination, MODEL), examination, load_catalogue())
    rates = [one.bits / (one.seconds + SETTLING_SECONDS) for one in proposed]
    worth = [rate for _, _, number, rate in plain[:MOST] if number > 0.001]
    # Among equals the order is that of names, so rates are compared, not names.
    assert rates == pytest.approx(worth, rel=1e-9, abs=1e-12)
    assert all(bits[one.test, one.side] == pytest.approx(one.bits, abs=1e-9) for one in proposed)
