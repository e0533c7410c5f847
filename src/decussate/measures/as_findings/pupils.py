"""Pupils as findings: size, difference in light and dark, reactions, afferent defect, near."""

from __future__ import annotations

from math import isinf

from decussate.examination.record import Finding
from decussate.measures.as_findings.writing import (
    graded,
    measured,
    response_to,
    stated,
    within_scale,
)
from decussate.measures.pupil_reactions import (
    LightReactions,
    Reaction,
    SwingingLight,
    near_dissociation,
)
from decussate.measures.pupils import AfferentDefect, AnisocoriaPattern, PupilSizes, anisocoria
from decussate.sides import Side

__all__ = [
    "afferent_defect_findings",
    "pupil_reaction_findings",
    "pupil_size_findings",
    "swinging_light_findings",
]


def pupil_size_findings(light: PupilSizes, dark: PupilSizes) -> tuple[Finding, ...]:
    """Write the sizes of the pupils and how they differ.

    Parameters
    ----------
    light, dark : PupilSizes
        In bright room light and in the dark, mm.

    Returns
    -------
    tuple of Finding
        Size of each pupil in each light by the bands of the catalogue; ``pupil_comparison`` in the
        light where they differ more, ``normal`` within the physiological limit of `anisocoria`;
        ``pupil_comparison_by_light`` by its pattern, however small the difference.

    Raises
    ------
    BadInput
        If light and dark were exchanged, or a size is impossible.
    """
    found = [
        measured(test, sizes.of(side), side)
        for test, sizes in (("pupil_size_light", light), ("pupil_size_dark", dark))
        for side in Side
    ]
    read = anisocoria(light, dark)
    difference = max((read.light_mm, read.dark_mm), key=abs)
    larger = Side.RIGHT if difference > 0 else Side.LEFT
    response = "normal" if read.within_physiological_limit else larger.value
    found.append(stated("pupil_comparison", response, value=abs(difference)))
    if read.pattern is AnisocoriaPattern.REVERSES:
        by_light = _more_unequal(read.light_mm, read.dark_mm)
        comment = "the larger pupil in light is the smaller in the dark"
    else:
        by_light, comment = response_to("anisocoria", read.pattern), None
    found.append(stated("pupil_comparison_by_light", by_light, comment=comment))
    return tuple(found)


def _more_unequal(light_mm: float, dark_mm: float) -> str:
    """Name the light in which pupils that change places differ more."""
    if abs(light_mm) == abs(dark_mm):
        return "normal"
    return "light" if abs(light_mm) > abs(dark_mm) else "dark"


def pupil_reaction_findings(
    light: LightReactions,
    *,
    near_right: Reaction | None = None,
    near_left: Reaction | None = None,
) -> tuple[Finding, ...]:
    """Write the reactions to light and near; what was not tested is left out.

    Parameters
    ----------
    light : LightReactions
    near_right, near_left : Reaction, optional

    Returns
    -------
    tuple of Finding
        ``light_direct``; ``light_consensual`` under the pupil watched; ``near_response``;
        ``light_near_comparison``.
    """
    found = []
    for test, lit in (("light_direct", False), ("light_consensual", True)):
        for pupil in Side:
            seen = light.of(pupil, light=pupil.other if lit else pupil)
            if seen is not None:
                found.append(graded(test, "pupil reaction", seen, pupil))
    dissociated = near_dissociation(light, near_right=near_right, near_left=near_left).sides
    for pupil, near in ((Side.RIGHT, near_right), (Side.LEFT, near_left)):
        if near is None:
            continue
        found.append(graded("near_response", "pupil reaction", near, pupil))
        if light.best(pupil) is not None:
            better = "present" if pupil in dissociated else "normal"
            found.append(stated("light_near_comparison", better, pupil))
    return tuple(found)


def swinging_light_findings(seen: SwingingLight) -> tuple[Finding, ...]:
    """Write which eye has the relative afferent defect.

    Parameters
    ----------
    seen : SwingingLight

    Returns
    -------
    tuple of Finding
        ``swinging_light``.
    """
    technique = "reverse: the sound side's pupil watched throughout" if seen.reverse else None
    response = seen.defect.value if seen.defect else "normal"
    return (stated("swinging_light", response, technique=technique),)


def afferent_defect_findings(defect: AfferentDefect) -> tuple[Finding, ...]:
    """Write a relative afferent defect with its size.

    Parameters
    ----------
    defect : AfferentDefect

    Returns
    -------
    tuple of Finding
        ``swinging_light``, ``normal`` when no larger than healthy people have. The size is kept
        as a measurement when it is one value, otherwise as a range in the comment.
    """
    low, high = defect.low_log_units, defect.high_log_units
    known = low == high and not isinf(high) and within_scale("swinging_light", low) == low
    words = f"{low:g} log units or more" if isinf(high) else f"{low:g} to {high:g} log units"
    healthy = "no larger than seen in healthy people" if defect.within_healthy_range else ""
    comment = "; ".join(part for part in ("" if known else words, healthy) if part)
    return (
        stated(
            "swinging_light",
            "normal" if defect.within_healthy_range else defect.side.value,
            value=low if known else None,
            technique=defect.method,
            comment=comment,
        ),
    )
