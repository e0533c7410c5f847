"""Visual field as findings: quadrants, red, the centre, the split of fixation, the blind spot."""

from __future__ import annotations

from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Finding
from decussate.measures.as_findings.writing import measured, stated, within_scale
from decussate.measures.field_pattern import EyePattern
from decussate.measures.field_pattern_both import BothKind, FieldPattern
from decussate.measures.field_pattern_rules import PatternKind
from decussate.measures.visual_field_confrontation import RedDesaturation
from decussate.measures.visual_field_directions import FieldDirection, Quadrant
from decussate.measures.visual_field_outline import FieldOutline
from decussate.measures.visual_field_scotoma import (
    Scotoma,
    ScotomaKind,
    blind_spot_norms,
    blind_spot_report,
    scotoma_kind,
)

__all__ = [
    "eye_pattern_findings",
    "field_outline_findings",
    "field_pattern_findings",
    "red_desaturation_findings",
    "scotoma_findings",
]

_DIAGONAL = {
    Quadrant.UPPER_TEMPORAL: FieldDirection.UP_TEMPORAL,
    Quadrant.LOWER_TEMPORAL: FieldDirection.DOWN_TEMPORAL,
    Quadrant.UPPER_NASAL: FieldDirection.UP_NASAL,
    Quadrant.LOWER_NASAL: FieldDirection.DOWN_NASAL,
}
_CENTRAL = (PatternKind.CENTRAL, PatternKind.CENTROCAECAL, PatternKind.TOTAL)


def field_outline_findings(patient: FieldOutline, examiner: FieldOutline) -> tuple[Finding, ...]:
    """Write the extent of each quadrant as a share of the examiner's own field.

    Parameters
    ----------
    patient, examiner : FieldOutline
        Each owner's field as the owner sees it, of the same eye (`FieldOutline.mirrored` turns
        the examiner's other eye, the one used face to face, into it).

    Returns
    -------
    tuple of Finding
        ``peripheral_*`` along the four diagonals, whole percent of the examiner, by the
        catalogue's bands.
    """
    found = []
    for quadrant, direction in _DIAGONAL.items():
        test = f"peripheral_{quadrant}"
        percent = round(100.0 * patient.extent(direction) / examiner.extent(direction))
        found.append(
            measured(test, within_scale(test, percent), patient.eye, technique=patient.technique)
        )
    return tuple(found)


def eye_pattern_findings(
    pattern: EyePattern, *, technique: str | None = None
) -> tuple[Finding, ...]:
    """Write the loss in each quadrant of one eye, and its centre.

    Parameters
    ----------
    pattern : EyePattern
        From `classify_eye`.
    technique : str, optional
        How the field was tested: perimetry, red pin ...

    Returns
    -------
    tuple of Finding
        ``peripheral_*``: the share of the quadrant still seen, judged by the bands of the
        catalogue. The share is of area, the catalogue's measurement of extent, so it stands in
        the comment. ``red_pin_centre`` present for a central or centrocaecal scotoma or a field
        wholly lost; not written for a loss that splits fixation, where the centre is half lost.
    """
    found = []
    for quadrant, loss in pattern.quadrant_loss.items():
        test = load_catalogue().test(f"peripheral_{quadrant}")
        percent = 100.0 * (1.0 - loss)
        response = test.measurement.response_for(percent) if test.measurement else None
        if response is not None:
            comment = f"{percent:.0f} percent of the quadrant seen"
            found.append(
                stated(test.id, response, pattern.eye, technique=technique, comment=comment)
            )
    if pattern.kind in _CENTRAL:
        found.append(stated("red_pin_centre", "present", pattern.eye, technique=technique))
    elif pattern.central_loss == 0.0:
        found.append(stated("red_pin_centre", "normal", pattern.eye, technique=technique))
    return tuple(found)


def field_pattern_findings(
    pattern: FieldPattern, *, technique: str | None = None
) -> tuple[Finding, ...]:
    """Write the fields of both eyes, and whether fixation is split.

    Parameters
    ----------
    pattern : FieldPattern
        From `classify_fields`.
    technique : str, optional

    Returns
    -------
    tuple of Finding
        Those of each eye; ``face_half_seen`` names the lost side of a homonymous loss that splits
        fixation in both eyes, ``normal`` where both spare the macula, and is left out where that
        cannot be judged.
    """
    found = [
        *eye_pattern_findings(pattern.right, technique=technique),
        *eye_pattern_findings(pattern.left, technique=technique),
    ]
    if pattern.kind is BothKind.NORMAL:
        found.append(stated("face_half_seen", "normal", technique=technique))
    elif pattern.kind is BothKind.HOMONYMOUS and pattern.side is not None:
        spared = {eye.sparing.present for eye in (pattern.right, pattern.left) if eye.sparing}
        if spared == {False}:
            found.append(stated("face_half_seen", pattern.side.value, technique=technique))
        elif spared == {True}:
            found.append(stated("face_half_seen", "normal", technique=technique))
    return tuple(found)


def red_desaturation_findings(red: RedDesaturation) -> tuple[Finding, ...]:
    """Write how red each quadrant is, percent of the best.

    Parameters
    ----------
    red : RedDesaturation

    Returns
    -------
    tuple of Finding
        ``red_pin_*`` by the bands of the catalogue, with the percentage.
    """
    return tuple(
        measured(f"red_pin_{quadrant}", percent, red.eye)
        for quadrant, percent in red.percent.items()
    )


def scotoma_findings(scotoma: Scotoma) -> tuple[Finding, ...]:
    """Write a scotoma mapped with a pin.

    Parameters
    ----------
    scotoma : Scotoma

    Returns
    -------
    tuple of Finding
        Covering fixation: ``red_pin_centre`` present, and ``blind_spot`` joined when it reaches
        the blind spot. At the blind spot: ``blind_spot`` with its width, enlarged above the
        published limits. Elsewhere none: no bedside test of the catalogue asks for it.
    """
    kind = scotoma_kind(scotoma)
    found = []
    if kind in (ScotomaKind.CENTRAL, ScotomaKind.CENTROCAECAL):
        found.append(stated("red_pin_centre", "present", scotoma.eye))
    if kind is ScotomaKind.CENTROCAECAL:
        found.append(stated("blind_spot", "joined", scotoma.eye))
    if kind is ScotomaKind.BLIND_SPOT:
        report, norms = blind_spot_report(scotoma), blind_spot_norms()
        large = (
            scotoma.width_deg > norms["width_limit_deg"]["high"]
            or scotoma.height_deg > norms["height_limit_deg"]["high"]
        )
        found.append(
            stated(
                "blind_spot",
                "enlarged" if large else "normal",
                scotoma.eye,
                value=within_scale("blind_spot", scotoma.width_deg),
                comment="; ".join(report.remarks),
            )
        )
    return tuple(found)
