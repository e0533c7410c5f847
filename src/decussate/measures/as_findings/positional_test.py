"""The positional tests as findings: nystagmus of the head-hanging test and of the supine roll."""

from __future__ import annotations

from collections.abc import Sequence
from math import isinf

from decussate.examination.record import Finding
from decussate.measures.as_findings.writing import could_not, stated, within_scale
from decussate.measures.nystagmus import FastPhase
from decussate.measures.positional_observation import Manoeuvre, PositionalObservation
from decussate.sides import Side

__all__ = ["positional_findings"]


def positional_findings(observations: Sequence[PositionalObservation]) -> tuple[Finding, ...]:
    """Write what was seen in the head-hanging and the roll test.

    Parameters
    ----------
    observations : sequence of PositionalObservation

    Returns
    -------
    tuple of Finding
        Head hanging, under the ear tested: ``positional_test`` with latency, duration, vertigo,
        reversal and fatigue where looked for. Both sides of the roll: ``supine_roll`` and
        ``supine_roll_stronger``. The other manoeuvres have no test in the catalogue; read them
        with `read_positional_test`.
    """
    found = []
    for one in observations:
        if one.manoeuvre is Manoeuvre.HEAD_HANGING and one.side is not None:
            found += _head_hanging(one, one.side)
    rolls = {o.side: o for o in observations if o.manoeuvre is Manoeuvre.ROLL}
    if Side.RIGHT in rolls and Side.LEFT in rolls:
        found += _roll(rolls[Side.RIGHT], rolls[Side.LEFT])
    return tuple(found)


def _kind(beat: FastPhase) -> str | None:
    """Name the beat as the catalogue does; None for one it has no word for."""
    if beat.upward > 0 and beat.torsion is not None:
        return "upbeat_torsional"
    if beat.upward < 0:
        return "downbeat"
    if beat.horizontal is not None and beat.upward == 0:
        return "horizontal"
    return None


def _head_hanging(one: PositionalObservation, side: Side) -> list[Finding]:
    if one.beat is None:
        found = [stated("positional_test", "normal", side)]
    else:
        kind = _kind(one.beat)
        comment = None if kind else "direction other than those listed"
        found = [stated("positional_test", kind or "abnormal", side, comment=comment)]
        for test, seconds in (
            ("positional_latency", one.latency_s),
            ("positional_duration", one.duration_s),
        ):
            if seconds is not None:
                went_on = "as long as watched" if isinf(seconds) else None
                value = within_scale(test, seconds)
                found.append(stated(test, "present", side, value=value, comment=went_on))
        if one.reverses_on_sitting is not None:
            reverses = "present" if one.reverses_on_sitting else "normal"
            found.append(stated("positional_reversal", reverses, side))
        if one.fatigues is not None:
            fatigue = "fatigues" if one.fatigues else "persists"
            found.append(stated("positional_fatigue", fatigue, side))
    if one.vertigo is not None:
        found.append(stated("positional_symptoms", "present" if one.vertigo else "normal", side))
    return found


def _roll(right: PositionalObservation, left: PositionalObservation) -> list[Finding]:
    to_ground = {
        side: beat.horizontal is side
        for side, beat in ((Side.RIGHT, right.beat), (Side.LEFT, left.beat))
        if beat is not None and beat.horizontal is not None
    }
    if right.beat is None and left.beat is None:
        return [stated("supine_roll", "normal")]
    if not to_ground or len(set(to_ground.values())) > 1:
        reason = "neither towards the ground nor away from it on both sides"
        return [could_not("supine_roll", reason)]
    found = [stated("supine_roll", "geotropic" if all(to_ground.values()) else "apogeotropic")]
    strengths = [o.strength if o.beat else 0.0 for o in (right, left)]
    if None not in strengths:
        on_right, on_left = (float(s or 0.0) for s in strengths)
        stronger = "right" if on_right > on_left else "left" if on_left > on_right else "normal"
        found.append(stated("supine_roll_stronger", stronger))
    return found
