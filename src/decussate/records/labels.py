"""The words that name a patient on a list: a name, a bed, a birth date."""

from __future__ import annotations

import unicodedata

from decussate.errors import BadInput

__all__ = ["LONGEST_LABEL", "checked_label"]

LONGEST_LABEL = 500
"""Letters; as many as the document of an examination holds."""


def checked_label(label: str) -> str:
    """Return a label with single spaces, as it is kept.

    Parameters
    ----------
    label : str
        As typed or imported.

    Returns
    -------
    str

    Raises
    ------
    BadInput
        If it is empty, too long, or has control characters, which a list or a terminal would obey.
    """
    label = " ".join(label.split())
    if not label:
        raise BadInput("patient", label, "a name or a bed, so that the list can be read")
    if len(label) > LONGEST_LABEL:
        raise BadInput("patient", f"{len(label)} letters", f"at most {LONGEST_LABEL}")
    if any(unicodedata.category(letter) in ("Cc", "Cs") for letter in label):
        raise BadInput("patient", label, "letters, without control characters")
    return label
