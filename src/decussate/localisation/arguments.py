"""What a finding argues: for which places it speaks, and against which, in log10 units.

The same comparison as in `decussate.localisation.reasons`, turned about: there a place asks its
findings, here a finding is asked about the places.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.localisation.localise import site_name
from decussate.localisation.observation import Observation
from decussate.localisation.posterior import Posterior
from decussate.localisation.reasons import TELLING, finding_text
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
    found = [_argument(posterior, one, catalogue) for one in posterior.observations]
    return tuple(sorted(found, key=lambda one: (-one.strength, one.test, one.side or "")))


def _argument(posterior: Posterior, observation: Observation, catalogue: Catalogue) -> Argument:
    model, finding = posterior.model, observation.finding
    table = model.signs[observation.sign]
    likelihood = np.asarray((table.probability @ observation.likelihood)[table.level_of])
    rest = posterior.without(observation)
    with_it, without = posterior.sites, _sites(posterior, np.exp(rest - rest.max()))
    weight = _weights(posterior, rest, likelihood)
    asked = sorted(
        set(_leading(with_it)) | set(_leading(without)),
        key=lambda site: (-abs(weight[site]), site_name(model, site)),
    )
    leanings = [
        Leaning(
            place=model.lesions.sites[site].place,
            name=site_name(model, site),
            side=model.lesions.sites[site].side,
            log10=float(weight[site]),
            probability=float(with_it[site]),
            without=float(without[site]),
        )
        for site in asked
    ]
    return Argument(
        test=finding.test,
        side=finding.side,
        response=finding.response,
        text=finding_text(observation, catalogue),
        supports=tuple(one for one in leanings if one.log10 >= TELLING),
        against=tuple(one for one in leanings if one.log10 <= -TELLING),
    )


def _weights(posterior: Posterior, rest: Array, likelihood: Array) -> Array:
    """Return the log10 likelihood ratio of one response for every site, shape (n_sites,)."""
    starts, site_of = posterior.model.starts, posterior.model.lesions.site_of
    # The largest of each site is taken out first, so that an unlikely site does not come to 0 / 0.
    here = np.exp(rest - np.maximum.reduceat(rest, starts)[site_of])
    inside = np.add.reduceat(here * likelihood, starts) / np.add.reduceat(here, starts)
    field = posterior.field
    of_site = np.add.reduceat(field, starts)
    seen_in_site = np.add.reduceat(field * likelihood, starts)
    outside = (seen_in_site.sum() - seen_in_site) / (1 - of_site)
    return np.asarray(np.log10(inside) - np.log10(outside))


def _sites(posterior: Posterior, weight: Array) -> Array:
    return np.asarray(np.add.reduceat(weight / weight.sum(), posterior.model.starts))


def _leading(probability: Array) -> Iterable[int]:
    return (int(site) for site in np.argsort(-probability, kind="stable")[:PLACES_ASKED])
