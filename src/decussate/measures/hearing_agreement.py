"""Where forks, whispers and the audiogram do not fit each other.

A disagreement is a reason to repeat or to mask, not a finding in itself: a wrongly sited vibrator,
an unmasked threshold or exchanged ears show here first.
"""

from __future__ import annotations

from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.measures.audiogram import Audiogram
from decussate.measures.fork_prediction import Fork, predicted_rinne, predicted_weber
from decussate.measures.hearing_grade import pure_tone_average
from decussate.measures.tuning_forks import (
    ForkFindings,
    Rinne,
    Weber,
    fork_limit,
    weber_in_sudden_loss,
)
from decussate.measures.whisper import WhisperOutcome, WhisperTest, whisper_outcome
from decussate.sides import Side

__all__ = ["Disagreement", "disagreements"]


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Two tests that do not fit each other.

    Parameters
    ----------
    side : Side or None
        The ear, or None for the Weber.
    found : str
        What was found.
    expected : str
        What the audiogram (or the fork) led one to expect, and why.
    settle_by : str
        What settles it.
    """

    side: Side | None
    found: str
    expected: str
    settle_by: str


def disagreements(
    *,
    audiogram: Audiogram | None = None,
    forks: ForkFindings | None = None,
    fork: Fork = Fork.F512_STEEL,
    whispers: tuple[WhisperTest, ...] = (),
) -> tuple[Disagreement, ...]:
    """List where forks, whispers and audiogram do not fit each other.

    Parameters
    ----------
    audiogram : Audiogram, optional
        The audiogram.
    forks : ForkFindings, optional
        What the forks gave.
    fork : Fork
        The fork used.
    whispers : tuple of WhisperTest
        At most one for each ear.

    Returns
    -------
    tuple of Disagreement
        Right before left, forks before whispers.

    Raises
    ------
    BadInput
        If an ear has two whisper tests.
    """
    tested = [w.side for w in whispers]
    if len(set(tested)) < len(tested):
        raise BadInput("whisper tests", tuple(tested), "at most one for each ear")
    found: list[Disagreement] = []
    if audiogram and forks:
        rinnes = (_rinne_disagreement(audiogram, forks.rinne(s), s, fork) for s in Side)
        found += [d for d in rinnes if d]
        found += _weber_disagreement(audiogram, forks.weber, fork)
    for side in Side:
        for test in whispers:
            if test.side is side:
                found += _whisper_disagreements(test, audiogram, forks)
    return tuple(found)


def _rinne_disagreement(
    audiogram: Audiogram, rinne: Rinne, side: Side, fork: Fork
) -> Disagreement | None:
    predicted = predicted_rinne(audiogram, side, fork)
    if predicted is None or rinne in (Rinne.EQUAL, Rinne.NOT_HEARD):
        return None
    if rinne is Rinne.POSITIVE and not predicted.ear_certain:
        return None  # The unmasked gap may be the other ear's; a positive Rinne says so.
    negative = predicted.probability_negative
    chance = negative if rinne is Rinne.NEGATIVE else 1 - negative
    if chance >= fork_limit("unlikely"):
        return None
    return Disagreement(
        side,
        f"Rinne: {rinne}",
        f"{predicted.because}: a result like this in {100 * chance:.0f} of 100",
        "repeat the fork with the other ear masked; check masked bone conduction at "
        f"{fork.audiogram_hz} Hz and that the ears were not exchanged",
    )


def _weber_disagreement(audiogram: Audiogram, weber: Weber, fork: Fork) -> list[Disagreement]:
    predicted = predicted_weber(audiogram, fork)
    if predicted is None or weber in predicted.possible:
        return []
    places = " or ".join(sorted(predicted.possible))
    return [
        Disagreement(
            None,
            f"Weber: {weber}",
            f"{places} ({predicted.because})",
            f"repeat the Weber; never let it call off urgent audiometry: {weber_in_sudden_loss()}",
        )
    ]


def _whisper_disagreements(
    test: WhisperTest, audiogram: Audiogram | None, forks: ForkFindings | None
) -> list[Disagreement]:
    outcome = whisper_outcome(test)
    passed, failed = outcome is WhisperOutcome.PASSED, outcome is WhisperOutcome.FAILED
    found = []
    average = pure_tone_average(audiogram, test.side) if audiogram else None
    if average is not None and average.level_db_hl is not None:
        level = average.level_db_hl
        expected = f"air-conduction average {level:g} dB HL"
        if passed and level > fork_limit("whisper passed above"):
            found.append(
                Disagreement(
                    test.side,
                    "whisper passed",
                    expected,
                    "repeat with the tragus of the other ear rubbed and the lips out of sight",
                )
            )
        if failed and level < fork_limit("whisper failed below"):
            found.append(
                Disagreement(
                    test.side,
                    "whisper failed",
                    expected,
                    "repeat after a full breath out; check understanding and language, and speech "
                    "audiometry: words can fail where tones do not",
                )
            )
    if passed and forks and forks.rinne(test.side) is Rinne.NEGATIVE:
        found.append(
            Disagreement(
                test.side,
                "whisper passed",
                "a negative Rinne: a conductive loss of about 20 dB or more, or a dead ear",
                "mask the other ear and repeat both",
            )
        )
    return found
