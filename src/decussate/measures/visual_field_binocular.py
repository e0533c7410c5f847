"""The field with both eyes open: its extent, its overlap, and driving rules beside it."""

from __future__ import annotations

from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.measures.published_rows import read_tables
from decussate.measures.visual_field import FieldPosition
from decussate.measures.visual_field_outline import (
    FieldOutline,
    combined_ring,
    solid_angle_sr,
    square_degrees,
)
from decussate.sides import Side

__all__ = [
    "DRIVING_WARNING",
    "BinocularField",
    "DrivingRule",
    "DrivingRuleComparison",
    "binocular_field",
    "compare_driving_rules",
    "driving_rules",
]

DRIVING_WARNING = (
    "Driving rules are national, change, and are judged on a formal binocular field test, "
    "not on confrontation. Check the current rule of the country; this does not decide fitness "
    "to drive."
)


@dataclass(frozen=True, slots=True)
class BinocularField:
    """Field seen by either eye, and by both.

    Parameters
    ----------
    right_deg, left_deg, up_deg, down_deg : float
        Extent of the field seen by either eye, in degrees from fixation, to the patient's right and
        left, up and down. At a step the smaller side counts.
    overlap_right_deg, overlap_left_deg : float
        Extent to each side of the part seen by both eyes, in degrees.
    area_sq_deg, overlap_sq_deg : float
        Areas on the sphere seen by either eye and by both, in square degrees.
    ring : tuple of FieldPosition
        Boundary of what either eye sees.
    """

    right_deg: float
    left_deg: float
    up_deg: float
    down_deg: float
    overlap_right_deg: float
    overlap_left_deg: float
    area_sq_deg: float
    overlap_sq_deg: float
    ring: tuple[FieldPosition, ...]

    @property
    def horizontal_deg(self) -> float:
        """Horizontal extent seen by either eye, in degrees."""
        return self.right_deg + self.left_deg

    @property
    def overlap_deg(self) -> float:
        """Horizontal extent seen by both eyes, in degrees."""
        return self.overlap_right_deg + self.overlap_left_deg


def binocular_field(right_eye: FieldOutline, left_eye: FieldOutline) -> BinocularField:
    """Join the outlines of the two eyes.

    Scotomas inside an outline are not taken into account here: what one eye misses the other
    usually sees.

    Parameters
    ----------
    right_eye, left_eye : FieldOutline

    Returns
    -------
    BinocularField

    Raises
    ------
    BadInput
        If the outlines are not of the right and the left eye, in that order.
    """
    for outline, eye in ((right_eye, Side.RIGHT), (left_eye, Side.LEFT)):
        if outline.eye is not eye:
            raise BadInput(f"outline of the {eye} eye", f"{outline.eye} eye", f"the {eye} eye")

    def seen(meridian_deg: float, *, by_both: bool) -> float:
        sides = zip(
            right_eye.sides_deg(meridian_deg), left_eye.sides_deg(meridian_deg), strict=True
        )
        return min(min(pair) if by_both else max(pair) for pair in sides)

    either = combined_ring(right_eye, left_eye, max)
    both = combined_ring(right_eye, left_eye, min)
    return BinocularField(
        right_deg=seen(0.0, by_both=False),
        left_deg=seen(180.0, by_both=False),
        up_deg=seen(90.0, by_both=False),
        down_deg=seen(270.0, by_both=False),
        overlap_right_deg=seen(0.0, by_both=True),
        overlap_left_deg=seen(180.0, by_both=True),
        area_sq_deg=square_degrees(solid_angle_sr(either)),
        overlap_sq_deg=square_degrees(solid_angle_sr(both)),
        ring=either,
    )


@dataclass(frozen=True, slots=True)
class DrivingRule:
    """A national field standard for driving; a limit that the rule does not set is None.

    Parameters
    ----------
    rule : str
    horizontal_deg : float
        Horizontal extent asked for, in degrees.
    each_side_deg : float
        Extent asked for to each side of fixation, in degrees.
    up_deg, down_deg : float or None
        Extent asked for upward and downward, in degrees.
    clear_centre_deg : float
        Radius of the centre that must be free of defects, in degrees.
    source, mark : str
    """

    rule: str
    horizontal_deg: float
    each_side_deg: float
    up_deg: float | None
    down_deg: float | None
    clear_centre_deg: float
    source: str
    mark: str


@dataclass(frozen=True, slots=True)
class DrivingRuleComparison:
    """A measured field beside one rule: the extents that fall short, in words, and the warning.

    Parameters
    ----------
    rule : DrivingRule
    shortfalls : tuple of str
        Extents that fall short, and what confrontation cannot answer.
    warning : str
    """

    rule: DrivingRule
    shortfalls: tuple[str, ...]
    warning: str = DRIVING_WARNING


def driving_rules() -> tuple[DrivingRule, ...]:
    """Give all rules held in ``data/visual_field.yaml``.

    Returns
    -------
    tuple of DrivingRule
    """
    return tuple(
        DrivingRule(
            rule=row["name"],
            horizontal_deg=row["horizontal_deg"],
            each_side_deg=row["each_side_deg"],
            up_deg=row.get("up_deg"),
            down_deg=row.get("down_deg"),
            clear_centre_deg=row["clear_centre_deg"],
            source=row.citation,
            mark=row.mark,
        )
        for row in read_tables("visual_field.yaml")["driving"]
    )


def compare_driving_rules(field: BinocularField) -> tuple[DrivingRuleComparison, ...]:
    """Set the extents beside every rule held, with the warning; it never says fit or unfit.

    Parameters
    ----------
    field : BinocularField

    Returns
    -------
    tuple of DrivingRuleComparison
    """
    return tuple(DrivingRuleComparison(rule, _shortfalls(field, rule)) for rule in driving_rules())


def _shortfalls(field: BinocularField, rule: DrivingRule) -> tuple[str, ...]:
    demands = (
        ("horizontal extent", field.horizontal_deg, rule.horizontal_deg),
        ("to the right", field.right_deg, rule.each_side_deg),
        ("to the left", field.left_deg, rule.each_side_deg),
        ("upward", field.up_deg, rule.up_deg),
        ("downward", field.down_deg, rule.down_deg),
    )
    short = tuple(
        f"{name} {found:.0f} degrees, the rule asks for {asked:.0f}"
        for name, found, asked in demands
        if asked is not None and found < asked
    )
    return (*short, f"the central {rule.clear_centre_deg:.0f} degrees need a formal test")
