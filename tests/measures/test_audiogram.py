import pytest
from hypothesis import given, settings

from audiogram_strategies import air, audiograms, with_bone
from decussate.errors import BadInput
from decussate.measures.audiogram import (
    Audiogram,
    Conduction,
    Threshold,
    Transducer,
    audiogram_from_csv,
    audiogram_to_csv,
)
from decussate.sides import Side

HEADING = "ear,frequency_hz,conduction,level_db_hl,masked,no_response\n"


@given(audiograms())
@settings(max_examples=60)
def test_csv_round_trip(audiogram):
    assert audiogram_from_csv(audiogram_to_csv(audiogram)) == audiogram


@given(audiograms())
@settings(max_examples=40)
def test_mirroring_exchanges_the_ears_and_twice_is_nothing(audiogram):
    mirrored = audiogram.mirrored()
    assert mirrored.mirrored() == audiogram
    for t in audiogram.thresholds:
        there = mirrored.measured(t.side.other, t.frequency_hz, t.conduction, masked=t.masked)
        assert there is not None
        assert (there.level_db_hl, there.no_response) == (t.level_db_hl, t.no_response)


def test_order_of_entry_does_not_matter():
    a = air(20, 30)
    assert Audiogram(tuple(reversed(a.thresholds))) == a
    assert hash(Audiogram(tuple(reversed(a.thresholds)))) == hash(a)


def test_masked_threshold_is_preferred():
    a = Audiogram(
        (
            Threshold(Side.RIGHT, 1000, Conduction.AIR, 60, masked=False),
            Threshold(Side.RIGHT, 1000, Conduction.AIR, 90, masked=True),
        )
    )
    assert a.best(Side.RIGHT, 1000).level_db_hl == 90
    assert a.best(Side.LEFT, 1000) is None


def test_unmasked_bone_is_the_better_of_the_two_mastoids():
    a = with_bone(air(60, 20), 25, 15, masked=False)
    assert a.unmasked_bone(1000).level_db_hl == 15
    assert a.unmasked_bone(8000) is None


def test_a_tone_not_heard_is_a_bound():
    t = Threshold(Side.LEFT, 4000, Conduction.AIR, 110, no_response=True)
    assert t.bounds_db_hl == (110, float("inf"))


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Threshold(Side.RIGHT, 1, Conduction.AIR, 20), "kHz"),
        (lambda: Threshold(Side.RIGHT, 440, Conduction.AIR, 20), "125"),
        (lambda: Threshold(Side.RIGHT, 1000, Conduction.AIR, 140), "dB SPL"),
        (lambda: Threshold(Side.RIGHT, 1000, Conduction.AIR, -30), "dB HL"),
        (lambda: Threshold(Side.RIGHT, 1000, Conduction.BONE, 110), "air threshold"),
        (lambda: Audiogram(()), "at least one"),
        (lambda: Audiogram(air(20, 30).thresholds + air(25, 30).thresholds), "other ear"),
    ],
)
def test_impossible_values_are_refused(make, says):
    with pytest.raises(BadInput, match=says):
        make()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("ear,frequency_hz,conduction,level_db_spl,masked,no_response\n", "dB SPL"),
        ("ear,frequency_hz\n", "missing: conduction"),
        (HEADING.replace("\n", ",remark\n"), "extra columns"),
        (HEADING + "right,1k,air,20,no,no\n", "line 2.*Write 1000 for 1k"),
        (HEADING + "right,0.5,air,20,no,no\n", "line 2.*500 for 0.5 kHz"),
        (HEADING + "right,1000,air,NR,no,no\n", "line 2.*no_response"),
        (HEADING + "right,1000,air,70 dB SPL,no,no\n", "not dB SPL"),
        (HEADING + "OD,1000,air,20,no,no\n", "ear.*'OD'.*right"),
        (HEADING + "right,1000,skull,20,no,no\n", "conduction"),
        (HEADING + "right,1000,air,20,maybe,no\n", "masked"),
        (HEADING + "right,1000,air,20\n", "number of cells"),
        (HEADING + "right,1000,air,20,no,no,5\n", "number of cells"),
        (HEADING + "right,1000,air,20,no,no\nright,1000,air,25,no,no\n", "one value"),
        ("", "columns"),
        (HEADING, "at least one threshold"),
        (HEADING + "right,1000,air,nan,no,no\n", "a number"),
    ],
)
def test_csv_errors_say_what_was_found_and_the_slip(text, says):
    with pytest.raises(BadInput, match=says):
        audiogram_from_csv(text, where="test.csv")


def test_csv_names_the_file_and_line():
    with pytest.raises(BadInput) as caught:
        audiogram_from_csv(
            HEADING + "right,1000,air,20,no,no\nleft,1000,air,999,no,no\n", where="a.csv"
        )
    assert caught.value.where == "a.csv, line 3"


def test_csv_with_two_transducers_is_refused():
    text = HEADING.replace("\n", ",transducer\n")
    text += "right,1000,air,20,no,no,insert\nleft,1000,air,20,no,no,supra-aural\n"
    with pytest.raises(BadInput, match="one transducer"):
        audiogram_from_csv(text)


def test_csv_accepts_short_ears_byte_order_mark_and_transducer():
    text = "\ufeff" + HEADING.replace("\n", ",transducer\n") + "R,1000,air,20.5,no,,insert\n"
    a = audiogram_from_csv(text)
    assert a.transducer is Transducer.INSERT
    assert a.best(Side.RIGHT, 1000).level_db_hl == 20.5
