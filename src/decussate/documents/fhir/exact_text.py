"""Text that survives FHIR word for word, whatever was typed.

A FHIR string may not be empty, may hold no control character, and may lose white space at its ends
on the way. Where that would change the text, the string holds what may be shown and an extension
beside it holds the text itself.
"""

from __future__ import annotations

import base64
import re

from decussate.documents.fhir.codes import Element, extension_url

__all__ = ["EMPTY_TEXT", "EXACT_TEXT", "put_text", "shown_text"]

EXACT_TEXT = extension_url("exact-text")
EMPTY_TEXT = extension_url("empty-text")
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"

_FORBIDDEN = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ufeff\ufffe\uffff]|(?![ \t\r\n])\s")


def put_text(element: Element, key: str, text: str) -> Element:
    """Put a text into an element, word for word.

    Parameters
    ----------
    element : dict
        Changed in place.
    key : str
        Name of a string or markdown of the element.
    text : str

    Returns
    -------
    dict
        The element.
    """
    shown = shown_text(text)
    if shown:
        element[key] = shown
    if not text or shown != text:
        exact = base64.b64encode(text.encode("utf-8")).decode("ascii")
        # FHIR has no empty value of any type, so an empty text needs an extension of its own.
        kept = {"url": EXACT_TEXT, "valueBase64Binary": exact}
        empty = {"url": EMPTY_TEXT, "valueBoolean": True}
        element[f"_{key}"] = {"extension": [kept if exact else empty]}
    return element


def shown_text(text: str) -> str:
    """Return a text as a FHIR string may hold it: no control character, no blank ends.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        A text of which nothing can be shown becomes a replacement mark; an empty one stays empty.
    """
    return _FORBIDDEN.sub(" ", text).strip() or (REPLACEMENT if text else "")
