"""Tables made by an audiometer or a perimeter (CSV) as findings."""

from __future__ import annotations

from decussate.errors import BadInput
from decussate.examination.record import Finding
from decussate.measures.as_findings.hearing import audiogram_findings
from decussate.measures.as_findings.visual_field import eye_pattern_findings
from decussate.measures.audiogram import Audiogram, audiogram_from_csv
from decussate.measures.audiogram_words import levels_in_words
from decussate.measures.field_pattern import classify_eye
from decussate.measures.visual_field_map import map_from_points
from decussate.measures.visual_field_points import read_perimetry_csv
from decussate.sides import Side

__all__ = ["audiogram_entry_findings", "audiogram_table_findings", "perimetry_table_findings"]


def audiogram_entry_findings(audiogram: Audiogram) -> tuple[Finding, ...]:
    """Write an audiogram as findings that hold its thresholds too.

    Parameters
    ----------
    audiogram : Audiogram

    Returns
    -------
    tuple of Finding
        Those of `audiogram_findings`; the comment of the first names every threshold.

    Raises
    ------
    BadInput
        If no average can be taken of either ear.
    """
    findings = audiogram_findings(audiogram)
    if not findings:
        raise BadInput(
            "audiogram",
            f"{len(audiogram.thresholds)} thresholds",
            "air conduction at 500, 1000, 2000 and 4000 Hz of one ear at least",
            hint="The average and the kind of loss are taken from these four.",
        )
    first = findings[0]
    comment = "; ".join(filter(None, (first.comment, levels_in_words(audiogram))))
    return (first.model_copy(update={"comment": comment}), *findings[1:])


def audiogram_table_findings(text: str) -> tuple[Finding, ...]:
    """Read an audiogram table and write its findings.

    Parameters
    ----------
    text : str
        As `audiogram_from_csv` takes it.

    Returns
    -------
    tuple of Finding

    Raises
    ------
    BadInput
        If the table has a fault, or no average can be taken of either ear.
    """
    return audiogram_entry_findings(audiogram_from_csv(text))


def perimetry_table_findings(text: str, eye: Side) -> tuple[Finding, ...]:
    """Read a perimetry table of one eye and write its findings.

    Parameters
    ----------
    text : str
        As `read_perimetry_csv` takes it.
    eye : Side
        The eye tested.

    Returns
    -------
    tuple of Finding
        Those of `eye_pattern_findings`, with perimetry as their technique.

    Raises
    ------
    BadInput
        If the table has a fault, is of the other eye, or has too few points to name a pattern.
    """
    pattern = classify_eye(map_from_points(eye, read_perimetry_csv(eye, text)))
    findings = eye_pattern_findings(pattern, technique="perimetry")
    if not findings:
        raise BadInput("perimetry", "no pattern that can be named", "points in every quadrant")
    return findings
