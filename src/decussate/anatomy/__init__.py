"""The nervous system as data: structures, pathways, signs, places, causes; checked as they load."""

from decussate.anatomy.atlas import Atlas, load_atlas, read_atlas
from decussate.anatomy.causes import Cause
from decussate.anatomy.pathways import Pathway
from decussate.anatomy.places import Part, Place
from decussate.anatomy.signs import Scale, Sign
from decussate.anatomy.structures import Piece, Structure

__all__ = [
    "Atlas",
    "Cause",
    "Part",
    "Pathway",
    "Piece",
    "Place",
    "Scale",
    "Sign",
    "Structure",
    "load_atlas",
    "read_atlas",
]
