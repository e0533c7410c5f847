"""Distance acuity in the notation this browser was told to show, and to read."""

from __future__ import annotations

import re
from collections.abc import Mapping

from decussate.examination.bedside_test import Test
from decussate.measures import acuity_notation
from decussate.measures.distance_acuity import Notation
from decussate.web.settings import Settings

__all__ = ["ACUITY_EXAMPLES", "acuity_as_written", "is_acuity", "notated"]

ACUITY_EXAMPLES: Mapping[str, str] = {
    "written": "6/9",
    "metres": "6/9",
    "feet": "20/30",
    "decimal": "0.7",
    "logmar": "0.2",
}


def notated(test: Test, written: str, settings: Settings | None) -> str:
    """Return an acuity in the notation wanted, with what was written where that differs."""
    if not is_acuity(test) or settings is None or settings.acuity == "written":
        return written
    notation = Notation[settings.acuity.upper()]
    shown = acuity_notation.write(acuity_notation.parse(written), notation)
    return written if shown == written else f"{shown} (written {written})"


def is_acuity(test: Test) -> bool:
    """Whether a test is answered with a distance acuity."""
    scale = test.measurement
    return scale is not None and scale.kind == "text" and scale.unit == "logMAR"


def acuity_as_written(test: Test, typed: str, settings: Settings) -> str:
    """Return a typed acuity with its notation: a bare number means the one the settings name.

    Parameters
    ----------
    test : Test
        The test it was typed for.
    typed : str
        Such as ``6/9``, or ``0.5`` where the settings say decimal or logMAR.
    settings : Settings
        How this browser shows things.

    Returns
    -------
    str
        Unchanged unless it was a bare number for a test of acuity.
    """
    notation = {"decimal": "decimal", "logmar": "logMAR"}.get(settings.acuity)
    if notation and is_acuity(test) and re.fullmatch(r"-?\d*[.,]?\d+", typed):
        return f"{notation} {typed}"
    return typed
