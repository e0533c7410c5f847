"""Known old findings condition the model: they speak for what was there before."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.anatomy import load_atlas
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, Finding, Story
from decussate.localisation import Localisation, localise
from decussate.localisation.cache import load_model
from decussate.localisation.known_old import both_states, conditioned_on_old
from decussate.localisation.localise import posterior_of
from decussate.localisation.observation import observations
from decussate.localisation.sensitivity import Spread, moved_sites
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT


def finding(test: str, side: Side | None, response: str) -> Finding:
    return Finding(test=test, side=side, response=response)


# A blind left eye of long standing: optic atrophy with an afferent defect (common practice).
BLIND_LEFT_EYE = (
    finding("distance_acuity", LEFT, "absent"),
    finding("light_direct", LEFT, "reduced"),
    finding("swinging_light", None, "left"),
    finding("disc_colour", LEFT, "present"),
)
# A right third-nerve palsy that takes the pupil (common practice).
THIRD_NERVE_RIGHT = (
    finding("upper_lid_position", RIGHT, "complete"),
    finding("gaze_in", RIGHT, "absent"),
    finding("gaze_up", RIGHT, "absent"),
    finding("pupil_size_light", RIGHT, "large"),
)


def located(
    findings: tuple[Finding, ...], old: tuple[Finding, ...] = (), age: float = 55
) -> Localisation:
    pairs = tuple((one.test, one.side) for one in old)
    return localise(Examination(id="x", story=Story(age=age), findings=findings, known_old=pairs))


def first(localisation: Localisation) -> tuple[str, Side | None]:
    return localisation.candidates[0].place, localisation.candidates[0].side


def test_an_old_blind_eye_does_not_move_a_new_third_nerve_palsy() -> None:
    alone = located(THIRD_NERVE_RIGHT)
    marked = located(BLIND_LEFT_EYE + THIRD_NERVE_RIGHT, BLIND_LEFT_EYE)
    unmarked = located(BLIND_LEFT_EYE + THIRD_NERVE_RIGHT)
    assert first(marked) == first(alone)
    assert marked.candidates[0].probability == pytest.approx(
        alone.candidates[0].probability, abs=0.05
    )
    assert first(unmarked) != first(alone)


def test_one_old_finding_explains_the_signs_that_go_with_it() -> None:
    marked = located(BLIND_LEFT_EYE + THIRD_NERVE_RIGHT, BLIND_LEFT_EYE[:1])
    unmarked = located(BLIND_LEFT_EYE + THIRD_NERVE_RIGHT)
    assert first(marked) == first(located(THIRD_NERVE_RIGHT))
    open_now = {one.test for one in marked.candidates[0].unexplained}
    assert not open_now & {"distance_acuity", "swinging_light", "light_direct"}
    assert {one.test for one in unmarked.candidates[0].unexplained} & {
        "distance_acuity", "swinging_light"
    }  # fmt: skip


def test_an_old_finding_that_is_no_worse_argues_for_no_new_lesion() -> None:
    """A partial droop of old is still partial: the lid may be spared now, or touched a little."""
    partial = finding("upper_lid_position", RIGHT, "partial")
    others = (finding("light_direct", RIGHT, "normal"), finding("gaze_in", RIGHT, "normal"))

    def of_the_lid(localisation: Localisation) -> float:
        named = {"lid_aponeurosis", "sympathetic_neck", "junction_ocular"}
        return sum(c.probability for c in localisation.candidates if c.place in named)

    known = located((partial, *others), (partial,))
    fresh = located((partial, *others))
    nothing = located(others)
    assert of_the_lid(fresh) > 5 * of_the_lid(known)
    assert of_the_lid(known) == pytest.approx(of_the_lid(nothing), rel=0.5)
    assert not known.candidates[0].unexplained


@given(st.sampled_from([BLIND_LEFT_EYE, BLIND_LEFT_EYE[1:], BLIND_LEFT_EYE[:2]]))
@settings(max_examples=6, deadline=None)
def test_the_mirror_image_is_located_on_the_other_side(old: tuple[Finding, ...]) -> None:
    pairs = tuple((one.test, one.side) for one in old)
    here = Examination(id="x", findings=BLIND_LEFT_EYE + THIRD_NERVE_RIGHT, known_old=pairs)
    there = localise(here.mirrored())
    mirrored = {
        (c.place, c.side.other if c.side else None): c.probability for c in there.candidates
    }
    for candidate in localise(here).candidates:
        assert mirrored[candidate.place, candidate.side] == pytest.approx(candidate.probability)


def test_nothing_old_leaves_every_observation_as_it_is() -> None:
    model = load_model()
    seen = observations(THIRD_NERVE_RIGHT, load_catalogue(), model.atlas.signs)
    assert conditioned_on_old(model, seen, frozenset()) == seen
    assert conditioned_on_old(model, seen, {("gag", LEFT)}) == seen


def test_the_bands_of_an_answer_are_those_given_what_is_old() -> None:
    """With numbers that do not move, every draw is the answer itself."""
    pairs = (("distance_acuity", LEFT), ("light_direct", LEFT))
    one = Examination(id="x", findings=BLIND_LEFT_EYE + THIRD_NERVE_RIGHT, known_old=pairs)
    posterior = posterior_of(one)
    still = moved_sites(
        posterior, load_catalogue(), Spread(incidence=1, false_alarms=1, detection=1e-9)
    )
    np.testing.assert_allclose(
        still, np.repeat(posterior.sites[:, None], still.shape[1], 1), atol=0.01
    )


def test_states_come_together_as_probabilities_and_health_changes_nothing() -> None:
    for sign in load_atlas().signs.values():
        together = both_states(sign)
        np.testing.assert_allclose(together.sum(axis=2), 1)
        np.testing.assert_array_equal(together[sign.healthy], np.eye(len(sign.grades)))
        np.testing.assert_array_equal(together[:, sign.healthy], np.eye(len(sign.grades)))


def test_opposite_imbalances_cancel_and_two_losses_add() -> None:
    signs = load_atlas().signs
    afferent = signs["afferent_defect"]
    right, none, left = (
        list(afferent.grades).index(name) for name in ("severe_right", "none", "severe_left")
    )
    assert both_states(afferent)[right, left].argmax() == none
    ptosis = signs["ptosis"]
    complete = list(ptosis.grades).index("complete")
    assert both_states(ptosis)[complete, complete, complete] > 0.95
