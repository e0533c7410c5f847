"""Where an eye points when some of its six muscles are weak: statics of the globe in the orbit.

Each muscle is a spring whose rest length is moved by innervation, wrapped on a spherical globe and
pulling from its pulley (recti), trochlea or orbital origin (obliques). The eye comes to rest where
the six torques and the passive resistance of the orbit cancel. Healthy innervation is the one that
brings a healthy eye to the wanted direction in Listing's plane; both eyes receive it (Hering), and
the two muscles of a pair receive it in opposite sense (Sherrington).

Everything in this module is written for one eye in the directions *temporal*, *forward* and *up*,
so that a left and a right eye are the same eye; `ocular_alignment` puts the two together.

References
----------
Robinson DA. Invest Ophthalmol 1975;14:801 (statics, force law, orbit); Volkmann 1869 (attachments);
Clark RA, Miller JM, Demer JL. Invest Ophthalmol Vis Sci 2000;41:3787 (pulleys).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.interpolate import RectBivariateSpline
from scipy.spatial.transform import Rotation

from decussate.errors import BadInput
from decussate.measures.published_rows import read_tables, row_named

__all__ = [
    "ANTAGONIST",
    "MUSCLES",
    "Muscle",
    "MuscleAction",
    "aim_to_reach",
    "constant",
    "healthy_innervation",
    "line_of_sight",
    "muscle_action",
    "resting_place",
]

Array = npt.NDArray[np.float64]


class Muscle(StrEnum):
    """The six muscles that turn an eye."""

    LATERAL_RECTUS = "lateral rectus"
    MEDIAL_RECTUS = "medial rectus"
    SUPERIOR_RECTUS = "superior rectus"
    INFERIOR_RECTUS = "inferior rectus"
    SUPERIOR_OBLIQUE = "superior oblique"
    INFERIOR_OBLIQUE = "inferior oblique"


MUSCLES: tuple[Muscle, ...] = tuple(Muscle)
# The enumeration lists each muscle beside its antagonist.
ANTAGONIST: dict[Muscle, Muscle] = {m: MUSCLES[i ^ 1] for i, m in enumerate(MUSCLES)}
_PAIRS: Array = np.kron(np.eye(3), [[1.0], [-1.0]]).astype(np.float64)
_STRAIGHT: Array = np.array([0.0, 1.0, 0.0])
# No nervous system aims further than this; a target that needs more stays unreached.
_FARTHEST_AIM_DEG = 55.0
# A torque this small counts as balance.
_HELD_G = 0.02


@cache
def constant(name: str) -> float:
    """Look up a constant of the model in ``data/muscle_mechanics.yaml``.

    Parameters
    ----------
    name : str

    Returns
    -------
    float
        In the unit the row names.
    """
    rows = read_tables("muscle_mechanics.yaml")["constants"]
    return float(row_named(rows, name, "constant of the muscle model")["value"])


@dataclass(frozen=True, slots=True)
class _Orbit:
    """The muscles of one eye as arrays, one row a muscle, from the centre of the globe."""

    insertion: Array  # unit vectors, (6, 3)
    pull_from: Array  # unit vectors, (6, 3)
    rest_angle: Array  # angle between them in primary position, radians
    percent_per_radian: Array  # stretch of the muscle as the eye turns
    stiffness: Array  # g per percent


@cache
def _orbit() -> _Orbit:
    tables = read_tables("muscle_mechanics.yaml")
    radius = constant("globe radius")
    shift = _STRAIGHT * constant("globe centre in front of the centre of rotation")
    rows = {row["name"]: row for row in tables["attachments"]}
    depth = {row["name"]: float(row["forward_mm"]) for row in tables["pulley_depth"]}
    insertion = np.array([rows[m]["insertion_mm"] for m in MUSCLES], dtype=float) - shift
    origin = np.array([rows[m]["origin_mm"] for m in MUSCLES], dtype=float) - shift
    pull_from = np.array(
        [
            _on_path(i, o, radius, depth[m]) if m in depth else o
            for m, i, o in zip(MUSCLES, insertion, origin, strict=True)
        ]
    )
    insertion, pull_from = _unit(insertion), _unit(pull_from)
    area = np.array([rows[m]["area_mm2"] for m in MUSCLES], dtype=float)
    length = np.array([rows[m]["length_mm"] for m in MUSCLES], dtype=float)
    return _Orbit(
        insertion,
        pull_from,
        np.arccos((insertion * pull_from).sum(-1)),
        100.0 * radius / length,
        constant("stiffness") * area / rows[Muscle.LATERAL_RECTUS]["area_mm2"],
    )


def _on_path(insertion: Array, origin: Array, radius: float, forward: float) -> Array:
    """Where the muscle at rest crosses the depth ``forward`` on its way from globe to origin."""
    towards = _unit(insertion)
    across = _unit(np.cross(np.cross(insertion, origin), insertion))
    distance = float(np.linalg.norm(origin))
    leaves = math.atan2(origin @ across, origin @ towards) - math.acos(radius / distance)
    tangent = radius * (math.cos(leaves) * towards + math.sin(leaves) * across)
    along = (forward - tangent[1]) / (origin[1] - tangent[1])
    point: Array = tangent + max(along, 0.0) * (origin - tangent)
    return point


def _unit(vectors: Array) -> Array:
    length: Array = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return vectors / length


def line_of_sight(temporal_deg: npt.ArrayLike, up_deg: npt.ArrayLike) -> Array:
    """Give unit vectors (temporal, forward, up) from azimuth and elevation (Fick), degrees."""
    h, v = np.radians(temporal_deg), np.radians(up_deg)
    direction: Array = np.stack(
        np.broadcast_arrays(np.sin(h) * np.cos(v), np.cos(h) * np.cos(v), np.sin(v)), -1
    )
    return direction


def _listing(
    temporal_deg: npt.ArrayLike, up_deg: npt.ArrayLike, extorsion_deg: npt.ArrayLike
) -> Array:
    """Rotation vectors of eyes in Listing's plane, then rolled about the line of sight."""
    direction = line_of_sight(temporal_deg, up_deg)
    axis = np.cross(_STRAIGHT, direction)
    sine = np.linalg.norm(axis, axis=-1, keepdims=True)
    angle = np.arctan2(sine, direction[..., 1:2])
    turned = axis * np.where(sine > 1e-12, angle / np.maximum(sine, 1e-12), 1.0)
    roll = np.radians(np.broadcast_to(extorsion_deg, turned.shape[:-1]))
    rolled = Rotation.from_rotvec(turned) * Rotation.from_rotvec(roll[..., None] * _STRAIGHT)
    vectors: Array = rolled.as_rotvec()
    return vectors


def _torque(turn: Array, innervation: Array, weakness: Array) -> Array:
    """Torque on the globe divided by its radius, in g; one row an eye."""
    orbit = _orbit()
    insertion = np.einsum("nij,mj->nmi", Rotation.from_rotvec(turn).as_matrix(), orbit.insertion)
    axis = np.cross(insertion, orbit.pull_from)
    sine = np.linalg.norm(axis, axis=-1)
    angle = np.arctan2(sine, (insertion * orbit.pull_from).sum(-1))
    stretch = orbit.percent_per_radian * (angle - orbit.rest_angle)

    def force(drive: Array | float) -> Array:
        x = drive + stretch
        spring: Array = 0.5 * orbit.stiffness * (x + np.hypot(x, constant("curvature")))
        return spring

    pull = (1.0 - weakness) * force(innervation) + weakness * force(constant("no innervation"))
    muscles = ((pull / sine)[..., None] * axis).sum(1)
    turn_deg = np.degrees(turn)
    size = np.linalg.norm(turn_deg, axis=-1, keepdims=True)
    resistance = (constant("orbit linear") + constant("orbit cubic") * size**2) * turn_deg
    torque: Array = muscles - resistance
    return torque


def _innervation(drive: Array) -> Array:
    """Innervation of the six muscles from the drive to the three pairs (Sherrington)."""
    resting, least = constant("resting innervation"), constant("no innervation")
    innervation: Array = np.maximum(resting + drive @ _PAIRS.T, least)
    return innervation


def _balance(
    imbalance: Callable[[Array], Array], start: Array, step: float, longest: float, rounds: int = 60
) -> Array:
    """Newton's method on many eyes at once, the step limited to stay on this branch."""
    x = start
    small = 1e-9 * np.eye(x.shape[1])
    for _ in range(rounds):
        value = imbalance(x)
        slope = np.stack(
            [(imbalance(x + step * unit) - value) / step for unit in np.eye(x.shape[1])], -1
        )
        # Damped a little, because an eye that cannot be moved leaves nothing to solve for.
        turned = slope.swapaxes(1, 2)
        move = -np.linalg.solve(turned @ slope + small, turned @ value[..., None])[..., 0]
        size = np.linalg.norm(move, axis=1, keepdims=True)
        x = x + move * np.minimum(1.0, longest / np.maximum(size, 1e-12))
        if size.max() < 1e-7:
            break
    return x


def healthy_innervation(
    temporal_deg: npt.ArrayLike, up_deg: npt.ArrayLike, extorsion_deg: float = 0.0
) -> Array:
    """Innervation that points a healthy eye somewhere, in Listing's plane.

    Parameters
    ----------
    temporal_deg, up_deg : array_like, shape (n,)
        Direction wanted, degrees; negative temporal is towards the nose.
    extorsion_deg : float
        Roll wanted about the line of sight (counter-roll during head tilt), degrees.

    Returns
    -------
    ndarray, shape (n, 6)
        Percent of muscle length, in the order of `MUSCLES`.

    References
    ----------
    Robinson DA. Invest Ophthalmol 1975;14:801.
    """
    return _innervation(
        _healthy_drive(np.atleast_1d(temporal_deg), np.atleast_1d(up_deg), extorsion_deg)
    )


def _healthy_drive(temporal_deg: Array, up_deg: Array, extorsion_deg: float) -> Array:
    place = _listing(temporal_deg, up_deg, extorsion_deg)
    none = np.zeros(6)
    return _balance(
        lambda d: _torque(place, _innervation(d), none), np.zeros((len(place), 3)), 1e-3, 20.0
    )


@cache
def _drive_map(extorsion_deg: float) -> tuple[RectBivariateSpline, ...]:
    """Drive to the three pairs as a smooth function of the direction aimed at."""
    grid = np.arange(-_FARTHEST_AIM_DEG, _FARTHEST_AIM_DEG + 1.0, 2.5)
    temporal, up = (side.ravel() for side in np.meshgrid(grid, grid, indexing="ij"))
    drive = _healthy_drive(temporal, up, extorsion_deg).reshape(len(grid), len(grid), 3)
    return tuple(RectBivariateSpline(grid, grid, drive[..., pair]) for pair in range(3))


def aim_to_reach(
    temporal_deg: npt.ArrayLike,
    up_deg: npt.ArrayLike,
    weakness: npt.ArrayLike,
    extorsion_deg: float = 0.0,
) -> tuple[Array, Array, npt.NDArray[np.bool_]]:
    """Find where the nervous system must aim for a weak eye to reach a target.

    Parameters
    ----------
    temporal_deg, up_deg : array_like, shape (n,)
        The target, degrees.
    weakness : array_like, shape (6,) or (n, 6)
        As `resting_place`.
    extorsion_deg : float

    Returns
    -------
    temporal_deg, up_deg : ndarray, shape (n,)
        The direction to aim at.
    reached : ndarray of bool, shape (n,)
        False where no aim within 55 degrees brings the eye to the target.
    """
    target = (np.atleast_1d(temporal_deg).astype(float), np.atleast_1d(up_deg).astype(float))
    lost = np.asarray(weakness, dtype=float)
    if not lost.any():
        return *target, np.full(target[0].shape, fill_value=True)
    maps = _drive_map(extorsion_deg)

    def imbalance(x: Array) -> Array:
        drive = np.stack([pair.ev(x[:, 0], x[:, 1]) for pair in maps], -1)
        return _torque(_listing(*target, x[:, 2]), _innervation(drive), lost)

    start = np.stack([*target, np.full_like(target[0], extorsion_deg)], -1)
    found = _balance(imbalance, start, 1e-3, 8.0, rounds=25)
    held = np.linalg.norm(imbalance(found), axis=1) < _HELD_G
    within = (np.abs(found[:, :2]) <= _FARTHEST_AIM_DEG).all(1)
    return found[:, 0], found[:, 1], held & within


def resting_place(
    temporal_deg: npt.ArrayLike,
    up_deg: npt.ArrayLike,
    weakness: npt.ArrayLike,
    extorsion_deg: float = 0.0,
) -> tuple[Array, Array, Array]:
    """Where an eye with weak muscles points when a healthy one would point at the target.

    Parameters
    ----------
    temporal_deg, up_deg : array_like, shape (n,)
        Direction the innervation is meant for, degrees.
    weakness : array_like, shape (6,) or (n, 6)
        Share of the contractile force lost, in the order of `MUSCLES`: 0 healthy, 1 paralysed,
        negative overacting.
    extorsion_deg : float
        Roll the innervation is meant for, degrees.

    Returns
    -------
    temporal_deg, up_deg, extorsion_deg : ndarray, shape (n,)
        Where the eye comes to rest; extorsion is measured from Listing's plane.

    Raises
    ------
    BadInput
        When a weakness lies outside -1 to 1.
    """
    lost = np.asarray(weakness, dtype=float)
    if not (np.abs(lost) <= 1.0).all():
        raise BadInput(
            "weakness of a muscle",
            lost.tolist(),
            "0 (healthy) to 1 (paralysed), or down to -1 for overaction",
            hint="Was this a percentage?",
        )
    start = _listing(np.atleast_1d(temporal_deg), np.atleast_1d(up_deg), extorsion_deg)
    innervation = healthy_innervation(temporal_deg, up_deg, extorsion_deg)
    turn = _balance(lambda q: _torque(q, innervation, lost), start, 1e-5, 0.2)
    rotation = Rotation.from_rotvec(turn)
    sight = rotation.apply(_STRAIGHT)
    temporal = np.degrees(np.arctan2(sight[:, 0], sight[:, 1]))
    up = np.degrees(np.arcsin(np.clip(sight[:, 2], -1.0, 1.0)))
    roll = Rotation.from_rotvec(_listing(temporal, up, 0.0)).inv() * rotation
    return temporal, up, np.degrees(roll.as_rotvec()[:, 1])


@dataclass(frozen=True, slots=True)
class MuscleAction:
    """How one muscle would turn the eye from a given direction, as shares of a unit turn.

    Parameters
    ----------
    elevation, abduction, extorsion : float
        Parts of the turn, each -1 to 1 (negative: depression, adduction, intorsion); their
        squares add to 1.
    """

    elevation: float
    abduction: float
    extorsion: float


def muscle_action(muscle: Muscle, temporal_deg: float = 0.0, up_deg: float = 0.0) -> MuscleAction:
    """Resolve the turn a muscle gives to the eye, seen along the line of sight.

    The axis is the normal of the plane through insertion, globe centre and pulley (or trochlea),
    resolved into the eye's own axes, so that the same muscle elevates in one direction of gaze and
    twists in another.

    Parameters
    ----------
    muscle : Muscle
    temporal_deg, up_deg : float
        Direction of gaze, degrees; negative temporal is adduction.

    Returns
    -------
    MuscleAction
    """
    index, orbit = MUSCLES.index(muscle), _orbit()
    eye = Rotation.from_rotvec(_listing(temporal_deg, up_deg, 0.0))
    axis = _unit(np.cross(eye.apply(orbit.insertion[index]), orbit.pull_from[index]))
    transverse, roll, vertical = (float(part) for part in eye.inv().apply(axis))
    # A right eye turned about its vertical axis by the right-hand rule looks nasally.
    return MuscleAction(transverse, -vertical, roll)
