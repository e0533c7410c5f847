"""The thresholds of an audiogram in words, kept as the comment of its finding."""

from __future__ import annotations

from decussate.measures.audiogram import Audiogram

__all__ = ["levels_in_words"]


def levels_in_words(audiogram: Audiogram) -> str:
    """Return every threshold in words that the chart of the pages reads back.

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
