"""What measured values say: against simulation, and against the responses they stand for."""

from __future__ import annotations

import runpy
from math import floor, log10
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import lsq_linear

from decussate.anatomy import load_atlas
from decussate.cohort import Scorer
from decussate.examination.bedside_test import Grading, Test
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import ABNORMAL, Examination, Finding, MeasuredValue
from decussate.localisation.cache import load_model
from decussate.localisation.lesions import Site
from decussate.localisation.localise import localise, posterior_of
from decussate.localisation.observation import finding_likelihood, response_table
from decussate.localisation.readings import BLUNDER, value_shares
from decussate.localisation.sensitivity import sensitivity
from decussate.sides import Side

SIGNS = load_atlas().signs
GRADED = [t for t in load_catalogue() if t.measurement and t.measurement.grading]
named = pytest.mark.parametrize("test", GRADED, ids=lambda test: test.id)


def grading_of(test: Test) -> Grading:
    assert test.measurement
    assert test.measurement.grading
    return test.measurement.grading


def place(grading: Grading, value: float) -> float:
    return log10(value) if grading.logarithmic else value


def readings(test: Test) -> list[float]:
    """Every abnormal reading, from the first to the worst."""
    grading = grading_of(test)
    first, last = place(grading, grading.begins[0]), place(grading, grading.ends)
    steps = floor(abs(last - first) / grading.step + 1e-9)
    values = [first + np.sign(last - first) * grading.step * k for k in range(steps)] + [last]
    return [10**v if grading.logarithmic else float(v) for v in values]


def directions(test: Test) -> list[str]:
    """Responses that a value leaves open, since it has no sign: right and left, in and out."""
    if test.measurement and test.measurement.bands:
        return [""]
    return [code for code in test.responses if code != "normal"]


def finding(test: Test, value: float, side: Side = Side.RIGHT, response: str = "") -> Finding:
    """A finding with its value, called what the bands call it, or else `response`."""
    assert test.measurement
    response = response or directions(test)[0]
    if not test.paired and "right" in directions(test) and response == "right":
        response = side.value
    meant = test.measurement.response_for(value) or response
    return Finding(
        test=test.id,
        side=side if test.paired else None,
        response=response or meant,
        measurement=MeasuredValue(value=value, unit=test.measurement.unit),
    )


def likelihood(test: Test, one: Finding) -> np.ndarray:
    assert test.sign
    found = finding_likelihood(SIGNS[test.sign], test, one)
    assert found is not None
    return found


@named
def test_values_of_a_patient_of_known_grade_by_simulation(test: Test) -> None:
    """Draw a true value in the range of a grade, add the error, round it, keep what is abnormal."""
    grading = grading_of(test)
    chance = np.random.default_rng(20260725)
    edges = [place(grading, value) for value in (*grading.begins, grading.ends)]
    sign = 1.0 if edges[-1] > edges[0] else -1.0
    half = sign * grading.step / 2
    edges = [*(edge - half for edge in edges[:-1]), edges[-1] + half]
    all_values = np.array(readings(test))
    drawn = []
    for grade in range(len(grading.begins)):
        values = chance.uniform(*sorted(edges[grade : grade + 2]), 200_000)
        values = values + chance.normal(0, grading.error, len(values))
        drawn.append(values[sign * (values - edges[0]) > 0])
    for value in all_values[:: max(1, len(all_values) // 6)]:
        worst = value == all_values[-1]
        near = [sign * (values - place(grading, float(value))) for values in drawn]
        share = np.array(
            [((d > -grading.step / 2) & ((d <= grading.step / 2) | worst)).mean() for d in near]
        )
        expected = (1 - BLUNDER) * share + BLUNDER * share.mean()
        np.testing.assert_allclose(value_shares(grading, float(value)), expected, atol=0.006)


@named
def test_all_values_together_are_an_abnormal_response(test: Test) -> None:
    table = response_table(SIGNS[test.sign or ""], test)
    every = readings(test)
    # The last two readings of a scale that the step does not divide overlap.
    whole = abs(place(grading_of(test), every[-1]) - place(grading_of(test), every[-2]))
    if whole < grading_of(test).step - 1e-9:
        every = every[:-2] + every[-1:]
    total = sum(
        likelihood(test, finding(test, v, response=code))
        for v in every
        for code in directions(test)
    )
    np.testing.assert_allclose(total, table[ABNORMAL], rtol=0.02)
    np.testing.assert_allclose(table["normal"] + table[ABNORMAL], 1, atol=1e-12)


@named
def test_a_word_is_a_mixture_of_values(test: Test) -> None:
    """Finer grading never contradicts the coarse response: it is what the word left open."""
    table = response_table(SIGNS[test.sign or ""], test)
    every = np.stack(
        [
            likelihood(test, finding(test, v, response=code))
            for v in readings(test)
            for code in directions(test)
        ],
        axis=1,
    )
    for code in test.responses:
        if code == "normal":
            continue
        weights = lsq_linear(every, table[code], bounds=(0, 1), tol=1e-13).x
        np.testing.assert_allclose(every @ weights, table[code], rtol=1e-3, err_msg=code)


@named
def test_a_worse_value_speaks_for_a_worse_grade(test: Test) -> None:
    sign = SIGNS[test.sign or ""]
    direction = directions(test)[0]
    order = sign.by_severity.get(direction) or [i for g in sign.by_severity.values() for i in g]
    means = []
    for value in readings(test):
        told = likelihood(test, finding(test, value))[list(order)]
        means.append(float(np.arange(len(order)) @ told / told.sum()))
    assert np.diff(means).min() > -1e-9
    assert means[-1] - means[0] > 1


@named
def test_a_value_and_its_response_are_one_finding(test: Test) -> None:
    value = readings(test)[1]
    alone = likelihood(test, finding(test, value))
    if directions(test) == [""]:
        unnamed = finding(test, value, response=ABNORMAL)
        np.testing.assert_array_equal(likelihood(test, unnamed), alone)
    one = Examination(id="x", findings=(finding(test, value),))
    assert len(posterior_of(one).observations) == 1


def test_a_difference_of_the_pupils_that_health_often_has_argues_less() -> None:
    """The physiological difference is kept by the scale: mild, and hardly ever above 2 mm."""
    test, model = load_catalogue().test("pupil_comparison"), load_model()
    table = model.signs["anisocoria", None]

    def weight(value: float) -> float:
        found = table.probability @ likelihood(test, finding(test, value, response="left"))
        chance = [
            float(model.lesions.weight[here] @ found[table.level_of[here]])
            for here in (
                slice(*model.span(model.lesions.sites.index(site)))
                for site in (Site("third_cistern_compressed", Side.LEFT), Site("normal", None))
            )
        ]
        return chance[0] / chance[1]

    assert 10 * weight(0.5) < weight(4)


def test_a_value_that_contradicts_its_response_gives_way_to_it() -> None:
    test = load_catalogue().test("gaze_out")
    said = replace_value(finding(test, -1.0), response="absent")
    table = response_table(SIGNS["abduction_limit"], test)
    np.testing.assert_array_equal(likelihood(test, said), table["absent"])


def replace_value(one: Finding, **more: str) -> Finding:
    return one.model_copy(update=more)


def test_a_value_within_normal_limits_says_what_normal_says() -> None:
    test = load_catalogue().test("audiogram_average")
    table = response_table(SIGNS["hearing_loss"], test)
    np.testing.assert_array_equal(likelihood(test, finding(test, 5.0)), table["normal"])


def test_counting_fingers_is_the_worst_acuity() -> None:
    test = load_catalogue().test("distance_acuity")
    words = Finding(
        test=test.id,
        side=Side.LEFT,
        response="absent",
        measurement=MeasuredValue(value="CF", unit="as written"),
    )
    np.testing.assert_array_equal(likelihood(test, words), likelihood(test, finding(test, 3.0)))


@st.composite
def measured(draw: st.DrawFn) -> Finding:
    test = draw(st.sampled_from(GRADED))
    return finding(test, draw(st.sampled_from(readings(test))), draw(st.sampled_from(Side)))


some_values = st.lists(measured(), min_size=1, max_size=6, unique_by=lambda f: (f.test, f.side))


@settings(max_examples=20, deadline=None)
@given(some_values)
def test_mirrored_values_mirror_the_places(found: list[Finding]) -> None:
    one = Examination(id="x", findings=tuple(found))
    sites = load_model().lesions.sites
    here, there = posterior_of(one).sites, posterior_of(one.mirrored()).sites
    for index, site in enumerate(sites):
        assert here[index] == pytest.approx(there[sites.index(site.mirrored)], abs=1e-9)


@settings(max_examples=8, deadline=None)
@given(some_values)
def test_equals_a_plain_sum_over_lesions_and_grades(found: list[Finding]) -> None:
    model = load_model()
    prior = np.exp(posterior_of(Examination(id="x")).log_prior_sites())
    columns = np.arange(0, model.lesions.columns, 997)
    expected = prior[model.lesions.site_of[columns]] * model.lesions.weight[columns]
    by_sign: dict[object, list[np.ndarray]] = {}
    for one in found:
        test = load_catalogue().test(one.test)
        by_sign.setdefault((test.sign, one.side), []).append(likelihood(test, one))
    for key, told in by_sign.items():
        table = model.signs[key]  # type: ignore[index]
        for at, column in enumerate(columns):
            chance = 0.0
            for grade in range(len(table.states)):
                of_grade = table.probability[table.level_of[column], grade]
                for one_told in told:
                    of_grade *= one_told[grade]
                chance += of_grade
            expected[at] *= chance
    log_joint = posterior_of(Examination(id="x", findings=tuple(found))).log_joint[columns]
    got = np.exp(log_joint - log_joint.max())
    np.testing.assert_allclose(got / got.sum(), expected / expected.sum(), rtol=1e-9, atol=1e-12)


@settings(max_examples=10, deadline=None)
@given(st.lists(some_values, min_size=1, max_size=3))
def test_a_batch_uses_the_values_too(many: list[list[Finding]]) -> None:
    some = [Examination(id=str(k), findings=tuple(found)) for k, found in enumerate(many)]
    for one, probability in zip(some, Scorer().score(some), strict=True):
        assert np.abs(probability - posterior_of(one).sites).max() < 1e-9


def test_the_page_of_likelihoods_is_up_to_date() -> None:
    tool = Path(__file__).parents[2] / "tools" / "graded_values.py"
    assert runpy.run_path(str(tool))["main"](["--check"]) == 0


def test_a_measured_value_moves_within_its_band_as_its_response_does() -> None:
    """Sensitivity moves the accuracy of the test; the share of the value stays."""
    told = finding(load_catalogue().test("gaze_out"), -4.0)
    one = Examination(id="x", findings=(told,))
    band = sensitivity(one)[0]
    assert band.low <= band.probability <= band.high
    assert band.low < band.high


def test_a_reason_states_the_value_that_was_weighed() -> None:
    told = finding(load_catalogue().test("gaze_out"), -4.0)
    letters = Finding(
        test="distance_acuity",
        side=Side.RIGHT,
        response="reduced",
        measurement=MeasuredValue(value="6/18", unit="as written"),
    )
    first = localise(Examination(id="x", findings=(told, letters))).candidates[0]
    said = {reason.text for reason in (*first.supports, *first.against)}
    assert "right looking outwards (abduction): none (grade −4)" in said
    assert "right distance acuity: reduced (6/18)" in said
