"""Facial sensation, the corneal reflex and the jaw jerk as findings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from decussate.examination.record import Finding
from decussate.measures.as_findings.writing import graded, rows, stated
from decussate.measures.facial_sensation import Sensation, face_areas, read_sensation
from decussate.measures.reflexes import CornealPair, JawJerk
from decussate.sides import Side

__all__ = ["corneal_findings", "facial_sensation_findings", "jaw_jerk_findings"]


def facial_sensation_findings(
    side: Side, found: Mapping[str, Sensation], *, modality: Literal["touch", "pin"]
) -> tuple[Finding, ...]:
    """Write the sensation of one half of the face.

    Parameters
    ----------
    side : Side
    found : Mapping of str to Sensation
        Area to what was felt; areas not tested are left out.
    modality : {"touch", "pin"}

    Returns
    -------
    tuple of Finding
        Forehead, cheek and jaw. For pin, also round the mouth and the rim of the face, each only
        where two or more areas of the ring were tested and all agree: a ring that is half lost is
        told by the divisions.

    Raises
    ------
    BadInput
        If an area is not known.
    """
    read_sensation(side, found)  # refuses unknown areas
    written = [
        stated(f"{modality}_{row['test']}", found[area].value, side)
        for row in rows("face_areas")
        for area in row["areas"]
        if area in found
    ]
    if modality == "pin":
        for row in rows("face_rings"):
            ring = [
                found[a.name] for a in face_areas() if a.zone == row["zone"] and a.name in found
            ]
            if len(ring) > 1 and len(set(ring)) == 1:
                written.append(stated(row["test"], ring[0].value, side))
    return tuple(written)


def corneal_findings(
    blinked: Mapping[CornealPair, bool], felt: Mapping[Side, bool] | None = None
) -> tuple[Finding, ...]:
    """Write the corneal reflex.

    Parameters
    ----------
    blinked : Mapping of CornealPair to bool
        Pairs not tested are left out.
    felt : Mapping of Side to bool, optional
        Whether the touch was felt.

    Returns
    -------
    tuple of Finding
        ``corneal_touch_direct``, and ``corneal_touch_other_eye`` under the side touched;
        ``corneal_touch_felt``.
    """
    return (
        *(
            stated(
                "corneal_touch_direct" if pair.is_direct else "corneal_touch_other_eye",
                "normal" if blinks else "absent",
                pair.touched,
            )
            for pair, blinks in blinked.items()
        ),
        *(
            stated("corneal_touch_felt", "normal" if feels else "absent", side)
            for side, feels in (felt or {}).items()
        ),
    )


def jaw_jerk_findings(jaw: JawJerk) -> tuple[Finding, ...]:
    """Write the jaw jerk.

    Parameters
    ----------
    jaw : JawJerk

    Returns
    -------
    tuple of Finding
        ``jaw_tap``; clonus is a brisk jaw jerk.
    """
    return (graded("jaw_tap", "jaw jerk", jaw),)
