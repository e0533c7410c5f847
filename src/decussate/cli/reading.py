"""Reading the FILE of a subcommand: JSON or shorthand, from a path or standard input."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decussate.errors import BadInput

if TYPE_CHECKING:
    from decussate.examination.document import Examination

__all__ = ["file_argument", "read_file", "read_file_problems"]

file_argument = click.argument("file", metavar="FILE")
"""One examination; ``-`` for standard input."""


def read_file(file: str) -> Examination:
    """Read one examination.

    Parameters
    ----------
    file : str
        Path of a JSON document or of shorthand, or ``-`` for standard input.

    Returns
    -------
    Examination
        From shorthand, with whatever was not understood kept in ``unread``.

    Raises
    ------
    BadInput
        If the file cannot be read, or a JSON document has a problem.
    """
    text = _text(file)
    if _is_json(file, text):
        from decussate.examination.record import read_examination

        return read_examination(text if file == "-" else Path(file))
    return _from_shorthand(file, text)


def read_file_problems(file: str) -> tuple[Examination | None, tuple[str, ...]]:
    """Read one examination and describe every problem in it, each with its position.

    Parameters
    ----------
    file : str
        As for `read_file`.

    Returns
    -------
    Examination or None
        None when it could not be built at all.
    tuple of str
        One sentence a problem.
    """
    from decussate.examination.catalogue import load_catalogue
    from decussate.examination.record import check_findings, examine_document

    examination: Examination | None
    text = _text(file)
    if _is_json(file, text):
        examination, problems = examine_document(text if file == "-" else Path(file))
        found = tuple(problem.sentence for problem in problems)
    else:
        examination = _from_shorthand(file, text)
        found = tuple(problem.sentence for problem in check_findings(examination, load_catalogue()))
    unread = examination.unread if examination else ()
    return examination, found + tuple(
        BadInput(
            "text",
            piece.text,
            "something that can be read",
            hint=piece.reason,
            where=f"{_name(file)}, line {piece.line}, column {piece.column}",
        ).sentence
        for piece in unread
    )


def _from_shorthand(file: str, text: str) -> Examination:
    from decussate.examination.shorthand import read_shorthand

    try:
        return read_shorthand(text).examination(Path(_name(file)).stem)
    except BadInput as error:
        raise BadInput(
            error.field,
            error.found,
            error.expected,
            hint=error.hint,
            where=", ".join(part for part in (_name(file), error.where) if part),
        ) from error


def _name(file: str) -> str:
    return "standard input" if file == "-" else file


def _is_json(file: str, text: str) -> bool:
    return file.endswith(".json") or text.lstrip().startswith("{")


def _text(file: str) -> str:
    try:
        raw = sys.stdin.buffer.read() if file == "-" else Path(file).read_bytes()
    except OSError as error:
        raise BadInput(
            "file", file, "a file that can be read", hint=f"{error.strerror}."
        ) from error
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        hint = f"Byte {error.start + 1} is not UTF-8: save the file as UTF-8."
        raise BadInput("file", _name(file), "text in UTF-8", hint=hint) from error
