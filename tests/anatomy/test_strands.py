"""Pathways laid out structure by structure, with the crossings textbooks give."""

import pytest

from decussate.anatomy import Piece, load_atlas
from decussate.anatomy.strands import sign_strands
from decussate.sides import Side

ATLAS = load_atlas()


def named(sign: str, side: Side | None) -> set[tuple[str, Side | None]]:
    return {(one.structure, one.side) for one in sign_strands(ATLAS, sign, side).pieces}


@pytest.mark.parametrize("sign", ATLAS.signs.values(), ids=lambda sign: sign.id)
def test_every_sign_hangs_on_structures_of_the_atlas_and_mirrors(sign):
    for side in tuple(Side) if sign.paired else (None,):
        strands = sign_strands(ATLAS, sign.id, side)
        assert strands.pieces
        for piece in strands.pieces:
            assert ATLAS.structures[piece.structure].paired is (piece.side is not None)
        assert {end for link in strands.links for end in link} <= set(strands.pieces)
        if side:
            mirror = sign_strands(ATLAS, sign.id, side.other)
            assert {one.mirrored for one in strands.pieces} == set(mirror.pieces)
            assert {(a.mirrored, b.mirrored) for a, b in strands.links} == set(mirror.links)


@pytest.mark.parametrize("side", list(Side))
def test_the_temporal_field_crosses_at_the_chiasm_and_the_nasal_one_does_not(side):
    """Miller et al. 2005 (key miller_2005)."""
    temporal = named("field_upper_temporal", side)
    assert ("optic_tract_inferior", side.other) in temporal
    assert ("calcarine_lower_bank", side.other) in temporal
    nasal = named("field_upper_nasal", side)
    assert ("optic_tract_inferior", side) in nasal
    assert ("optic_tract_inferior", side.other) not in nasal


def test_neighbours_stand_in_the_order_of_travel():
    strands = sign_strands(ATLAS, "field_upper_temporal", Side.RIGHT)
    order = {piece: place for place, piece in enumerate(strands.pieces)}
    chain = [
        Piece("optic_nerve_canal", Side.RIGHT),
        Piece("optic_nerve_intracranial", Side.RIGHT),
        Piece("optic_tract_inferior", Side.LEFT),
        Piece("calcarine_lower_bank", Side.LEFT),
    ]
    assert [order[piece] for piece in chain] == sorted(order[piece] for piece in chain)
    assert (chain[0], chain[1]) in strands.links
