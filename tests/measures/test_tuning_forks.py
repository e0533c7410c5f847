import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.tuning_forks import (
    EarState,
    ForkFindings,
    Rinne,
    Weber,
    expected_forks,
    fork_readings,
    rinne_from_words,
    suspected_false_negative,
)
from decussate.sides import Side

FINDINGS = st.builds(
    ForkFindings,
    right=st.sampled_from(Rinne),
    left=st.sampled_from(Rinne),
    weber=st.sampled_from(Weber),
)


@given(st.sampled_from(EarState), st.sampled_from(EarState))
def test_expected_forks_mirror(right, left):
    one, two = expected_forks(right, left), expected_forks(left, right)
    assert (one.right, one.left) == (two.left, two.right)
    assert (one.weber and one.weber.mirrored) == two.weber
    assert {w.mirrored for w in one.possible_weber} == two.possible_weber
    assert {s.other for s in one.false_negative} == set(two.false_negative)


@given(FINDINGS)
@settings(max_examples=40, deadline=None)
def test_readings_mirror(findings):
    there = {reading.mirrored() for reading in fork_readings(findings)}
    assert set(fork_readings(findings.mirrored())) == there
    assert findings.mirrored().mirrored() == findings


@given(st.sampled_from(EarState), st.sampled_from(EarState))
@settings(max_examples=36, deadline=None)
def test_whatever_two_ears_give_is_read_back_to_them(right, left):
    expected = expected_forks(right, left)
    for weber in expected.possible_weber:
        readings = fork_readings(ForkFindings(expected.right, expected.left, weber))
        assert (right, left) in {(r.right, r.left) for r in readings}


def test_dead_ear_is_suspected_when_the_weber_goes_away():
    findings = ForkFindings(Rinne.NEGATIVE, Rinne.POSITIVE, Weber.LEFT)
    assert suspected_false_negative(findings) == (Side.RIGHT,)
    assert suspected_false_negative(findings.mirrored()) == (Side.LEFT,)
    first = fork_readings(findings)[0]
    assert (first.right, first.left) == (EarState.DEAD, EarState.NORMAL)
    assert first.false_negative == (Side.RIGHT,)
    plain = ForkFindings(Rinne.NEGATIVE, Rinne.POSITIVE, Weber.RIGHT)
    assert suspected_false_negative(plain) == ()


def test_equal_counts_as_negative():
    equal = fork_readings(ForkFindings(Rinne.EQUAL, Rinne.POSITIVE, Weber.RIGHT))
    assert equal == fork_readings(ForkFindings(Rinne.NEGATIVE, Rinne.POSITIVE, Weber.RIGHT))


def test_findings_no_ears_give_have_no_reading():
    assert fork_readings(ForkFindings(Rinne.POSITIVE, Rinne.POSITIVE, Weber.NOT_HEARD)) == ()


@pytest.mark.parametrize(
    ("words", "rinne"),
    [
        ("Air louder", Rinne.POSITIVE),
        ("AC > BC", Rinne.POSITIVE),
        ("positive", Rinne.POSITIVE),
        ("bone better", Rinne.NEGATIVE),
        ("−", Rinne.NEGATIVE),
        (" equal ", Rinne.EQUAL),
        ("not heard", Rinne.NOT_HEARD),
    ],
)
def test_rinne_words(words, rinne):
    assert rinne_from_words(words) is rinne


@pytest.mark.parametrize("words", ["abnormal", "normal", "", "louder", "pos?"])
def test_words_that_can_be_read_either_way_are_refused(words):
    with pytest.raises(BadInput, match="positive Rinne is the normal one"):
        rinne_from_words(words)
