"""The thresholds of an audiogram in words, kept as the comment of its finding, and read back."""

from __future__ import annotations

import re

from decussate.measures.audiogram import Audiogram, Conduction, Threshold
from decussate.sides import Side

__all__ = ["levels_in_words", "levels_read"]

_WRITTEN = re.compile(
    r"(?P<ear>right|left) (?P<conduction>air|bone) (?P<hz>\d{1,5}) Hz"
    r" (?P<level>-?\d{1,3}(?:\.\d{1,3})?)(?P<masked> masked)?(?P<silent> not heard)?"
)


def levels_in_words(audiogram: Audiogram) -> str:
    """Return every threshold in words that `levels_read` reads back.

    Parameters
    ----------
    audiogram : Audiogram

    Returns
    -------
    str
    """
    return "Thresholds, dB HL: " + "; ".join(
        f"{t.side} {t.conduction} {t.frequency_hz} Hz {t.level_db_hl:g}"
        + (" masked" if t.masked else "")
        + (" not heard" if t.no_response else "")
        for t in audiogram.thresholds
    )


def levels_read(words: str) -> tuple[Threshold, ...]:
    """Return the thresholds that were written into a text.

    Parameters
    ----------
    words : str
        Any text, such as the comments of a record.

    Returns
    -------
    tuple of Threshold
        In the order written; empty where there are none.

    Raises
    ------
    BadInput
        For a frequency or a level that no audiometer has.
    """
    return tuple(
        Threshold(
            Side(match["ear"]),
            int(match["hz"]),
            Conduction(match["conduction"]),
            float(match["level"]),
            match["masked"] is not None,
            match["silent"] is not None,
        )
        for match in _WRITTEN.finditer(words)
    )
