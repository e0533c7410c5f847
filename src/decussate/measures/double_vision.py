"""From the patient's account of double vision to the muscle.

The model says, for each muscle, where the two images would be in every direction of gaze; the
account is compared with that. The image of an eye lies opposite to the way the eye has deviated,
so the eye that lags behind sees the outer image.

References
----------
Robinson DA. Invest Ophthalmol 1975;14:801 (the model). Covering an eye to find the outer image:
common practice.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from decussate.errors import BadInput
from decussate.measures.ocular_alignment import (
    EYE_MUSCLES,
    EyeMuscle,
    Gaze,
    predicted_deviations,
)
from decussate.measures.published_rows import read_tables, row_named
from decussate.sides import Side

__all__ = [
    "DoubleVision",
    "Images",
    "MuscleMatch",
    "Orientation",
    "images",
    "muscles_behind_double_vision",
]


def _setting(name: str) -> float:
    rows = read_tables("double_vision.yaml")["settings"]
    return float(row_named(rows, name, "setting")["value"])


class Orientation(StrEnum):
    """How the two images lie to each other."""

    HORIZONTAL = "side by side"
    VERTICAL = "one above the other"
    OBLIQUE = "side by side and one higher"


@dataclass(frozen=True, slots=True)
class DoubleVision:
    """What the patient reports.

    Parameters
    ----------
    farthest_apart : Gaze
        Where the images are farthest apart.
    orientation : Orientation, optional
    outer_image : Side, optional
        The eye whose covering removes the outer image (the one farther in that direction).
    tilted : bool, optional
        Whether one image is tilted against the other.
    remains_with_one_eye_covered : bool
        Double vision of one eye alone.
    """

    farthest_apart: Gaze
    orientation: Orientation | None = None
    outer_image: Side | None = None
    tilted: bool | None = None
    remains_with_one_eye_covered: bool = False

    @property
    def mirrored(self) -> DoubleVision:
        """The account of the mirrored patient."""
        return DoubleVision(
            self.farthest_apart.mirrored,
            self.orientation,
            self.outer_image and self.outer_image.other,
            self.tilted,
            self.remains_with_one_eye_covered,
        )


@dataclass(frozen=True, slots=True)
class Images:
    """The two images in one direction of gaze.

    Parameters
    ----------
    right_of_pd, above_pd : float
        Where the right eye's image lies from the left eye's, prism dioptres.
    tilt_deg : float
        Size of the tilt of one image against the other.
    """

    right_of_pd: float
    above_pd: float
    tilt_deg: float

    @property
    def apart_pd(self) -> float:
        """Distance between the images."""
        return math.hypot(self.right_of_pd, self.above_pd)

    @property
    def orientation(self) -> Orientation:
        """How the images lie, oblique when the smaller part is half the larger or more."""
        across, up = abs(self.right_of_pd), abs(self.above_pd)
        if up < 0.5 * across:
            return Orientation.HORIZONTAL
        return Orientation.VERTICAL if across < 0.5 * up else Orientation.OBLIQUE

    def outer(self, gaze: Gaze) -> Side | None:
        """Name the eye whose image lies farther in the direction of gaze."""
        vertical = abs(self.above_pd) > abs(self.right_of_pd)
        further = self.above_pd * gaze.upward if vertical else self.right_of_pd * gaze.rightward
        if further == 0.0:
            return None
        return Side.RIGHT if further > 0.0 else Side.LEFT


@dataclass(frozen=True, slots=True)
class MuscleMatch:
    """How well one weak muscle agrees with the account.

    Parameters
    ----------
    muscle : EyeMuscle
    share_of_greatest : float
        Separation in the direction named as a share of the greatest this palsy would cause.
    against : tuple of str
        What disagrees.
    """

    muscle: EyeMuscle
    share_of_greatest: float
    against: tuple[str, ...]


@cache
def images(muscle: EyeMuscle) -> dict[Gaze, Images]:
    """Predict the images in every direction of gaze with one muscle weak.

    Parameters
    ----------
    muscle : EyeMuscle

    Returns
    -------
    dict of Gaze to Images
    """
    found = predicted_deviations({muscle: _setting("weakness tried")}, muscle.side.other)
    # An esodeviated right eye looks to its left, so its image lies to the right; a higher right
    # eye's image lies lower.
    return {
        d.gaze: Images(d.eso_pd, -d.right_over_left_pd, abs(d.excyclo_deg or 0.0))
        for d in found
        if d is not None
    }


def muscles_behind_double_vision(account: DoubleVision) -> tuple[MuscleMatch, ...]:
    """Rank the twelve muscles by their agreement with the account.

    Parameters
    ----------
    account : DoubleVision

    Returns
    -------
    tuple of MuscleMatch
        Fewest disagreements first, then the largest share of the greatest separation. Empty when
        the double vision belongs to one eye alone, which no muscle explains.

    Raises
    ------
    BadInput
        When the images are said to be farthest apart straight ahead and an outer image is named.
    """
    if account.remains_with_one_eye_covered:
        return ()
    gaze = account.farthest_apart
    if gaze is Gaze.AHEAD and account.outer_image is not None:
        raise BadInput(
            "direction in which the images are farthest apart",
            str(gaze),
            "a direction away from straight ahead, when the outer image is named",
        )
    matches = [_match(muscle, account) for muscle in EYE_MUSCLES]
    return tuple(sorted(matches, key=lambda m: (len(m.against), -m.share_of_greatest)))


def _match(muscle: EyeMuscle, account: DoubleVision) -> MuscleMatch:
    every = images(muscle)
    seen = every[account.farthest_apart]
    share = seen.apart_pd / max(i.apart_pd for i in every.values())
    against = [
        text
        for text, wrong in (
            (f"images would be {seen.orientation}", _disagree(account, seen)),
            (
                f"the outer image would be the {seen.outer(account.farthest_apart)} eye's",
                account.outer_image not in (None, seen.outer(account.farthest_apart)),
            ),
            (
                "tilt of the image would be expected to be slight",
                account.tilted is True and seen.tilt_deg < _setting("smallest tilt noticed"),
            ),
            (
                "the images would be farther apart elsewhere",
                share < _setting("smallest share of the greatest separation"),
            ),
        )
        if wrong
    ]
    return MuscleMatch(muscle, share, tuple(against))


def _disagree(account: DoubleVision, seen: Images) -> bool:
    # "Oblique" is never far from either neighbour; side by side against above is a contradiction.
    apart: Sequence[Orientation] = (Orientation.HORIZONTAL, Orientation.VERTICAL)
    return (
        account.orientation in apart
        and seen.orientation in apart
        and account.orientation is not seen.orientation
    )
