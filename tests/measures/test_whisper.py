import pytest
from hypothesis import given
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.whisper import (
    WhisperOutcome,
    WhisperTest,
    likelihood_ratio,
    probability_of_loss,
    protocol,
    voice_heard_by_half_db_hl,
    whisper_outcome,
)
from decussate.sides import Side

TESTS = st.builds(
    WhisperTest,
    side=st.sampled_from(Side),
    first_right=st.integers(0, 3),
    second_right=st.none() | st.integers(0, 3),
    other_ear_masked=st.booleans(),
)


@given(TESTS)
def test_mirror(test):
    assert test.mirrored().side is test.side.other
    assert whisper_outcome(test.mirrored()) is whisper_outcome(test)


@given(TESTS)
def test_repeating_more_never_turns_a_pass_into_a_failure(test):
    if whisper_outcome(test) is WhisperOutcome.PASSED and test.second_right in (0, 1, 2):
        better = WhisperTest(
            test.side, test.first_right, test.second_right + 1, test.other_ear_masked
        )
        assert whisper_outcome(better) is WhisperOutcome.PASSED


@pytest.mark.parametrize(
    ("first", "second", "masked", "outcome"),
    [
        (3, None, True, WhisperOutcome.PASSED),
        (2, None, True, WhisperOutcome.SECOND_SET_NEEDED),
        (2, 1, True, WhisperOutcome.PASSED),
        (1, 1, True, WhisperOutcome.FAILED),
        (0, 3, True, WhisperOutcome.PASSED),
        (3, None, False, WhisperOutcome.NOT_MASKED),
        (0, 0, False, WhisperOutcome.FAILED),
    ],
)
def test_outcomes(first, second, masked, outcome):
    assert whisper_outcome(WhisperTest(Side.LEFT, first, second, masked)) is outcome


@given(st.floats(0.01, 0.99))
def test_a_failure_raises_and_a_pass_lowers_the_probability(prior):
    assert probability_of_loss(prior, WhisperOutcome.FAILED) > prior
    assert probability_of_loss(prior, WhisperOutcome.PASSED) < prior


def test_protocol_says_what_matters():
    text = " ".join(protocol())
    for word in ("behind", "breathe out", "tragus", "three"):
        assert word in text


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: WhisperTest(Side.RIGHT, 5), "each set of three"),
        (lambda: WhisperTest(Side.RIGHT, -1), "0 to 3"),
        (lambda: WhisperTest(Side.RIGHT, 3, distance_m=60), "in cm"),
        (lambda: likelihood_ratio(WhisperOutcome.SECOND_SET_NEEDED), "passed or failed"),
        (lambda: likelihood_ratio(WhisperOutcome.PASSED, "a study"), "pooled adults"),
        (lambda: probability_of_loss(50, WhisperOutcome.PASSED), "percentage"),
        (lambda: voice_heard_by_half_db_hl("whisper", 1.0), "whisper at 0.6 m"),
    ],
)
def test_bad_input(call, says):
    with pytest.raises(BadInput, match=says):
        call()
