"""Hearing as findings: audiogram, tuning forks, whisper."""

from __future__ import annotations

from collections.abc import Sequence

from decussate.examination.record import Finding
from decussate.measures.as_findings.writing import could_not, graded, measured, stated, within_scale
from decussate.measures.audiogram import Audiogram, Conduction
from decussate.measures.fork_prediction import Fork
from decussate.measures.hearing_grade import LossType, loss_type, pure_tone_average
from decussate.measures.masking import masking_still_needed
from decussate.measures.published_rows import read_tables, row_named
from decussate.measures.tuning_forks import ForkFindings, Rinne, Weber, suspected_false_negative
from decussate.measures.whisper import (
    WHISPER_DISTANCES_M,
    WhisperOutcome,
    WhisperTest,
    whisper_outcome,
)
from decussate.sides import Side

__all__ = ["audiogram_findings", "fork_findings", "whisper_findings"]

_SET = int(row_named(read_tables("whisper.yaml")["protocol"], "items", "protocol")["value"])


def audiogram_findings(audiogram: Audiogram) -> tuple[Finding, ...]:
    """Write the average and the kind of loss of each ear.

    Parameters
    ----------
    audiogram : Audiogram

    Returns
    -------
    tuple of Finding
        ``audiogram_average``: 0.5, 1, 2 and 4 kHz by air, dB HL, by the bands of the catalogue;
        left out where a frequency is missing. An average that may belong to the other ear
        (`masking_still_needed`) could not be tested. ``audiogram_kind``: left out where masked
        bone conduction is needed to tell.
    """
    needs = masking_still_needed(audiogram)
    found = []
    for side in Side:
        average = pure_tone_average(audiogram, side)
        unmasked = {
            need.frequency_hz
            for need in needs
            if need.side is side and need.conduction is Conduction.AIR
        } & set(average.frequencies_hz)
        if unmasked:
            heard = ", ".join(f"{hz} Hz" for hz in sorted(unmasked))
            reason = f"may be heard by the other ear: masking still needed at {heard}"
            found.append(could_not("audiogram_average", reason, side))
        elif average.level_db_hl is not None:
            comment = "or worse: a tone was not heard" if average.at_least else None
            level = within_scale("audiogram_average", average.level_db_hl)
            found.append(measured("audiogram_average", level, side, comment=comment))
        kind = _kind(audiogram, side, average.frequencies_hz)
        if kind is not None and not unmasked:
            found.append(stated("audiogram_kind", kind, side))
    return tuple(found)


def _kind(audiogram: Audiogram, side: Side, frequencies_hz: Sequence[int]) -> str | None:
    """Kind over the frequencies of the average that have a loss; None where one is unknown."""
    kinds = {loss_type(audiogram, side, hz) for hz in frequencies_hz}
    lost = kinds - {LossType.NORMAL}
    if LossType.UNKNOWN in lost:
        return None
    if not lost:
        return "normal"
    return lost.pop().value if len(lost) == 1 else LossType.MIXED.value


def fork_findings(forks: ForkFindings, fork: Fork | None = None) -> tuple[Finding, ...]:
    """Write Rinne and Weber.

    Parameters
    ----------
    forks : ForkFindings
    fork : Fork, optional
        The fork used, kept as technique and as ``fork_frequency``.

    Returns
    -------
    tuple of Finding
        ``rinne`` of each ear and ``weber``; a fork that was not heard could not be tested. A
        negative Rinne away from which the Weber points is kept as negative, with the suspicion in
        the comment.
    """
    suspected = suspected_false_negative(forks)
    technique = fork.value if fork else None
    found = []
    if fork:
        found.append(measured("fork_frequency", float(fork.value.split()[0])))
    for side in Side:
        if forks.rinne(side) is Rinne.NOT_HEARD:
            found.append(could_not("rinne", "the fork was not heard by air or by bone", side))
            continue
        finding = graded("rinne", "rinne", forks.rinne(side), side)
        comment = "may be false: heard across the head by the other ear"
        extra = {"technique": technique, "comment": comment if side in suspected else None}
        found.append(finding.model_copy(update=extra))
    if forks.weber is Weber.NOT_HEARD:
        found.append(could_not("weber", "the fork was not heard"))
    else:
        weber = graded("weber", "weber", forks.weber)
        found.append(weber.model_copy(update={"technique": technique}))
    return tuple(found)


def whisper_findings(test: WhisperTest) -> tuple[Finding, ...]:
    """Write a whispered voice test of one ear.

    Parameters
    ----------
    test : WhisperTest
        At arm's length (``whisper_far``) or close to the ear (``whisper_near``).

    Returns
    -------
    tuple of Finding
        The share repeated, by the bands of the catalogue. A set of three with a mistake needs the
        second set, and a pass needs the other ear masked: without them, could not be tested.
    """
    far, near = WHISPER_DISTANCES_M
    name = "whisper_far" if test.distance_m > (far + near) / 2.0 else "whisper_near"
    outcome = whisper_outcome(test)
    if outcome in (WhisperOutcome.SECOND_SET_NEEDED, WhisperOutcome.NOT_MASKED):
        return (could_not(name, outcome.value, test.side),)
    sets = _SET if test.second_right is None else 2 * _SET
    repeated = test.first_right + (test.second_right or 0)
    technique = f"whispered at {test.distance_m:g} m"
    return (measured(name, f"{repeated}/{sets}", test.side, technique=technique),)
