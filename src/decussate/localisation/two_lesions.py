"""Whether one lesion is enough, and if not which two."""

from __future__ import annotations

from dataclasses import dataclass

from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.examination.record import Examination
from decussate.localisation.cache import load_pairs
from decussate.localisation.localise import in_100, posterior_of, site_name
from decussate.localisation.next_test import NextTest, next_tests
from decussate.localisation.pair_posterior import PairPosterior
from decussate.sides import Side

__all__ = ["LesionPair", "TwoLesions", "two_lesions"]

NEEDED = 0.5
"""A second lesion is called needed above this probability (judgement)."""


@dataclass(frozen=True, slots=True)
class LesionPair:
    """Two sites that together may explain the findings.

    Attributes
    ----------
    places : tuple of str
        The two place ids.
    sides : tuple of Side or None
        Their sides.
    names : tuple of str
        Their names, with the side in words.
    probability : float
        Among all pairs, if there are two lesions.
    """

    places: tuple[str, str]
    sides: tuple[Side | None, Side | None]
    names: tuple[str, str]
    probability: float


@dataclass(frozen=True, slots=True)
class TwoLesions:
    """Two lesions against one.

    Attributes
    ----------
    probability : float
        That there are two lesions rather than one or none.
    pairs : tuple of LesionPair
        Most probable first.
    next_tests : tuple of NextTest
        The tests that tell most about the place of one lesion or of two; empty while one is enough.
    """

    probability: float
    pairs: tuple[LesionPair, ...]
    next_tests: tuple[NextTest, ...] = ()

    @property
    def needed(self) -> bool:
        """Whether a second lesion is really needed."""
        return self.probability > NEEDED

    @property
    def text(self) -> str:
        """The conclusion in a sentence."""
        if not self.needed:
            return f"One lesion is enough (two: {in_100(self.probability)})."
        first = self.pairs[0]
        return (
            f"One lesion hardly explains this; two are likely ({in_100(self.probability)}), "
            f"perhaps {first.names[0]} and {first.names[1]} ({in_100(first.probability)} of pairs)."
        )


def two_lesions(
    examination: Examination, catalogue: Catalogue | None = None, *, most: int = 3
) -> TwoLesions:
    """Weigh every pair of lesions against every single one.

    Parameters
    ----------
    examination : Examination
        What was found.
    catalogue : Catalogue, optional
        That of the package by default.
    most : int, default 3
        How many pairs to name.

    Returns
    -------
    TwoLesions
    """
    posterior = posterior_of(examination, catalogue=catalogue)
    pairs = PairPosterior(load_pairs(), posterior)
    model = posterior.model
    named = []
    for pair in pairs.best(most):
        first, second = model.lesions.sites[pair.first], model.lesions.sites[pair.second]
        named.append(
            LesionPair(
                (first.place, second.place),
                (first.side, second.side),
                (site_name(model, pair.first), site_name(model, pair.second)),
                pair.probability,
            )
        )
    probability = pairs.two_probability(posterior)
    wanted = (
        next_tests(posterior, examination, catalogue or load_catalogue(), pairs=pairs)
        if probability > NEEDED
        else ()
    )
    return TwoLesions(probability, tuple(named), wanted)
