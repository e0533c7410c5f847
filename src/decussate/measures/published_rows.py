"""The knowledge tables of this room: YAML rows, each with its source.

A file holds ``tables`` (name to rows). Every row names a source of the bibliography, or says
``common practice``, ``judgement`` or ``from memory``; a row that does neither is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import yaml

from decussate.bibliography import check_source, cite
from decussate.errors import BadInput

__all__ = ["MARKS", "PublishedRow", "read_tables", "row_named"]

MARKS = ("", "unconfirmed", "from memory", "secondary")


@dataclass(frozen=True, slots=True)
class PublishedRow:
    """One row of a knowledge table.

    Parameters
    ----------
    values : Mapping
        The columns of the row.
    source : str
        Key of the bibliography, or ``common practice``, ``judgement`` or ``from memory``.
    citation : str
        The source in full.
    mark : str
        How far it was checked: empty when the figure was seen in the source.
    """

    values: Mapping[str, Any]
    source: str
    citation: str
    mark: str = ""

    def __getitem__(self, column: str) -> Any:  # noqa: ANN401
        return self.values[column]

    def get(self, column: str) -> Any:  # noqa: ANN401
        """Give a column that the row may leave out, or None."""
        return self.values.get(column)


@cache
def read_tables(file_name: str) -> dict[str, tuple[PublishedRow, ...]]:
    """Read one knowledge file of this room.

    Parameters
    ----------
    file_name : str
        Name inside ``measures/data`` (``"pupils.yaml"``).

    Returns
    -------
    dict of str to tuple of PublishedRow

    Raises
    ------
    BadInput
        When a row has no known source or an unknown mark.
    """
    text = files("decussate.measures").joinpath("data", file_name).read_text(encoding="utf-8")
    return check_tables(yaml.safe_load(text), file_name)


def check_tables(content: Any, where: str) -> dict[str, tuple[PublishedRow, ...]]:  # noqa: ANN401
    """Check the content of a knowledge file and attach the full citation to each row.

    Parameters
    ----------
    content : mapping
        With ``tables``.
    where : str
        File name, for the error.

    Returns
    -------
    dict of str to tuple of PublishedRow

    Raises
    ------
    BadInput
        When a row has no known source or an unknown mark.
    """
    tables: dict[str, tuple[PublishedRow, ...]] = {}
    for table, rows in content["tables"].items():
        checked = []
        for number, row in enumerate(rows, start=1):
            place = f"{where}, {table}, row {number}"
            source, mark = check_source(row.get("source", ""), place), row.get("mark", "")
            if mark not in MARKS:
                raise BadInput("mark", mark, f"one of {MARKS}", where=place)
            values = {k: v for k, v in row.items() if k not in ("source", "mark")}
            checked.append(PublishedRow(values, source, cite(source), mark))
        tables[table] = tuple(checked)
    return tables


def row_named(rows: tuple[PublishedRow, ...], name: str, field: str) -> PublishedRow:
    """Find the row of a table whose ``name`` column is ``name``.

    Parameters
    ----------
    rows : tuple of PublishedRow
    name : str
    field : str
        What is being chosen, for the error (``"substitution table"``).

    Returns
    -------
    PublishedRow

    Raises
    ------
    BadInput
        When no row has that name.
    """
    for row in rows:
        if row["name"] == name:
            return row
    raise BadInput(field, name, "one of " + "; ".join(str(row["name"]) for row in rows))
