"""Printing results and writing them to files; a terminal shows words of others, and obeys none."""

from __future__ import annotations

import json
import unicodedata
from dataclasses import asdict, is_dataclass
from pathlib import Path

import click

from decussate.errors import BadInput

__all__ = ["print_json", "visible", "write_file"]


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


def write_file(file: Path, content: bytes) -> None:
    """Write a result to a file.

    Parameters
    ----------
    file : Path
        Overwritten when it is there.
    content : bytes
        The result.

    Raises
    ------
    BadInput
        If it cannot be written.
    """
    try:
        file.write_bytes(content)
    except OSError as problem:
        hint = f"{problem.strerror}."
        raise BadInput("file", str(file), "a place that can be written", hint=hint) from None
