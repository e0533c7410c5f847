"""The pattern of field loss in one eye, with the reasons for its name.

It describes what the field looks like, not where the lesion is, still less what it is.
"""

from __future__ import annotations

from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.measures.field_pattern_rules import NamedLoss, PatternKind, name_loss
from decussate.measures.field_pattern_zones import FieldZones, MacularSparing, MeridianEdge, rule
from decussate.measures.visual_field_directions import Quadrant
from decussate.measures.visual_field_map import FieldMap
from decussate.sides import Side

__all__ = ["EyePattern", "PatternKind", "classify_eye"]


@dataclass(frozen=True, slots=True)
class EyePattern:
    """Named pattern of loss in one eye.

    Parameters
    ----------
    eye : Side
    kind : PatternKind
    side : Side or None
        Side of space lost, the patient's right or left, for lateral patterns.
    upper : bool or None
        True when the loss is above, or denser above; False below; None neither.
    quadrant_loss : dict of Quadrant to float
        Mean loss within 60 degrees, 0 to 1.
    central_loss : float
        Mean loss within 5 degrees of fixation, 0 to 1.
    crescent_loss : float or None
        Mean loss of the temporal crescent; None when not sampled.
    edges : tuple of MeridianEdge
        Upper and lower vertical, temporal and nasal horizontal.
    sparing : MacularSparing or None
        For hemianopias and quadrantanopias.
    reasons : tuple of str
    """

    eye: Side
    kind: PatternKind
    side: Side | None
    upper: bool | None
    quadrant_loss: dict[Quadrant, float]
    central_loss: float
    crescent_loss: float | None
    edges: tuple[MeridianEdge, ...]
    sparing: MacularSparing | None
    reasons: tuple[str, ...]

    @property
    def half(self) -> str:
        """``"temporal"`` or ``"nasal"`` for a lateral pattern, else ``""``."""
        if self.side is None:
            return ""
        return "temporal" if self.side is self.eye else "nasal"

    @property
    def meridians_respected(self) -> tuple[str, ...]:
        """Which meridians are an edge of the loss: ``"vertical"``, ``"horizontal"``."""
        found = {e.meridian for e in self.edges if e.respected}
        return tuple(m for m in ("vertical", "horizontal") if m in found)


def classify_eye(field: FieldMap) -> EyePattern:
    """Name the pattern of loss in one eye and say why.

    Parameters
    ----------
    field : FieldMap
        From `map_from_outline`, `map_from_points` or `map_from_red`.

    Returns
    -------
    EyePattern

    Raises
    ------
    BadInput
        If the map has no samples.

    References
    ----------
    Patterns: Schiefer et al., compendium of visual field defects; AJNR 2007;28:3-8, PMC8134093;
    arcuate zone: American Academy of Ophthalmology. Limits: see the data file.
    """
    if not field.samples:
        raise BadInput("visual field", "no samples", "at least one tested direction")
    zones = FieldZones(field)
    name = name_loss(field.eye, zones)
    # Where only the centre has lost anything, the outer field must not dilute its edges.
    centre = rule("arc_outer_deg")
    outer = max(zones.quadrants(centre).values())
    high = rule("binocular_deg") if outer >= rule("slight") else centre
    edges = (
        zones.vertical_edge(upper=True, high_deg=high),
        zones.vertical_edge(upper=False, high_deg=high),
        zones.horizontal_edge(temporal=True, high_deg=high),
        zones.horizontal_edge(temporal=False, high_deg=high),
    )
    sparing, sparing_reason = _sparing(zones, name)
    return EyePattern(
        eye=field.eye,
        kind=name.kind,
        side=name.side,
        upper=name.upper,
        quadrant_loss=zones.quadrants(),
        central_loss=zones.central,
        crescent_loss=zones.crescent,
        edges=edges,
        sparing=sparing,
        reasons=(*name.reasons, *sparing_reason),
    )


def _sparing(zones: FieldZones, name: NamedLoss) -> tuple[MacularSparing | None, tuple[str, ...]]:
    whole = name.kind in (PatternKind.HEMIANOPIA, PatternKind.PARTIAL_HEMIANOPIA)
    if name.side is None or not (whole or name.kind is PatternKind.QUADRANTANOPIA):
        return None, ()
    sparing = zones.sparing(name.side, upper=None if whole else name.upper)
    if sparing.present is None:
        return sparing, (
            f"macular sparing cannot be judged: nearest point at {sparing.finest_deg:.1f} degrees",
        )
    words = (
        f"seen to {sparing.seen_to_deg:g} degrees beside fixation: macular sparing"
        if sparing.present
        else "fixation is split: no macular sparing"
    )
    return sparing, (words,)
