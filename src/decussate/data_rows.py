"""Rows of the YAML data files, each knowing the file and line it came from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib.resources.abc import Traversable
from typing import Any

import yaml
from yaml import CSafeLoader

from decussate.errors import BadInput

__all__ = ["Row", "read_rows"]


class Row(Mapping[str, Any]):
    """One row of a data file: its fields, and where it stands.

    Parameters
    ----------
    fields : dict
        Field name to value.
    where : str
        File and line, for messages (``"signs.yaml, line 12 (ptosis)"``).
    """

    def __init__(self, fields: dict[str, Any], where: str) -> None:
        self._fields = fields
        self.where = where

    def __getitem__(self, key: str) -> Any:  # noqa: ANN401 (a data file may hold anything)
        if key not in self._fields:
            raise BadInput(key, "nothing", "a value for this field", where=self.where)
        return self._fields[key]

    def __contains__(self, key: object) -> bool:
        return key in self._fields

    def __iter__(self) -> Iterator[str]:
        return iter(self._fields)

    def __len__(self) -> int:
        return len(self._fields)

    def get(self, key: str, default: Any = None) -> Any:  # noqa: ANN401
        """Return a field, or the default where the row does not give it."""
        return self._fields.get(key, default)

    def only(self, *allowed: str) -> None:
        """Refuse a field that nobody reads.

        Raises
        ------
        BadInput
            If the row has a field that is not among `allowed`.
        """
        for key in self._fields:
            if key not in allowed:
                raise BadInput(
                    "field name", key, "one of " + ", ".join(sorted(allowed)), where=self.where
                )

    def one_of(self, key: str, allowed: tuple[str, ...], default: str | None = None) -> str:
        """Return a field that must be one of the allowed words.

        Raises
        ------
        BadInput
            If it is something else.
        """
        value = self[key] if default is None else self.get(key, default)
        if value not in allowed:
            raise BadInput(key, value, "one of " + ", ".join(allowed), where=self.where)
        return str(value)

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        """Return a field that must be a number within limits.

        Raises
        ------
        BadInput
            If it is not a number, or outside the limits.
        """
        value = self[key] if default is None else self.get(key, default)
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not low <= value <= high
        ):
            raise BadInput(key, value, f"a number from {low:g} to {high:g}", where=self.where)
        return float(value)


def read_rows(file: Traversable) -> list[Row]:
    """Read a YAML file that holds a list of rows, each with an ``id`` of its own.

    Parameters
    ----------
    file : Traversable
        The file (a `pathlib.Path` will do).

    Returns
    -------
    list of Row
        In the order of the file.

    Raises
    ------
    BadInput
        If the file is not YAML, not a list of mappings, or repeats an ``id``.
    """
    loader = CSafeLoader(file.read_text(encoding="utf-8"))
    try:
        top = loader.get_single_node()
        if not isinstance(top, yaml.SequenceNode):
            raise BadInput("file", "something else", "a list of rows", where=file.name)
        rows = []
        seen: dict[str, str] = {}
        for node in top.value:
            place = f"{file.name}, line {node.start_mark.line + 1}"
            fields = loader.construct_object(node, deep=True)
            if not isinstance(fields, dict) or not isinstance(fields.get("id"), str):
                raise BadInput("row", fields, "fields with an id", where=place)
            name = fields["id"]
            place = f"{place} ({name})"
            if name in seen:
                raise BadInput("id", name, f"an id not yet used ({seen[name]})", where=place)
            seen[name] = place
            rows.append(Row(fields, place))
    except yaml.YAMLError as problem:
        mark = getattr(problem, "problem_mark", None)
        line = f", line {mark.line + 1}" if mark else ""
        found = getattr(problem, "problem", None) or str(problem)
        raise BadInput("file", found, "valid YAML", where=f"{file.name}{line}") from problem
    finally:
        loader.dispose()
    return rows
