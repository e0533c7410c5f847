"""The forward and observation models worked out for one patient at a time, in plain words.

The fast sums are held against this: no tables, no merging, no bounds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from decussate.examination.catalogue import load_catalogue
from decussate.localisation.forward import Conduction, sign_level, sign_strengths
from decussate.localisation.lesions import patterns_of
from decussate.localisation.observation import observations
from decussate.localisation.states import state_probabilities
from decussate.sides import Side

__all__ = ["combined", "every_pattern", "plain_likelihood"]

CATALOGUE = load_catalogue()


@dataclass
class OneLesion:
    """A single column with combined damage, for the plain enumeration."""

    columns: int
    damage: dict


def plain_likelihood(atlas, examination, damage) -> float:
    """P(findings | damage), computed for this one lesion alone."""
    columns = {piece: (np.array([0]), np.array([amount])) for piece, amount in damage.items()}
    conduction = Conduction(atlas, OneLesion(1, columns))
    by_sign: dict = {}
    for seen in observations(examination.findings, CATALOGUE, atlas.signs):
        by_sign.setdefault(seen.sign, []).append(seen.likelihood)
    likelihood = 1.0
    for (name, side), seen in by_sign.items():
        sign = atlas.signs[name]
        compute = sign_level if sign.scale is not None else sign_strengths
        values = np.atleast_1d(np.round(compute(sign, side, conduction), 6))
        states = state_probabilities(sign, values)[0]
        likelihood *= float(states @ np.prod(seen, axis=0))
    return likelihood


def every_pattern(place, side):
    """Every pattern of a place on a side, with its chance."""
    mirrored = side is Side.LEFT
    return [
        (chance, {p.mirrored if mirrored else p: a for p, a in damage.items()})
        for chance, damage in patterns_of(place)
    ]


def combined(one: dict, other: dict) -> dict:
    """What is left of each piece is what each lesion leaves, multiplied."""
    return {
        piece: 1 - (1 - one.get(piece, 0.0)) * (1 - other.get(piece, 0.0))
        for piece in one.keys() | other.keys()
    }
