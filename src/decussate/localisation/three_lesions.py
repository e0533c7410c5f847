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
    """

    places: tuple[str, ...]
    sides: tuple[Side | None, ...]
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ThreeLesions:
    """Three lesions against two.

    Attributes
    ----------
    triples : tuple of LesionTriple
        Most probable first.
    odds : float
        At least the odds of three lesions against two, the prior included: not every triple is
        counted, but those summed in the search are.
    proved : bool
        Whether no other triple can be among `triples`.
    """

    triples: tuple[LesionTriple, ...]
    odds: float
    proved: bool

    @property
    def needed(self) -> bool:
        """Whether a third lesion is really needed."""
        return self.odds > 1

    @property
    def text(self) -> str:
        """The conclusion in a sentence."""
        if not self.needed:
            return "Two lesions explain this as well as three."
        names = ", ".join(self.triples[0].names)
        return f"Two lesions hardly explain this; three are likely, perhaps {names}."


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
    log_odds = np.log(THREE_TO_TWO) + found.log_mass + pairs.log_orders(3) - pairs.log_evidence
    return ThreeLesions(
        tuple(
            LesionTriple(
                tuple(sites[k].place for k in triple.sites),
                tuple(sites[k].side for k in triple.sites),
                tuple(site_name(pairs.model, k) for k in triple.sites),
            )
            for triple in found.best
        ),
        float(np.exp(log_odds)),
        found.proved,
    )
