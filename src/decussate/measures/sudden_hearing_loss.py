"""The criterion for sudden sensorineural hearing loss, and how soon it must be seen."""

from __future__ import annotations

from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.measures.answer import Answer
from decussate.measures.audiogram import AUDIOMETRIC_HZ, Audiogram
from decussate.measures.hearing_grade import LossType, hearing_limit, loss_type
from decussate.sides import Side

__all__ = ["SuddenLoss", "seen_within_hours", "sudden_loss"]


@dataclass(frozen=True, slots=True)
class SuddenLoss:
    """Whether a fall in hearing meets the criterion.

    Parameters
    ----------
    side : Side
        The ear.
    met : Answer
        Yes, no, or not computable from what was measured.
    run_hz : tuple of int
        The longest run of consecutive frequencies with the fall, in Hz.
    compared_with : str
        ``earlier audiogram`` or ``other ear``.
    sensorineural : Answer
        Whether bone conduction shows the loss to be sensorineural over that run.  Until it does,
        forks and masking come first, but the referral does not wait for them.
    """

    side: Side
    met: Answer
    run_hz: tuple[int, ...]
    compared_with: str
    sensorineural: Answer


def sudden_loss(
    audiogram: Audiogram, side: Side, *, hours: float, earlier: Audiogram | None = None
) -> SuddenLoss:
    """Apply the criterion: 30 dB or more at three consecutive frequencies within 72 hours.

    Consecutive means next to each other among the frequencies measured now and before (or, without
    an earlier audiogram, in both ears).

    Parameters
    ----------
    audiogram : Audiogram
        Today's thresholds.
    side : Side
        The ear.
    hours : float
        Time over which the hearing fell, in hours.
    earlier : Audiogram, optional
        A baseline; without it the other ear stands in.

    Returns
    -------
    SuddenLoss

    Raises
    ------
    BadInput
        If the hours are negative.

    References
    ----------
    Chandrasekhar SS et al. Clinical practice guideline: sudden hearing loss (update). Otolaryngol
    Head Neck Surg 2019;161(1S):S1-S45.
    """
    if not hours >= 0:
        raise BadInput("time over which hearing fell", hours, "hours, zero or more")
    falls: dict[int, Answer] = {}
    for f in AUDIOMETRIC_HZ:
        now = audiogram.best(side, f)
        before = earlier.best(side, f) if earlier else audiogram.best(side.other, f)
        if now is None or before is None:
            continue
        (low, high), (before_low, before_high) = now.bounds_db_hl, before.bounds_db_hl
        limit = hearing_limit("sudden loss drop")
        if low - before_high >= limit:
            falls[f] = Answer.YES
        elif high - before_low < limit or before.no_response:
            falls[f] = Answer.NO
        else:
            falls[f] = Answer.UNKNOWN
    wanted = int(hearing_limit("sudden loss run"))
    run = _longest(falls, {Answer.YES})
    if hours > hearing_limit("sudden loss window"):
        met = Answer.NO
    elif len(run) >= wanted:
        met = Answer.YES
    elif len(falls) < wanted or len(_longest(falls, {Answer.YES, Answer.UNKNOWN})) >= wanted:
        met = Answer.UNKNOWN
    else:
        met = Answer.NO
    return SuddenLoss(
        side,
        met,
        run,
        "earlier audiogram" if earlier else "other ear",
        _sensorineural(audiogram, side, run),
    )


def _longest(falls: dict[int, Answer], counted: set[Answer]) -> tuple[int, ...]:
    best: tuple[int, ...] = ()
    run: tuple[int, ...] = ()
    for frequency, fall in falls.items():
        run = (*run, frequency) if fall in counted else ()
        best = max(best, run, key=len)
    return best


def _sensorineural(audiogram: Audiogram, side: Side, run: tuple[int, ...]) -> Answer:
    kinds = [loss_type(audiogram, side, f) for f in run]
    known = [k for k in kinds if k is not LossType.UNKNOWN]
    if not known:
        return Answer.UNKNOWN
    return Answer.YES if all(k is LossType.SENSORINEURAL for k in known) else Answer.NO


def seen_within_hours(*, fell_over_hours: float, days_since: float) -> float | None:
    """Say how soon a sudden or rapid loss should be seen by a specialist service.

    Parameters
    ----------
    fell_over_hours : float
        Time over which the hearing fell, in hours.
    days_since : float
        Days since the onset.

    Returns
    -------
    float or None
        24 hours when it fell within 3 days and the onset is within the last 30 days; two weeks
        (336 hours) when the onset is older, or when hearing fell over 4 to 90 days; None when
        the guideline sets no time for so slow a change.  With altered sensation or weakness of the
        face on the same side it is 24 hours whatever the onset.  Local pathways come first.

    Raises
    ------
    BadInput
        If a time is negative.

    References
    ----------
    NICE NG98, Hearing loss in adults: assessment and management (2018).
    """
    for name, value in (("hours of fall", fell_over_hours), ("days since onset", days_since)):
        if not value >= 0:
            raise BadInput(name, value, "zero or more")
    if fell_over_hours <= hearing_limit("sudden loss window"):
        recent = days_since <= hearing_limit("sudden loss recent")
        return hearing_limit("sudden loss seen within" if recent else "rapid loss seen within")
    if fell_over_hours <= 24 * hearing_limit("rapid loss window"):
        return hearing_limit("rapid loss seen within")
    return None
