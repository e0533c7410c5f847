"""The charts on which a visual field is drawn by hand: their lines, and the same as a table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from decussate.examination.record import Finding
from decussate.measures.as_findings.drawn_field import (
    TECHNIQUES,
    drawn_field_in,
    drawn_pattern,
)
from decussate.measures.visual_field import FieldPosition, temporal_sign
from decussate.measures.visual_field_drawn import (
    MERIDIANS_DEG,
    BlindArea,
    HandDrawnField,
    full_drawn_field,
)
from decussate.measures.visual_field_outline import FieldOutline
from decussate.measures.visual_field_scotoma import physiological_blind_spot
from decussate.sides import Side

__all__ = ["PRINCIPAL_DEG", "FieldChart", "MeridianRow", "field_charts"]

UNIT = 2.0
"""Drawing units of one degree."""
TEMPORAL_DEG, NASAL_DEG, UP_DEG, DOWN_DEG = 100.0, 74.0, 70.0, 88.0
"""How far the chart reaches: a little beyond the normal field, so that a line can go round it."""
HEAD = 40.0
RINGS_DEG = (30, 60, 90)
PRINCIPAL_DEG = tuple(range(0, 360, 45))
"""Meridians that must be filled in; the others may be left to lie between their neighbours."""

_DIRECTIONS = {
    **{0: "temporal", 45: "up and temporal", 90: "up", 135: "up and nasal"},
    **{180: "nasal", 225: "down and nasal", 270: "down", 315: "down and temporal"},
}


@dataclass(frozen=True, slots=True)
class MeridianRow:
    """One row of the table: the meridian, its words, and what was drawn there."""

    meridian: int
    words: str
    principal: bool
    value: str
    normal: str


@dataclass(frozen=True, slots=True)
class FieldChart:
    """The chart of one eye as it now stands.

    Attributes
    ----------
    eye : Side
    width, height, x, y, unit : float
        Size, and fixation on it, in drawing units; units a degree.
    rings : tuple of (int, float)
        Degrees and radius.
    normal, seen : str
        Outlines as path data; `seen` is empty while nothing was drawn.
    lost : tuple of str
        Blind areas as path data.
    spot : (float, float, float, float)
        Centre and radii of the average blind spot.
    temporal, nasal : float
        Where these two words stand.
    technique, said : str
        How the field was tested, and what was drawn in words.
    rows : tuple of MeridianRow
    """

    eye: Side
    width: float
    height: float
    x: float
    y: float
    unit: float
    rings: tuple[tuple[int, float], ...]
    normal: str
    seen: str
    lost: tuple[str, ...]
    spot: tuple[float, float, float, float]
    temporal: float
    nasal: float
    technique: str
    said: str
    rows: tuple[MeridianRow, ...]

    @property
    def techniques(self) -> tuple[str, ...]:
        """What can be chosen."""
        return TECHNIQUES


def field_charts(
    present: Mapping[tuple[str, Side | None], Finding],
) -> tuple[FieldChart, FieldChart]:
    """Return the charts of both eyes, the left eye's first: as the patient sees.

    Parameters
    ----------
    present : mapping of (str, Side or None) to Finding
        Findings that stand.

    Returns
    -------
    tuple of FieldChart
    """
    return _chart(Side.LEFT, present), _chart(Side.RIGHT, present)


def _chart(eye: Side, present: Mapping[tuple[str, Side | None], Finding]) -> FieldChart:
    found = drawn_field_in(present, eye)
    drawn, technique = found or (None, TECHNIQUES[0])
    to_left = NASAL_DEG if eye is Side.RIGHT else TEMPORAL_DEG
    x, y = to_left * UNIT, HEAD + UP_DEG * UNIT
    full = full_drawn_field(eye)
    out = temporal_sign(eye)
    spot = physiological_blind_spot(eye)

    def path(positions: Iterable[FieldPosition]) -> str:
        places = ((x + p.x_deg * UNIT, y - p.y_deg * UNIT) for p in positions)
        return "M" + "L".join(f"{across:.1f} {down:.1f}" for across, down in places) + "Z"

    return FieldChart(
        eye=eye,
        width=(TEMPORAL_DEG + NASAL_DEG) * UNIT,
        height=HEAD + (UP_DEG + DOWN_DEG) * UNIT,
        x=x,
        y=y,
        unit=UNIT,
        rings=tuple((degrees, degrees * UNIT) for degrees in RINGS_DEG),
        normal=path(_curve(full.outline)),
        seen=path(_curve(drawn.outline)) if drawn else "",
        lost=tuple(path(area.edge) for area in drawn.areas) if drawn else (),
        spot=(
            x + spot.x_deg * UNIT,
            y - spot.y_deg * UNIT,
            spot.width_deg / 2 * UNIT,
            spot.height_deg / 2 * UNIT,
        ),
        temporal=x + out * (TEMPORAL_DEG - 22) * UNIT,
        nasal=x - out * (NASAL_DEG - 14) * UNIT,
        technique=technique,
        said=_said(drawn) if drawn else "not drawn",
        rows=_rows(drawn, full),
    )


def _curve(outline: FieldOutline) -> Iterable[FieldPosition]:
    """Points every 3 degrees of meridian, between which the extent changes evenly."""
    for a, b in pairwise((*outline.vertices, outline.vertices[0])):
        turn = (b.meridian_deg - a.meridian_deg) % 360.0
        steps = max(1, round(turn / 3.0))
        for step in range(steps):
            part = step / steps
            yield FieldPosition(
                a.meridian_deg + part * turn,
                a.eccentricity_deg + part * (b.eccentricity_deg - a.eccentricity_deg),
            )


def _said(drawn: HandDrawnField) -> str:
    pattern = drawn_pattern(drawn)
    looks = " ".join(filter(None, (pattern.half, str(pattern.kind))))
    areas = [_area_words(area) for area in drawn.areas]
    return "; ".join([f"looks like: {looks}", *areas])


def _area_words(area: BlindArea) -> str:
    middle = area.ellipse
    out = temporal_sign(area.eye) * middle.x_deg
    across = f"{abs(out):.0f}° {'temporal' if out > 0 else 'nasal'}"
    upward = f"{abs(middle.y_deg):.0f}° {'up' if middle.y_deg > 0 else 'down'}"
    size = f"{area.width_deg:.0f}° wide, {area.height_deg:.0f}° high"
    return f"not seen inside it: a part {size}, middle {across} and {upward}"


def _rows(drawn: HandDrawnField | None, full: HandDrawnField) -> tuple[MeridianRow, ...]:
    normal = full.extents_deg
    rows = []
    for meridian in MERIDIANS_DEG:
        value = ""
        if drawn is not None:
            before, after = drawn.extents_deg[meridian]
            value = f"{before:.0f}" + (f"/{after:.0f}" if after != before else "")
        words = f"{meridian}°"
        if meridian in _DIRECTIONS:
            words += f", {_DIRECTIONS[meridian]}"
        rows.append(
            MeridianRow(
                meridian, words, meridian in PRINCIPAL_DEG, value, f"{normal[meridian][0]:.0f}"
            )
        )
    return tuple(rows)
