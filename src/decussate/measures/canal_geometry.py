"""Gravity in the planes of the six semicircular canals, for any position of the head.

Frame of the head (Reid's horizontal): x towards the nose, y towards the patient's left, z up.
Debris in a canal falls to the lowest point of the canal's circle; when the head moves it falls
again, drags the fluid, and excites or inhibits the canal by the way round it goes.

References
----------
Della Santina CC et al. J Assoc Res Otolaryngol 2005;6:191 (planes, the default); Blanks RHI et al.
Acta Otolaryngol 1975;80:185. Ewald's first law (eyes move in the plane of the canal): common
practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

import numpy as np
import numpy.typing as npt

from decussate.errors import BadInput
from decussate.measures.published_rows import read_tables, row_named
from decussate.sides import Side

__all__ = [
    "CANALS",
    "Canal",
    "CanalKind",
    "EyeBeat",
    "HeadPosition",
    "Provocation",
    "excitatory_normal",
    "fast_phase_when_excited",
    "gravity_out_of_plane_deg",
    "head_hanging",
    "lying_back_axis",
    "plane_angle_deg",
    "provocation",
    "side_lying",
    "supine",
    "supine_roll",
    "turned",
    "upright",
]

Vector = npt.NDArray[np.float64]


class CanalKind(StrEnum):
    """The three semicircular canals of an ear."""

    POSTERIOR = "posterior"
    HORIZONTAL = "horizontal"
    ANTERIOR = "anterior"


@dataclass(frozen=True, slots=True, order=True)
class Canal:
    """One semicircular canal."""

    side: Side
    kind: CanalKind

    def __str__(self) -> str:
        return f"{self.side} {self.kind}"

    @property
    def mirrored(self) -> Canal:
        """The same canal of the other ear."""
        return Canal(self.side.other, self.kind)


CANALS: tuple[Canal, ...] = tuple(Canal(s, k) for s in Side for k in CanalKind)


@cache
def _normal(canal: Canal, planes: str) -> tuple[float, float, float]:
    tables = read_tables("canal_geometry.yaml")
    sets = [name for name in tables if name not in ("positions", "settings")]
    if planes not in sets:
        raise BadInput("set of canal planes", planes, "one of " + ", ".join(sets))
    x, y, z = row_named(tables[planes], str(canal), "canal")["normal"]
    size = math.sqrt(x * x + y * y + z * z)
    return x / size, y / size, z / size


def excitatory_normal(canal: Canal, *, planes: str = "DellaSantina2005") -> Vector:
    """Give the axis about which turning the head excites the canal.

    Parameters
    ----------
    canal : Canal
    planes : str
        ``"DellaSantina2005"`` or ``"Blanks1975"``.

    Returns
    -------
    ndarray, shape (3,)
        Unit vector: nose, left, up; right-hand rule.

    Raises
    ------
    BadInput
        For an unknown set of planes.
    """
    return np.array(_normal(canal, planes))


def plane_angle_deg(first: Canal, second: Canal, *, planes: str = "DellaSantina2005") -> float:
    """Give the acute angle between the planes of two canals, degrees.

    Parameters
    ----------
    first, second : Canal
    planes : str

    Returns
    -------
    float
    """
    cosine = excitatory_normal(first, planes=planes) @ excitatory_normal(second, planes=planes)
    return math.degrees(math.acos(min(1.0, abs(float(cosine)))))


@dataclass(frozen=True, slots=True)
class HeadPosition:
    """A position of the head, as the direction in which gravity then pulls.

    Parameters
    ----------
    name : str
    gravity : tuple of float
        Unit vector in the head: nose, left, up.
    """

    name: str
    gravity: tuple[float, float, float]

    def __post_init__(self) -> None:
        if not math.isclose(math.hypot(*self.gravity), 1.0, abs_tol=1e-6):
            raise BadInput("gravity in the head", self.gravity, "a vector of length 1")


def upright() -> HeadPosition:
    """Give the position sitting, looking ahead, Reid's plane level."""
    return HeadPosition("upright", (0.0, 0.0, -1.0))


def turned(name: str, side: Side, turn_deg: float, below_horizontal_deg: float) -> HeadPosition:
    """Give the position lying back with the head turned about its own long axis.

    Parameters
    ----------
    name : str
    side : Side
        The side the nose is turned to.
    turn_deg : float
        0 nose up, 90 that ear down; -180 to 180.
    below_horizontal_deg : float
        Crown below (positive, hanging) or above (negative, flexed) the horizontal; -90 to 90.

    Returns
    -------
    HeadPosition

    Raises
    ------
    BadInput
        When an angle is out of range.
    """
    if not -180.0 <= turn_deg <= 180.0:
        raise BadInput("turn of the head", turn_deg, "-180 to 180 degrees")
    if not -90.0 <= below_horizontal_deg <= 90.0:
        raise BadInput(
            "head below the horizontal",
            below_horizontal_deg,
            "-90 to 90 degrees, positive hanging",
            hint="Hanging is positive and flexion negative.",
        )
    turn, hang = math.radians(turn_deg), math.radians(below_horizontal_deg)
    towards = -1.0 if side is Side.RIGHT else 1.0
    return HeadPosition(
        name,
        (
            -math.cos(hang) * math.cos(turn),
            towards * math.cos(hang) * math.sin(turn),
            math.sin(hang),
        ),
    )


def head_hanging(
    side: Side, *, turn_deg: float = 45.0, below_horizontal_deg: float = 20.0
) -> HeadPosition:
    """Give the end position of the Dix-Hallpike test.

    Parameters
    ----------
    side : Side
        The side turned to, which is the ear tested.
    turn_deg, below_horizontal_deg : float
        What the neck actually reached, degrees.

    Returns
    -------
    HeadPosition

    References
    ----------
    45 degrees and 20 degrees: Bhattacharyya N et al. Otolaryngol Head Neck Surg 2017;156(3S):S1.
    """
    return turned(f"head hanging {side}", side, turn_deg, below_horizontal_deg)


def lying_back_axis(side: Side, turn_deg: float = 45.0) -> Vector:
    """Give the axis in the head about which it turns when a patient lies back, head turned.

    Its product with an excitatory normal is the share of the movement that the canal feels.

    Parameters
    ----------
    side : Side
        The side the nose is turned to.
    turn_deg : float

    Returns
    -------
    ndarray, shape (3,)
    """
    turn = math.radians(turn_deg) * (1.0 if side is Side.RIGHT else -1.0)
    return np.array([math.sin(turn), -math.cos(turn), 0.0])


def side_lying(side: Side, *, turn_away_deg: float = 45.0) -> HeadPosition:
    """Give the position lying on one side, nose turned up and away: no extension is needed.

    Parameters
    ----------
    side : Side
        The ear that is down, which is the ear tested.
    turn_away_deg : float
        Turn of the nose towards the other side, degrees.

    Returns
    -------
    HeadPosition
    """
    # Ear down is a turn of 90 degrees; every degree of turning away comes off it.
    return turned(f"lying on the {side} side", side, 90.0 - turn_away_deg, 0.0)


def supine(*, flexion_deg: float = 30.0) -> HeadPosition:
    """Give the position on the back, nose up, head flexed.

    Parameters
    ----------
    flexion_deg : float
        0 to 90 degrees; 30 is usual, about 20 brings the horizontal canals upright.

    Returns
    -------
    HeadPosition
    """
    return turned("on the back, nose up", Side.RIGHT, 0.0, -flexion_deg)


def supine_roll(side: Side, *, turn_deg: float = 90.0, flexion_deg: float = 30.0) -> HeadPosition:
    """Give the position on the back with the head turned to one side.

    Parameters
    ----------
    side : Side
        The ear that is down.
    turn_deg, flexion_deg : float
        What the neck actually reached, degrees.

    Returns
    -------
    HeadPosition
    """
    return turned(f"on the back, {side} ear down", side, turn_deg, -flexion_deg)


def gravity_out_of_plane_deg(
    position: HeadPosition, canal: Canal, *, planes: str = "DellaSantina2005"
) -> float:
    """Give the angle between gravity and the plane of a canal: 0 when the canal stands upright.

    Parameters
    ----------
    position : HeadPosition
    canal : Canal
    planes : str

    Returns
    -------
    float
        Degrees, 0 to 90. The part of gravity left in the plane is the cosine of this angle.
    """
    out = float(np.array(position.gravity) @ excitatory_normal(canal, planes=planes))
    return math.degrees(math.asin(min(1.0, abs(out))))


@dataclass(frozen=True, slots=True)
class Provocation:
    """What moving the head does to debris lying free in a canal.

    Parameters
    ----------
    canal : Canal
    fall : float
        Height through which debris falls, as a share of the diameter of the canal: 0 to 1,
        positive when the fall excites the canal, negative when it inhibits.
    travel_deg : float
        How far round the canal the lowest point has moved, with the same sign.
    in_plane : float
        Share of gravity in the plane of the canal at the end.
    pull : float
        Share of gravity along the canal where the debris starts, 0 to 1: near zero when the debris
        lies almost exactly at the top and may stay there.
    """

    canal: Canal
    fall: float
    travel_deg: float
    in_plane: float
    pull: float


def provocation(
    start: HeadPosition,
    end: HeadPosition,
    canal: Canal,
    *,
    planes: str = "DellaSantina2005",
) -> Provocation:
    """Work out how far debris in a canal falls, and which way, when the head moves.

    Debris is taken to lie at the lowest point of the canal's circle at the start. The cupula and
    the utricle interrupt the real circle: debris beside the cupula can only fall away from it. In
    the anterior canal that is the other way round from the one given here for large backward
    turns, so the sign for an anterior canal is not to be relied on; its size is.

    Parameters
    ----------
    start, end : HeadPosition
    canal : Canal
    planes : str

    Returns
    -------
    Provocation
    """
    normal = excitatory_normal(canal, planes=planes)
    before, after = (
        np.array(p.gravity) - (np.array(p.gravity) @ normal) * normal for p in (start, end)
    )
    in_plane = float(np.linalg.norm(after))
    angle = math.atan2(float(normal @ np.cross(before, after)), float(before @ after))
    # Debris going round against the excitatory turn pushes the cupula as that turn would: seen from
    # the head, fluid left behind by a turn and debris falling behind it go the same way.
    excites = -1.0 if angle > 0.0 else 1.0
    fall = excites * in_plane * (1.0 - math.cos(angle)) / 2.0
    pull = in_plane * abs(math.sin(angle))
    return Provocation(canal, fall, -math.degrees(angle), in_plane, pull)


@dataclass(frozen=True, slots=True)
class EyeBeat:
    """A fast phase as parts of a unit turn, seen along a line of sight.

    Parameters
    ----------
    right, up, upper_pole_right : float
        Each -1 to 1; negative is left, down, and upper pole to the left.
    """

    right: float
    up: float
    upper_pole_right: float


def fast_phase_when_excited(
    canal: Canal, *, gaze_right_deg: float = 0.0, planes: str = "DellaSantina2005"
) -> EyeBeat:
    """Predict the fast phase when a canal is excited (all parts reverse when it is inhibited).

    The eyes turn in the plane of the canal, slowly against the turn that would excite it and fast
    with it. Looking towards the ear shows the torsion, looking away the vertical beat.

    Parameters
    ----------
    canal : Canal
    gaze_right_deg : float
        Where the patient looks, degrees to the right.
    planes : str

    Returns
    -------
    EyeBeat

    References
    ----------
    Ewald's first law: common practice.
    """
    x, y, z = excitatory_normal(canal, planes=planes)
    g = math.radians(gaze_right_deg)
    # Axes of the eye: line of sight and the axis out of its left side, turned with gaze.
    roll = x * math.cos(g) - y * math.sin(g)
    pitch = x * math.sin(g) + y * math.cos(g)
    return EyeBeat(right=-float(z), up=-float(pitch), upper_pole_right=float(roll))
