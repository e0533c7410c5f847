"""The whispered voice test: its protocol, its score, and what passing or failing it is worth."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from decussate.errors import BadInput
from decussate.measures.diagnostic_accuracy import (
    likelihood_ratio_negative,
    likelihood_ratio_positive,
    updated_probability,
)
from decussate.measures.published_rows import read_tables, row_named
from decussate.sides import Side

__all__ = [
    "WHISPER_DISTANCES_M",
    "WhisperOutcome",
    "WhisperTest",
    "likelihood_ratio",
    "probability_of_loss",
    "protocol",
    "voice_heard_by_half_db_hl",
    "whisper_outcome",
]

_TABLES = read_tables("whisper.yaml")

WHISPER_DISTANCES_M = (0.6, 0.15)
"""Distances in m at which whispers are given: arm's length, and close to the ear."""

_SET = int(row_named(_TABLES["protocol"], "items", "protocol")["value"])
_PASS_OF_SIX = int(row_named(_TABLES["protocol"], "pass of six", "protocol")["value"])


def protocol() -> tuple[str, ...]:
    """Return the steps of the test, in order, for the examiner."""
    return tuple(str(row["text"]) for row in _TABLES["protocol"])


@dataclass(frozen=True, slots=True)
class WhisperTest:
    """One ear's whispers and what was repeated.

    Parameters
    ----------
    side : Side
        The ear tested.
    first_right : int
        How many of the first three were repeated rightly.
    second_right : int, optional
        How many of a second, different three; leave out when it was not given.
    other_ear_masked : bool
        Whether the tragus of the other ear was rubbed.  Without it a whisper passed may have been
        heard by the other ear.
    distance_m : float
        Distance in metres.

    Raises
    ------
    BadInput
        If a count is not 0 to 3 or the distance is impossible.
    """

    side: Side
    first_right: int
    second_right: int | None = None
    other_ear_masked: bool = True
    distance_m: float = 0.6

    def __post_init__(self) -> None:
        for name, count in (("first", self.first_right), ("second", self.second_right)):
            if count is not None and not 0 <= count <= _SET:
                raise BadInput(
                    f"whispers repeated, {name} set, {self.side} ear",
                    count,
                    f"0 to {_SET}",
                    hint="Give each set of three by itself." if count > _SET else "",
                )
        if not 0.05 <= self.distance_m <= 2:
            raise BadInput(
                "distance of the whisper",
                self.distance_m,
                "0.05 to 2 m",
                hint="Was this in cm?" if self.distance_m > 2 else "",
            )

    def mirrored(self) -> WhisperTest:
        """Give the same result to the other ear."""
        return replace(self, side=self.side.other)


class WhisperOutcome(StrEnum):
    """What the whispers came to."""

    PASSED = "passed"
    FAILED = "failed"
    SECOND_SET_NEEDED = "second set needed"
    NOT_MASKED = "heard, but the other ear was not masked"


def whisper_outcome(test: WhisperTest) -> WhisperOutcome:
    """Score the test of one ear.

    Passed: all three of the first set, or at least three of the six.  Failed: two or fewer of six.
    A pass without masking of the other ear is not a pass of this ear; a failure stands.

    Parameters
    ----------
    test : WhisperTest
        What was whispered and repeated.

    Returns
    -------
    WhisperOutcome

    References
    ----------
    Pirozzo S, Papinczak T, Glasziou P. BMJ 2003;327:967 (scoring from memory).
    """
    if test.first_right < _SET and test.second_right is None:
        return WhisperOutcome.SECOND_SET_NEEDED
    total = test.first_right + (test.second_right or 0)
    if test.first_right < _SET and total < _PASS_OF_SIX:
        return WhisperOutcome.FAILED
    return WhisperOutcome.PASSED if test.other_ear_masked else WhisperOutcome.NOT_MASKED


def likelihood_ratio(outcome: WhisperOutcome, study: str = "pooled adults") -> float:
    """Return how much the outcome multiplies the odds of hearing loss in that ear.

    Parameters
    ----------
    outcome : WhisperOutcome
        Passed or failed.
    study : str
        A row of the accuracy table of ``whisper.yaml``.

    Returns
    -------
    float
        Printed ratios where the study gives them; otherwise sensitivity / (1 - specificity) for a
        failure and (1 - sensitivity) / specificity for a pass.

    Raises
    ------
    BadInput
        If the outcome is neither pass nor failure, or the study is unknown.
    """
    if outcome not in (WhisperOutcome.PASSED, WhisperOutcome.FAILED):
        raise BadInput("whisper outcome", str(outcome), "passed or failed")
    row = row_named(_TABLES["accuracy"], study, "study")
    failed = outcome is WhisperOutcome.FAILED
    printed = row.get("lr_failed" if failed else "lr_passed")
    if printed is not None:
        return float(printed)
    ratio = likelihood_ratio_positive if failed else likelihood_ratio_negative
    return ratio(float(row["sensitivity"]), float(row["specificity"]))


def probability_of_loss(
    prior: float, outcome: WhisperOutcome, study: str = "pooled adults"
) -> float:
    """Update the probability that the ear has a hearing loss.

    Parameters
    ----------
    prior : float
        Probability before the test, above 0 and below 1.
    outcome : WhisperOutcome
        Passed or failed.
    study : str
        As in `likelihood_ratio`.

    Returns
    -------
    float
        See `updated_probability`.

    Raises
    ------
    BadInput
        If the prior is not a probability.
    """
    return updated_probability(prior, likelihood_ratio(outcome, study))


def voice_heard_by_half_db_hl(voice: str, distance_m: float) -> float:
    """Return the pure-tone average at which half of ears hear a voice, in dB HL.

    Parameters
    ----------
    voice : str
        ``whisper``, ``conversation`` or ``loud``.
    distance_m : float
        0.6 or 0.15 m.

    Returns
    -------
    float

    Raises
    ------
    BadInput
        If the pair was not published.

    References
    ----------
    Browning GG, Swan IRC, clinical series (from memory).
    """
    for row in _TABLES["voice_levels"]:
        if row["voice"] == voice and math.isclose(row["distance_m"], distance_m):
            return float(row["heard_by_half_db_hl"])
    pairs = "; ".join(f"{r['voice']} at {r['distance_m']} m" for r in _TABLES["voice_levels"])
    raise BadInput("voice and distance", (voice, distance_m), f"one of {pairs}")
