"""Automated perimetry: test points with their sensitivity, from a plain CSV of x, y and dB."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from statistics import quantiles

from decussate.errors import BadInput
from decussate.measures.csv_lines import csv_lines
from decussate.measures.visual_field import FieldPosition, temporal_sign
from decussate.measures.visual_field_scotoma import physiological_blind_spot
from decussate.sides import Side

__all__ = [
    "PerimetryPoint",
    "central_pattern",
    "deviations_db",
    "read_perimetry_csv",
]

_SLOPE_DB_PER_DEG = 0.30
_LARGEST_DB = 56.0


@dataclass(frozen=True, slots=True)
class PerimetryPoint:
    """One test point of a static field.

    Parameters
    ----------
    x_deg, y_deg : float
        To the patient's right and up, in degrees.
    db : float
        Sensitivity in dB: 0 is the brightest light the perimeter has.
    seen : bool
        False when even that was not seen (written ``<0``); then ``db`` is 0.
    """

    x_deg: float
    y_deg: float
    db: float
    seen: bool = True

    @property
    def position(self) -> FieldPosition:
        """Direction of the point."""
        return FieldPosition.from_chart(self.x_deg, self.y_deg)


def central_pattern(eye: Side, name: str) -> frozenset[tuple[float, float]]:
    """Points of the central grid patterns, 6 degrees apart and 3 degrees off each meridian.

    Parameters
    ----------
    eye : Side
    name : {"30-2", "24-2"}
        30-2 has 76 points; 24-2 the 54 of them within 24 degrees, extended to two at 27 degrees
        nasally.

    Returns
    -------
    frozenset of tuple of float
        Points (x, y), in degrees to the patient's right and up.

    References
    ----------
    DICOM PS3.16 CID 4250, "Visual Field Central 76 Point Test Pattern" (within 30 degrees, 3
    degrees from each meridian, 6 degrees apart). 54 points: US SSA POMS DI 24535.005.
    """
    grid = [(x, y) for x in range(-27, 28, 6) for y in range(-27, 28, 6)]
    if name == "30-2":
        # The four corners at 29.7 degrees are no part of the pattern.
        chosen = [(x, y) for x, y in grid if math.hypot(x, y) < 29.0]
    elif name == "24-2":
        nasal = -temporal_sign(eye)
        chosen = [
            (x, y)
            for x, y in grid
            if (max(abs(x), abs(y)) < 24 and math.hypot(x, y) < 25.0)
            or (x * nasal == 27 and abs(y) == 3)
        ]
    else:
        raise BadInput("perimetry pattern", name, "30-2 or 24-2")
    return frozenset((float(x), float(y)) for x, y in chosen)


def read_perimetry_csv(eye: Side, source: Path | str) -> tuple[PerimetryPoint, ...]:
    """Read test points from a CSV file or from its text.

    The first line names the columns ``x``, ``y`` and ``dB`` in any order (others are refused).
    ``x`` and ``y`` are degrees to the patient's right and up; ``dB`` is the sensitivity, or ``<0``
    for not seen at the brightest light.

    Parameters
    ----------
    eye : Side
        The eye tested; used to catch a field filed under the wrong eye.
    source : pathlib.Path or str
        A path, or the text itself.

    Returns
    -------
    tuple of PerimetryPoint, shape (n,)

    Raises
    ------
    BadInput
        Naming file, line and field: for a missing or unknown column, a value that is not a number
        or out of range, a point given twice, no points, or the 24-2 grid of the other eye.
    """
    if isinstance(source, Path):
        name, text = source.name, source.read_text("utf-8-sig")
    else:
        name, text = "perimetry text", source
    rows = csv.reader(csv_lines(text, name))
    header = next(rows, [])
    columns = [cell.strip().lower() for cell in header]
    if sorted(columns) != ["db", "x", "y"]:
        raise BadInput(
            "column names",
            ",".join(header),
            "x,y,dB on the first line",
            hint="Separate with commas, not semicolons or tabs.",
            where=f"{name}, line 1",
        )
    points: dict[tuple[float, float], int] = {}
    read: list[PerimetryPoint] = []
    for line, row in enumerate(rows, start=2):
        if not any(cell.strip() for cell in row):
            continue
        where = f"{name}, line {line}"
        if len(row) != 3:
            raise BadInput("row", ",".join(row), "three values: x, y and dB", where=where)
        point = _point(dict(zip(columns, (cell.strip() for cell in row), strict=True)), where)
        place = (point.x_deg, point.y_deg)
        if place in points:
            raise BadInput(
                "x, y", place, f"each point once (first given on line {points[place]})", where=where
            )
        points[place] = line
        read.append(point)
    if not read:
        raise BadInput("points", "none", "at least one row below the column names", where=name)
    other = central_pattern(eye.other, "24-2")
    if set(points) == other:
        raise BadInput(
            "eye",
            f"{eye} eye with the 24-2 grid of the {eye.other} eye",
            f"the two points at 27 degrees to the patient's {eye.other}, which is nasal",
            hint="Is the field filed under the wrong eye, or x taken from the examiner's side?",
            where=name,
        )
    return tuple(read)


def _point(cells: dict[str, str], where: str) -> PerimetryPoint:
    values: dict[str, float] = {}
    seen = True
    for field in ("x", "y", "db"):
        cell = cells[field]
        shown = "dB" if field == "db" else field
        if field == "db" and cell.replace(" ", "") == "<0":
            values[field], seen = 0.0, False
            continue
        try:
            values[field] = float(cell)
        except ValueError:
            raise BadInput(
                shown,
                cell,
                "a number with a decimal point" + (", or <0" if field == "db" else ""),
                where=where,
            ) from None
        limit = _LARGEST_DB if field == "db" else 90.0
        low = 0.0 if field == "db" else -90.0
        if not low <= values[field] <= limit:
            raise BadInput(
                shown,
                cell,
                f"{low:g} to {limit:g} {'dB' if field == 'db' else 'degrees'}",
                hint="Was this a deviation from normal? Give the sensitivity."
                if field == "db" and values[field] < 0
                else "",
                where=where,
            )
    return PerimetryPoint(values["x"], values["y"], values["db"], seen)


def deviations_db(eye: Side, points: Iterable[PerimetryPoint]) -> dict[PerimetryPoint, float]:
    """Depth of each point below this eye's own hill of vision, in dB (negative: worse).

    The hill is a cone that falls 0.30 dB per degree, as high as the 85th percentile of the points
    outside the blind spot. A field depressed evenly all over therefore shows no deviation: compare
    its height with the perimeter's own normal range.

    Parameters
    ----------
    eye : Side
    points : iterable of PerimetryPoint
        At least 10 outside the blind spot, which is left out of the answer.

    Returns
    -------
    dict of PerimetryPoint to float
        In dB.

    References
    ----------
    Slope: Calixto et al. 2006, Arq Bras Oftalmol, doi:10.1590/S0004-27492006000500003, -0.30 dB per
    degree within 26 degrees (beyond 30 degrees 0.38 is published, so the far field is judged
    a little strictly). The general height from the 85th percentile: Asman and Heijl 1992, Arch
    Ophthalmol 110:812, seventh best of the 24-2 points (from memory).
    """
    spot = physiological_blind_spot(eye)
    outside = [p for p in points if not _in_blind_spot(p, spot.x_deg, spot.y_deg)]
    if len(outside) < 10:
        raise BadInput("perimetry points", len(outside), "at least 10 outside the blind spot")
    levelled = [p.db + _SLOPE_DB_PER_DEG * p.position.eccentricity_deg for p in outside]
    height = quantiles(levelled, n=20, method="inclusive")[16]
    return {p: level - height for p, level in zip(outside, levelled, strict=True)}


def _in_blind_spot(point: PerimetryPoint, x_deg: float, y_deg: float) -> bool:
    # Half a grid step (3 degrees) round the centre takes the two points that straddle the disc.
    return abs(point.x_deg - x_deg) <= 3.0 and abs(point.y_deg - y_deg) <= 5.0
