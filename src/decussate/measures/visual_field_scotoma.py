"""The blind spot and other scotomas from the places where a pin vanishes and comes back."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from decussate.errors import BadInput
from decussate.measures.published_rows import PublishedRow, read_tables
from decussate.measures.visual_field import FieldPosition, temporal_sign
from decussate.measures.visual_field_outline import solid_angle_sr, square_degrees
from decussate.sides import Side

__all__ = [
    "BlindSpotReport",
    "Scotoma",
    "ScotomaKind",
    "blind_spot_norms",
    "blind_spot_report",
    "physiological_blind_spot",
    "scotoma_from_edges",
    "scotoma_kind",
]


@dataclass(frozen=True, slots=True)
class Scotoma:
    """An upright ellipse on the chart in which the target was not seen.

    Parameters
    ----------
    eye : Side
    x_deg, y_deg : float
        Centre, to the patient's right and up, in degrees.
    width_deg, height_deg : float
        Full horizontal and vertical size, in degrees, above 0.
    """

    eye: Side
    x_deg: float
    y_deg: float
    width_deg: float
    height_deg: float

    def __post_init__(self) -> None:
        for name, size in (("width", self.width_deg), ("height", self.height_deg)):
            if not 0.0 < size <= 120.0:
                raise BadInput(f"scotoma {name}", size, "above 0, up to 120 degrees")

    def contains(self, position: FieldPosition) -> bool:
        """Whether a position lies in the scotoma."""
        across = (position.x_deg - self.x_deg) / (self.width_deg / 2.0)
        upward = (position.y_deg - self.y_deg) / (self.height_deg / 2.0)
        return math.hypot(across, upward) <= 1.0

    @property
    def edge(self) -> tuple[FieldPosition, ...]:
        """Positions round the edge, anticlockwise, one a degree of turn."""
        return tuple(
            FieldPosition.from_chart(
                self.x_deg + self.width_deg / 2.0 * math.cos(math.radians(k)),
                self.y_deg + self.height_deg / 2.0 * math.sin(math.radians(k)),
            )
            for k in range(360)
        )

    @property
    def area_sq_deg(self) -> float:
        """Area on the sphere, in square degrees."""
        return square_degrees(solid_angle_sr(self.edge))

    @property
    def area_sr(self) -> float:
        """Area on the sphere, in steradians."""
        return solid_angle_sr(self.edge)

    def mirrored(self) -> Scotoma:
        """Give the scotoma of the other eye with right and left exchanged."""
        return Scotoma(self.eye.other, -self.x_deg, self.y_deg, self.width_deg, self.height_deg)


class ScotomaKind(StrEnum):
    """Where a scotoma lies with respect to fixation and the blind spot."""

    CENTRAL = "central"
    CENTROCAECAL = "centrocaecal"
    PARACENTRAL = "paracentral"
    BLIND_SPOT = "blind spot"
    ELSEWHERE = "elsewhere"


@dataclass(frozen=True, slots=True)
class BlindSpotReport:
    """A measured blind spot beside the published one.

    Parameters
    ----------
    spot : Scotoma
    temporal_deg : float
        Distance of its centre temporal to fixation, in degrees.
    below_deg : float
        Distance of its centre below the horizontal meridian, in degrees.
    remarks : tuple of str
        What lies outside the published range; empty when nothing does.
    """

    spot: Scotoma
    temporal_deg: float
    below_deg: float
    remarks: tuple[str, ...]


def blind_spot_norms() -> dict[str, PublishedRow]:
    """Give the published figures (``mean``, ``sd``, ``low``, ``high``, degrees) by quantity.

    Returns
    -------
    dict of str to PublishedRow
    """
    return {row["name"]: row for row in read_tables("visual_field.yaml")["blind_spot"]}


def physiological_blind_spot(eye: Side) -> Scotoma:
    """Blind spot of average place and size for an eye.

    Parameters
    ----------
    eye : Side

    Returns
    -------
    Scotoma
    """
    norms = blind_spot_norms()
    return Scotoma(
        eye,
        temporal_sign(eye) * norms["centre_temporal_deg"]["mean"],
        norms["centre_up_deg"]["mean"],
        norms["width_deg"]["mean"],
        norms["height_deg"]["mean"],
    )


def scotoma_from_edges(eye: Side, edges: Sequence[FieldPosition]) -> Scotoma:
    """Scotoma from the places where the pin vanished or came back.

    Parameters
    ----------
    eye : Side
    edges : sequence of FieldPosition, shape (n,)
        Four or more: at least the right, left, upper and lower edge.

    Returns
    -------
    Scotoma

    Raises
    ------
    BadInput
        If fewer than four are given or they have no width or height.
    """
    if len(edges) < 4:
        raise BadInput(
            "edges of the scotoma",
            f"{len(edges)} positions",
            "four or more: right, left, upper and lower edge",
            hint="Move the pin from the blind area outward in four directions.",
        )
    xs, ys = [p.x_deg for p in edges], [p.y_deg for p in edges]
    width, height = max(xs) - min(xs), max(ys) - min(ys)
    if width <= 0.0 or height <= 0.0:
        raise BadInput(
            "edges of the scotoma", (width, height), "edges that differ across and upward"
        )
    return Scotoma(eye, (max(xs) + min(xs)) / 2.0, (max(ys) + min(ys)) / 2.0, width, height)


def blind_spot_report(spot: Scotoma) -> BlindSpotReport:
    """Compare a measured blind spot with the published place and size.

    Parameters
    ----------
    spot : Scotoma

    Returns
    -------
    BlindSpotReport

    Raises
    ------
    BadInput
        If its centre lies in the nasal field, where no blind spot can be.

    References
    ----------
    Rohrschneider 2004, Invest Ophthalmol Vis Sci 45:3257, for the place; the size limits are
    `judgement` (see the data file).
    """
    temporal = temporal_sign(spot.eye) * spot.x_deg
    if temporal <= 0.0:
        raise BadInput(
            f"blind spot of the {spot.eye} eye",
            f"{abs(temporal):.1f} degrees nasal to fixation",
            f"a place temporal to fixation: to the patient's {spot.eye}",
            hint="Was the other eye tested, or right taken from the examiner's side?",
        )
    measured = (
        ("centre_temporal_deg", "distance temporal to fixation", temporal),
        ("centre_up_deg", "height above the horizontal", spot.y_deg),
        ("width_limit_deg", "width", spot.width_deg),
        ("height_limit_deg", "height", spot.height_deg),
    )
    norms = blind_spot_norms()
    remarks = []
    for quantity, name, value in measured:
        low, high = norms[quantity].get("low"), norms[quantity].get("high")
        if high is not None and value > high:
            remarks.append(f"{name} {value:.1f} degrees, above the limit of {high:g}")
        if low is not None and value < low:
            remarks.append(f"{name} {value:.1f} degrees, below the limit of {low:g}")
    return BlindSpotReport(spot, temporal, -spot.y_deg, tuple(remarks))


def scotoma_kind(scotoma: Scotoma) -> ScotomaKind:
    """Say where a scotoma lies.

    Central when it covers fixation; centrocaecal when it reaches from there to the blind spot;
    blind spot when it covers the centre of the average blind spot but not fixation; paracentral
    when its nearest edge is within 10 degrees of fixation, without covering it.

    Parameters
    ----------
    scotoma : Scotoma

    Returns
    -------
    ScotomaKind

    References
    ----------
    Terms as in Schiefer et al., compendium of visual field defects; the 10 degree limit of
    "paracentral" is common practice.
    """
    fixation = FieldPosition(0.0, 0.0)
    normal = physiological_blind_spot(scotoma.eye)
    nasal_edge = FieldPosition.from_chart(
        normal.x_deg - temporal_sign(scotoma.eye) * normal.width_deg / 2.0, normal.y_deg
    )
    if scotoma.contains(fixation):
        return ScotomaKind.CENTROCAECAL if scotoma.contains(nasal_edge) else ScotomaKind.CENTRAL
    if scotoma.contains(FieldPosition.from_chart(normal.x_deg, normal.y_deg)):
        return ScotomaKind.BLIND_SPOT
    nearest = min(p.eccentricity_deg for p in scotoma.edge)
    return ScotomaKind.PARACENTRAL if nearest <= 10.0 else ScotomaKind.ELSEWHERE
