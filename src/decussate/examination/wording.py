"""One finding in words, with the side always written out."""

from __future__ import annotations

from decussate.examination.catalogue import Test
from decussate.examination.checking import AS_WRITTEN
from decussate.examination.document import ABNORMAL, COULD_NOT_BE_TESTED, Finding

__all__ = [
    "RECORDED_TOGETHER",
    "finding_in_words",
    "measurement_in_words",
    "name_in_words",
    "response_in_words",
]

RECORDED_TOGETHER = "recorded together"
"""Technique of a finding that one touch recorded as normal with others of its part."""


_SILENT = ("1", AS_WRITTEN)
"""Units that are not read out: a plain number, and text that carries its own."""


def finding_in_words(finding: Finding, test: Test) -> str:
    """Say a finding in words.

    Parameters
    ----------
    finding : Finding
        As recorded.
    test : Test
        The test it answers.

    Returns
    -------
    str
        ``"right direct light reaction: no reaction"``.
    """
    side = f"{finding.side} " if finding.side else ""
    return f"{side}{name_in_words(test)}: {response_in_words(finding, test)}"


def response_in_words(finding: Finding, test: Test) -> str:
    """Say the response alone, with its measurement; a test that failed gives its reason."""
    if finding.response == COULD_NOT_BE_TESTED:
        return f"could not be tested ({finding.reason})"
    if finding.response == ABNORMAL:
        words = "abnormal, grade not stated"
    else:
        words = test.responses[finding.response].label
    return words + measurement_in_words(finding)


def measurement_in_words(finding: Finding) -> str:
    """Say the measurement in brackets, after a space; nothing when there is none."""
    if finding.measurement is None:
        return ""
    value, unit = finding.measurement.value, finding.measurement.unit
    shown = f"{value:g}" if isinstance(value, float) else value
    if unit in _SILENT:
        return f" ({shown})"
    # A grade is named first, as it is spoken: grade −3, MRC grade 4.
    words = (unit, shown) if unit.endswith("grade") else (shown, unit)
    return f" ({' '.join(words).replace('grade -', 'grade −')})"


def name_in_words(test: Test) -> str:
    """Name a test within a sentence: lower first letter, unless an abbreviation or numeral."""
    name = test.name
    return name[:1].lower() + name[1:] if name[1:2].islower() else name
