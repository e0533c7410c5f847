from hypothesis import given, settings

from audiogram_strategies import air, audiograms, with_bone
from decussate.measures.audiogram import Audiogram, Conduction, Threshold, Transducer
from decussate.measures.masking import masking_still_needed
from decussate.sides import Side


def needs(audiogram):
    return {(n.side, n.conduction, n.rule) for n in masking_still_needed(audiogram)}


@given(audiograms())
@settings(max_examples=60)
def test_mirror(audiogram):
    there = {
        (n.side.other, n.frequency_hz, n.conduction, n.rule, n.difference_db)
        for n in masking_still_needed(audiogram)
    }
    here = {
        (n.side, n.frequency_hz, n.conduction, n.rule, n.difference_db)
        for n in masking_still_needed(audiogram.mirrored())
    }
    assert here == there


@given(audiograms())
@settings(max_examples=40)
def test_masking_what_is_asked_for_leaves_no_rule_2_and_nothing_masked_is_asked_again(audiogram):
    for n in masking_still_needed(audiogram):
        assert audiogram.measured(n.side, n.frequency_hz, n.conduction, masked=True) is None
        assert n.difference_db >= n.at_least_db


def test_worse_ear_is_tested_again_by_rule_1():
    found = masking_still_needed(air(60, 20, (1000,)))
    assert len(found) == 1
    assert found[0].side is Side.RIGHT
    assert "mask the left ear" in found[0].sentence


def test_masked_threshold_settles_it():
    a = air(60, 20, (1000,))
    masked = Threshold(Side.RIGHT, 1000, Conduction.AIR, 85, masked=True)
    assert needs(Audiogram((*a.thresholds, masked))) == set()


def test_inserts_allow_a_larger_difference():
    assert needs(air(60, 10, (1000,), Transducer.INSERT)) == set()
    assert needs(air(65, 10, (1000,), Transducer.INSERT)) == {(Side.RIGHT, Conduction.AIR, 1)}


def test_two_conductive_losses_need_rules_2_and_3():
    a = with_bone(air(60, 50, (1000,)), 0, None, (1000,), masked=False)
    assert needs(a) == {
        (Side.RIGHT, Conduction.AIR, 3),
        (Side.LEFT, Conduction.AIR, 3),
        (Side.RIGHT, Conduction.BONE, 2),
        (Side.LEFT, Conduction.BONE, 2),
    }


def test_a_tone_not_heard_did_not_cross():
    a = Audiogram(
        (
            Threshold(Side.RIGHT, 1000, Conduction.AIR, 110, no_response=True),
            Threshold(Side.LEFT, 1000, Conduction.AIR, 10),
        )
    )
    assert needs(a) == set()
