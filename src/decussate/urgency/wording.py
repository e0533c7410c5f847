"""One finding in words, with the side always written out."""

from __future__ import annotations

from decussate.examination.catalogue import Test
from decussate.examination.document import ABNORMAL, COULD_NOT_BE_TESTED, Finding

__all__ = ["finding_in_words", "response_in_words", "test_in_words"]


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
        ``"direct light reaction, right: no reaction"``.
    """
    side = f", {finding.side}" if finding.side else ""
    return f"{test_in_words(test)}{side}: {response_in_words(finding, test)}"


def response_in_words(finding: Finding, test: Test) -> str:
    """Say the response alone, with its measurement; a test that failed gives its reason."""
    if finding.response == COULD_NOT_BE_TESTED:
        return f"could not be tested ({finding.reason})"
    if finding.response == ABNORMAL:
        words = "abnormal, grade not stated"
    else:
        words = test.responses[finding.response].label
    if finding.measurement is not None:
        value, unit = finding.measurement.value, finding.measurement.unit
        shown = f"{value:g}" if isinstance(value, float) else value
        words += f" ({shown} {unit})" if unit != "1" else f" ({shown})"
    return words


def test_in_words(test: Test) -> str:
    """Name a test within a sentence: lower first letter, unless an abbreviation or numeral."""
    name = test.name
    return name[:1].lower() + name[1:] if name[1:2].islower() else name
