"""The chart on which an audiogram is entered: where its lines lie, and the levels in its fields."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.examination.record import Finding
from decussate.measures.audiogram import AUDIOMETRIC_HZ, Conduction, Threshold
from decussate.measures.audiogram_words import levels_read
from decussate.sides import Side

__all__ = ["ChartView", "chart_view", "written_level"]

OCTAVE = 50.0
"""Length of an octave, and of 20 dB, in drawing units (aspect of ISO 8253-1)."""
LEFT, TOP, LOWEST_DB, HIGHEST_DB = 54.0, 44.0, -10, 120
MAIN_HZ = (125, 250, 500, 1000, 2000, 4000, 8000)


@dataclass(frozen=True, slots=True)
class ChartView:
    """The grid, and what stands in the field of every ear, conduction and frequency."""

    width: float
    height: float
    left: float
    top: float
    octave: float
    columns: tuple[tuple[int, float, bool], ...]
    rows: tuple[tuple[int, float], ...]
    curves: tuple[tuple[str, str], ...]
    fields: Mapping[tuple[str, str, int], str]


def chart_view(present: Mapping[tuple[str, Side | None], Finding]) -> ChartView:
    """Return the chart with the levels of an audiogram recorded before.

    Parameters
    ----------
    present : mapping of (str, Side or None) to Finding
        Findings that stand.

    Returns
    -------
    ChartView
    """
    said = " ".join(
        found.comment or "" for (test, _), found in present.items() if test.startswith("audiogram_")
    )
    fields = {
        (level.side.value, level.conduction.value, level.frequency_hz): f"{level.level_db_hl:g}"
        + (" m" if level.masked else "")
        + (" n" if level.no_response else "")
        for level in levels_read(said)
    }
    return ChartView(
        width=LEFT + 6 * OCTAVE + 24,
        height=TOP + (HIGHEST_DB - LOWEST_DB) / 20 * OCTAVE + 68,
        left=LEFT,
        top=TOP,
        octave=OCTAVE,
        columns=tuple(
            (hz, LEFT + OCTAVE * math.log2(hz / 125), hz in MAIN_HZ) for hz in AUDIOMETRIC_HZ
        ),
        rows=tuple(
            (level, TOP + (level - LOWEST_DB) / 20 * OCTAVE)
            for level in range(LOWEST_DB, HIGHEST_DB + 1, 10)
        ),
        curves=tuple((side.value, way.value) for way in Conduction for side in Side),
        fields=fields,
    )


def written_level(side: Side, conduction: Conduction, hz: int, typed: str) -> Threshold:
    """Read the field of one ear and frequency: ``40``, ``40 m`` masked, ``110 n`` not heard.

    Parameters
    ----------
    side : Side
        The ear.
    conduction : Conduction
        Air or bone.
    hz : int
        Frequency.
    typed : str
        What stands in the field.

    Returns
    -------
    Threshold

    Raises
    ------
    BadInput
        For anything else, or a level that cannot be.
    """
    match = re.fullmatch(r"\s*([-−]?\d+(?:\.\d+)?)\s*((?:[mn]\s*)*)", typed.lower())
    if match is None:
        raise BadInput(
            f"{conduction} threshold, {side} ear, {hz} Hz",
            typed,
            "a level in dB HL, with m if masked and n if not heard",
            hint="Such as 40, 40 m or 110 n.",
        )
    level = float(match[1].replace("−", "-"))
    return Threshold(side, hz, conduction, level, "m" in match[2], "n" in match[2])
