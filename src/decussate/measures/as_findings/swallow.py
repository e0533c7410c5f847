"""The timed water swallow as findings."""

from __future__ import annotations

from decussate.examination.record import Finding
from decussate.measures.as_findings.writing import measured, stated
from decussate.measures.swallow import WaterSwallow, swallow_speed

__all__ = ["water_swallow_findings"]


def water_swallow_findings(test: WaterSwallow) -> tuple[Finding, ...]:
    """Write a timed water swallow.

    Parameters
    ----------
    test : WaterSwallow

    Returns
    -------
    tuple of Finding
        ``water_swallow``: by speed and the bands of the catalogue; ``absent`` after a cough or a
        wet voice whatever the speed, which then stands in the comment. Besides, what was drunk,
        the time, the count, cough, wet voice, and whether it was stopped.

    Raises
    ------
    BadInput
        If a value lies outside the scale of its test.
    """
    read = swallow_speed(test)
    done = "normal" if test.left_ml == 0.0 and not test.interrupted else "present"
    if test.coughed or test.wet_voice:
        comment = f"{read.speed_ml_s:.1f} mL/s"
        swallow = stated("water_swallow", "absent", comment=comment)
    else:
        swallow = measured("water_swallow", read.speed_ml_s)
    drunk = "normal" if test.left_ml == 0.0 else "unfinished"
    found = [
        swallow,
        stated("swallow_volume", drunk, value=test.drunk_ml),
        stated("swallow_time", done, value=test.seconds),
        stated("swallow_cough", "present" if test.coughed else "normal"),
        stated("swallow_wet_voice", "present" if test.wet_voice else "normal"),
        stated("swallow_stopped", "stopped" if test.interrupted else "normal"),
    ]
    if test.swallows is not None:
        found.append(stated("swallow_count", done, value=float(test.swallows)))
    return tuple(found)
