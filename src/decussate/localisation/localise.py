"""Localisation: from an examination to a probability for each place and process, with reasons."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.examination.record import Examination
from decussate.localisation.cache import load_model
from decussate.localisation.known_old import conditioned_on_old
from decussate.localisation.model import Model
from decussate.localisation.next_test import NextTest, next_tests
from decussate.localisation.observation import observations
from decussate.localisation.posterior import Posterior, entropy_bits, told_apart
from decussate.localisation.reasons import Reason, weigh
from decussate.localisation.story import cause_factors, cause_shares
from decussate.sides import Side

__all__ = ["Candidate", "CauseShare", "Localisation", "localise", "posterior_of"]

EXPLAINED_IN_FULL = 6
"""How many leading candidates get reasons and causes."""
TAKEN = 0.5
"""A structure is named as taken when at least this likely, given the place."""
NO_LESION_LIKELY = 0.5
"""Below this, that no lesion is found says that too little was recorded (judgement)."""
STANDS_OUT = 0.15
"""Below this, no place is named as the most likely one (judgement)."""


@dataclass(frozen=True, slots=True)
class CauseShare:
    """A cause of a lesion in a place, as a question to settle.

    Attributes
    ----------
    cause, name : str
        Key and the clinician's name.
    share : float
        Probability given the place and the story.
    settle : str
        The investigation that settles it.
    """

    cause: str
    name: str
    share: float
    settle: str


@dataclass(frozen=True, slots=True)
class Candidate:
    """A place (or process) where the lesion may be.

    Attributes
    ----------
    place, name : str
        Key, and the name with its side in words.
    kind : {"place", "process"}
        A process has no one place.
    side : Side or None
        None for the midline or the whole body.
    probability : float
        Given all findings and the story.
    region : str
        Neighbourhood, in words.
    supports, against, unexplained : tuple of Reason
        Strongest first; empty beyond the leading candidates.
    causes : tuple of CauseShare
        Most likely first; empty beyond the leading candidates.
    pathway : tuple of str
        Names of the structures probably taken, with their side.
    """

    place: str
    name: str
    kind: Literal["place", "process"]
    side: Side | None
    probability: float
    region: str
    supports: tuple[Reason, ...] = ()
    against: tuple[Reason, ...] = ()
    unexplained: tuple[Reason, ...] = ()
    causes: tuple[CauseShare, ...] = ()
    pathway: tuple[str, ...] = ()

    @property
    def is_lesion(self) -> bool:
        """Whether it stands for a lesion; one candidate says that there is none."""
        return self.place != "normal"


@dataclass(frozen=True, slots=True)
class Localisation:
    """Where the lesion is likely to be, and how sure one can be.

    Attributes
    ----------
    candidates : tuple of Candidate
        Every site, most likely first.
    next_tests : tuple of NextTest
        Tests not yet done, most informative per minute first.
    unexplained : tuple of Reason
        Findings that none of the leading candidates explains.
    side_probability : Mapping of str to float
        For ``right``, ``left`` and ``midline`` (which includes both sides and the whole body).
    regions : tuple of (str, Side or None, float)
        Probability of each neighbourhood, most likely first.
    findings_used : int
        How many findings bear on a sign.
    entropy_bits : float
        What remains unknown of the site, in bits.
    """

    candidates: tuple[Candidate, ...]
    next_tests: tuple[NextTest, ...]
    unexplained: tuple[Reason, ...]
    side_probability: Mapping[str, float]
    regions: tuple[tuple[str, Side | None, float], ...]
    findings_used: int
    entropy_bits: float

    @property
    def no_lesion_leads(self) -> bool:
        """Whether the first candidate is that there is no lesion."""
        return bool(self.candidates) and not self.candidates[0].is_lesion

    @property
    def undecided(self) -> str:
        """Why no place can be called likely yet, in words; empty when one can."""
        first = self.candidates[0]
        if self.no_lesion_leads and first.probability < NO_LESION_LIKELY:
            return "Too little was recorded to point to a lesion"
        return "" if first.probability >= STANDS_OUT else "No place stands out yet"

    @property
    def text(self) -> str:
        """The conclusion in a sentence."""
        return self.text_with(2)

    def text_with(self, others: int) -> str:
        """Return the conclusion in a sentence, naming at most so many places after the first."""
        if not self.findings_used:
            return "No finding yet that bears on the place of a lesion."
        first = self.candidates[0]
        following = [c for c in self.candidates[1 : 1 + others] if c.probability >= 0.05]
        rest = "".join(f"; next {c.name} ({in_100(c.probability)})" for c in following)
        if self.no_lesion_leads and self.undecided:
            return f"{self.undecided} ({first.name}: {in_100(first.probability)}){rest}."
        if self.undecided:
            return f"{self.undecided}; first {first.name} ({in_100(first.probability)}){rest}."
        return f"Most likely {first.name} ({in_100(first.probability)}){rest}."


def in_100(probability: float) -> str:
    """Return a probability as a clinician reads it (``"86 in 100"``)."""
    if probability < 0.01:
        return "under 1 in 100"
    if probability > 0.99:
        return "over 99 in 100"
    return f"{round(100 * probability)} in 100"


def posterior_of(
    examination: Examination, model: Model | None = None, catalogue: Catalogue | None = None
) -> Posterior:
    """Return the posterior of an examination, conditioned on its known old findings."""
    model = model or load_model()
    seen = observations(examination.present(), catalogue or load_catalogue(), model.atlas.signs)
    known = conditioned_on_old(model, seen, frozenset(examination.known_old))
    return Posterior(model, examination.story, known)


def localise(
    examination: Examination, model: Model | None = None, catalogue: Catalogue | None = None
) -> Localisation:
    """Work out where the lesion is likely to be.

    Parameters
    ----------
    examination : Examination
        What was found. A test not done carries no information.
    model : Model, optional
        That of the package by default.
    catalogue : Catalogue, optional
        That of the package by default.

    Returns
    -------
    Localisation
        Probabilities sum to 1 over all candidates.

    Raises
    ------
    BadInput
        If a finding names a test that the catalogue does not have.
    """
    model = model or load_model()
    catalogue = catalogue or load_catalogue()
    posterior = posterior_of(examination, model, catalogue)
    probability = posterior.sites
    names = site_names(model)
    order = sorted(
        range(len(probability)), key=lambda i: (-told_apart(float(probability[i])), names[i])
    )
    leading = order[:EXPLAINED_IN_FULL] if posterior.observations else []
    reasons = dict(zip(leading, weigh(posterior, leading, catalogue), strict=True))
    factors = cause_factors(model.atlas, examination.story)
    candidates = []
    for index in order:
        site = model.lesions.sites[index]
        place = model.atlas.places[site.place]
        plain = Candidate(
            site.place, names[index], place.kind, site.side, float(probability[index]), place.region
        )
        if index not in reasons:
            candidates.append(plain)
            continue
        weighed = reasons[index]
        shares = cause_shares(place, factors)
        causes = [
            CauseShare(key, model.atlas.causes[key].name, share, model.atlas.causes[key].settle)
            for key, share in sorted(shares.items(), key=lambda item: (-item[1], item[0]))
        ]
        candidates.append(
            Candidate(
                plain.place, plain.name, plain.kind, plain.side, plain.probability, plain.region,
                weighed.supports, weighed.against, weighed.unexplained,
                tuple(causes), _taken(posterior, index),
            )
        )  # fmt: skip
    return Localisation(
        candidates=tuple(candidates),
        next_tests=next_tests(posterior, examination, catalogue),
        unexplained=_unexplained_by_all(candidates[: min(3, len(leading))]),
        side_probability=_by_side(candidates),
        regions=_by_region(candidates),
        findings_used=len(posterior.observations),
        entropy_bits=entropy_bits(probability),
    )


def site_name(model: Model, index: int) -> str:
    """Return the name of a site, with its side in words."""
    return site_names(model)[index]


@lru_cache(maxsize=4)
def site_names(model: Model) -> tuple[str, ...]:
    """Return the name of every site, with its side in words."""
    places = model.atlas.places
    return tuple(_sided(places[one.place].name, one.side) for one in model.lesions.sites)


def _sided(name: str, side: Side | None) -> str:
    return f"{side.value} {name}" if side else name


def _taken(posterior: Posterior, index: int) -> tuple[str, ...]:
    """Name the structures that a lesion of this site has probably taken."""
    patterns = posterior.patterns(index)
    return tuple(
        name
        for name, takers in _takers(posterior.model, index)
        if round(float(patterns[takers].sum()), 9) >= TAKEN
    )


@lru_cache(maxsize=2048)
def _takers(model: Model, index: int) -> tuple[tuple[str, NDArray[np.intp]], ...]:
    """Return the structures of a site by name, with those of its patterns that take each."""
    start, stop = model.span(index)
    found = []
    for piece, (columns, amount) in model.lesions.damage.items():
        first, last = np.searchsorted(columns, (start, stop))
        takers = columns[first:last][amount[first:last] > 0] - start
        if len(takers):
            name = model.atlas.structures[piece.structure].name
            found.append((_sided(name, piece.side), takers))
    return tuple(found)


def _unexplained_by_all(leading: list[Candidate]) -> tuple[Reason, ...]:
    if not leading:
        return ()
    keys = [{(r.test, r.side) for r in candidate.unexplained} for candidate in leading]
    common = set.intersection(*keys)
    return tuple(r for r in leading[0].unexplained if (r.test, r.side) in common)


def _by_side(candidates: list[Candidate]) -> Mapping[str, float]:
    sums = {"right": 0.0, "left": 0.0, "midline": 0.0}
    for candidate in candidates:
        sums[candidate.side.value if candidate.side else "midline"] += candidate.probability
    return sums


def _by_region(candidates: list[Candidate]) -> tuple[tuple[str, Side | None, float], ...]:
    sums: dict[tuple[str, Side | None], float] = {}
    for candidate in candidates:
        key = (candidate.region, candidate.side)
        sums[key] = sums.get(key, 0.0) + candidate.probability
    ordered = sorted(
        sums.items(), key=lambda one: (-told_apart(one[1]), one[0][0], one[0][1] or "")
    )
    return tuple((region, side, probability) for (region, side), probability in ordered)
