"""Lids and orbit as findings: margin distance, levator, retraction, protrusion."""

from __future__ import annotations

from decussate.examination.record import Finding
from decussate.measures.as_findings.writing import measured, stated, within_scale
from decussate.measures.lids_and_orbit import Lids, Protrusion, read_lids, read_protrusion
from decussate.measures.sex import Sex
from decussate.sides import Side

__all__ = ["lid_findings", "protrusion_findings"]


def lid_findings(lids: Lids) -> tuple[Finding, ...]:
    """Write the position and the travel of the upper lids.

    Parameters
    ----------
    lids : Lids

    Returns
    -------
    tuple of Finding
        ``upper_lid_position``, ``upper_lid_retraction`` and ``levator_excursion`` by the bands of
        the catalogue. A lid that those call normal but that droops beside its fellow
        (`read_lids`) is ``partial``, with the distances in the comment, unless the fellow is
        retracted.

    Raises
    ------
    BadInput
        If a distance lies outside the scale of the test.
    """
    found = []
    droops = read_lids(lids).droop_side
    for side in Side:
        margin, levator = lids.margin(side), lids.levator(side)
        position = measured("upper_lid_position", margin, side)
        retraction = measured("upper_lid_retraction", max(margin, 0.0), side)
        fellow = measured("upper_lid_retraction", max(lids.margin(side.other), 0.0), side.other)
        low_beside_normal = side is droops and fellow.response == "normal"
        if low_beside_normal and position.response == "normal":
            other = lids.margin(side.other)
            comment = f"{margin:g} mm, beside {other:g} mm on the other side"
            position = stated("upper_lid_position", "partial", side, comment=comment)
        found += [position, retraction]
        if levator is not None:
            found.append(
                measured("levator_excursion", within_scale("levator_excursion", levator), side)
            )
    return tuple(found)


def protrusion_findings(
    protrusion: Protrusion, *, group: str, sex: Sex | None = None
) -> tuple[Finding, ...]:
    """Write the protrusion of the eyes.

    Parameters
    ----------
    protrusion : Protrusion
    group : str
        Population of the published limit (see `protrusion_groups`).
    sex : Sex, optional

    Returns
    -------
    tuple of Finding
        ``eye_prominence``, present beyond the published limit or where the eye stands farther
        forward than its fellow by more than the limit; ``eye_prominence_difference``.

    Raises
    ------
    BadInput
        As `read_protrusion`.
    """
    read = read_protrusion(protrusion, group=group, sex=sex)
    found = [
        stated(
            "eye_prominence",
            "present" if side in read.beyond_limit or side is read.unequal else "normal",
            side,
            value=protrusion.of(side),
            technique=f"exophthalmometer, limit of {read.people}",
        )
        for side in Side
    ]
    difference = read.unequal.value if read.unequal else "normal"
    found.append(stated("eye_prominence_difference", difference, value=abs(read.difference_mm)))
    return tuple(found)
