"""The atlas: all anatomy of one folder of data files, loaded and checked together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

from decussate.anatomy.causes import Cause, read_causes
from decussate.anatomy.pathways import Pathway, read_pathways
from decussate.anatomy.places import Place, read_places
from decussate.anatomy.signs import Sign, read_scales, read_signs
from decussate.anatomy.structures import Structures, read_structures
from decussate.data_rows import read_rows

__all__ = ["Atlas", "load_atlas", "read_atlas"]


@dataclass(frozen=True, slots=True)
class Atlas:
    """Everything the forward model is made of.

    Attributes
    ----------
    structures : Structures
        By id.
    pathways : Mapping of str to Pathway
        Each after those it is made of.
    signs : Mapping of str to Sign
        By id.
    causes : Mapping of str to Cause
        By id.
    contexts : Mapping of str to str
        Context to its name.
    places : Mapping of str to Place
        Places and processes by id.
    """

    structures: Structures
    pathways: Mapping[str, Pathway]
    signs: Mapping[str, Sign]
    causes: Mapping[str, Cause]
    contexts: Mapping[str, str]
    places: Mapping[str, Place]


def read_atlas(folder: Traversable) -> Atlas:
    """Read an atlas from a folder.

    Parameters
    ----------
    folder : Traversable
        Holds ``structures.csv``, ``pathways.yaml``, ``scales.yaml``, ``signs.yaml``,
        ``contexts.yaml``, ``causes.yaml`` and ``places/*.yaml``.

    Returns
    -------
    Atlas
        All of it, checked.

    Raises
    ------
    BadInput
        For the first row that cannot be accepted; names file, line, field, found and expected.
    """
    structures = read_structures(folder / "structures.csv")
    contexts = {row["id"]: row["name"] for row in read_rows(folder / "contexts.yaml")}
    causes = read_causes(read_rows(folder / "causes.yaml"), contexts)
    place_files = sorted((folder / "places").iterdir(), key=lambda file: file.name)
    place_rows = [row for file in place_files for row in read_rows(file)]
    return Atlas(
        structures=structures,
        pathways=read_pathways(read_rows(folder / "pathways.yaml"), structures),
        signs=read_signs(read_rows(folder / "signs.yaml"), read_scales(folder / "scales.yaml")),
        causes=causes,
        contexts=contexts,
        places=read_places(place_rows, structures, causes),
    )


@cache
def load_atlas() -> Atlas:
    """Return the atlas that comes with the package."""
    return read_atlas(files("decussate.anatomy") / "data")
