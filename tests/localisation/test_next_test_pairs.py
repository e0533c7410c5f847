"""The next test when there may be two lesions: its expected information against enumeration."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from decussate.anatomy import load_atlas
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import ABNORMAL, Examination, Finding
from decussate.localisation import two_lesions
from decussate.localisation.localise import posterior_of
from decussate.localisation.model import compile_model
from decussate.localisation.next_test import next_tests
from decussate.localisation.observation import response_table
from decussate.localisation.pair_model import compile_pairs
from decussate.localisation.pair_posterior import TWO_LESIONS, PairPosterior
from decussate.sides import Side
from plain_enumeration import combined, every_pattern, plain_likelihood

CATALOGUE = load_catalogue()
PLACES = ("abducens_cistern", "hypoglossal_high", "normal")
ATLAS = replace(load_atlas(), places={key: load_atlas().places[key] for key in PLACES})
MODEL = compile_model(ATLAS)
PAIRS = compile_pairs(MODEL)
FOUND = (
    Finding(test="gaze_out", side=Side.RIGHT, response="absent"),
    Finding(test="tongue_protrusion", response="left"),
)


def enumerated_bits(test_id: str, side: Side | None) -> float:
    """Mutual information of place (one site or two) and response, in plain loops."""
    test = CATALOGUE.test(test_id)
    table = response_table(ATLAS.signs[test.sign], test)
    codes = [code for code in table if code != ABNORMAL]
    prior = {}
    for site in MODEL.lesions.sites:
        place = ATLAS.places[site.place]
        prior[site] = place.prior / (2 if place.paired else 1)
    lesion_sites = [site for site in prior if site.place != "normal"]
    total, lesion = sum(prior.values()), sum(prior[site] for site in lesion_sites)
    pairs = list(combinations(lesion_sites, 2))
    distinct = 2 * sum(prior[a] * prior[b] for a, b in pairs)
    weights: dict[tuple, float] = {(a,): (1 - TWO_LESIONS) * prior[a] / total for a in prior}
    weights |= {(a, b): TWO_LESIONS * 2 * prior[a] * prior[b] / distinct for a, b in pairs}
    assert lesion > 0
    joint = defaultdict(lambda: np.zeros(len(codes)))
    for place, weight in weights.items():
        first = every_pattern(ATLAS.places[place[0].place], place[0].side)
        second = (
            every_pattern(ATLAS.places[place[1].place], place[1].side) if place[1:] else [(1.0, {})]
        )
        for chance, one in first:
            for other_chance, other in second:
                damage = combined(one, other)
                for k, code in enumerate(codes):
                    asked = Finding(test=test_id, side=side, response=code)
                    found = Examination(id="x", findings=(*FOUND, asked))
                    joint[place][k] += (
                        weight * chance * other_chance * plain_likelihood(ATLAS, found, damage)
                    )
    table = np.stack(list(joint.values()))
    table /= table.sum()
    apart = table.sum(axis=1, keepdims=True) * table.sum(axis=0, keepdims=True)
    return float((table * np.log2(table / apart)).sum())


@pytest.mark.parametrize(
    ("test", "side"),
    [("tongue_bulk", Side.LEFT), ("gaze_out", Side.LEFT), ("tongue_bulk", Side.RIGHT)],
)
def test_expected_bits_equal_enumeration_over_one_and_two_lesions(test, side) -> None:
    examination = Examination(id="x", findings=FOUND)
    posterior = posterior_of(examination, MODEL)
    pairs = PairPosterior(PAIRS, posterior)
    ranked = next_tests(posterior, examination, CATALOGUE, pairs=pairs, most=1000)
    bits = {(one.test, one.side): one.bits for one in ranked}
    # What is less likely than a thousandth of a thousandth is left out of the ranking.
    assert bits[test, side] == pytest.approx(enumerated_bits(test, side), abs=2e-3)


def test_weighing_pairs_changes_what_is_asked() -> None:
    """With one lesion only, an abducens and a hypoglossal palsy exclude each other."""
    examination = Examination(id="x", findings=FOUND)
    posterior = posterior_of(examination, MODEL)
    alone = next_tests(posterior, examination, CATALOGUE)
    both = next_tests(posterior, examination, CATALOGUE, pairs=PairPosterior(PAIRS, posterior))
    assert [one.bits for one in alone] != [one.bits for one in both]
    assert all(one.bits >= 0 for one in both)


def test_tests_are_proposed_for_two_lesions_only_when_two_are_needed() -> None:
    one = tuple(
        Finding(test=test, side=Side.RIGHT, response="absent")
        for test in ("gaze_in", "gaze_up", "gaze_down")
    )
    assert two_lesions(Examination(id="x", findings=one)).next_tests == ()
