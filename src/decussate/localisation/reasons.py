"""Reasons: what each finding says for or against a place, and what a lesion there leaves open."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from decussate.examination.catalogue import Catalogue
from decussate.examination.wording import finding_in_words
from decussate.localisation.observation import Observation
from decussate.localisation.posterior import Posterior
from decussate.sides import Side

__all__ = ["Reason", "Reasons", "weigh"]

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


def weigh(posterior: Posterior, sites: list[int], catalogue: Catalogue) -> list[Reasons]:
    """Return the reasons for each of some sites.

    For each finding and site, compares the probability of the finding if the lesion is there (its
    patterns weighted by all the other findings) with that among lesions anywhere else, as frequent
    as they are given the story alone. Comparing with the field, not with the runners-up, keeps a
    telling finding telling when several others say the same.

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
    model = posterior.model
    field = posterior.field
    found: list[list[tuple[Reason, bool]]] = [[] for _ in sites]
    for observation in posterior.observations:
        table = model.signs[observation.sign]
        rest = posterior.without(observation)
        likelihood = (table.probability @ observation.likelihood)[table.level_of]
        sign = model.atlas.signs[observation.sign[0]]
        abnormal = (1 - table.probability[:, table.states.index(sign.neutral)])[table.level_of]
        in_field = field * likelihood
        for place, site in enumerate(sites):
            columns = slice(*model.span(site))
            here = np.exp(rest[columns] - rest[columns].max())
            with_it = here * likelihood[columns]
            inside = float(with_it.sum() / here.sum())
            expected = float((with_it * abnormal[columns]).sum() / with_it.sum())
            elsewhere = 1 - field[columns].sum()
            outside = float((in_field.sum() - in_field[columns].sum()) / elsewhere)
            reason = Reason(
                observation.finding.test,
                observation.finding.side,
                observation.finding.response,
                finding_text(observation, catalogue),
                float(np.log10(inside) - np.log10(outside)),
                expected,
            )
            asks = observation.finding.response != "normal" and observation.before < RARELY_EXPECTED
            found[place].append((reason, asks))
    return [_sorted(reasons) for reasons in found]


def _sorted(reasons: list[tuple[Reason, bool]]) -> Reasons:
    ordered = sorted((r for r, _ in reasons), key=lambda r: (-r.log10, r.test, r.side or ""))
    unexplained = [r for r, asks in reasons if asks and r.expected < RARELY_EXPECTED]
    return Reasons(
        supports=tuple(r for r in ordered if r.log10 >= TELLING),
        against=tuple(r for r in reversed(ordered) if r.log10 <= -TELLING),
        unexplained=tuple(sorted(unexplained, key=lambda r: (r.expected, r.test, r.side or ""))),
    )
