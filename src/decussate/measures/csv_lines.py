"""The lines of a CSV text, none of them longer than a table can have."""

from __future__ import annotations

from decussate.errors import BadInput

__all__ = ["csv_lines"]

LONGEST_LINE = 2000
"""Characters; a row of either table has fewer than 100 (judgement)."""


def csv_lines(text: str, where: str) -> list[str]:
    """Split a CSV text into lines.

    Parameters
    ----------
    text : str
        With or without a byte order mark.
    where : str
        Name of the file, for the error.

    Returns
    -------
    list of str

    Raises
    ------
    BadInput
        For a line longer than a row can be, which the reader of the cells would break on.
    """
    lines = text.removeprefix("\ufeff").splitlines()
    for number, line in enumerate(lines, 1):
        if len(line) > LONGEST_LINE:
            raise BadInput(
                "line",
                line,
                f"at most {LONGEST_LINE} characters",
                hint="Is this the CSV file, with one row a line?",
                where=f"{where}, line {number}",
            )
    return lines
