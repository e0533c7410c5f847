import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.diagnostic_accuracy import (
    likelihood_ratio_negative,
    likelihood_ratio_positive,
    updated_probability,
)

FRACTION = st.floats(0.01, 0.99)


@given(FRACTION, FRACTION, FRACTION)
def test_agrees_with_counting_people(prior, sensitivity, specificity):
    true, false = prior * sensitivity, (1 - prior) * (1 - specificity)
    posterior = updated_probability(prior, likelihood_ratio_positive(sensitivity, specificity))
    assert posterior == pytest.approx(true / (true + false))
    missed, cleared = prior * (1 - sensitivity), (1 - prior) * specificity
    posterior = updated_probability(prior, likelihood_ratio_negative(sensitivity, specificity))
    assert posterior == pytest.approx(missed / (missed + cleared))


def test_perfect_tests():
    assert likelihood_ratio_positive(0.9, 1.0) == math.inf
    assert updated_probability(0.5, math.inf) == 1.0
    assert likelihood_ratio_negative(1.0, 0.8) == 0
    assert updated_probability(0.5, 0) == 0


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: likelihood_ratio_positive(96, 0.5), "percentage"),
        (lambda: likelihood_ratio_negative(0.5, -0.1), "specificity"),
        (lambda: updated_probability(1, 2), "percentage"),
        (lambda: updated_probability(0.5, -2), "zero or more"),
    ],
)
def test_bad_input(call, says):
    with pytest.raises(BadInput, match=says):
        call()
