"""Mean loss in zones of a field, and whether loss stops at a meridian."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from decussate.measures.published_rows import read_tables
from decussate.measures.visual_field import temporal_sign
from decussate.measures.visual_field_directions import Quadrant
from decussate.measures.visual_field_map import FieldMap, FieldSample
from decussate.sides import Side

__all__ = ["FieldZones", "MacularSparing", "MeridianEdge", "rule"]


@cache
def _limits() -> dict[str, float]:
    rows = read_tables("field_pattern.yaml")["limits"]
    return {row["name"]: float(row["value"]) for row in rows}


def rule(name: str) -> float:
    """Give a limit held in ``data/field_pattern.yaml``.

    Parameters
    ----------
    name : str

    Returns
    -------
    float
        A share from 0 to 1, or degrees where the name ends in ``_deg``.
    """
    return _limits()[name]


@dataclass(frozen=True, slots=True)
class MeridianEdge:
    """How loss changes across one half of a meridian.

    Parameters
    ----------
    meridian : {"vertical", "horizontal"}
    half : {"upper", "lower", "temporal", "nasal"}
        The half of the meridian looked at.
    step : float
        Mean loss on the right minus the left of a vertical meridian, or above minus below a
        horizontal one, close to the meridian; -1 to 1.
    share : float
        Part of the worse side's loss that stops at the meridian, 0 to 1.
    """

    meridian: str
    half: str
    step: float
    share: float

    @property
    def respected(self) -> bool:
        """Whether the meridian is an edge of the loss here."""
        return abs(self.step) >= rule("edge_step") and self.share >= rule("edge_share")


@dataclass(frozen=True, slots=True)
class MacularSparing:
    """Seen width beside fixation inside a lost half.

    Parameters
    ----------
    seen_to_deg : float
        Farthest sampled eccentricity, in degrees, still seen next to fixation; 0 when none is.
    lost_from_deg : float or None
        Nearest sampled eccentricity lost beyond that; None when nothing is lost within 15 degrees.
    finest_deg : float
        Nearest eccentricity sampled: sparing narrower than this cannot be judged.
    """

    seen_to_deg: float
    lost_from_deg: float | None
    finest_deg: float

    @property
    def present(self) -> bool | None:
        """Whether there is sparing; None when the points are too coarse to say."""
        if self.seen_to_deg >= rule("sparing_deg"):
            return True
        return False if self.finest_deg <= rule("sparing_deg") else None


class FieldZones:
    """Zone means of one field map; asked by the rules, not kept.

    Parameters
    ----------
    field : FieldMap
    """

    def __init__(self, field: FieldMap) -> None:
        self._field = field
        self._temporal = temporal_sign(field.eye)
        self._by_place = {(round(s.x_deg, 3), round(s.y_deg, 3)): s for s in field.samples}

    def mean(self, within: Callable[[FieldSample], bool] = lambda _: True) -> float | None:
        """Mean loss over the samples for which ``within`` holds; None when there are none."""
        chosen = [s for s in self._field.samples if within(s)]
        weight = sum(s.weight_sr for s in chosen)
        return sum(s.loss * s.weight_sr for s in chosen) / weight if chosen else None

    def quadrant(self, quadrant: Quadrant, low_deg: float = 0.0, high_deg: float = 60.0) -> float:
        """Mean loss of a quadrant between two eccentricities; 0 when nothing is sampled there."""
        sign = self._temporal if quadrant.value.endswith("temporal") else -self._temporal
        return (
            self.mean(
                lambda s: (
                    s.x_deg * sign > 0
                    and (s.y_deg > 0) is quadrant.is_upper
                    and low_deg < s.eccentricity_deg <= high_deg
                )
            )
            or 0.0
        )

    def quadrants(self, low_deg: float = 0.0, high_deg: float = 60.0) -> dict[Quadrant, float]:
        """Mean loss of each quadrant between two eccentricities."""
        return {q: self.quadrant(q, low_deg, high_deg) for q in Quadrant}

    @property
    def central(self) -> float:
        """Mean loss within the fixation area; the innermost points when none lie inside it."""
        nearest = min(s.eccentricity_deg for s in self._field.samples)
        limit = max(rule("fixation_deg"), nearest + 0.1)
        return self.mean(lambda s: s.eccentricity_deg <= limit) or 0.0

    @property
    def crescent(self) -> float | None:
        """Mean loss of the temporal crescent; None when it was not sampled."""
        return self.mean(
            lambda s: (
                s.eccentricity_deg > rule("binocular_deg")
                and s.x_deg * self._temporal > abs(s.y_deg)
            )
        )

    @property
    def reach_deg(self) -> float:
        """Greatest eccentricity sampled, in degrees."""
        return max(s.eccentricity_deg for s in self._field.samples)

    def sector(self, side: Side, *, near_horizontal: bool, low_deg: float = 5.0) -> float:
        """Mean loss on one side within 22.5 degrees of the horizontal, or beyond 45 from it."""
        sign = 1 if side is Side.RIGHT else -1

        def inside(s: FieldSample) -> bool:
            turn = math.degrees(math.atan2(abs(s.y_deg), abs(s.x_deg)))
            return (
                s.x_deg * sign > 0
                and low_deg < s.eccentricity_deg <= rule("binocular_deg")
                and (turn <= 22.5 if near_horizontal else turn >= 45.0)
            )

        return self.mean(inside) or 0.0

    def vertical_edge(
        self, *, upper: bool, low_deg: float = 2.0, high_deg: float = 60.0
    ) -> MeridianEdge:
        """Edge at the upper or lower half of the vertical meridian."""
        pairs = [
            (s, self._by_place[(round(-s.x_deg, 3), round(s.y_deg, 3))])
            for s in self._field.samples
            if s.x_deg > 0
            and (s.y_deg > 0) is upper
            and self._near(s.x_deg, s.y_deg)
            and low_deg <= s.eccentricity_deg <= high_deg
            and (round(-s.x_deg, 3), round(s.y_deg, 3)) in self._by_place
        ]
        return _edge("vertical", "upper" if upper else "lower", pairs)

    def horizontal_edge(
        self, *, temporal: bool, low_deg: float = 2.0, high_deg: float = 60.0
    ) -> MeridianEdge:
        """Edge at the temporal or nasal half of the horizontal meridian."""
        sign = self._temporal if temporal else -self._temporal
        pairs = [
            (s, self._by_place[(round(s.x_deg, 3), round(-s.y_deg, 3))])
            for s in self._field.samples
            if s.y_deg > 0
            and s.x_deg * sign > 0
            and self._near(s.y_deg, s.x_deg)
            and low_deg <= s.eccentricity_deg <= high_deg
            and (round(s.x_deg, 3), round(-s.y_deg, 3)) in self._by_place
        ]
        return _edge("horizontal", "temporal" if temporal else "nasal", pairs)

    @staticmethod
    def _near(off_deg: float, along_deg: float) -> bool:
        # The innermost column of a 6 degree grid, 3 degrees off, counts as close everywhere.
        turn = math.degrees(math.atan2(abs(off_deg), abs(along_deg)))
        return turn <= rule("edge_strip_deg") or (abs(off_deg) == 3.0 and abs(along_deg) >= 3.0)

    def sparing(self, side: Side, *, upper: bool | None) -> MacularSparing:
        """Seen width beside fixation on one side (``upper`` limits it to a quadrant)."""
        sign = 1 if side is Side.RIGHT else -1
        rings: dict[float, list[FieldSample]] = {}
        for s in self._field.samples:
            turn = math.degrees(math.atan2(abs(s.y_deg), s.x_deg * sign))
            # Beside fixation for a half, along the diagonal for a quadrant; a coarse grid has its
            # innermost points on the diagonal.
            along = turn <= 46.0 if upper is None else 25.0 <= turn <= 65.0
            if along and s.eccentricity_deg <= 15.0 and upper in (None, s.y_deg > 0):
                rings.setdefault(round(s.eccentricity_deg, 1), []).append(s)
        if not rings:
            return MacularSparing(0.0, None, math.inf)
        seen_to = 0.0
        for r in sorted(rings):
            if sum(s.loss for s in rings[r]) / len(rings[r]) >= 0.5:
                return MacularSparing(seen_to, r, min(rings))
            seen_to = r
        return MacularSparing(seen_to, None, min(rings))


def _edge(meridian: str, half: str, pairs: list[tuple[FieldSample, FieldSample]]) -> MeridianEdge:
    """Compare mean loss on the two sides; the first of each pair is right or above."""
    weight = sum(a.weight_sr for a, _ in pairs)
    if weight == 0.0:
        return MeridianEdge(meridian, half, 0.0, 0.0)
    first = sum(a.loss * a.weight_sr for a, _ in pairs) / weight
    second = sum(b.loss * b.weight_sr for _, b in pairs) / weight
    worse = max(first, second)
    step = first - second
    return MeridianEdge(meridian, half, step, abs(step) / worse if worse > 0.0 else 0.0)
