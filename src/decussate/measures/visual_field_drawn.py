"""A visual field drawn by hand: how far the eye sees at each meridian, and what it misses inside.

A hand cannot draw to a degree, so a long line that runs beside the vertical or the horizontal
meridian is taken to lie on it, and the outline is kept at the 24 meridians of kinetic perimetry, on
either side of the four principal ones, where the edge of a defect may step.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from decussate.errors import BadInput
from decussate.measures.visual_field import FieldPosition
from decussate.measures.visual_field_outline import FieldOutline, normal_outline
from decussate.measures.visual_field_scotoma import Scotoma, scotoma_from_edges
from decussate.sides import Side

__all__ = [
    "MERIDIANS_DEG",
    "BlindArea",
    "HandDrawnField",
    "drawn_from_extents",
    "full_drawn_field",
]

MERIDIANS_DEG = tuple(range(0, 360, 15))
"""Meridians at which an outline is kept: 0 temporal, 90 up, 180 nasal, 270 down."""
FARTHEST_DEG = 110.0
"""Nothing is drawn farther out: the temporal edge of a normal field is at 85 to 100 degrees."""

_PRINCIPAL = (0, 90, 180, 270)
_BESIDE_DEG = 0.1
_SNAP_DEG, _LONG_DEG = 5.0, 30.0
"""A line that spans more than `_LONG_DEG` is put on a principal meridian nearer than `_SNAP_DEG`
(judgement: a fingertip covers about as much of a chart on a small screen)."""
_RIM_DEG, _RIM_SHARE = 3.0, 0.15
"""A loss that comes so near to the edge of the seen field reaches it (judgement)."""
_FIXATION_DEG = 3.0
"""A seen part that begins nearer than this to fixation reaches it (judgement)."""
_LEAST_RUN_DEG = 0.5
_MOST_VERTICES = 40

Line = Sequence[FieldPosition]
Extents = Mapping[int, tuple[float, float]]
"""Degrees just before and just after each meridian, counted as `MERIDIANS_DEG` are."""


@dataclass(frozen=True, slots=True)
class BlindArea:
    """A part of the field in which the target is not seen.

    Parameters
    ----------
    eye : Side
    edge : tuple of FieldPosition, shape (n,)
        A closed line of three positions or more.
    """

    eye: Side
    edge: tuple[FieldPosition, ...]

    def __post_init__(self) -> None:
        if len(self.edge) < 3:
            raise BadInput("line on the field", f"{len(self.edge)} positions", "three or more")

    def contains(self, position: FieldPosition) -> bool:
        """Whether a position lies inside the edge."""
        reach = position.eccentricity_deg
        # A little to the side, so that the ray does not run along a stretch of the edge.
        runs = self.runs_deg(position.meridian_deg + _BESIDE_DEG / 2)
        return any(a <= reach <= b for a, b in runs)

    def runs_deg(self, meridian_deg: float) -> tuple[tuple[float, float], ...]:
        """Give the parts of a meridian that lie inside the edge, from fixation outward.

        Where the line crosses itself a part counts when it is enclosed an odd number of times.
        """
        turn = math.radians(meridian_deg)
        along, across = math.cos(turn), math.sin(turn)
        crossed = []
        for a, b in pairwise((*self.edge, self.edge[0])):
            beside_a = a.y_deg * along - a.x_deg * across
            beside_b = b.y_deg * along - b.x_deg * across
            if (beside_a > 0.0) == (beside_b > 0.0):
                continue
            part = beside_a / (beside_a - beside_b)
            x = a.x_deg + part * (b.x_deg - a.x_deg)
            y = a.y_deg + part * (b.y_deg - a.y_deg)
            if (reach := x * along + y * across) > 0.0:
                crossed.append(reach)
        ends = [0.0] * (len(crossed) % 2) + sorted(crossed)
        return tuple(zip(ends[::2], ends[1::2], strict=True))

    @property
    def width_deg(self) -> float:
        """Full size across, in degrees."""
        xs = [p.x_deg for p in self.edge]
        return max(xs) - min(xs)

    @property
    def height_deg(self) -> float:
        """Full size upward, in degrees."""
        ys = [p.y_deg for p in self.edge]
        return max(ys) - min(ys)

    @property
    def ellipse(self) -> Scotoma:
        """The upright ellipse of the same width, height and middle."""
        return scotoma_from_edges(self.eye, (*self.edge, self.edge[0]))

    def mirrored(self) -> BlindArea:
        """Give the same area of the other eye with right and left exchanged."""
        return BlindArea(self.eye.other, tuple(p.mirrored() for p in self.edge))


@dataclass(frozen=True, slots=True)
class HandDrawnField:
    """What was drawn of one eye's field.

    Parameters
    ----------
    outline : FieldOutline
        How far is seen.
    areas : tuple of BlindArea
        Parts not seen inside it; the physiological blind spot need not be drawn.
    """

    outline: FieldOutline
    areas: tuple[BlindArea, ...] = ()

    @property
    def eye(self) -> Side:
        """The eye tested."""
        return self.outline.eye

    @property
    def extents_deg(self) -> Extents:
        """How far is seen just before and just after each of `MERIDIANS_DEG`, in degrees."""
        as_right = self.outline if self.eye is Side.RIGHT else self.outline.mirrored()
        return {meridian: as_right.sides_deg(float(meridian)) for meridian in MERIDIANS_DEG}

    def mirrored(self) -> HandDrawnField:
        """Give the field of the other eye with right and left exchanged."""
        return HandDrawnField(self.outline.mirrored(), tuple(a.mirrored() for a in self.areas))

    def seen_within(self, line: Line) -> HandDrawnField:
        """Draw the field anew: only what lies inside a closed line is seen.

        Parameters
        ----------
        line : sequence of FieldPosition, shape (n,)
            As the patient sees.

        Returns
        -------
        HandDrawnField
            With a blind area round fixation where the line leaves fixation out.

        Raises
        ------
        BadInput
            If the line encloses nothing.
        """
        loop = _loop(self.eye, line)
        starts: list[FieldPosition] = []
        extents = {}
        for meridian in MERIDIANS_DEG:
            ends = []
            for ray in _beside(self.eye, meridian):
                runs = loop.runs_deg(ray)
                start, end = (runs[0][0], runs[-1][1]) if runs else (0.0, 0.0)
                starts.append(FieldPosition(ray, min(start, FARTHEST_DEG)))
                ends.append(min(end, FARTHEST_DEG))
            extents[meridian] = (ends[0], ends[1])
        if not any(max(pair) > 0.0 for pair in extents.values()):
            raise BadInput("edge of what is seen", "a line round nothing", "a line round the part")
        drawn = drawn_from_extents(self.eye, extents)
        if max(p.eccentricity_deg for p in starts) <= _FIXATION_DEG:
            return drawn
        return HandDrawnField(drawn.outline, (BlindArea(self.eye, _in_order(self.eye, starts)),))

    def without(self, line: Line) -> HandDrawnField:
        """Take away what lies inside a closed line.

        Where the line reaches the edge of the seen field the outline moves in; what it encloses
        short of the edge becomes a blind area.

        Parameters
        ----------
        line : sequence of FieldPosition, shape (n,)
            As the patient sees.

        Returns
        -------
        HandDrawnField

        Raises
        ------
        BadInput
            If the line encloses nothing that was still seen.
        """
        loop = _loop(self.eye, line)
        extents: dict[int, list[float]] = {m: list(pair) for m, pair in self.extents_deg.items()}
        cut: set[tuple[int, int]] = set()
        enclosed = False
        # A line drawn out along a principal meridian leaves it slantwise: beside one, a loss that
        # the next meridian shows to reach the edge need only come half way (judgement).
        for meridian in sorted(MERIDIANS_DEG, key=lambda one: one in _PRINCIPAL):
            for place, ray in enumerate(_beside(self.eye, meridian)):
                edge = extents[meridian][place]
                runs = [run for run in loop.runs_deg(ray) if run[0] < edge and _is_wide(run)]
                rim = edge - max(_RIM_DEG, _RIM_SHARE * edge)
                if meridian in _PRINCIPAL and ((meridian + (-15, 15)[place]) % 360, place) in cut:
                    rim = edge / 2
                if runs and runs[-1][1] >= rim:
                    extents[meridian][place] = runs.pop()[0]
                    cut.add((meridian, place))
                enclosed |= bool(runs)
        if not cut and not any(map(self.outline.contains, loop.edge)):
            raise BadInput(
                "part that is not seen",
                "a line round nothing that is still seen",
                "a line round a part of the seen field",
            )
        areas = (*self.areas, loop) if enclosed or not cut else self.areas
        moved = {meridian: (pair[0], pair[1]) for meridian, pair in extents.items()}
        return HandDrawnField(drawn_from_extents(self.eye, moved).outline, areas)


def _is_wide(run: tuple[float, float]) -> bool:
    return run[1] - run[0] > _LEAST_RUN_DEG


def full_drawn_field(eye: Side) -> HandDrawnField:
    """Give the field that is seen as far as the published normal, to draw on.

    Parameters
    ----------
    eye : Side

    Returns
    -------
    HandDrawnField
    """
    return drawn_from_extents(eye, HandDrawnField(normal_outline(eye)).extents_deg)


def drawn_from_extents(eye: Side, extents_deg: Extents) -> HandDrawnField:
    """Make a field from degrees at each meridian, to the whole degree.

    Parameters
    ----------
    eye : Side
    extents_deg : mapping of int to (float, float)
        For each of `MERIDIANS_DEG`, the degrees seen just before and just after it; the two differ
        only where the edge of a defect runs along a meridian.

    Returns
    -------
    HandDrawnField

    Raises
    ------
    BadInput
        If a meridian is missing, or an extent is not 0 to 110 degrees.
    """
    missing = [f"{meridian}" for meridian in MERIDIANS_DEG if meridian not in extents_deg]
    if missing:
        raise BadInput(
            "meridians of the field",
            "no value at " + ", ".join(missing),
            "degrees at each of the 24 meridians",
            hint="Write 0 where nothing is seen: not tested is not the same.",
        )
    vertices = []
    for meridian in MERIDIANS_DEG:
        for extent in dict.fromkeys(round(one) for one in extents_deg[meridian]):
            if not 0 <= extent <= FARTHEST_DEG:
                raise BadInput(
                    f"field at the meridian of {meridian} degrees",
                    extent,
                    f"0 to {FARTHEST_DEG:g} degrees from fixation",
                )
            vertices.append(FieldPosition(float(meridian), float(extent)))
    if vertices[1].meridian_deg == vertices[0].meridian_deg:
        # A step at the first meridian: what lies just before it closes the ring.
        vertices = [*vertices[1:], vertices[0]]
    as_right = FieldOutline(Side.RIGHT, tuple(vertices))
    return HandDrawnField(as_right if eye is Side.RIGHT else as_right.mirrored())


def _beside(eye: Side, meridian: int) -> tuple[float, float]:
    """Give rays just before and just after a meridian, as the patient sees them."""
    gap = _BESIDE_DEG if meridian in _PRINCIPAL else 0.0
    rays = (meridian - gap, meridian + gap)
    return rays if eye is Side.RIGHT else (180.0 - rays[0], 180.0 - rays[1])


def _in_order(eye: Side, positions: Sequence[FieldPosition]) -> tuple[FieldPosition, ...]:
    return tuple(positions if eye is Side.RIGHT else reversed(positions))


def _loop(eye: Side, line: Line) -> BlindArea:
    """Close a drawn line; thin it, and put it on the principal meridians it runs beside."""
    xs, ys = [p.x_deg for p in line], [p.y_deg for p in line]
    if len(line) < 3 or max(max(xs) - min(xs), max(ys) - min(ys)) < 1.0:
        raise BadInput("line on the field", f"{len(line)} positions", "a line round a part of it")
    snap = _SNAP_DEG if max(max(xs) - min(xs), max(ys) - min(ys)) > _LONG_DEG else 0.0
    step = sum(math.dist(a, b) for a, b in pairwise(zip(xs, ys, strict=True))) / _MOST_VERTICES
    kept: list[tuple[float, float]] = []
    for x, y in zip(xs, ys, strict=True):
        place = (0.0 if abs(x) < snap else x, 0.0 if abs(y) < snap else y)
        if not kept or math.dist(kept[-1], place) >= step:
            kept.append(place)
    return BlindArea(eye, tuple(_rounded(x, y) for x, y in kept))


def _rounded(x_deg: float, y_deg: float) -> FieldPosition:
    """Round to whole degrees of meridian and tenths of eccentricity, as it will be written."""
    meridian = math.degrees(math.atan2(y_deg, x_deg))
    reach = min(math.hypot(x_deg, y_deg), FARTHEST_DEG)
    return FieldPosition(float(round(meridian)), round(reach, 1))
