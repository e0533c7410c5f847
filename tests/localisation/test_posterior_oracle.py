"""The posterior against two independent computations on a reduced network.

The reduced network keeps a few places of the atlas and a few signs. It is handed, as plain
conditional probability tables, to a general-purpose Bayesian-network library (pyAgrum, exact
inference by Shafer and Shenoy), and is also enumerated by brute force over every lesion and
every sign state.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pyagrum as gum
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.anatomy import load_atlas
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, Finding
from decussate.localisation.localise import posterior_of
from decussate.localisation.model import Model, compile_model
from decussate.localisation.observation import response_table
from decussate.sides import Side

PLACES = (
    "third_cistern_compressed",
    "third_fascicle",
    "cavernous_sinus",
    "abducens_cistern",
    "mlf_both_pons",
    "junction_ocular",
    "normal",
)
TESTS = (
    ("upper_lid_position", Side.RIGHT),
    ("upper_lid_position", Side.LEFT),
    ("gaze_out", Side.RIGHT),
    ("gaze_in", Side.RIGHT),
    ("gaze_in", Side.LEFT),
    ("pupil_size_light", Side.RIGHT),
    ("touch_forehead", Side.RIGHT),
    ("ask_double_vision", None),
    ("image_arrangement", None),
)


def reduced_model() -> Model:
    atlas = load_atlas()
    return compile_model(replace(atlas, places={key: atlas.places[key] for key in PLACES}))


MODEL = reduced_model()


def responses_of(test_id: str) -> dict[str, np.ndarray]:
    test = load_catalogue().test(test_id)
    table = response_table(MODEL.atlas.signs[test.sign], test)
    return {code: table[code] for code in test.responses if code in table}


def network() -> gum.BayesNet:
    """The same joint distribution as plain tables: site, lesion given site, sign, response."""
    net = gum.BayesNet()
    lesions = MODEL.lesions
    net.add(gum.LabelizedVariable("site", "", len(lesions.sites)))
    net.add(gum.LabelizedVariable("lesion", "", lesions.columns))
    net.addArc("site", "lesion")
    prior = np.exp(posterior_of(Examination(id="x"), MODEL).log_prior_sites())
    net.cpt("site")[:] = prior / prior.sum()
    given_site = np.zeros((len(lesions.sites), lesions.columns))
    given_site[lesions.site_of, np.arange(lesions.columns)] = lesions.weight
    net.cpt("lesion")[:] = given_site
    for number, (test_id, side) in enumerate(TESTS):
        test = load_catalogue().test(test_id)
        table = MODEL.signs[test.sign, side]
        sign, response = f"sign{number}", f"response{number}"
        net.add(gum.LabelizedVariable(sign, "", len(table.states)))
        net.add(gum.LabelizedVariable(response, "", list(responses_of(test_id))))
        net.addArc("lesion", sign)
        net.addArc(sign, response)
        net.cpt(sign)[:] = table.probability[table.level_of]
        net.cpt(response)[:] = np.stack(list(responses_of(test_id).values()), axis=1)
    return net


NETWORK = network()


@st.composite
def evidence(draw: st.DrawFn) -> dict[int, str]:
    chosen = draw(st.lists(st.integers(0, len(TESTS) - 1), unique=True, max_size=len(TESTS)))
    return {n: draw(st.sampled_from(list(responses_of(TESTS[n][0])))) for n in chosen}


def examination(found: dict[int, str]) -> Examination:
    entries = [
        Finding(test=TESTS[n][0], side=TESTS[n][1], response=code) for n, code in found.items()
    ]
    return Examination(id="x", findings=tuple(entries))


@settings(max_examples=40, deadline=None)
@given(evidence())
def test_equals_a_general_purpose_library(found: dict[int, str]) -> None:
    engine = gum.ShaferShenoyInference(NETWORK)
    engine.setTargets({"site"})
    engine.setEvidence({f"response{n}": code for n, code in found.items()})
    engine.makeInference()
    expected = engine.posterior("site").toarray()
    assert np.abs(posterior_of(examination(found), MODEL).sites - expected).max() < 1e-9


@settings(max_examples=15, deadline=None)
@given(evidence())
def test_equals_brute_force(found: dict[int, str]) -> None:
    """Sum over every lesion and every combination of sign states, in plain loops."""
    found = dict(list(found.items())[:4])
    lesions = MODEL.lesions
    prior = np.exp(posterior_of(Examination(id="x"), MODEL).log_prior_sites())
    total = np.zeros(len(lesions.sites))
    tables = []
    for n, code in found.items():
        test = load_catalogue().test(TESTS[n][0])
        tables.append((MODEL.signs[test.sign, TESTS[n][1]], responses_of(test.id)[code]))
    for column in range(lesions.columns):
        site = lesions.site_of[column]
        sum_of_states = 0.0
        for states in product(*(range(len(table.states)) for table, _ in tables)):
            joint = 1.0
            for state, (table, likelihood) in zip(states, tables, strict=True):
                joint *= table.probability[table.level_of[column], state] * likelihood[state]
            sum_of_states += joint
        total[site] += prior[site] * lesions.weight[column] * sum_of_states
    expected = total / total.sum()
    assert np.abs(posterior_of(examination(found), MODEL).sites - expected).max() < 1e-9


@pytest.mark.parametrize("test", [t for t in load_catalogue() if t.sign and t.accuracy])
def test_response_probabilities_sum_to_one(test) -> None:
    table = response_table(MODEL.atlas.signs[test.sign], test)
    codes = [code for code, r in test.responses.items() if r.state is not None]
    assert np.allclose(sum(table[code] for code in codes), 1, atol=1e-12)
