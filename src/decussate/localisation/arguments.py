"""What a finding argues: for which places it speaks, and against which, in log10 units.

The same comparison as in `decussate.localisation.reasons`, turned about: there a place asks its
findings, here a finding is asked about the places.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.localisation.localise import site_name
from decussate.localisation.observation import Observation
from decussate.localisation.posterior import Posterior, told_apart
from decussate.localisation.reasons import TELLING, Weights, finding_text
from decussate.sides import Side

__all__ = ["Argument", "Leaning", "arguments"]

Array = NDArray[np.float64]

PLACES_ASKED = 12
"""So many leading places, with the finding and without it, are asked about."""


@dataclass(frozen=True, slots=True)
class Leaning:
    """How far a finding speaks for a place, or against it.

    Attributes
    ----------
    place, name : str
        Key, and the name with its side in words.
    side : Side or None
    log10 : float
        Logarithm to base 10 of the likelihood ratio: how many times more likely the finding is if
        the lesion is there than among lesions anywhere else. Negative speaks against it.
    probability, without : float
        Of the place, given all findings, and given all but this one.
    """

    place: str
    name: str
    side: Side | None
    log10: float
    probability: float
    without: float


@dataclass(frozen=True, slots=True)
class Argument:
    """One finding and what it argues.

    Attributes
    ----------
    test : str
    side : Side or None
    response, text : str
        Response code, and the finding in words.
    supports, against : tuple of Leaning
        Among the leading places, the strongest first.
    """

    test: str
    side: Side | None
    response: str
    text: str
    supports: tuple[Leaning, ...]
    against: tuple[Leaning, ...]

    @property
    def strength(self) -> float:
        """The greatest weight either way, in log10 units; 0 when it argues nothing."""
        return max((abs(one.log10) for one in (*self.supports, *self.against)), default=0.0)


def arguments(posterior: Posterior, catalogue: Catalogue | None = None) -> tuple[Argument, ...]:
    """Return what each finding argues.

    Parameters
    ----------
    posterior : Posterior
        With the observations taken in.
    catalogue : Catalogue, optional
        For the wording; that of the package by default.

    Returns
    -------
    tuple of Argument
        One for each finding that bears on a sign, the one that argues most strongly first.
    """
    catalogue = catalogue or load_catalogue()
    seen = posterior.observations
    if not seen:
        return ()
    with_it = posterior.sites
    without = [posterior.sites_without(one) for one in seen]
    asked = [set(_leading(with_it)) | set(_leading(left)) for left in without]
    sites = sorted(set.union(*asked))
    weights = Weights(posterior, sites)
    found = []
    for one, left, some in zip(seen, without, asked, strict=True):
        log10, _ = weights.of(one)
        weight = {site: float(log10[k]) for k, site in enumerate(sites) if site in some}
        found.append(_argument(posterior, one, weight, with_it, left, catalogue))
    return tuple(sorted(found, key=lambda one: (-round(one.strength, 9), one.test, one.side or "")))


def _argument(
    posterior: Posterior,
    observation: Observation,
    weight: Mapping[int, float],
    with_it: Array,
    without: Array,
    catalogue: Catalogue,
) -> Argument:
    """Put into words what a finding weighs for some sites."""
    model, finding = posterior.model, observation.finding
    leanings = [
        Leaning(
            place=model.lesions.sites[site].place,
            name=site_name(model, site),
            side=model.lesions.sites[site].side,
            log10=weight[site],
            probability=float(with_it[site]),
            without=float(without[site]),
        )
        for site in sorted(weight, key=lambda k: (-round(abs(weight[k]), 9), site_name(model, k)))
    ]
    return Argument(
        test=finding.test,
        side=finding.side,
        response=finding.response,
        text=finding_text(observation, catalogue),
        supports=tuple(one for one in leanings if one.log10 >= TELLING),
        against=tuple(one for one in leanings if one.log10 <= -TELLING),
    )


def _leading(probability: Array) -> Iterable[int]:
    size = [-told_apart(one) for one in probability.tolist()]
    return sorted(range(len(size)), key=size.__getitem__)[:PLACES_ASKED]
