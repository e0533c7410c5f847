"""The rules that name a pattern of field loss, tried in order; each gives its reasons.

Every limit is in ``data/field_pattern.yaml``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from decussate.measures.field_pattern_zones import FieldZones, rule
from decussate.measures.visual_field import temporal_sign
from decussate.measures.visual_field_directions import Quadrant
from decussate.measures.visual_field_map import FieldSample
from decussate.measures.visual_field_scotoma import physiological_blind_spot
from decussate.sides import Side

__all__ = ["NamedLoss", "PatternKind", "name_loss"]


class PatternKind(StrEnum):
    """Pattern of loss in one eye."""

    NORMAL = "no loss found"
    TOTAL = "no field seen"
    HEMIANOPIA = "hemianopia"
    PARTIAL_HEMIANOPIA = "partial hemianopia"
    QUADRANTANOPIA = "quadrantanopia"
    HEMIANOPIC_SCOTOMA = "hemianopic central scotoma"
    SECTOR = "horizontal sector loss"
    SECTOR_SPARING = "hemianopia sparing a horizontal sector"
    ALTITUDINAL = "altitudinal loss"
    CENTRAL = "central scotoma"
    CENTROCAECAL = "centrocaecal scotoma"
    ARCUATE = "arcuate loss"
    NASAL_STEP = "nasal step"
    ENLARGED_BLIND_SPOT = "enlarged blind spot"
    CRESCENT = "loss of the temporal crescent"
    CONSTRICTION = "constriction"
    DIFFUSE = "diffuse loss"
    OTHER = "loss of no named pattern"

    @property
    def is_lateral(self) -> bool:
        """Whether the loss lies on one side of the vertical meridian and stops at it."""
        return self in _LATERAL


_LATERAL = {
    PatternKind.HEMIANOPIA,
    PatternKind.PARTIAL_HEMIANOPIA,
    PatternKind.QUADRANTANOPIA,
    PatternKind.HEMIANOPIC_SCOTOMA,
    PatternKind.SECTOR,
    PatternKind.SECTOR_SPARING,
}


@dataclass(frozen=True, slots=True)
class NamedLoss:
    """A pattern found by one of the rules, with its reasons.

    Parameters
    ----------
    kind : PatternKind
    reasons : tuple of str
    side : Side or None
        Side of space lost, for lateral patterns.
    upper : bool or None
        Whether the loss lies, or is denser, above.
    """

    kind: PatternKind
    reasons: tuple[str, ...]
    side: Side | None = None
    upper: bool | None = None


def _share(loss: float) -> str:
    return f"{100 * loss:.0f} %"


def _level(upper: bool) -> str:
    return "upper" if upper else "lower"


def _whole_field(eye: Side, zones: FieldZones) -> NamedLoss | None:
    mean = zones.mean() or 0.0
    if min(mean, zones.central) >= rule("total"):
        return NamedLoss(PatternKind.TOTAL, (f"{_share(mean)} of the field tested is lost",))
    worst = max(zones.quadrants().values())
    # Small zones hold few points, so chance weighs more in them.
    small = max(
        *zones.quadrants(rule("arc_inner_deg"), rule("arc_outer_deg")).values(),
        zones.central,
        zones.crescent or 0.0,
        zones.mean(_round_blind_spot(eye)) or 0.0,
    )
    if worst < rule("slight") and small < rule("partly"):
        return NamedLoss(PatternKind.NORMAL, (f"no quadrant has lost more than {_share(worst)}",))
    return None


def _lateral(eye: Side, zones: FieldZones) -> NamedLoss | None:
    loss = zones.quadrants()
    for side in Side:
        up, down = (_on(loss, eye, side, upper=u) for u in (True, False))
        across = max(_on(loss, eye, side.other, upper=u) for u in (True, False))
        worse = max(up, down)
        # Where the loss is partial, less than a third of it may lie across the vertical.
        limit = rule("partly") if worse >= rule("lost") else worse / 3.0
        if worse < rule("partly") or across >= limit:
            continue
        edges = {u: zones.vertical_edge(upper=u) for u in (True, False)}
        dense = up >= down
        if not edges[dense].respected:
            continue
        reasons = (
            f"{side} half: upper quadrant {_share(up)}, lower {_share(down)} lost",
            f"the other half has lost {_share(across)} at most",
            f"loss stops at the {_level(dense)} vertical meridian "
            f"({_share(edges[dense].share)} of it)",
        )
        near = zones.sector(side, near_horizontal=True)
        away = zones.sector(side, near_horizontal=False)
        if near < rule("partly") and away >= rule("lost") and edges[not dense].respected:
            return NamedLoss(
                PatternKind.SECTOR_SPARING,
                (*reasons, f"near the horizontal only {_share(near)} is lost"),
                side,
            )
        if min(up, down) >= rule("most") and edges[not dense].respected:
            denser = dense if abs(up - down) >= rule("partly") else None
            return NamedLoss(PatternKind.HEMIANOPIA, reasons, side, denser)
        if min(up, down) < rule("partly") and min(up, down) < worse / 2.0:
            return NamedLoss(PatternKind.QUADRANTANOPIA, reasons, side, dense)
        denser = dense if abs(up - down) >= rule("slight") else None
        return NamedLoss(PatternKind.PARTIAL_HEMIANOPIA, reasons, side, denser)
    return None


def _on(loss: dict[Quadrant, float], eye: Side, side: Side, *, upper: bool) -> float:
    return next(v for q, v in loss.items() if q.side(eye) is side and q.is_upper is upper)


def _sector(eye: Side, zones: FieldZones) -> NamedLoss | None:
    del eye
    for side in Side:
        near = zones.sector(side, near_horizontal=True, low_deg=rule("arc_outer_deg"))
        inner = zones.sector(side, near_horizontal=True)
        away = zones.sector(side, near_horizontal=False)
        across = zones.sector(side.other, near_horizontal=True)
        if min(near, inner) >= rule("lost") and max(away, across) < rule("partly"):
            return NamedLoss(
                PatternKind.SECTOR,
                (
                    f"{side} half: {_share(inner)} lost near the horizontal meridian, "
                    f"{_share(away)} away from it",
                    f"the other half has lost {_share(across)} there",
                ),
                side,
            )
    return None


def _altitudinal(eye: Side, zones: FieldZones) -> NamedLoss | None:
    del eye
    loss = zones.quadrants()
    for upper in (True, False):
        lost = min(v for q, v in loss.items() if q.is_upper is upper)
        spared = max(v for q, v in loss.items() if q.is_upper is not upper)
        edges = [zones.horizontal_edge(temporal=t) for t in (True, False)]
        if lost >= rule("lost") and spared < rule("partly") and all(e.respected for e in edges):
            return NamedLoss(
                PatternKind.ALTITUDINAL,
                (
                    f"both {_level(upper)} quadrants lost (at least {_share(lost)})",
                    f"both {_level(not upper)} quadrants seen (lost {_share(spared)} at most)",
                    "loss stops at the horizontal meridian on both sides",
                ),
                upper=upper,
            )
    return None


def _hemianopic_scotoma(eye: Side, zones: FieldZones) -> NamedLoss | None:
    inner = zones.quadrants(0.0, 15.0)
    outer = max(zones.quadrants(rule("arc_outer_deg")).values())
    if outer >= rule("partly"):
        return None
    for side in Side:
        for upper in (True, False):
            here = _on(inner, eye, side, upper=upper)
            across = max(_on(inner, eye, side.other, upper=u) for u in (True, False))
            edge = zones.vertical_edge(upper=upper, high_deg=10.0)
            if here >= rule("partly") and across < rule("slight") and edge.respected:
                other = _on(inner, eye, side, upper=not upper)
                return NamedLoss(
                    PatternKind.HEMIANOPIC_SCOTOMA,
                    (
                        f"{side} half within 15 degrees: {_share(here)} lost {_level(upper)}, "
                        f"the other half {_share(across)}",
                        "loss stops at the vertical meridian beside fixation",
                        f"beyond 20 degrees {_share(outer)} lost",
                    ),
                    side,
                    upper if other < here / 2.0 else None,
                )
    return None


def _central(eye: Side, zones: FieldZones) -> NamedLoss | None:
    outer = max(zones.quadrants(rule("arc_outer_deg")).values())
    if zones.central < 0.5 or outer >= rule("partly"):
        return None
    sign = temporal_sign(eye)

    def path(towards: int) -> float:
        return zones.mean(lambda s: 5.0 < s.x_deg * towards < 13.0 and abs(s.y_deg) <= 4.0) or 0.0

    reasons = (
        f"{_share(zones.central)} lost within 5 degrees of fixation",
        f"beyond 20 degrees {_share(outer)} lost",
    )
    if path(sign) >= rule("lost"):
        if path(-sign) < rule("lost"):
            joined = f"reaches the blind spot ({_share(path(sign))} lost between)"
            return NamedLoss(PatternKind.CENTROCAECAL, (*reasons, joined))
        return NamedLoss(PatternKind.CENTRAL, (*reasons, "large: it also takes in the blind spot"))
    return NamedLoss(PatternKind.CENTRAL, (*reasons, "does not reach the blind spot"))


def _arcuate(eye: Side, zones: FieldZones) -> NamedLoss | None:
    del eye
    if zones.central >= 0.5:
        return None
    inner, outer = rule("arc_inner_deg"), rule("arc_outer_deg")
    arc = zones.quadrants(inner, outer)
    step = zones.horizontal_edge(temporal=False, low_deg=inner, high_deg=outer)
    for upper in (True, False):
        nasal = next(v for q, v in arc.items() if "nasal" in q and q.is_upper is upper)
        temporal = next(v for q, v in arc.items() if "temporal" in q and q.is_upper is upper)
        across = max(v for q, v in arc.items() if q.is_upper is not upper)
        if across >= rule("partly") or not step.respected or (step.step > 0) is not upper:
            continue
        reasons = (
            f"{_level(upper)} zone 10 to 20 degrees from fixation: nasal {_share(nasal)}, "
            f"temporal {_share(temporal)} lost; opposite half {_share(across)} at most",
            "loss stops at the nasal horizontal meridian",
        )
        if nasal >= 0.5 and temporal >= rule("partly"):
            crossing = zones.vertical_edge(upper=upper, low_deg=inner, high_deg=outer)
            if not crossing.respected:
                return NamedLoss(
                    PatternKind.ARCUATE, (*reasons, "it crosses the vertical meridian"), None, upper
                )
        if temporal < rule("partly"):
            return NamedLoss(PatternKind.NASAL_STEP, reasons, None, upper)
    return None


def _round_blind_spot(eye: Side) -> Callable[[FieldSample], bool]:
    """Whether a sample lies within 3 degrees of the average blind spot."""
    spot = physiological_blind_spot(eye)

    def inside(sample: FieldSample) -> bool:
        across = (sample.x_deg - spot.x_deg) / (spot.width_deg / 2.0 + 3.0)
        upward = (sample.y_deg - spot.y_deg) / (spot.height_deg / 2.0 + 3.0)
        return across * across + upward * upward <= 1.0

    return inside


def _blind_spot(eye: Side, zones: FieldZones) -> NamedLoss | None:
    ring = zones.mean(_round_blind_spot(eye)) or 0.0
    rest = max(zones.quadrants(25.0).values())
    if ring >= 0.5 and zones.central < rule("partly") and rest < rule("slight"):
        return NamedLoss(
            PatternKind.ENLARGED_BLIND_SPOT,
            (f"{_share(ring)} lost within 3 degrees of the average blind spot",),
        )
    return None


def _periphery(eye: Side, zones: FieldZones) -> NamedLoss | None:
    del eye
    crescent = zones.crescent
    inside = max(zones.quadrants().values())
    if crescent is not None and crescent >= rule("lost") and inside < rule("slight"):
        return NamedLoss(
            PatternKind.CRESCENT,
            (f"{_share(crescent)} lost beyond 60 degrees temporally, within it {_share(inside)}",),
        )
    centre = max(zones.quadrants(0.0, 10.0).values())
    outer = min(zones.quadrants(30.0 if zones.reach_deg > 35.0 else 18.0).values())
    if outer >= rule("partly") and centre < rule("partly"):
        return NamedLoss(
            PatternKind.CONSTRICTION,
            (
                f"every quadrant has lost at least {_share(outer)} of its outer part",
                f"within 10 degrees {_share(centre)} lost at most",
                "repeat at twice the distance: a field of the same mm does not follow geometry",
            ),
        )
    return None


def _rest(eye: Side, zones: FieldZones) -> NamedLoss:
    del eye
    loss = zones.quadrants().values()
    if min(loss) >= rule("slight") and max(loss) - min(loss) < 0.3:
        return NamedLoss(
            PatternKind.DIFFUSE,
            (f"all quadrants lost alike, {_share(min(loss))} to {_share(max(loss))}",),
        )
    return NamedLoss(
        PatternKind.OTHER,
        (f"loss of {_share(max(loss))} in the worst quadrant fits none of the named patterns",),
    )


_STEPS: tuple[Callable[[Side, FieldZones], NamedLoss | None], ...] = (
    _whole_field,
    _altitudinal,
    _lateral,
    _sector,
    _hemianopic_scotoma,
    _central,
    _arcuate,
    _blind_spot,
    _periphery,
    _rest,
)


def name_loss(eye: Side, zones: FieldZones) -> NamedLoss:
    """Name the loss by the first rule that holds; the last always does.

    Parameters
    ----------
    eye : Side
    zones : FieldZones

    Returns
    -------
    NamedLoss
    """
    return next(found for step in _STEPS if (found := step(eye, zones)) is not None)
