"""What the forks should show for a given audiogram."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from decussate.measures.audiogram import Audiogram, Conduction
from decussate.measures.hearing_grade import air_bone_gap
from decussate.measures.published_rows import read_tables, row_named
from decussate.measures.tuning_forks import Weber, fork_limit
from decussate.sides import Side

__all__ = [
    "Fork",
    "PredictedRinne",
    "PredictedWeber",
    "predicted_rinne",
    "predicted_weber",
    "probability_rinne_negative",
]

_TABLES = read_tables("tuning_forks.yaml")


class Fork(StrEnum):
    """The fork used; frequency and metal both matter."""

    F256 = "256 Hz"
    F512_STEEL = "512 Hz steel"
    F512_ALUMINIUM = "512 Hz aluminium"

    @property
    def audiogram_hz(self) -> int:
        """The audiometric frequency nearest the fork, in Hz."""
        return int(row_named(_TABLES["forks"], self, "fork")["audiogram_hz"])


def probability_rinne_negative(gap_db: float, fork: Fork) -> float:
    """Give the probability that the Rinne is negative for an air-bone gap.

    Parameters
    ----------
    gap_db : float
        Air-bone gap at the fork's frequency in dB.
    fork : Fork
        The fork.

    Returns
    -------
    float
        ``1 / (1 + exp(-k (gap - half)))`` with ``half`` the gap at which half are negative:
        15.7 dB (256 Hz), 19 dB (512 Hz steel), 27 dB (512 Hz aluminium).  ``k`` = 0.2035 per dB
        is fitted to the four 256 Hz points and assumed for the 512 Hz forks.

    References
    ----------
    Browning GG, Swan IRC, Chew KK. J Laryngol Otol 1989 (127 patients); MacKechnie CA et al.
    (512 Hz, 50 subjects).
    """
    row = row_named(_TABLES["forks"], fork, "fork")
    return 1 / (1 + math.exp(-row["per_db"] * (gap_db - row["half_negative_db"])))


@dataclass(frozen=True, slots=True)
class PredictedRinne:
    """The Rinne expected in one ear.

    Parameters
    ----------
    side : Side
        The ear.
    probability_negative : float
        Chance of a negative result.  Taken from the ear's own gap, or raised when the other
        cochlea would hear the fork on this mastoid.
    false_negative : bool
        Whether a negative result would be false: the other cochlea would give it.
    ear_certain : bool
        Whether bone conduction was masked, so that the gap is known to be this ear's.
    because : str
        The reason in words.
    """

    side: Side
    probability_negative: float
    false_negative: bool
    ear_certain: bool
    because: str


def predicted_rinne(audiogram: Audiogram, side: Side, fork: Fork) -> PredictedRinne | None:
    """Predict the Rinne of one ear from the audiogram.

    Parameters
    ----------
    audiogram : Audiogram
        Air and bone conduction at the fork's frequency.
    side : Side
        The ear.
    fork : Fork
        The fork.

    Returns
    -------
    PredictedRinne or None
        None when air or bone conduction at that frequency was not measured.

    Notes
    -----
    A sensorineural ear that is 70 dB or more worse by air than the better cochlea gives a false
    negative Rinne; from 55 dB it may (taken as an even chance).  When the *other* ear has a gap of
    50 dB or more, the Rinne of the better ear may be falsely negative too.

    References
    ----------
    Raman R, Lin CS. Indian J Otol 2012;18:212; the 55 dB limit is judgement.
    """
    hz = fork.audiogram_hz
    air = audiogram.best(side, hz)
    gap = air_bone_gap(audiogram, side, hz)
    if air is None or gap is None:
        return None
    # A masked bone threshold not heard bounds the gap from above only: nothing conductive is shown.
    shown = gap.low_db if math.isfinite(gap.low_db) else 0.0
    own = probability_rinne_negative(shown, fork)
    other = _cochlea(audiogram, side.other, hz)
    excess = -math.inf if other is None else air.level_db_hl - other[0]
    conductive = gap.ear_certain and shown > fork_limit("gap real")
    if not conductive and excess >= fork_limit("false negative possible"):
        likely = excess >= fork_limit("false negative")
        crossed = max(own, 0.9 if likely else 0.5)
        return PredictedRinne(
            side,
            crossed,
            True,
            gap.ear_certain,
            f"air conduction is {excess:g} dB worse than the other cochlea, which hears the fork "
            f"on this mastoid: a negative Rinne {'would' if gap.ear_certain else 'may'} be false",
        )
    other_gap = air_bone_gap(audiogram, side.other, hz)
    if (
        not conductive
        and other_gap is not None
        and other_gap.ear_certain
        and other_gap.low_db >= fork_limit("better ear false negative")
    ):
        return PredictedRinne(
            side,
            max(own, 0.5),
            True,
            gap.ear_certain,
            f"the other ear has a gap of {other_gap.low_db:g} dB and may hear the fork on this "
            "mastoid louder: a negative Rinne here would be false",
        )
    certainty = "" if gap.ear_certain else ", if the unmasked bone threshold is this ear's"
    return PredictedRinne(
        side, own, False, gap.ear_certain, f"air-bone gap {shown:g} dB at {hz} Hz{certainty}"
    )


@dataclass(frozen=True, slots=True)
class PredictedWeber:
    """Where the Weber can go.

    Parameters
    ----------
    possible : frozenset of Weber
        Every place consistent with the audiogram; one element is a firm prediction.
    because : str
        The reason in words.
    """

    possible: frozenset[Weber]
    because: str


def predicted_weber(audiogram: Audiogram, fork: Fork) -> PredictedWeber | None:
    """Predict the Weber from the audiogram.

    Each cochlea counts with its bone threshold, and an ear with a masked gap of 10 dB or more gains
    at least half of it (at most 15 dB) and at most the whole of it (at most 25 dB); a smaller or
    unmasked gap gains between nothing and itself.
    The Weber stays in the middle up to a difference of 2.5 dB and moves from 4 dB.

    Parameters
    ----------
    audiogram : Audiogram
        Air and bone conduction at the fork's frequency.
    fork : Fork
        The fork.

    Returns
    -------
    PredictedWeber or None
        None when a cochlea's threshold is not known at that frequency.

    References
    ----------
    Kelly EA et al. 2018 (difference at which the Weber moves); gains: judgement.
    """
    hz = fork.audiogram_hz
    cochleas = {side: c for side in Side if (c := _cochlea(audiogram, side, hz))}
    if len(cochleas) < len(Side):
        return None
    hearing = [side for side in Side if cochleas[side][0] < math.inf]
    if not hearing:
        return PredictedWeber(frozenset({Weber.NOT_HEARD}), "neither cochlea responds")
    if len(hearing) == 1:
        only = hearing[0]
        return PredictedWeber(frozenset({Weber(only.value)}), f"only the {only} cochlea responds")
    spans = {side: _by_bone(audiogram, side, hz, cochleas[side]) for side in Side}
    right, left = spans[Side.RIGHT], spans[Side.LEFT]
    low, high = right[0] - left[1], right[1] - left[0]
    possible = set()
    if high > fork_limit("weber stays central"):
        possible.add(Weber.RIGHT)
    if low < -fork_limit("weber stays central"):
        possible.add(Weber.LEFT)
    if low < fork_limit("weber moves") and high > -fork_limit("weber moves"):
        possible.add(Weber.MIDLINE)
    return PredictedWeber(
        frozenset(possible),
        f"right minus left, as bone conduction hears it: {low:g} to {high:g} dB",
    )


def _by_bone(
    audiogram: Audiogram, side: Side, hz: int, cochlea: tuple[float, float]
) -> tuple[float, float]:
    """Bounds in dB of how well the ear hears the midline fork; larger is better."""
    gap = air_bone_gap(audiogram, side, hz)
    shown = 0.0 if gap is None or not math.isfinite(gap.low_db) else max(gap.low_db, 0.0)
    least = 0.0
    if gap is not None and gap.ear_certain and shown >= fork_limit("gap real"):
        least = min(fork_limit("boost share") * shown, fork_limit("boost low"))
    return (least - cochlea[1], min(shown, fork_limit("boost high")) - cochlea[0])


def _cochlea(audiogram: Audiogram, side: Side, hz: int) -> tuple[float, float] | None:
    """Bounds in dB HL of the cochlea's own threshold, infinite when nothing was heard by bone."""
    masked = audiogram.measured(side, hz, Conduction.BONE, masked=True)
    if masked is not None:
        return (math.inf, math.inf) if masked.no_response else (masked.level_db_hl,) * 2
    air, bone = audiogram.best(side, hz), audiogram.unmasked_bone(hz)
    if air is None:
        return None
    if bone is None or bone.no_response:
        return (math.inf, math.inf) if air.no_response else None
    # Unmasked bone belongs to the better cochlea; this one may be as bad as its air conduction.
    return (min(bone.level_db_hl, air.level_db_hl), air.bounds_db_hl[1])
