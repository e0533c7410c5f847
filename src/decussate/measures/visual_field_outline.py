"""The outline of the seen field of one eye: its area on the sphere, and how it compares.

An outline is a ring of vertices in order of meridian; between two vertices the eccentricity changes
evenly with the meridian. Two vertices on one meridian make a step, as at the vertical meridian of
a hemianopia.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.measures.published_rows import read_tables, row_named
from decussate.measures.visual_field import FieldPosition
from decussate.measures.visual_field_directions import EIGHT_DIRECTIONS, FieldDirection, Quadrant
from decussate.sides import Side

__all__ = [
    "FieldOutline",
    "combined_ring",
    "normal_outline",
    "outline_from_extents",
    "outline_from_positions",
    "outline_from_quadrants",
    "solid_angle_sr",
    "square_degrees",
]

_SQUARE_DEGREES_PER_STERADIAN = (180.0 / math.pi) ** 2


@dataclass(frozen=True, slots=True)
class FieldOutline:
    """The seen field of one eye, as the patient sees it.

    Parameters
    ----------
    eye : Side
        The eye tested.
    vertices : tuple of FieldPosition
        Anticlockwise, on at least three meridians; two may share a meridian (a step).
    technique : str
        How it was found, because accuracy depends on it.
    """

    eye: Side
    vertices: tuple[FieldPosition, ...]
    technique: str = ""

    def __post_init__(self) -> None:
        meridians = [v.meridian_deg for v in self.vertices]
        if len(set(meridians)) < 3:
            raise BadInput(
                "field outline",
                f"{len(set(meridians))} meridians",
                "points on at least three different meridians",
            )
        turns = [_turn_deg(a, b) for a, b in _edges(self.vertices)]
        if min(turns) < 0.0 or abs(sum(turns) - 360.0) > 1e-6:
            raise BadInput(
                "field outline",
                meridians,
                "vertices anticlockwise, once round fixation, gaps under 180 degrees",
            )

    def sides_deg(self, meridian_deg: float) -> tuple[float, float]:
        """Extent just clockwise and just anticlockwise of a meridian, in degrees.

        The two differ only at a step.
        """
        clockwise = anticlockwise = math.nan
        for a, b in _edges(self.vertices):
            turn = _turn_deg(a, b)
            past = (meridian_deg - a.meridian_deg) % 360.0
            if turn == 0.0 or past > turn:
                continue
            part = past / turn
            here = a.eccentricity_deg + part * (b.eccentricity_deg - a.eccentricity_deg)
            if past > 0.0:
                clockwise = here
            if past < turn:
                anticlockwise = here
        return clockwise, anticlockwise

    def eccentricity_deg(self, meridian_deg: float) -> float:
        """Extent along a meridian, in degrees; at a step, the mean of its two sides."""
        return sum(self.sides_deg(meridian_deg)) / 2.0

    def extent(self, direction: FieldDirection) -> float:
        """Extent in one of the eight principal directions, in degrees."""
        return self.eccentricity_deg(direction.meridian_deg(self.eye))

    def contains(self, position: FieldPosition) -> bool:
        """Whether a position lies inside the outline."""
        return position.eccentricity_deg <= self.eccentricity_deg(position.meridian_deg)

    @property
    def area_sr(self) -> float:
        """Area on the sphere, in steradians."""
        return solid_angle_sr(self.vertices)

    @property
    def area_sq_deg(self) -> float:
        """Area on the sphere, in square degrees."""
        return square_degrees(self.area_sr)

    @property
    def chart_area_sq_deg(self) -> float:
        """Area of the outline on the paper chart; the chart exaggerates the periphery.

        For comparison with planimetry only: `area_sq_deg` is the true area.
        """
        total = 0.0
        for a, b in _edges(self.vertices):
            r1, r2 = a.eccentricity_deg, b.eccentricity_deg
            turn = math.radians(_turn_deg(a, b))
            total += turn * (r1 * r1 + r1 * r2 + r2 * r2) / 6.0
        return total

    def mirrored(self) -> FieldOutline:
        """Give the outline of the other eye with right and left exchanged."""
        vertices = tuple(v.mirrored() for v in reversed(self.vertices))
        return FieldOutline(self.eye.other, vertices, self.technique)


def solid_angle_sr(vertices: Sequence[FieldPosition]) -> float:
    """Area on the sphere inside a ring of vertices, in steradians.

    The ring may lie anywhere; it is positive when it runs anticlockwise. Between two vertices the
    eccentricity r changes evenly with the meridian t, for which the area, the integral of
    (1 - cos r) dt, has the closed form dt - dt (sin r2 - sin r1)/(r2 - r1).

    Parameters
    ----------
    vertices : sequence of FieldPosition, shape (n,)
        The ring, closed from last to first; neighbours less than 180 degrees of meridian apart.

    Returns
    -------
    float
        In steradians.

    References
    ----------
    Solid angle in spherical coordinates, d(omega) = sin r dr dt. The need for it in perimetry:
    Christoforidis 2011, Clin Ophthalmol 5:535, doi:10.2147/OPTH.S18815.
    """
    total = 0.0
    for a, b in _edges(vertices):
        r1, r2 = math.radians(a.eccentricity_deg), math.radians(b.eccentricity_deg)
        mean_cos = (
            (math.sin(r2) - math.sin(r1)) / (r2 - r1)
            if abs(r2 - r1) > 1e-7
            else math.cos((r1 + r2) / 2.0)
        )
        total += math.radians(_turn_deg(a, b)) * (1.0 - mean_cos)
    return total


def square_degrees(area_sr: float) -> float:
    """Steradians to square degrees: multiply by (180/pi) squared.

    Parameters
    ----------
    area_sr : float
        In steradians.

    Returns
    -------
    float
        In square degrees.
    """
    return area_sr * _SQUARE_DEGREES_PER_STERADIAN


def combined_ring(
    one: FieldOutline, other: FieldOutline, pick: Callable[[float, float], float]
) -> tuple[FieldPosition, ...]:
    """Ring that takes, along every meridian, the ``min`` or the ``max`` of two outlines.

    With ``min`` it bounds what both see, with ``max`` what either sees. Exact: it has a vertex on
    every meridian where either outline has one, and wherever the two cross.

    Parameters
    ----------
    one, other : FieldOutline
        Of the same eye, or of the two eyes of one patient.
    pick : callable
        ``min`` or ``max``.

    Returns
    -------
    tuple of FieldPosition, shape (n,)
    """
    meridians = sorted({v.meridian_deg for v in (*one.vertices, *other.vertices)})
    ring: list[FieldPosition] = []
    for here, onward in zip(meridians, [*meridians[1:], meridians[0] + 360.0], strict=True):
        mine, theirs = one.sides_deg(here), other.sides_deg(here)
        ring += [FieldPosition(here, pick(x, y)) for x, y in zip(mine, theirs, strict=True)]
        gap_here = mine[1] - theirs[1]
        end_one, end_other = one.sides_deg(onward)[0], other.sides_deg(onward)[0]
        gap_onward = end_one - end_other
        if gap_here * gap_onward < 0.0:
            part = gap_here / (gap_here - gap_onward)
            ring.append(
                FieldPosition(here + part * (onward - here), mine[1] + part * (end_one - mine[1]))
            )
    return tuple(ring)


def _edges(
    vertices: Sequence[FieldPosition],
) -> Iterable[tuple[FieldPosition, FieldPosition]]:
    return zip(vertices, [*vertices[1:], vertices[0]], strict=True)


def _turn_deg(a: FieldPosition, b: FieldPosition) -> float:
    """Signed change of meridian, the shorter way round."""
    return (b.meridian_deg - a.meridian_deg + 180.0) % 360.0 - 180.0


def outline_from_positions(
    eye: Side, positions: Iterable[FieldPosition], technique: str = ""
) -> FieldOutline:
    """Join kinetic responses (where the target was first seen) to an outline.

    Parameters
    ----------
    eye : Side
    positions : iterable of FieldPosition
        In any order; two on one meridian make a step and keep the order given (the side reached
        first when turning anticlockwise comes first).
    technique : str, optional

    Returns
    -------
    FieldOutline

    Raises
    ------
    BadInput
        If the points leave a gap of 180 degrees or more between neighbouring meridians.
    """
    ordered = sorted(positions, key=lambda p: p.meridian_deg)
    meridians = [p.meridian_deg for p in ordered]
    if meridians:
        gaps = [b - a for a, b in zip(meridians, [*meridians[1:], meridians[0] + 360], strict=True)]
        if max(gaps) >= 180.0:
            raise BadInput(
                "kinetic points",
                f"a gap of {max(gaps):.0f} degrees between meridians",
                "points all round fixation, gaps under 180 degrees",
                hint="Enter a direction with no response as 0 degrees, not as a missing point.",
            )
    return FieldOutline(eye, tuple(ordered), technique)


def outline_from_extents(
    eye: Side, extents_deg: Mapping[FieldDirection, float], technique: str = ""
) -> FieldOutline:
    """Outline from extents, in degrees, in at least three directions all round fixation.

    Between two directions the extent changes evenly, so an edge at a meridian is blurred: where
    loss stops at a meridian use `outline_from_quadrants`, or `outline_from_positions` with two
    points on that meridian.

    Parameters
    ----------
    eye : Side
    extents_deg : mapping of FieldDirection to float
        0 to 120 degrees.
    technique : str, optional

    Returns
    -------
    FieldOutline
    """
    return outline_from_positions(
        eye,
        [FieldPosition(d.meridian_deg(eye), extent) for d, extent in extents_deg.items()],
        technique,
    )


def normal_outline(eye: Side, table: str = "us_schedule") -> FieldOutline:
    """Outline of the normal field of an eye from a published table.

    Parameters
    ----------
    eye : Side
    table : str
        A row of ``normal_extent`` in ``data/visual_field.yaml``; the default, 38 CFR
        4.76a Table III, is the only one with all eight directions. Sources differ by up to 25
        degrees (upward), so the table is named wherever the comparison is shown.

    Returns
    -------
    FieldOutline
    """
    rows = read_tables("visual_field.yaml")["normal_extent"]
    row = row_named(rows, table, "table of normal extents")
    extents = {d: float(row[d]) for d in EIGHT_DIRECTIONS if row.get(d) is not None}
    return outline_from_extents(eye, extents, f"normal extent: {table}")


def outline_from_quadrants(
    eye: Side,
    seen: Mapping[Quadrant, float],
    reference: FieldOutline | None = None,
    technique: str = "",
) -> FieldOutline:
    """Outline from the part of each quadrant that was seen.

    Parameters
    ----------
    eye : Side
    seen : mapping of Quadrant to float
        For every quadrant, the extent as a fraction of the reference: 0 nothing seen, 1 as far as
        the reference, up to 1.2.
    reference : FieldOutline, optional
        The field the fractions refer to, for the same eye; by default the normal outline. For the
        examiner's own field give `FieldOutline.mirrored` of the eye that faced the patient.
    technique : str, optional

    Returns
    -------
    FieldOutline

    Raises
    ------
    BadInput
        If a quadrant is missing (one that was not tested gives no outline), or a fraction is out of
        range.
    """
    missing = [q.value for q in Quadrant if q not in seen]
    if missing:
        raise BadInput(
            "quadrants",
            "not tested: " + ", ".join(missing),
            "a result for each of the four quadrants",
            hint="Not tested is not the same as seen.",
        )
    for q, fraction in seen.items():
        if not 0.0 <= fraction <= 1.2:
            raise BadInput(
                f"seen fraction, {q.value.replace('_', ' ')}",
                fraction,
                "0 to 1.2 of the reference field",
                hint="Was this a percentage?",
            )
    reference = reference or normal_outline(eye)
    if reference.eye is not eye:
        raise BadInput(
            "reference field",
            f"{reference.eye} eye",
            f"the {eye} eye",
            hint="The examiner's facing eye is the opposite one: give its mirrored outline.",
        )
    vertices: list[FieldPosition] = []
    for q in sorted(Quadrant, key=lambda q: q.first_meridian_deg(eye)):
        start = q.first_meridian_deg(eye)
        inner = {v.meridian_deg for v in reference.vertices}
        stops = [start, *sorted(m for m in inner if start < m < start + 90), start + 90]
        vertices += [
            FieldPosition(m, min(seen[q] * reference.eccentricity_deg(m), 120.0)) for m in stops
        ]
    return FieldOutline(eye, tuple(vertices), technique)
