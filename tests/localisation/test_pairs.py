"""Pairs of lesions: against full enumeration on reduced anatomies, and their properties."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.anatomy import load_atlas
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, Finding, Story
from decussate.localisation import two_lesions
from decussate.localisation.lesions import patterns_of
from decussate.localisation.localise import posterior_of
from decussate.localisation.model import compile_model
from decussate.localisation.observation import observations
from decussate.localisation.pair_model import compile_pairs
from decussate.localisation.pair_posterior import TWO_LESIONS, PairPosterior
from decussate.localisation.story import cause_factors, story_factor
from decussate.sides import Side
from plain_enumeration import combined, every_pattern, plain_likelihood
from strategies import examinations

ATLAS = load_atlas()
CATALOGUE = load_catalogue()
SMALL = [p.id for p in ATLAS.places.values() if len(p.parts) <= 3 and p.id != "normal"]
TESTS = [
    ("gaze_out", "each"),
    ("gaze_in", "each"),
    ("show_teeth", "each"),
    ("arm_power", "each"),
    ("tongue_protrusion", "whole"),
    ("uvula_movement", "whole"),
    ("ask_swallowing", "whole"),
    ("image_arrangement", "whole"),
    ("pupil_comparison", "whole"),
    ("touch_forehead", "each"),
]


@st.composite
def reduced(draw: st.DrawFn):
    """A few places of the atlas, and findings of a few tests."""
    places = draw(st.lists(st.sampled_from(SMALL), min_size=2, max_size=2, unique=True))
    chosen = draw(st.lists(st.sampled_from(TESTS), min_size=1, max_size=3, unique=True))
    found = []
    for test, sides in chosen:
        for side in tuple(Side) if sides == "each" else (None,):
            code = draw(st.sampled_from(list(CATALOGUE.test(test).responses)))
            found.append(Finding(test=test, side=side, response=code))
    story = Story(onset=draw(st.sampled_from([None, "sudden", "months"])))
    return tuple(places), Examination(id="x", story=story, findings=tuple(found))


@settings(max_examples=12, deadline=None)
@given(reduced())
def test_pairs_equal_full_enumeration(case) -> None:
    places, examination = case
    atlas = replace(ATLAS, places={key: ATLAS.places[key] for key in (*places, "normal")})
    model = compile_model(atlas)
    posterior = posterior_of(examination, model)
    pairs = PairPosterior(compile_pairs(model), posterior)
    sites = [s for s in model.lesions.sites if s.place != "normal"]
    place = atlas.places
    prior = {s: place[s.place].prior / (2 if place[s.place].paired else 1) for s in sites}
    total = sum(prior.values())
    factors = cause_factors(atlas, examination.story)
    told = {s: story_factor(place[s.place], factors) for s in sites}
    weight = {}
    for a, b in combinations(sites, 2):
        likelihood = sum(
            wa * wb * plain_likelihood(atlas, examination, combined(da, db))
            for wa, da in every_pattern(place[a.place], a.side)
            for wb, db in every_pattern(place[b.place], b.side)
        )
        weight[a, b] = prior[a] * prior[b] / total**2 * (told[a] + told[b]) * likelihood
    every = sum(weight.values())
    index = {site: i for i, site in enumerate(model.lesions.sites)}
    for found in pairs.best(len(weight)):
        key = (model.lesions.sites[found.first], model.lesions.sites[found.second])
        expected = weight.get(key, weight.get(key[::-1]))
        assert found.probability == pytest.approx(expected / every, abs=1e-9)
    for site in sites:
        expected = sum(w for key, w in weight.items() if site in key) / every
        assert pairs.site_probability()[index[site]] == pytest.approx(expected, abs=1e-9)
    squared = sum((p / total) ** 2 for p in prior.values())
    two = every / (1 - squared)
    everyone = total + place["normal"].prior
    healthy = story_factor(place["normal"], factors) * place["normal"].prior
    one = healthy * plain_likelihood(atlas, examination, {}) / everyone
    for site in sites:
        for chance, damage in patterns_of(place[site.place]):
            turned = {p.mirrored if site.side is Side.LEFT else p: a for p, a in damage.items()}
            share = prior[site] / everyone * told[site] * chance
            one += share * plain_likelihood(atlas, examination, turned)
    odds = TWO_LESIONS * two / ((1 - TWO_LESIONS) * one)
    assert pairs.two_probability(posterior) == pytest.approx(odds / (1 + odds), abs=1e-9)


@settings(max_examples=5, deadline=None)
@given(examinations(8))
def test_swapping_sides_mirrors_the_pairs(examination: Examination) -> None:
    one, other = two_lesions(examination), two_lesions(examination.mirrored())
    assert other.probability == pytest.approx(one.probability, abs=1e-9)
    assert other.pairs[0].probability == pytest.approx(one.pairs[0].probability, abs=1e-9)


def test_entering_and_withdrawing_leaves_no_trace() -> None:
    found = [
        Finding(test="gaze_out", side=Side.RIGHT, response="absent"),
        Finding(test="tongue_protrusion", response="left"),
        Finding(test="show_teeth", side=Side.LEFT, response="reduced"),
    ]
    atlas = replace(
        ATLAS,
        places={k: ATLAS.places[k] for k in ("abducens_cistern", "corona_capsule", "normal")},
    )
    model = compile_model(atlas)
    compiled = compile_pairs(model)
    fresh = PairPosterior(compiled, posterior_of(Examination(id="x", findings=found[:1]), model))
    used = PairPosterior(compiled, posterior_of(Examination(id="x", findings=found), model))
    for seen in observations(found[1:], CATALOGUE, atlas.signs):
        used.set(seen.sign, None)
    assert np.allclose(used.site_probability(), fresh.site_probability(), atol=1e-12)


def test_opposite_weakness_is_not_added_sign_by_sign() -> None:
    """Both hypoglossal nerves: the tongue no longer deviates, though each alone would make it."""
    atlas = replace(ATLAS, places={k: ATLAS.places[k] for k in ("hypoglossal_high", "normal")})
    model = compile_model(atlas)
    pairs = compile_pairs(model)
    table = pairs.signs["tongue_deviation", None]
    both = table.together[tuple(table.code_of[[0, model.starts[1]]])]
    row = table.probability[both]
    alone = table.probability[table.together[0, 1:]]
    assert alone[:, 1].max() < 0.3
    assert row[1] > 0.8


def test_one_lesion_is_enough_for_one_nerve() -> None:
    found = tuple(
        Finding(test=test, side=Side.RIGHT, response="absent")
        for test in ("gaze_in", "gaze_up", "gaze_down")
    )
    assert not two_lesions(Examination(id="x", findings=found)).needed


def test_two_lesions_are_called_when_one_cannot_explain() -> None:
    """A facial palsy with vesicles in the ear, and a third-nerve palsy of the other side."""
    right = {
        "raise_brows": "absent", "close_eyes": "absent", "show_teeth": "absent",
        "taste_front": "present", "ear_and_palate_skin": "present",
    }  # fmt: skip
    left = {
        "upper_lid_position": "complete", "gaze_in": "absent", "gaze_up": "absent",
        "gaze_down": "absent", "pupil_size_light": "large", "light_direct": "absent",
        "gaze_out": "normal", "touch_forehead": "normal",
        "ask_eye_pain": "present",
    }  # fmt: skip
    found = [Finding(test=t, side=Side.RIGHT, response=r) for t, r in right.items()]
    found += [Finding(test=t, side=Side.LEFT, response=r) for t, r in left.items()]
    answer = two_lesions(Examination(id="x", findings=tuple(found)))
    assert answer.needed
    assert set(answer.pairs[0].places) == {"geniculate_ganglion", "third_cistern_compressed"}
