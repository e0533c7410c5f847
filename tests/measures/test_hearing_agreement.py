import pytest
from hypothesis import given, settings
from test_tuning_forks import FINDINGS
from test_whisper import TESTS

from audiogram_strategies import air, audiograms, with_bone
from decussate.errors import BadInput
from decussate.measures.fork_prediction import Fork
from decussate.measures.hearing_agreement import disagreements
from decussate.measures.tuning_forks import ForkFindings, Rinne, Weber
from decussate.measures.whisper import WhisperTest
from decussate.sides import Side

HZ = (250, 500, 1000, 2000, 4000)
F = Fork.F512_STEEL


@given(audiograms(), FINDINGS, TESTS)
@settings(max_examples=60)
def test_mirror(audiogram, forks, whisper):
    one = disagreements(audiogram=audiogram, forks=forks, whispers=(whisper,))
    two = disagreements(
        audiogram=audiogram.mirrored(), forks=forks.mirrored(), whispers=(whisper.mirrored(),)
    )
    assert {(d.side and d.side.other, d.settle_by) for d in one} == {
        (d.side, d.settle_by) for d in two
    }


def test_conductive_loss_with_the_forks_it_should_give_agrees():
    a = with_bone(air(55, 10, HZ), 10, 5, HZ)
    forks = ForkFindings(Rinne.NEGATIVE, Rinne.POSITIVE, Weber.RIGHT)
    whisper = WhisperTest(Side.RIGHT, 0, 1)
    assert disagreements(audiogram=a, forks=forks, fork=F, whispers=(whisper,)) == ()


def test_exchanged_ears_show():
    a = with_bone(air(55, 10, HZ), 10, 5, HZ)
    forks = ForkFindings(Rinne.POSITIVE, Rinne.NEGATIVE, Weber.LEFT)
    found = disagreements(audiogram=a, forks=forks, fork=F)
    assert [d.side for d in found] == [Side.RIGHT, Side.LEFT, None]
    assert "audiometry" in found[-1].settle_by


def test_a_positive_rinne_against_an_unmasked_gap_is_no_disagreement():
    a = with_bone(air(45, 10, HZ), 10, None, HZ, masked=False)
    forks = ForkFindings(Rinne.POSITIVE, Rinne.POSITIVE, Weber.LEFT)
    assert disagreements(audiogram=a, forks=forks, fork=F) == ()


def test_whisper_against_audiogram():
    a = air(60, 10, HZ)
    passed, failed = WhisperTest(Side.RIGHT, 3), WhisperTest(Side.LEFT, 0, 0)
    found = disagreements(audiogram=a, whispers=(failed, passed))
    assert [(d.side, d.found) for d in found] == [
        (Side.RIGHT, "whisper passed"),
        (Side.LEFT, "whisper failed"),
    ]
    unmasked = WhisperTest(Side.RIGHT, 3, other_ear_masked=False)
    assert disagreements(audiogram=a, whispers=(unmasked,)) == ()


def test_whisper_against_a_negative_rinne():
    forks = ForkFindings(Rinne.NEGATIVE, Rinne.POSITIVE, Weber.LEFT)
    found = disagreements(forks=forks, whispers=(WhisperTest(Side.RIGHT, 3),))
    assert [d.side for d in found] == [Side.RIGHT]


def test_two_whispers_for_one_ear_are_refused():
    with pytest.raises(BadInput, match="at most one"):
        disagreements(whispers=(WhisperTest(Side.RIGHT, 3), WhisperTest(Side.RIGHT, 2, 2)))
