"""Cells of a CSV file that no spreadsheet takes for a formula.

References
----------
OWASP, "CSV Injection": a cell that begins with one of ``= + - @``, a tab, a carriage return or a
line feed, or the wide form of one of these signs, may be run as a formula; a quotation mark before
it keeps it text. RFC 4180 (form of a CSV file).
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable

__all__ = ["Cell", "csv_line", "safe_cell"]

Cell = str | int | float | None
"""What a cell may hold; None is an empty cell."""

_FORMULA = re.compile(r"\s*[=+\-@\t\r\n＝＋－＠]")
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?([eE][+-]?\d+)?")


def safe_cell(value: Cell) -> str | int | float:
    """Return what to write in a cell.

    Parameters
    ----------
    value : str, int, float or None
        Text is kept as it is unless it could be a formula; then an apostrophe stands before it. A
        number stays a number, below zero too, also when it comes as text.

    Returns
    -------
    str, int or float
    """
    if value is None:
        return ""
    if isinstance(value, str) and _FORMULA.match(value) and not _NUMBER.fullmatch(value):
        return f"'{value}"
    return value


def csv_line(cells: Iterable[Cell]) -> str:
    """Return one line of a CSV file, with its end.

    Parameters
    ----------
    cells : iterable of str, int, float or None

    Returns
    -------
    str
    """
    out = io.StringIO()
    # The writer quotes the signs of its own line end: a bare carriage return would end a line.
    csv.writer(out, lineterminator="\r\n").writerow([safe_cell(cell) for cell in cells])
    return out.getvalue()
