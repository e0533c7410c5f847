"""Likelihood ratios from sensitivity and specificity, and what they do to a probability."""

from __future__ import annotations

import math

from decussate.errors import BadInput

__all__ = ["likelihood_ratio_negative", "likelihood_ratio_positive", "updated_probability"]


def likelihood_ratio_positive(sensitivity: float, specificity: float) -> float:
    """Give how much a positive result multiplies the odds: sensitivity / (1 - specificity).

    Parameters
    ----------
    sensitivity, specificity : float
        Fractions from 0 to 1.

    Returns
    -------
    float
        Infinity when the study saw no false positive.

    Raises
    ------
    BadInput
        If either is not a fraction.
    """
    _check(sensitivity, specificity)
    return sensitivity / (1 - specificity) if specificity < 1 else math.inf


def likelihood_ratio_negative(sensitivity: float, specificity: float) -> float:
    """Give how much a negative result multiplies the odds: (1 - sensitivity) / specificity.

    Raises
    ------
    BadInput
        If either is not a fraction.
    """
    _check(sensitivity, specificity)
    return (1 - sensitivity) / specificity if specificity > 0 else math.inf


def updated_probability(prior: float, likelihood_ratio: float) -> float:
    """Update a probability by Bayes' theorem in odds.

    Parameters
    ----------
    prior : float
        Above 0 and below 1.
    likelihood_ratio : float
        Zero or more.  A ratio of zero comes from a study that missed no case; the posterior of zero
        is the size of that study, not certainty.

    Returns
    -------
    float

    Raises
    ------
    BadInput
        If the prior is not a probability or the ratio is negative.
    """
    if not 0 < prior < 1:
        raise BadInput(
            "prior probability",
            prior,
            "above 0 and below 1",
            hint="Was a percentage given?" if prior >= 1 else "",
        )
    if not likelihood_ratio >= 0:
        raise BadInput("likelihood ratio", likelihood_ratio, "zero or more")
    if math.isinf(likelihood_ratio):
        return 1.0
    odds = prior / (1 - prior) * likelihood_ratio
    return odds / (1 + odds)


def _check(sensitivity: float, specificity: float) -> None:
    for name, value in (("sensitivity", sensitivity), ("specificity", specificity)):
        if not 0 <= value <= 1:
            raise BadInput(
                name, value, "a fraction from 0 to 1", hint="Was a percentage given for a fraction?"
            )
