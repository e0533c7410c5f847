"""Is the deviation the same in every gaze, with either eye fixing, and since the last visit.

References
----------
With each figure in ``data/eye_alignment.yaml``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from decussate.errors import BadInput
from decussate.measures.ocular_alignment import Deviation, Gaze
from decussate.measures.published_rows import read_tables, row_named
from decussate.sides import Side

__all__ = [
    "Comitance",
    "ComitanceReading",
    "comitance",
    "is_real_change",
    "real_change_pd",
    "weak_eye_by_secondary_deviation",
]


def _limit(table: str, name: str, column: str) -> float:
    return float(row_named(read_tables("eye_alignment.yaml")[table], name, "limit")[column])


def real_change_pd(angle_pd: float, *, sixth_nerve_palsy: bool = False) -> float:
    """Say how large a change between two prism and cover tests must be to exceed error.

    Parameters
    ----------
    angle_pd : float
        Size of the deviation, prism dioptres.
    sixth_nerve_palsy : bool
        Use the series of sixth nerve palsies.

    Returns
    -------
    float
        Prism dioptres.

    References
    ----------
    Holmes JM et al. Arch Ophthalmol 2009;127:59; sixth nerve palsies: 2008, PMID 18045567.
    """
    if sixth_nerve_palsy:
        name = "sixth nerve palsy"
    elif abs(angle_pd) > _limit("real_change", "large angle", "from_pd"):
        name = "large angle"
    else:
        name = "small angle"
    return _limit("real_change", name, "change_pd")


def is_real_change(before_pd: float, after_pd: float, *, sixth_nerve_palsy: bool = False) -> bool:
    """Say whether two prism and cover tests differ by more than error.

    Parameters
    ----------
    before_pd, after_pd : float
        Signed deviations, prism dioptres.
    sixth_nerve_palsy : bool

    Returns
    -------
    bool
    """
    larger = max(abs(before_pd), abs(after_pd))
    limit = real_change_pd(larger, sixth_nerve_palsy=sixth_nerve_palsy)
    return abs(after_pd - before_pd) >= limit


class Comitance(StrEnum):
    """Whether the deviation is the same in every direction of gaze."""

    COMITANT = "comitant"
    BETWEEN = "between comitant and incomitant"
    INCOMITANT = "incomitant"


@dataclass(frozen=True, slots=True)
class ComitanceReading:
    """How the deviation changes with gaze.

    Parameters
    ----------
    horizontal, vertical : Comitance
    horizontal_range_pd, vertical_range_pd : float
        Largest minus smallest deviation.
    greatest_eso, greatest_exo, greatest_vertical : Gaze
        Where the horizontal deviation is most eso, most exo, and the vertical deviation largest.
    """

    horizontal: Comitance
    vertical: Comitance
    horizontal_range_pd: float
    vertical_range_pd: float
    greatest_eso: Gaze
    greatest_exo: Gaze
    greatest_vertical: Gaze


def comitance(measured: Sequence[Deviation]) -> ComitanceReading:
    """Compare the deviation across directions of gaze.

    An old palsy may have become comitant: comitance does not exclude one.

    Parameters
    ----------
    measured : sequence of Deviation
        At least two directions.

    Returns
    -------
    ComitanceReading

    Raises
    ------
    BadInput
        With fewer than two directions.

    References
    ----------
    Less than 5 prism dioptres comitant, 10 or more incomitant: common practice.
    """
    if len(measured) < 2:
        raise BadInput("measured directions of gaze", len(measured), "at least two")
    below = _limit("comitance", "comitant below", "value_pd")
    above = _limit("comitance", "incomitant from", "value_pd")

    def graded(spread: float) -> Comitance:
        if spread < below:
            return Comitance.COMITANT
        return Comitance.INCOMITANT if spread >= above else Comitance.BETWEEN

    eso = [d.eso_pd for d in measured]
    vertical = [d.right_over_left_pd for d in measured]
    eso_range, vertical_range = max(eso) - min(eso), max(vertical) - min(vertical)
    return ComitanceReading(
        graded(eso_range),
        graded(vertical_range),
        eso_range,
        vertical_range,
        max(measured, key=lambda d: d.eso_pd).gaze,
        min(measured, key=lambda d: d.eso_pd).gaze,
        max(measured, key=lambda d: abs(d.right_over_left_pd)).gaze,
    )


def weak_eye_by_secondary_deviation(right_fixing: Deviation, left_fixing: Deviation) -> Side | None:
    """Find the weak eye: the deviation is larger when it fixes (Hering).

    Parameters
    ----------
    right_fixing, left_fixing : Deviation
        The same direction of gaze measured with each eye fixing.

    Returns
    -------
    Side or None
        None when the two differ by too little to tell.

    Raises
    ------
    BadInput
        When the two were measured in different directions of gaze.

    References
    ----------
    Secondary deviation larger than primary: common practice; the limit as for comitance.
    """
    if right_fixing.gaze is not left_fixing.gaze:
        raise BadInput(
            "direction of gaze, left eye fixing",
            str(left_fixing.gaze),
            f"the same as with the right eye fixing ({right_fixing.gaze})",
        )
    horizontal = abs(right_fixing.eso_pd) - abs(left_fixing.eso_pd)
    vertical = abs(right_fixing.right_over_left_pd) - abs(left_fixing.right_over_left_pd)
    excess = max(horizontal, vertical, key=abs)
    if abs(excess) < _limit("comitance", "secondary exceeds primary by", "value_pd"):
        return None
    return Side.RIGHT if excess > 0.0 else Side.LEFT
