"""Printing results as JSON, and words of others so that a terminal shows and does not obey them."""

from __future__ import annotations

import json
import unicodedata
from dataclasses import asdict, is_dataclass

import click

__all__ = ["print_json", "visible"]


def print_json(value: object) -> None:
    """Print a value, dataclasses within it as objects, as indented JSON."""
    click.echo(json.dumps(value, default=_plain, indent=2, ensure_ascii=False))


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    raise TypeError(f"{type(value).__name__} has no JSON form")


def visible(text: str) -> str:
    """Return a line of text with a mark for every control character.

    Parameters
    ----------
    text : str
        From the records, where an import or a browser may have put anything.

    Returns
    -------
    str
        Without what moves the cursor, changes colours or names a window (CWE-150).
    """
    return "".join("\ufffd" if unicodedata.category(one) == "Cc" else one for one in text)
