"""One shape for every field result: sampled directions, each with how much is lost there.

Kinetic outlines, quadrants, red comparison and perimetry points all become a `FieldMap`, so that
patterns are recognised by one set of rules whatever the technique.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from decussate.errors import BadInput
from decussate.measures.visual_field import FieldPosition
from decussate.measures.visual_field_confrontation import RedDesaturation
from decussate.measures.visual_field_directions import Quadrant
from decussate.measures.visual_field_drawn import BlindArea
from decussate.measures.visual_field_outline import FieldOutline, normal_outline
from decussate.measures.visual_field_points import PerimetryPoint, deviations_db
from decussate.measures.visual_field_scotoma import Scotoma, physiological_blind_spot
from decussate.sides import Side

__all__ = [
    "FieldMap",
    "FieldSample",
    "map_from_outline",
    "map_from_points",
    "map_from_red",
]

_RING_EDGES_DEG = (
    *(0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 12.5, 15.0, 17.5, 20.0, 25.0, 30.0),
    *(35.0, 40.0, 45.0, 50.0, 55.0, 60.0, 70.0, 80.0, 90.0, 100.0, 110.0),
)
_SECTOR_DEG = 15.0
_FULL_LOSS_DB = 20.0
_NOISE_DB = 6.0
_GRID_STEP_DEG = 6.0
_RED_CENTRE_DEG = 30.0


@dataclass(frozen=True, slots=True)
class FieldSample:
    """One direction and the loss there.

    Parameters
    ----------
    x_deg, y_deg : float
        To the patient's right and up, in degrees.
    loss : float
        0 as expected to 1 nothing seen.
    weight_sr : float
        Solid angle the sample stands for, in steradians.
    """

    x_deg: float
    y_deg: float
    loss: float
    weight_sr: float

    @property
    def eccentricity_deg(self) -> float:
        """Angle from fixation, in degrees."""
        return math.hypot(self.x_deg, self.y_deg)


@dataclass(frozen=True, slots=True)
class FieldMap:
    """Sampled loss over the field of one eye, the physiological blind spot left out.

    Parameters
    ----------
    eye : Side
    samples : tuple of FieldSample, shape (n,)
    technique : str
    """

    eye: Side
    samples: tuple[FieldSample, ...]
    technique: str = ""

    def mirrored(self) -> FieldMap:
        """Give the map of the other eye with right and left exchanged."""
        return FieldMap(
            self.eye.other,
            tuple(FieldSample(-s.x_deg, s.y_deg, s.loss, s.weight_sr) for s in self.samples),
            self.technique,
        )


@cache
def _lattice(reference: FieldOutline) -> tuple[tuple[FieldPosition, float], ...]:
    """Directions inside the reference but outside the blind spot, with their solid angles."""
    spot = physiological_blind_spot(reference.eye)
    turn = math.radians(_SECTOR_DEG)
    cells = []
    for inner, outer in pairwise(_RING_EDGES_DEG):
        weight = turn * (math.cos(math.radians(inner)) - math.cos(math.radians(outer)))
        for k in range(round(360.0 / _SECTOR_DEG)):
            position = FieldPosition((k + 0.5) * _SECTOR_DEG, (inner + outer) / 2.0)
            if reference.contains(position) and not spot.contains(position):
                cells.append((position, weight))
    return tuple(cells)


def map_from_outline(
    outline: FieldOutline,
    scotomas: Iterable[Scotoma | BlindArea] = (),
    reference: FieldOutline | None = None,
) -> FieldMap:
    """Sample a kinetic or quadrant outline, with scotomas inside it, against a reference field.

    Parameters
    ----------
    outline : FieldOutline
    scotomas : iterable of Scotoma or BlindArea
        Of the same eye; the physiological blind spot need not be given.
    reference : FieldOutline, optional
        What should be seen; by default the normal outline.

    Returns
    -------
    FieldMap

    Raises
    ------
    BadInput
        If a scotoma or the reference is of the other eye.
    """
    reference = reference or normal_outline(outline.eye)
    scotomas = tuple(scotomas)
    if any(eye is not outline.eye for eye in (reference.eye, *(s.eye for s in scotomas))):
        raise BadInput(
            "reference field and scotomas", "the other eye", f"all of the {outline.eye} eye"
        )
    samples = tuple(
        FieldSample(
            p.x_deg,
            p.y_deg,
            0.0 if outline.contains(p) and not any(s.contains(p) for s in scotomas) else 1.0,
            weight,
        )
        for p, weight in _lattice(reference)
    )
    return FieldMap(outline.eye, samples, outline.technique)


def map_from_points(eye: Side, points: Iterable[PerimetryPoint]) -> FieldMap:
    """Sample automated perimetry: 20 dB or more below the eye's own hill counts as wholly lost.

    Less than 6 dB is taken for variability, and a point 10 dB deep is half lost, the limit at
    which a place counts as lost (`judgement`).

    Parameters
    ----------
    eye : Side
    points : iterable of PerimetryPoint
        At least 10 outside the blind spot.

    Returns
    -------
    FieldMap
    """
    points = tuple(points)
    if all(p.db == 0.0 for p in points):
        depth = dict.fromkeys(points, -_FULL_LOSS_DB)
    else:
        depth = deviations_db(eye, points)
    cell = math.radians(_GRID_STEP_DEG) ** 2
    samples = tuple(
        FieldSample(
            p.x_deg, p.y_deg, min(1.0, -db / _FULL_LOSS_DB) if db <= -_NOISE_DB else 0.0, cell
        )
        for p, db in depth.items()
    )
    return FieldMap(eye, samples, "automated perimetry")


def map_from_red(red: RedDesaturation) -> FieldMap:
    """Sample a red comparison over the central 30 degrees.

    Half the reddest or less counts as wholly lost (`judgement`): a relative sign, never blindness.

    Parameters
    ----------
    red : RedDesaturation

    Returns
    -------
    FieldMap
    """
    samples = tuple(
        FieldSample(
            p.x_deg, p.y_deg, min(1.0, (100.0 - red.percent[_quadrant(red.eye, p)]) / 50.0), weight
        )
        for p, weight in _lattice(normal_outline(red.eye))
        if p.eccentricity_deg < _RED_CENTRE_DEG
    )
    return FieldMap(red.eye, samples, "red comparison by quadrant")


def _quadrant(eye: Side, position: FieldPosition) -> Quadrant:
    side = Side.RIGHT if position.x_deg > 0 else Side.LEFT
    vertical = "upper" if position.y_deg > 0 else "lower"
    return Quadrant(f"{vertical}_{'temporal' if side is eye else 'nasal'}")
