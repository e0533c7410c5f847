"""Which thresholds still need masking of the other ear before they can be believed."""

from __future__ import annotations

from dataclasses import dataclass

from decussate.measures.audiogram import Audiogram, Conduction, Threshold
from decussate.measures.published_rows import read_tables
from decussate.sides import Side

__all__ = ["MaskingNeed", "masking_still_needed"]


@dataclass(frozen=True, slots=True)
class MaskingNeed:
    """One threshold to be measured again with noise in the other ear.

    Parameters
    ----------
    side : Side
        The ear to test; the noise goes to ``side.other``.
    frequency_hz : int
        Frequency in Hz.
    conduction : Conduction
        Which threshold.
    rule : int
        The rule of the British Society of Audiology that asks for it.
    difference_db : float
        The difference found, in dB.
    at_least_db : float
        The difference from which the rule holds, in dB.
    """

    side: Side
    frequency_hz: int
    conduction: Conduction
    rule: int
    difference_db: float
    at_least_db: float

    @property
    def sentence(self) -> str:
        """The need in words."""
        return (
            f"{self.side} ear, {self.conduction} conduction, {self.frequency_hz} Hz: mask the "
            f"{self.side.other} ear and repeat (rule {self.rule}: {self.difference_db:g} dB, "
            f"limit {self.at_least_db:g} dB)"
        )


def masking_still_needed(audiogram: Audiogram) -> tuple[MaskingNeed, ...]:
    """List the thresholds that may belong to the other ear and have not been masked.

    Rule 1 (air): unmasked air conduction differs between the ears by 40 dB or more (55 dB with
    insert earphones): mask the better, test the worse.  Rule 2 (bone): unmasked bone
    conduction is better than the air conduction of an ear by 10 dB or more: mask the other, test
    bone of that ear.  Rule 3 (air): rule 1 does not hold but bone conduction of the other
    ear is better than the unmasked air conduction of this ear by 40 dB (55 dB) or more.

    A tone that was not heard at all did not cross the head, so it needs no masking; a bone
    threshold not heard cannot lend itself to the other ear.  Unmasked bone conduction counts as
    either ear's.

    Parameters
    ----------
    audiogram : Audiogram
        Thresholds with the transducer used.

    Returns
    -------
    tuple of MaskingNeed
        Ordered by frequency, then air before bone; right before left.  Empty when nothing is
        needed as far as the measured thresholds tell.

    References
    ----------
    British Society of Audiology, Recommended procedure: pure-tone air-conduction and
    bone-conduction threshold audiometry with and without masking (2018); limits from memory.
    """
    limits = {
        int(row["rule"]): float(row["at_least_db"])
        for row in read_tables("audiogram.yaml")["masking"]
        if row["transducer"] == audiogram.transducer
    }
    frequencies = sorted({t.frequency_hz for t in audiogram.thresholds})
    return tuple(
        need
        for f in frequencies
        for find in (_air_need, _bone_need)
        for side in Side
        if (need := find(audiogram, side, f, limits)) is not None
    )


def _heard(threshold: Threshold | None) -> float | None:
    return None if threshold is None or threshold.no_response else threshold.level_db_hl


def _air_need(
    audiogram: Audiogram, side: Side, frequency_hz: int, limits: dict[int, float]
) -> MaskingNeed | None:
    if audiogram.measured(side, frequency_hz, Conduction.AIR, masked=True):
        return None
    here = _heard(audiogram.measured(side, frequency_hz, Conduction.AIR, masked=False))
    if here is None:
        return None
    other_air = _heard(audiogram.best(side.other, frequency_hz))
    if other_air is not None and here - other_air >= limits[1]:
        return MaskingNeed(side, frequency_hz, Conduction.AIR, 1, here - other_air, limits[1])
    own = audiogram.measured(side.other, frequency_hz, Conduction.BONE, masked=True)
    other_bone = _heard(own or audiogram.unmasked_bone(frequency_hz))
    if other_bone is not None and here - other_bone >= limits[3]:
        return MaskingNeed(side, frequency_hz, Conduction.AIR, 3, here - other_bone, limits[3])
    return None


def _bone_need(
    audiogram: Audiogram, side: Side, frequency_hz: int, limits: dict[int, float]
) -> MaskingNeed | None:
    if audiogram.measured(side, frequency_hz, Conduction.BONE, masked=True):
        return None
    air = audiogram.best(side, frequency_hz)
    bone = _heard(audiogram.unmasked_bone(frequency_hz))
    if air is None or bone is None or air.level_db_hl - bone < limits[2]:
        return None
    return MaskingNeed(side, frequency_hz, Conduction.BONE, 2, air.level_db_hl - bone, limits[2])
