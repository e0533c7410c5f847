"""Structures: the named pieces of anatomy, each on the right, the left or the midline."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib.resources.abc import Traversable

from decussate.bibliography import check_source
from decussate.errors import BadInput
from decussate.sides import Side

__all__ = ["Piece", "Structure", "Structures", "read_structures"]


@dataclass(frozen=True, slots=True)
class Structure:
    """A named piece of anatomy.

    Attributes
    ----------
    id : str
        Key used by pathways and places.
    name : str
        What a clinician calls it.
    paired : bool
        Whether there is one on each side; if not it lies in the midline or is of the whole body.
    region : str
        Where it lies, in words.
    source : str
        Key of the bibliography, or ``common practice`` or ``judgement``.
    """

    id: str
    name: str
    paired: bool
    region: str
    source: str


@dataclass(frozen=True, slots=True, order=True)
class Piece:
    """One structure of one side: what a lesion takes.

    Attributes
    ----------
    structure : str
        The structure's id.
    side : Side or None
        None for a midline structure.
    """

    structure: str
    side: Side | None

    @property
    def mirrored(self) -> Piece:
        """The same structure of the other side."""
        return Piece(self.structure, self.side.other if self.side else None)


class Structures(Mapping[str, Structure]):
    """All structures by id."""

    def __init__(self, rows: Mapping[str, Structure]) -> None:
        self._rows = dict(rows)

    def __getitem__(self, key: str) -> Structure:
        return self._rows[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    def piece(self, name: str, side: Side | None, where: str) -> Piece:
        """Return the structure's piece of a side.

        Parameters
        ----------
        name : str
            Structure id.
        side : Side or None
            The side wanted; must be None exactly for midline structures.
        where : str
            File and row, for the message.

        Raises
        ------
        BadInput
            If there is no such structure, or the side does not fit it.
        """
        structure = self._rows.get(name)
        if structure is None:
            raise BadInput("structure", name, "an id of structures.csv", where=where)
        if structure.paired and side is None:
            raise BadInput("structure", name, "a side, for a paired structure", where=where)
        return Piece(name, side if structure.paired else None)


def read_structures(file: Traversable) -> Structures:
    """Read ``structures.csv``.

    Raises
    ------
    BadInput
        For a repeated id, an unknown ``sides`` word or an unknown source.
    """
    rows: dict[str, Structure] = {}
    lines = file.read_text(encoding="utf-8").splitlines()
    for number, row in enumerate(csv.DictReader(lines), start=2):
        where = f"{file.name}, line {number} ({row['id']})"
        if row["id"] in rows:
            raise BadInput("id", row["id"], "an id not yet used", where=where)
        if row["sides"] not in ("each", "midline"):
            raise BadInput("sides", row["sides"], "each or midline", where=where)
        rows[row["id"]] = Structure(
            row["id"],
            row["name"],
            row["sides"] == "each",
            row["region"],
            check_source(row["source"], where),
        )
    return Structures(rows)
