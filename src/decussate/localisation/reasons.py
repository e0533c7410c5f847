"""Reasons: what each finding says for or against a place, and what a lesion there leaves open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decussate.examination.catalogue import Catalogue
from decussate.examination.wording import finding_in_words
from decussate.localisation.model import SignTable, summed_by_level
from decussate.localisation.observation import Observation
from decussate.localisation.posterior import Posterior, told_apart
from decussate.sides import Side

__all__ = ["Reason", "Reasons", "Weights", "finding_text", "weigh"]

Array = NDArray[np.float64]

TELLING = 0.15
"""Smallest weight, in log10 units, that is listed as a reason (a factor of 1.4; judgement)."""
RARELY_EXPECTED = 0.2
"""Unexplained is an abnormal finding whose sign is abnormal more rarely than this with the lesion
in its most fitting pattern, and was so before the present illness (judgement)."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One finding, and its weight for a place.

    Attributes
    ----------
    test : str
        Test id.
    side : Side or None
        The patient's side.
    response : str
        Response code.
    text : str
        In words: side, test and response.
    log10 : float
        Logarithm to base 10 of the likelihood ratio: how many times more likely the finding is if
        the lesion is there than among lesions anywhere else.
    expected : float
        Probability that the lesion gives the sign an abnormal state, given all findings.
    """

    test: str
    side: Side | None
    response: str
    text: str
    log10: float
    expected: float


@dataclass(frozen=True, slots=True)
class Reasons:
    """The findings about one place: for, against, and unexplained."""

    supports: tuple[Reason, ...]
    against: tuple[Reason, ...]
    unexplained: tuple[Reason, ...]


def finding_text(observation: Observation, catalogue: Catalogue) -> str:
    """Return side, test and response in words (``"right upper lid position: partial droop"``).

    With the value, where it weighs more than its response (``"... none (grade −4)"``).
    """
    finding = observation.finding
    test = catalogue.test(finding.test)
    if test.measurement is None or test.measurement.grading is None:
        finding = finding.model_copy(update={"measurement": None})
    return finding_in_words(finding, test)


class Weights:
    """What findings say of some sites, each compared with lesions anywhere else.

    Compares the probability of a finding if the lesion is at the site (its patterns weighted by all
    the other findings) with that among lesions anywhere else, as frequent as they are given the
    story alone. Comparing with the field, not with the runners-up, keeps a telling finding telling
    when several others say the same.

    Parameters
    ----------
    posterior : Posterior
        With the observations taken in.
    sites : sequence of int
        Indices of the sites, at least one.
    """

    def __init__(self, posterior: Posterior, sites: Sequence[int]) -> None:
        self._posterior, self._field = posterior, posterior.field
        spans = [posterior.model.span(site) for site in sites]
        self._columns = np.concatenate([np.arange(*span) for span in spans])
        self._place = np.repeat(np.arange(len(sites)), [stop - start for start, stop in spans])
        self._patterns = np.concatenate([posterior.patterns(site) for site in sites])
        self._frequent = self._field.lesions[self._columns]
        self._elsewhere = 1 - self._field.sites[list(sites)]

    def of(self, observation: Observation) -> tuple[Array, Array]:
        """Return the weight of a finding for each site, and how far each expects the sign.

        Parameters
        ----------
        observation : Observation
            One that the posterior took in.

        Returns
        -------
        log10 : ndarray of shape (n_sites,)
            Logarithm to base 10 of the likelihood ratio (`Reason.log10`).
        expected : ndarray of shape (n_sites,)
            Probability of an abnormal state of the sign (`Reason.expected`).
        """
        posterior, sign = self._posterior, observation.sign
        table = posterior.model.signs[sign]
        level = table.level_of[self._columns]
        likelihood = table.probability @ observation.likelihood
        abnormal = 1 - table.probability[:, posterior.model.atlas.signs[sign[0]].healthy]
        # Lesions at the same level of the sign are alike for it: they are added up first.
        rest = self._by_level(level, self._patterns, table) * posterior.taken_back(observation)
        with_it = rest * likelihood
        seen = with_it.sum(axis=1)
        inside = seen / rest.sum(axis=1)
        in_site = self._by_level(level, self._frequent, table) @ likelihood
        anywhere = self._field.by_level(sign) @ likelihood
        outside = (anywhere - in_site) / self._elsewhere
        return np.log10(inside) - np.log10(outside), with_it @ abnormal / seen

    def _by_level(self, level: NDArray[np.uint16], weight: Array, table: SignTable) -> Array:
        shape = (len(self._elsewhere), len(table.probability))
        return summed_by_level(self._place, level, weight, shape)


def weigh(posterior: Posterior, sites: list[int], catalogue: Catalogue) -> list[Reasons]:
    """Return the reasons for each of some sites.

    Parameters
    ----------
    posterior : Posterior
        With the observations taken in.
    sites : list of int
        Indices of the sites wanted.
    catalogue : Catalogue
        For the wording.

    Returns
    -------
    list of Reasons
        One for each site, each list strongest first.
    """
    if not sites:
        return []
    weights = Weights(posterior, sites)
    found: list[list[tuple[Reason, bool]]] = [[] for _ in sites]
    for observation in posterior.observations:
        finding = observation.finding
        log10, expected = weights.of(observation)
        asks = finding.response != "normal" and observation.before < RARELY_EXPECTED
        unexplained = asks & (expected < RARELY_EXPECTED)
        listed = np.flatnonzero(unexplained | (np.abs(log10) >= TELLING))
        text = finding_text(observation, catalogue) if len(listed) else ""
        for k in listed:
            reason = Reason(
                finding.test, finding.side, finding.response, text,
                float(log10[k]), float(expected[k]),
            )  # fmt: skip
            found[k].append((reason, bool(unexplained[k])))
    return [_sorted(reasons) for reasons in found]


def _least_expected(reason: Reason) -> tuple[float, str, str]:
    return told_apart(reason.expected), reason.test, reason.side or ""


def _sorted(reasons: list[tuple[Reason, bool]]) -> Reasons:
    ordered = sorted(
        (r for r, _ in reasons), key=lambda r: (-round(r.log10, 9), r.test, r.side or "")
    )
    unexplained = [r for r, is_unexplained in reasons if is_unexplained]
    return Reasons(
        supports=tuple(r for r in ordered if r.log10 >= TELLING),
        against=tuple(r for r in reversed(ordered) if r.log10 <= -TELLING),
        unexplained=tuple(sorted(unexplained, key=_least_expected)),
    )
