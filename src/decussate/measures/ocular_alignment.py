"""How the two eyes stand to each other in every direction of gaze when given muscles are weak.

The eye that fixes decides the innervation and the other eye receives the same (Hering's law of
equal innervation), so the deviation is larger when the weak eye fixes.

References
----------
Robinson DA. Invest Ophthalmol 1975;14:801.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

import numpy as np
import numpy.typing as npt

from decussate.errors import BadInput
from decussate.measures.muscle_mechanics import (
    MUSCLES,
    Muscle,
    aim_to_reach,
    constant,
    line_of_sight,
    resting_place,
)
from decussate.sides import Side

__all__ = [
    "EYE_MUSCLES",
    "Deviation",
    "EyeMuscle",
    "Gaze",
    "deviations_of_many",
    "field_of_action",
    "predicted_deviations",
    "yoke",
]

Array = npt.NDArray[np.float64]
# The eye is taken to have reached its target within this.
_REACHED_DEG = 1.0


class Gaze(StrEnum):
    """The nine directions of gaze, by the patient's own right and left."""

    UP_RIGHT = "up right"
    UP = "up"
    UP_LEFT = "up left"
    RIGHT = "right"
    AHEAD = "straight ahead"
    LEFT = "left"
    DOWN_RIGHT = "down right"
    DOWN = "down"
    DOWN_LEFT = "down left"

    @property
    def rightward(self) -> int:
        """1 to the patient's right, -1 to the left, 0 neither."""
        return ("right" in self.value) - ("left" in self.value)

    @property
    def upward(self) -> int:
        """1 up, -1 down, 0 level."""
        return ("up" in self.value) - ("down" in self.value)

    @property
    def mirrored(self) -> Gaze:
        """The same direction with right and left exchanged."""
        return Gaze.towards(-self.rightward, self.upward)

    @staticmethod
    def towards(rightward: int, upward: int) -> Gaze:
        """Give the direction with these signs."""
        return next(g for g in Gaze if (g.rightward, g.upward) == (rightward, upward))


@dataclass(frozen=True, slots=True, order=True)
class EyeMuscle:
    """One muscle of one eye."""

    side: Side
    muscle: Muscle

    def __str__(self) -> str:
        return f"{self.side} {self.muscle}"

    @property
    def mirrored(self) -> EyeMuscle:
        """The same muscle of the other eye."""
        return EyeMuscle(self.side.other, self.muscle)


EYE_MUSCLES: tuple[EyeMuscle, ...] = tuple(EyeMuscle(s, m) for s in Side for m in MUSCLES)


@dataclass(frozen=True, slots=True)
class Deviation:
    """The angle between the two lines of sight in one direction of gaze.

    Parameters
    ----------
    gaze : Gaze
    eso_pd : float
        Horizontal part in prism dioptres; positive esodeviation, negative exodeviation.
    right_over_left_pd : float
        Vertical part in prism dioptres; positive when the right eye stands higher.
    excyclo_deg : float, optional
        Outward twist of the two eyes against each other in degrees.
    """

    gaze: Gaze
    eso_pd: float
    right_over_left_pd: float
    excyclo_deg: float | None = None

    @property
    def mirrored(self) -> Deviation:
        """The same deviation with right and left exchanged."""
        return Deviation(
            self.gaze.mirrored, self.eso_pd, -self.right_over_left_pd, self.excyclo_deg
        )


def predicted_deviations(
    weakness: Mapping[EyeMuscle, float],
    fixing: Side,
    *,
    gazes: Sequence[Gaze] = tuple(Gaze),
    head_tilt_right_deg: float = 0.0,
) -> tuple[Deviation | None, ...]:
    """Predict the deviation in each direction of gaze by the mechanical model.

    Parameters
    ----------
    weakness : mapping of EyeMuscle to float
        Share of the contractile force lost, 0 to 1 (negative: overaction, to -1); a muscle left out
        is healthy.
    fixing : Side
        The eye that looks at the target.
    gazes : sequence of Gaze
    head_tilt_right_deg : float
        Tilt of the head to the right shoulder, degrees (negative: left), -60 to 60.

    Returns
    -------
    tuple of Deviation or None
        None where the fixing eye is too weak to reach the target.

    Raises
    ------
    BadInput
        When a weakness or the tilt is out of range.
    """
    if not -60.0 <= head_tilt_right_deg <= 60.0:
        raise BadInput(
            "head tilt", head_tilt_right_deg, "-60 to 60 degrees, positive to the right shoulder"
        )
    lost = {s: np.array([[weakness.get(EyeMuscle(s, m), 0.0) for m in MUSCLES]]) for s in Side}
    found = deviations_of_many(lost, fixing, gazes, head_tilt_right_deg)[0]
    return tuple(
        None if np.isnan(row).any() else Deviation(gaze, *(float(part) for part in row))
        for gaze, row in zip(gazes, found, strict=True)
    )


def deviations_of_many(
    weakness: Mapping[Side, Array],
    fixing: Side,
    gazes: Sequence[Gaze],
    head_tilt_right_deg: float = 0.0,
) -> Array:
    """Predict many patients at once, as `predicted_deviations` does for one.

    Parameters
    ----------
    weakness : mapping of Side to ndarray, shape (patients, 6)
        Share of force lost by the muscles of each eye, in the order of `MUSCLES`.
    fixing : Side
    gazes : sequence of Gaze
    head_tilt_right_deg : float

    Returns
    -------
    ndarray, shape (patients, len(gazes), 3)
        Esodeviation and right-over-left deviation in prism dioptres, excyclotorsion in degrees; not
        a number where the fixing eye cannot reach the target.
    """
    patients = len(weakness[fixing])
    lost = {s: np.repeat(np.asarray(w, dtype=float), len(gazes), 0) for s, w in weakness.items()}
    side_gaze, vertical_gaze = constant("side gaze"), constant("up and down gaze")
    right = np.tile([side_gaze * g.rightward for g in gazes], patients)
    up = np.tile([vertical_gaze * g.upward for g in gazes], patients)
    # Counter-roll turns the upper poles against the tilt: the eye of that side is rolled inward.
    roll = constant("counter-roll per degree of tilt") * head_tilt_right_deg
    extorsion = {Side.RIGHT: -roll, Side.LEFT: roll}

    outward = 1.0 if fixing is Side.RIGHT else -1.0
    aim_out, aim_up, reached = aim_to_reach(outward * right, up, lost[fixing], extorsion[fixing])
    aim_right = outward * aim_out
    eyes = {s: _look(aim_right, aim_up, lost[s], s, extorsion[s]) for s in Side}
    follower = fixing.other
    across, above = _prism_offset(eyes[follower], eyes[fixing])
    sign = 1.0 if follower is Side.RIGHT else -1.0
    result = np.stack([-sign * across, sign * above, eyes[Side.RIGHT][2] + eyes[Side.LEFT][2]], -1)
    missed = np.hypot(eyes[fixing][0] - right, eyes[fixing][1] - up) > _REACHED_DEG
    result[missed | ~reached] = np.nan
    return result.reshape(patients, len(gazes), 3)


def _look(
    right: Array, up: Array, lost: Array, side: Side, extorsion: float
) -> tuple[Array, Array, Array]:
    """Where one eye points for a drive, in the patient's directions."""
    temporal = 1.0 if side is Side.RIGHT else -1.0
    out, above, twist = resting_place(temporal * right, up, lost, extorsion)
    return temporal * out, above, twist


def _prism_offset(
    seen: tuple[Array, Array, Array], reference: tuple[Array, Array, Array]
) -> tuple[Array, Array]:
    """Offset of one line of sight from another, in prism dioptres to the right and up."""
    h, v = np.radians(reference[0]), np.radians(reference[1])
    forward = line_of_sight(reference[0], reference[1])
    rightward = np.stack([np.cos(h), -np.sin(h), np.zeros_like(h)], -1)
    upward = np.stack([-np.sin(h) * np.sin(v), -np.cos(h) * np.sin(v), np.cos(v)], -1)
    sight = line_of_sight(seen[0], seen[1])
    along = (sight * forward).sum(-1)
    return (
        100.0 * (sight * rightward).sum(-1) / along,
        100.0 * (sight * upward).sum(-1) / along,
    )


@cache
def field_of_action(muscle: EyeMuscle) -> Gaze:
    """Find the direction of gaze in which palsy of the muscle parts the lines of sight most.

    Found from the model, the other eye fixing.

    Parameters
    ----------
    muscle : EyeMuscle

    Returns
    -------
    Gaze
    """
    # The six directions in which one muscle of each eye stands out; straight up and down mix two.
    horizontal = muscle.muscle in (Muscle.LATERAL_RECTUS, Muscle.MEDIAL_RECTUS)
    cardinal = [g for g in Gaze if g.rightward and bool(g.upward) is not horizontal]
    found = predicted_deviations({muscle: 0.5}, muscle.side.other, gazes=cardinal)
    parted = [abs(d.eso_pd if horizontal else d.right_over_left_pd) if d else 0.0 for d in found]
    return cardinal[int(np.argmax(parted))]


def yoke(muscle: EyeMuscle) -> EyeMuscle:
    """Find the muscle of the other eye that works in the same direction of gaze (Hering's pair).

    Parameters
    ----------
    muscle : EyeMuscle

    Returns
    -------
    EyeMuscle
    """
    gaze = field_of_action(muscle)
    return next(m for m in EYE_MUSCLES if m.side is not muscle.side and field_of_action(m) is gaze)
