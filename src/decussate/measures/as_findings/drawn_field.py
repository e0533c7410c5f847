"""A field drawn by hand as findings; the outline stands in words in a comment, and is read back.

The words count meridians from temporal, not from the patient's right, so that they hold for either
eye and need no turning about when an examination is mirrored.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.document import Finding
from decussate.measures.as_findings.visual_field import (
    eye_pattern_findings,
    field_outline_findings,
    scotoma_findings,
)
from decussate.measures.field_pattern import EyePattern, classify_eye
from decussate.measures.visual_field import FieldPosition
from decussate.measures.visual_field_directions import Quadrant
from decussate.measures.visual_field_drawn import (
    BlindArea,
    HandDrawnField,
    drawn_from_extents,
)
from decussate.measures.visual_field_map import map_from_outline
from decussate.measures.visual_field_outline import normal_outline
from decussate.sides import Side

__all__ = [
    "PIN_TECHNIQUES",
    "TECHNIQUES",
    "drawn_field_findings",
    "drawn_field_in",
    "drawn_field_words",
    "drawn_pattern",
]

Found = Mapping[tuple[str, Side | None], Finding]

TECHNIQUES = ("moving finger", "white pin", "red pin", "kinetic perimetry")
PIN_TECHNIQUES = TECHNIQUES[1:]
"""With these the centre is tested too; a finger is too coarse to call it normal (judgement)."""

_QUADRANT_TESTS = tuple(f"peripheral_{quadrant}" for quadrant in Quadrant)
_FIXATION = FieldPosition(0.0, 0.0)
_LARGEST_SPOT_DEG = 60.0
"""Wider than the central field, a loss is no longer called a scotoma (judgement)."""
_OUTLINE = "Field drawn by hand, degrees seen at each meridian (0 temporal, 90 up, 180 nasal)"
_AREA = "Not seen inside it, degrees at each meridian"
_EXTENT = re.compile(r"(?P<meridian>\d+): (?P<before>\d+)(?: then (?P<after>\d+))?")
_CORNER = re.compile(r"(?P<reach>\d+(?:\.\d+)?) at (?P<meridian>\d+)")


@lru_cache(maxsize=64)  # asked for on every answer of the page while a drawing stands
def drawn_pattern(field: HandDrawnField) -> EyePattern:
    """Name the pattern of loss in a field drawn by hand.

    Parameters
    ----------
    field : HandDrawnField

    Returns
    -------
    EyePattern
    """
    return classify_eye(map_from_outline(field.outline, field.areas))


def drawn_field_findings(field: HandDrawnField, technique: str) -> tuple[Finding, ...]:
    """Write what a field drawn by hand shows.

    Parameters
    ----------
    field : HandDrawnField
    technique : str
        One of `TECHNIQUES`.

    Returns
    -------
    tuple of Finding
        ``peripheral_*``: the worse of the extent along the diagonal, in percent of the normal
        extent, and the share of the quadrant's area; the drawing itself stands in the comment of
        the first. ``red_pin_centre`` where it was lost, or seen with a pin; ``blind_spot`` where a
        blind area lies at it.

    Raises
    ------
    BadInput
        For an unknown technique.
    """
    if technique not in TECHNIQUES:
        raise BadInput("technique", technique, "one of " + ", ".join(TECHNIQUES))
    by_extent = {
        one.test: one.model_copy(update={"technique": technique})
        for one in field_outline_findings(field.outline, normal_outline(field.eye))
    }
    by_area = eye_pattern_findings(drawn_pattern(field), technique=technique)
    found = {one.test: _worse(by_extent[one.test], one) for one in by_area if one.test in by_extent}
    centre = next((one for one in by_area if one.test not in found), None)
    if centre is not None and (centre.response != "normal" or technique in PIN_TECHNIQUES):
        found[centre.test] = centre
    for area in filter(_is_spot, field.areas):
        for one in scotoma_findings(area.ellipse):
            found[one.test] = one.model_copy(update={"technique": technique})
    first = found[_QUADRANT_TESTS[0]]
    words = "; ".join(filter(None, (first.comment, drawn_field_words(field))))
    found[first.test] = first.model_copy(update={"comment": words})
    return tuple(found.values())


def _is_spot(area: BlindArea) -> bool:
    """Whether an area is small, and near enough to its ellipse, to be called a scotoma."""
    if area.width_deg > _LARGEST_SPOT_DEG or area.height_deg > _LARGEST_SPOT_DEG:
        return False  # judged by its quadrants
    # An ellipse round a curved area may cover fixation though the area does not.
    return area.ellipse.contains(_FIXATION) == area.contains(_FIXATION)


def _worse(by_extent: Finding, by_area: Finding) -> Finding:
    order = list(load_catalogue().test(by_extent.test).responses)
    lost_more = order.index(by_area.response) > order.index(by_extent.response)
    return by_area if lost_more else by_extent


def drawn_field_words(field: HandDrawnField) -> str:
    """Return a field drawn by hand in words that `drawn_field_in` reads back.

    Parameters
    ----------
    field : HandDrawnField

    Returns
    -------
    str
        One meridian after another; two values where the edge steps.
    """
    extents = ", ".join(
        f"{meridian}: {before:.0f}" + (f" then {after:.0f}" if after != before else "")
        for meridian, (before, after) in field.extents_deg.items()
    )
    as_right = field if field.eye is Side.RIGHT else field.mirrored()
    areas = [
        ", ".join(f"{p.eccentricity_deg:g} at {p.meridian_deg:.0f}" for p in area.edge)
        for area in as_right.areas
    ]
    return ". ".join([f"{_OUTLINE}: {extents}", *(f"{_AREA}: {area}" for area in areas)])


def _read_words(eye: Side, words: str) -> HandDrawnField | None:
    _, mark, rest = words.partition(f"{_OUTLINE}: ")
    if not mark:
        return None
    outline, *areas = rest.split(f". {_AREA}: ")
    extents = {}
    for match in _EXTENT.finditer(outline):
        before = float(match["before"])
        extents[int(match["meridian"])] = (before, float(match["after"] or before))
    drawn = tuple(
        BlindArea(
            Side.RIGHT,
            tuple(
                FieldPosition(float(match["meridian"]), float(match["reach"]))
                for match in _CORNER.finditer(area)
            ),
        )
        for area in areas
    )
    as_right = HandDrawnField(drawn_from_extents(Side.RIGHT, extents).outline, drawn)
    return as_right if eye is Side.RIGHT else as_right.mirrored()


def drawn_field_in(found: Found, eye: Side) -> tuple[HandDrawnField, str] | None:
    """Read a field drawn by hand, while what it showed of the quadrants still stands.

    Parameters
    ----------
    found : mapping of (str, Side or None) to Finding
        Findings that stand.
    eye : Side

    Returns
    -------
    HandDrawnField, str
        The field and how it was tested; None when none was drawn, or when a quadrant was
        recorded otherwise since.
    """
    first = found.get((_QUADRANT_TESTS[0], eye))
    if first is None or not first.comment or first.technique not in TECHNIQUES:
        return None
    try:
        field = _read_words(eye, first.comment)
    except BadInput:
        return None  # a comment that was edited by hand is words, no longer a drawing
    if field is None:
        return None
    for one in drawn_field_findings(field, first.technique):
        stands = found.get((one.test, eye))
        if one.test in _QUADRANT_TESTS and (stands is None or stands.response != one.response):
            return None
    return field, first.technique
