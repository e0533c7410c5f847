"""Acuity as findings: distance, pinhole and near."""

from __future__ import annotations

from decussate.examination.record import Finding
from decussate.measures import acuity_notation, near_acuity
from decussate.measures.acuity_interpretation import Direction, pinhole
from decussate.measures.as_findings.writing import measured, stated
from decussate.measures.distance_acuity import DistanceAcuity
from decussate.measures.near_acuity import NearAcuity
from decussate.sides import Side

__all__ = ["distance_acuity_findings", "near_acuity_findings"]


def distance_acuity_findings(
    side: Side,
    acuity: DistanceAcuity,
    through_pinhole: DistanceAcuity | None = None,
    *,
    method: str = "by line on a Snellen chart",
    technique: str | None = None,
) -> tuple[Finding, ...]:
    """Write distance acuity, and what the pinhole changed.

    Parameters
    ----------
    side : Side
        The eye.
    acuity : DistanceAcuity
        With distance glasses, or as `technique` says.
    through_pinhole : DistanceAcuity, optional
    method : str
        How acuity was measured: decides which gain exceeds noise (see `pinhole`).
    technique : str, optional
        Chart and glasses.

    Returns
    -------
    tuple of Finding
        ``distance_acuity`` by the bands of the catalogue; ``pinhole_acuity`` present when the
        pinhole is better by more than noise.

    Raises
    ------
    BadInput
        If the acuity lies outside the scale of the test, or the method is unknown.
    """
    written = acuity_notation.write(acuity)
    found = [measured("distance_acuity", written, side, technique=technique)]
    if through_pinhole is not None:
        better = pinhole(acuity, through_pinhole, method=method).direction is Direction.BETTER
        found.append(
            stated(
                "pinhole_acuity",
                "present" if better else "normal",
                side,
                value=acuity_notation.write(through_pinhole),
                technique=technique,
            )
        )
    return tuple(found)


def near_acuity_findings(
    side: Side, acuity: NearAcuity, *, technique: str | None = None
) -> tuple[Finding, ...]:
    """Write near acuity, with the distance it was read at.

    Parameters
    ----------
    side : Side
        The eye.
    acuity : NearAcuity
    technique : str, optional
        Card and glasses.

    Returns
    -------
    tuple of Finding
        ``near_acuity`` by the bands of the catalogue.

    Raises
    ------
    BadInput
        If the print lies outside the scale of the test.
    """
    return (measured("near_acuity", near_acuity.write(acuity), side, technique=technique),)
