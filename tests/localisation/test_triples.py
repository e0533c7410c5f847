"""Triples of lesions: against full enumeration on reduced anatomies, and on the whole one."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.anatomy import load_atlas
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, Finding
from decussate.localisation.localise import posterior_of
from decussate.localisation.model import compile_model
from decussate.localisation.pair_model import compile_pairs
from decussate.localisation.pair_posterior import PairPosterior
from decussate.localisation.story import cause_factors, story_factor
from decussate.localisation.three_lesions import three_lesions
from decussate.localisation.triples import best_triples
from decussate.sides import Side
from plain_enumeration import combined, every_pattern, plain_likelihood

ATLAS = load_atlas()
CATALOGUE = load_catalogue()
SMALL = [p.id for p in ATLAS.places.values() if len(p.parts) <= 2 and p.id != "normal"]
TESTS = ["gaze_out", "show_teeth", "arm_power", "tongue_protrusion", "uvula_movement",
         "image_arrangement", "touch_forehead", "swinging_light"]  # fmt: skip


@st.composite
def reduced(draw: st.DrawFn):
    places = draw(st.lists(st.sampled_from(SMALL), min_size=3, max_size=3, unique=True))
    found = []
    for name in draw(st.lists(st.sampled_from(TESTS), min_size=1, max_size=2, unique=True)):
        test = CATALOGUE.test(name)
        for side in tuple(Side) if test.sides == "each" else (None,):
            code = draw(st.sampled_from(list(test.responses)))
            found.append(Finding(test=name, side=side, response=code))
    return tuple(places), Examination(id="x", findings=tuple(found))


@settings(max_examples=4, deadline=None)
@given(reduced())
def test_triples_equal_full_enumeration(case) -> None:
    places, examination = case
    atlas = replace(ATLAS, places={key: ATLAS.places[key] for key in (*places, "normal")})
    model = compile_model(atlas)
    pairs = PairPosterior(compile_pairs(model), posterior_of(examination, model))
    sites = [(i, s) for i, s in enumerate(model.lesions.sites) if s.place != "normal"]
    factors = cause_factors(atlas, examination.story)
    prior, told = {}, {}
    for i, site in sites:
        place = atlas.places[site.place]
        prior[i] = place.prior / (2 if place.paired else 1)
        told[i] = story_factor(place, factors)
    patterns = {i: every_pattern(atlas.places[s.place], s.side) for i, s in sites}
    expected = {}
    for trio in list(combinations([i for i, _ in sites], 3)):
        total = 0.0
        for chosen in product(*(patterns[i] for i in trio)):
            damage = combined(combined(chosen[0][1], chosen[1][1]), chosen[2][1])
            chance = np.prod([one for one, _ in chosen])
            total += chance * plain_likelihood(atlas, examination, damage)
        expected[trio] = (
            total * np.prod([prior[i] for i in trio]) * np.mean([told[i] for i in trio])
        )
    found = best_triples(pairs, most=len(expected))
    assert found.proved
    assert {one.sites for one in found.best} == set(expected)
    mass = np.exp(np.array([one.log_mass for one in found.best]))
    share = np.array([expected[one.sites] for one in found.best])
    assert mass / mass.sum() == pytest.approx(share / share.sum(), abs=1e-9)
    leading = best_triples(pairs, most=1)
    assert leading.proved
    assert leading.best[0].log_mass == pytest.approx(found.best[0].log_mass, abs=1e-9)


def test_three_lesions_are_found_among_all_triples() -> None:
    """A facial palsy with vesicles, the other third nerve, and a wasted half of the tongue."""
    signs = {
        Side.RIGHT: {
            "raise_brows": "absent", "close_eyes": "absent", "show_teeth": "absent",
            "ear_and_palate_skin": "present", "taste_front": "present",
        },
        Side.LEFT: {
            "upper_lid_position": "complete", "gaze_in": "absent", "gaze_up": "absent",
            "gaze_down": "absent", "pupil_size_light": "large", "gaze_out": "normal",
        },
    }  # fmt: skip
    found = [
        Finding(test=test, side=side, response=response)
        for side, responses in signs.items()
        for test, response in responses.items()
    ]
    found += [
        Finding(test="tongue_protrusion", response="right"),
        Finding(test="tongue_bulk", side=Side.RIGHT, response="present"),
        Finding(test="tongue_flicker", side=Side.RIGHT, response="present"),
        Finding(test="tongue_power", side=Side.RIGHT, response="reduced"),
        Finding(test="trapezius_power", side=Side.RIGHT, response="normal"),
        Finding(test="palate_rise", side=Side.RIGHT, response="normal"),
        # Without these, a lesion of the midbrain explains the third nerve and the tongue.
        Finding(test="arm_power", side=Side.RIGHT, response="normal"),
        Finding(test="arm_power", side=Side.LEFT, response="normal"),
        Finding(test="upper_lid_position", side=Side.RIGHT, response="normal"),
        Finding(test="gaze_in", side=Side.RIGHT, response="normal"),
        Finding(test="raise_brows", side=Side.LEFT, response="normal"),
        Finding(test="palate_rise", side=Side.LEFT, response="normal"),
    ]
    examination = Examination(id="x", findings=tuple(found))
    answer = three_lesions(examination)
    assert answer.proved
    assert answer.needed
    named = [set(zip(one.places, one.sides, strict=True)) for one in answer.triples]
    assert all(("geniculate_ganglion", Side.RIGHT) in one for one in named)
    assert any(("third_cistern_compressed", Side.LEFT) in one for one in named)
    assert any(place.startswith("hypoglossal") for one in named for place, _ in one)
    assert answer.triples[0].names[2] in answer.text


def test_three_are_not_called_for_one_nerve() -> None:
    found = tuple(
        Finding(test=test, side=Side.RIGHT, response="absent")
        for test in ("gaze_in", "gaze_up", "gaze_down")
    )
    answer = three_lesions(Examination(id="x", findings=found))
    assert answer.proved
    assert not answer.needed
    assert answer.text == "Two lesions explain this as well as three."
