"""From a measurement to findings, to a place: each measurement moves the localisation."""

import pytest
from finding_cases import CASES, Case

from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, check_findings
from decussate.localisation import localise
from decussate.sides import Side

NOTHING = localise(Examination(id="nothing found"))


def rank_and_chance(localisation, place, side):
    """Rank (from 0) and probability of a place on a side; one without a side stands for both."""
    return next(
        (rank, candidate.probability)
        for rank, candidate in enumerate(localisation.candidates)
        if candidate.place == place and candidate.side in (side, None)
    )


@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize("case", CASES, ids=str)
def test_the_measurement_raises_the_place_it_fits(case: Case, side: Side) -> None:
    expected = side.other if case.other_side else side
    after = localise(Examination(id=case.name, findings=case.findings(side)))
    rank, chance = rank_and_chance(after, case.place, expected)
    rank_before, chance_before = rank_and_chance(NOTHING, case.place, expected)
    assert chance > 2.0 * chance_before
    assert rank < rank_before
    _, opposite = rank_and_chance(after, case.place, expected.other)
    has_sides = any(c.place == case.place and c.side for c in after.candidates)
    assert chance > 2.0 * opposite or not (case.sided and has_sides)


@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize("case", CASES, ids=str)
def test_the_findings_are_those_of_a_record_without_a_problem(case: Case, side: Side) -> None:
    examination = Examination(id=case.name, findings=case.findings(side))
    assert examination.findings
    assert check_findings(examination, load_catalogue()) == ()
    keys = [(found.test, found.side) for found in examination.findings]
    assert len(set(keys)) == len(keys)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_the_mirrored_measurement_gives_the_mirrored_findings(case: Case) -> None:
    right, left = case.findings(Side.RIGHT), case.findings(Side.LEFT)
    assert {found.mirrored() for found in right} == set(left)
