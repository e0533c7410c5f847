"""Nystagmus as findings: its direction in each gaze, waveform, fixation and degree."""

from __future__ import annotations

from decussate.examination.record import Finding
from decussate.measures.as_findings.writing import measured, stated
from decussate.measures.nystagmus import Nystagmus, Waveform, alexander_degree
from decussate.measures.ocular_alignment import Gaze
from decussate.sides import Side

__all__ = ["nystagmus_findings"]


def nystagmus_findings(seen: Nystagmus) -> tuple[Finding, ...]:
    """Write what was seen of a nystagmus.

    Parameters
    ----------
    seen : Nystagmus

    Returns
    -------
    tuple of Finding
        Straight ahead: ``nystagmus_straight_ahead``, ``nystagmus_torsional_beat``.
        ``nystagmus_vertical_beat`` straight ahead or looking down to a side. To each side:
        ``nystagmus_side_gaze``, present when it beats to that side (end-point beats are normal).
        ``nystagmus_fixation`` where there is a nystagmus and it was compared,
        ``nystagmus_waveform``, ``nystagmus_degree`` where a degree can be named, and
        ``nystagmus_each_eye``.
    """
    found = []
    if Gaze.AHEAD in seen.beats:
        beat = seen.beats[Gaze.AHEAD]
        across = beat.horizontal if beat else None
        turning = beat.torsion if beat else None
        found.append(stated("nystagmus_straight_ahead", across.value if across else "normal"))
        found.append(stated("nystagmus_torsional_beat", turning.value if turning else "normal"))
    found += _vertical(seen)
    for side, gaze in ((Side.RIGHT, Gaze.RIGHT), (Side.LEFT, Gaze.LEFT)):
        if gaze in seen.beats:
            beat = seen.beats[gaze]
            to_side = beat is not None and beat.horizontal is side
            end_point = seen.only_at_end_of_gaze
            comment = "a few beats at the end of gaze" if to_side and end_point else None
            response = "present" if to_side and not end_point else "normal"
            found.append(stated("nystagmus_side_gaze", response, side, comment=comment))
    if not any(seen.beats.values()):
        return tuple(found)
    if seen.fixation_suppresses is not None:
        fails = "normal" if seen.fixation_suppresses else "present"
        found.append(stated("nystagmus_fixation", fails))
    waveform = "jerk" if seen.waveform is Waveform.JERK else "pendular"
    found.append(stated("nystagmus_waveform", waveform))
    degree = alexander_degree(seen.beats)
    if degree is not None:
        found.append(measured("nystagmus_degree", float(degree)))
    if seen.larger_in is not None:
        found.append(stated("nystagmus_each_eye", seen.larger_in.value))
    return tuple(found)


def _vertical(seen: Nystagmus) -> list[Finding]:
    """Write the vertical beat: straight ahead, else in down-and-side gaze, where it is clearest."""
    looked = [g for g in (Gaze.AHEAD, Gaze.DOWN_RIGHT, Gaze.DOWN_LEFT) if g in seen.beats]
    beats = {g: beat.upward for g in looked if (beat := seen.beats[g]) is not None and beat.upward}
    if not looked:
        return []
    directions = {beats[Gaze.AHEAD]} if Gaze.AHEAD in beats else set(beats.values())
    if len(directions) > 1:
        comment = "up in one direction of gaze, down in the other"
        return [stated("nystagmus_vertical_beat", "abnormal", comment=comment)]
    word = {(): "normal", (1,): "up", (-1,): "down"}[tuple(directions)]
    return [stated("nystagmus_vertical_beat", word)]
