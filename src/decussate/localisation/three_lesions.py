"""Whether two lesions are enough, and if not which three."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from decussate.examination.catalogue import Catalogue
from decussate.examination.record import Examination
from decussate.localisation.cache import load_pairs
from decussate.localisation.localise import posterior_of, site_name
from decussate.localisation.pair_posterior import PairPosterior
from decussate.localisation.triples import best_triples
from decussate.sides import Side

__all__ = ["LesionTriple", "ThreeLesions", "three_lesions"]

THREE_TO_TWO = 0.03
"""Prior odds of three lesions against two: those of two against one (judgement)."""


@dataclass(frozen=True, slots=True)
class LesionTriple:
    """Three sites that together may explain the findings.

    Attributes
    ----------
    places : tuple of str
        The place ids.
    sides : tuple of Side or None
        Their sides.
    names : tuple of str
        Their names, with the side in words.
    odds : float
        Of these three against any two lesions, the prior included.
    """

    places: tuple[str, ...]
    sides: tuple[Side | None, ...]
    names: tuple[str, ...]
    odds: float


@dataclass(frozen=True, slots=True)
class ThreeLesions:
    """Three lesions against two.

    Attributes
    ----------
    triples : tuple of LesionTriple
        Most probable first.
    proved : bool
        Whether no other triple can be among them.
    """

    triples: tuple[LesionTriple, ...]
    proved: bool

    @property
    def needed(self) -> bool:
        """Whether some three lesions are more probable than any two."""
        return bool(self.triples) and self.triples[0].odds > 1

    @property
    def text(self) -> str:
        """The conclusion in a sentence."""
        if not self.needed:
            return "No three lesions explain this better than two."
        return f"Two lesions hardly explain this; perhaps {', '.join(self.triples[0].names)}."


def three_lesions(
    examination: Examination, catalogue: Catalogue | None = None, *, most: int = 3
) -> ThreeLesions:
    """Search for the three lesions that explain the findings best, and weigh them against two.

    Parameters
    ----------
    examination : Examination
        What was found.
    catalogue : Catalogue, optional
        That of the package by default.
    most : int, default 3
        How many triples to name.

    Returns
    -------
    ThreeLesions
    """
    pairs = PairPosterior(load_pairs(), posterior_of(examination, catalogue=catalogue))
    found = best_triples(pairs, most=most)
    sites = pairs.model.lesions.sites
    against_two = np.log(THREE_TO_TWO) - pairs.log_evidence + pairs.log_orders(3)
    return ThreeLesions(
        tuple(
            LesionTriple(
                tuple(sites[k].place for k in triple.sites),
                tuple(sites[k].side for k in triple.sites),
                tuple(site_name(pairs.model, k) for k in triple.sites),
                float(np.exp(triple.log_mass + against_two)),
            )
            for triple in found.best
        ),
        found.proved,
    )
