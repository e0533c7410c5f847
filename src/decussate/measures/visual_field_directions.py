"""Names for directions and quadrants of the field of an eye: temporal and nasal, up and down."""

from __future__ import annotations

from enum import StrEnum

from decussate.sides import Side

__all__ = ["EIGHT_DIRECTIONS", "FieldDirection", "Quadrant"]


class FieldDirection(StrEnum):
    """One of the eight principal directions of the field of an eye."""

    TEMPORAL = "temporal"
    DOWN_TEMPORAL = "down_temporal"
    DOWN = "down"
    DOWN_NASAL = "down_nasal"
    NASAL = "nasal"
    UP_NASAL = "up_nasal"
    UP = "up"
    UP_TEMPORAL = "up_temporal"

    def meridian_deg(self, eye: Side) -> float:
        """Meridian of this direction as the patient sees it, in degrees."""
        right_eye = {"temporal": 0, "up_temporal": 45, "up": 90, "up_nasal": 135}
        right_eye |= {"nasal": 180, "down_nasal": 225, "down": 270, "down_temporal": 315}
        meridian = float(right_eye[self.value])
        return meridian if eye is Side.RIGHT else (180.0 - meridian) % 360.0


EIGHT_DIRECTIONS = tuple(FieldDirection)


class Quadrant(StrEnum):
    """A quadrant of the field of an eye."""

    UPPER_TEMPORAL = "upper_temporal"
    UPPER_NASAL = "upper_nasal"
    LOWER_TEMPORAL = "lower_temporal"
    LOWER_NASAL = "lower_nasal"

    @property
    def is_upper(self) -> bool:
        """Whether the quadrant lies above the horizontal meridian."""
        return self.value.startswith("upper")

    def side(self, eye: Side) -> Side:
        """Side of space, the patient's right or left, in which the quadrant lies."""
        return eye if self.value.endswith("temporal") else eye.other

    def first_meridian_deg(self, eye: Side) -> float:
        """Meridian at which the quadrant begins, counting anticlockwise, in degrees."""
        if self.side(eye) is Side.RIGHT:
            return 0.0 if self.is_upper else 270.0
        return 90.0 if self.is_upper else 180.0
