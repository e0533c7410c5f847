import pytest
from hypothesis import given, settings

from audiogram_strategies import air, audiograms, with_bone
from decussate.errors import BadInput
from decussate.measures.answer import Answer
from decussate.measures.asymmetry import ASYMMETRY_RULES, asymmetry, asymmetry_rules
from decussate.measures.audiogram import Audiogram, Conduction, Threshold
from decussate.sides import Side

NICE_HZ = (500, 1000, 2000, 4000, 8000)


@given(audiograms())
@settings(max_examples=40, deadline=None)
def test_mirror(audiogram):
    for rule in ASYMMETRY_RULES:
        for side in Side:
            one = asymmetry(audiogram, rule, side)
            two = asymmetry(audiogram.mirrored(), rule, side.other)
            assert (one.met, one.frequencies_hz, one.missing_hz) == (
                two.met,
                two.frequencies_hz,
                two.missing_hz,
            )


def test_equal_ears_meet_no_rule():
    hz = (250, 500, 1000, 2000, 3000, 4000, 6000, 8000)
    results = asymmetry_rules(air(40, 40, hz))
    assert {r.met for r in results} == {Answer.NO}
    assert len(results) == 2 * len(ASYMMETRY_RULES)


def test_the_same_ear_must_be_worse_at_both_neighbours():
    a = air([20, 40, 20, 20, 20], [20, 20, 40, 20, 20], NICE_HZ)
    assert asymmetry(a, "NICE NG98", Side.RIGHT).met is Answer.NO
    assert asymmetry(a, "NICE NG98", Side.LEFT).met is Answer.NO


def test_a_rule_whose_frequency_is_missing_is_not_computable_rather_than_negative():
    a = air(20, 20, NICE_HZ)
    result = asymmetry(a, "15 dB at 3 kHz", Side.RIGHT)
    assert result.met is Answer.UNKNOWN
    assert result.missing_hz == (3000,)


def test_a_missing_frequency_does_not_matter_when_the_pair_is_decided():
    a = air([20, 35, 35, 20], [20, 20, 20, 20], (500, 1000, 2000, 4000))
    assert asymmetry(a, "NICE NG98", Side.RIGHT).met is Answer.YES
    flat = air([20, 20, 20, 20], [20, 20, 20, 20], (500, 1000, 2000, 4000))
    assert asymmetry(flat, "NICE NG98", Side.RIGHT).met is Answer.NO


def test_a_tone_not_heard_gives_a_bound():
    a = air([20, 20, 20, 50], [20, 20, 20, 20], NICE_HZ[:4])
    a = Audiogram(
        (
            *a.thresholds,
            Threshold(Side.RIGHT, 8000, Conduction.AIR, 100, no_response=True),
            Threshold(Side.LEFT, 8000, Conduction.AIR, 30),
        )
    )
    assert asymmetry(a, "NICE NG98", Side.RIGHT).met is Answer.YES
    assert asymmetry(a, "NICE NG98", Side.LEFT).met is Answer.NO


def test_a_bound_that_does_not_suffice_is_not_computable():
    a = Audiogram(
        (
            Threshold(Side.RIGHT, 1000, Conduction.AIR, 70, no_response=True),
            Threshold(Side.LEFT, 1000, Conduction.AIR, 65),
        )
    )
    assert asymmetry(a, "15 dB at 1 kHz", Side.RIGHT).met is Answer.UNKNOWN


def test_a_gap_is_pointed_out():
    a = with_bone(air(50, 20, NICE_HZ), 20, 20, (1000,))
    assert asymmetry(a, "NICE NG98", Side.RIGHT).possibly_conductive
    assert not asymmetry(air(50, 20, NICE_HZ), "NICE NG98", Side.RIGHT).possibly_conductive


def test_obholzer_needs_more_when_both_ears_are_affected():
    hz = (250, 500, 1000, 2000, 4000, 8000)
    assert asymmetry(air(35, 20, hz), "Obholzer", Side.RIGHT).met is Answer.YES
    assert asymmetry(air(60, 45, hz), "Obholzer", Side.RIGHT).met is Answer.NO
    assert asymmetry(air(65, 45, hz), "Obholzer", Side.RIGHT).met is Answer.YES


def test_unknown_rule():
    with pytest.raises(BadInput, match="NICE NG98"):
        asymmetry(air(20, 20), "rule of thumb", Side.RIGHT)
