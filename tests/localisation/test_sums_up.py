"""A finding that only puts others together is not counted beside them."""

from __future__ import annotations

import numpy as np
import pytest

from decussate.cohort import Scorer
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, Finding
from decussate.localisation import localise
from decussate.localisation.localise import posterior_of
from decussate.measures.as_findings.eye_movements import graded_movement_findings
from decussate.measures.ocular_alignment import Gaze
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
SUMS = [test for test in load_catalogue() if test.sums_up]


def abnormal(test: str, side: Side | None) -> Finding:
    return Finding(test=test, side=side, response="abnormal")


def sites(*findings: Finding) -> np.ndarray:
    return posterior_of(Examination(id="x", findings=findings)).sites


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("test", SUMS, ids=lambda test: test.id)
def test_a_sum_adds_nothing_to_its_parts_but_stands_for_a_missing_one(test, side) -> None:
    at = side if test.paired else None
    parts = [abnormal(name, part_side) for name, part_side in test.parts(at)]
    whole = abnormal(test.id, at)
    np.testing.assert_array_equal(sites(*parts, whole), sites(*parts))
    assert np.abs(sites(*parts[1:], whole) - sites(*parts[1:])).max() > 1e-3
    unseen = Finding(
        test=parts[0].test, side=parts[0].side, response="could_not_be_tested", reason="asleep"
    )
    np.testing.assert_array_equal(sites(unseen, *parts[1:], whole), sites(*parts[1:], whole))


@pytest.mark.parametrize("test", SUMS, ids=lambda test: test.id)
def test_a_batch_leaves_it_out_too_and_it_is_not_proposed(test) -> None:
    at = RIGHT if test.paired else None
    parts = tuple(abnormal(name, side) for name, side in test.parts(at))
    one = Examination(id="x", findings=(*parts, abnormal(test.id, at)))
    assert np.abs(Scorer().score([one])[0] - posterior_of(one).sites).max() < 1e-9
    proposed = localise(Examination(id="x", findings=parts)).next_tests
    assert (test.id, at) not in {(next_test.test, next_test.side) for next_test in proposed}


def test_graded_movements_of_both_eyes_are_counted_once() -> None:
    grades = {(RIGHT, Gaze.RIGHT): -4.0, (LEFT, Gaze.RIGHT): -3.0}
    written = graded_movement_findings(grades)
    assert {one.test for one in written} == {"gaze_out", "gaze_in", "gaze_together_sideways"}
    counted = posterior_of(Examination(id="x", findings=written)).observations
    assert {one.finding.test for one in counted} == {"gaze_out", "gaze_in"}
