"""What a finding argues: the same weights as a place's reasons, turned about, and the right way."""

import pytest
from hypothesis import given, settings

from decussate.examination.document import Examination, Finding
from decussate.localisation import localise
from decussate.localisation.arguments import PLACES_ASKED, arguments
from decussate.localisation.localise import posterior_of
from decussate.records.demo import demo_examinations
from decussate.sides import Side
from strategies import examinations

SWAP = {Side.RIGHT: Side.LEFT, Side.LEFT: Side.RIGHT, None: None}


def test_a_finding_weighs_for_a_place_what_the_place_says_it_weighs():
    compared = 0
    for examination in demo_examinations():
        argued = {(one.test, one.side): one for one in arguments(posterior_of(examination))}
        for candidate in localise(examination).candidates[:3]:
            for reason in (*candidate.supports, *candidate.against):
                one = argued[reason.test, reason.side]
                leanings = {(x.place, x.side): x for x in (*one.supports, *one.against)}
                same = leanings[candidate.place, candidate.side]
                assert same.log10 == pytest.approx(reason.log10)
                assert same.probability == pytest.approx(candidate.probability)
                compared += 1
    assert compared > 40


@settings(max_examples=10, deadline=None)
@given(examinations())
def test_mirrored_findings_argue_for_the_mirrored_places(examination):
    def leanings(found: Examination, swap: bool):
        posterior = posterior_of(found)
        return {
            (one.test, SWAP[one.side] if swap else one.side): {
                (x.place, SWAP[x.side] if swap else x.side): round(x.log10, 6)
                for x in (*one.supports, *one.against)
            }
            for one in arguments(posterior)
        }

    mine, theirs = leanings(examination, False), leanings(examination.mirrored(), True)
    assert mine.keys() == theirs.keys()
    for key, found in mine.items():
        # Places that tie at the end of the list may change places; the shared ones agree.
        shared = found.keys() & theirs[key].keys()
        assert {place: found[place] for place in shared} == {
            place: theirs[key][place] for place in shared
        }
        assert len(found) <= 2 * PLACES_ASKED


def test_a_temporal_field_lost_in_both_eyes_argues_for_the_chiasm():
    """Bitemporal loss comes from the chiasm (Miller et al. 2005, key miller_2005)."""
    found = tuple(
        Finding(test=f"peripheral_{quadrant}_temporal", side=eye, response="absent")
        for quadrant in ("upper", "lower")
        for eye in Side
    )
    normal = tuple(
        Finding(test=f"peripheral_{quadrant}_nasal", side=eye, response="normal")
        for quadrant in ("upper", "lower")
        for eye in Side
    )
    posterior = posterior_of(Examination(id="invented", findings=found + normal))
    for one in arguments(posterior):
        if one.response == "absent":
            assert any("chiasm" in x.name for x in one.supports), one
            assert all(x.log10 > 0 for x in one.supports)
    # A nasal quadrant that is kept speaks against what would take it: the nerve before the chiasm.
    nasal = next(one for one in arguments(posterior) if one.test == "peripheral_upper_nasal")
    assert any("optic nerve" in x.name for x in nasal.against)


def test_nothing_recorded_argues_nothing():
    assert arguments(posterior_of(Examination(id="empty"))) == ()
