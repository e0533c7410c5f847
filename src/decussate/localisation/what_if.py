"""What the conclusion hangs on: findings that carry it, and slips that would explain a misfit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.examination.record import Examination, Finding
from decussate.localisation.localise import posterior_of, site_name
from decussate.localisation.observation import observations
from decussate.localisation.reasons import finding_text

__all__ = ["Slip", "Turn", "carrying_findings", "recording_slips", "turning_findings"]

SLIP_GAIN = 0.6
"""Smallest gain, in log10 units, for which a slip is worth asking about (four times; judgement)."""


@dataclass(frozen=True, slots=True)
class Slip:
    """A finding that would fit much better had it been recorded otherwise.

    Attributes
    ----------
    finding : Finding
        As recorded.
    instead : Finding
        As it may have been meant: the other side, or the opposite direction.
    text : str
        The question to ask, in words.
    log10 : float
        How many times more likely all findings would be, as a logarithm to base 10.
    """

    finding: Finding
    instead: Finding
    text: str
    log10: float


@dataclass(frozen=True, slots=True)
class Turn:
    """What the conclusion would be without one finding.

    Attributes
    ----------
    finding : Finding
        The finding left out.
    text : str
        The finding in words.
    moved : float
        How much probability changes place without it (total variation distance, 0 to 1).
    first : str
        The place that would then come first, with its side in words.
    """

    finding: Finding
    text: str
    moved: float
    first: str


def recording_slips(
    examination: Examination, catalogue: Catalogue | None = None, *, most: int = 3
) -> tuple[Slip, ...]:
    """Return the abnormal findings that would fit far better on the other side.

    A slip is asked about, never assumed: the record stays as it is.

    Parameters
    ----------
    examination : Examination
        What was found.
    catalogue : Catalogue, optional
        That of the package by default.
    most : int, default 3
        How many at the most.

    Returns
    -------
    tuple of Slip
        Greatest gain first.
    """
    catalogue = catalogue or load_catalogue()
    posterior = posterior_of(examination, catalogue=catalogue)
    before = posterior.log_evidence
    recorded = {(o.finding.test, o.finding.side) for o in posterior.observations}
    slips = []
    for observation in posterior.observations:
        finding = observation.finding
        instead = finding.mirrored()
        moved = finding.side is not None and (instead.test, instead.side) in recorded
        if finding.response == "normal" or instead == finding or moved:
            continue
        (other,) = observations([instead], catalogue, posterior.model.atlas.signs)
        posterior.remove(observation)
        posterior.add(other)
        gain = (posterior.log_evidence - before) / float(np.log(10))
        posterior.remove(other)
        posterior.add(observation)
        if gain >= SLIP_GAIN:
            said = finding_text(observation, catalogue)
            meant = finding_text(other, catalogue)
            text = f"{said}. Was it {meant}? All findings would fit {10**gain:.0f} times better."
            slips.append(Slip(finding, instead, text, gain))
    return tuple(sorted(slips, key=lambda slip: -slip.log10)[:most])


def turning_findings(
    examination: Examination, catalogue: Catalogue | None = None, *, most: int = 3
) -> tuple[Turn, ...]:
    """Return the findings without which the conclusion would change most.

    Parameters
    ----------
    examination : Examination
        What was found.
    catalogue : Catalogue, optional
        That of the package by default.
    most : int, default 3
        How many at the most.

    Returns
    -------
    tuple of Turn
        Greatest change first.
    """
    catalogue = catalogue or load_catalogue()
    posterior = posterior_of(examination, catalogue=catalogue)
    with_all = posterior.sites
    turns = []
    for observation in posterior.observations:
        without = posterior.sites_without(observation)
        moved = float(np.abs(without - with_all).sum() / 2)
        first = site_name(posterior.model, int(without.argmax()))
        text = finding_text(observation, catalogue)
        turns.append(Turn(observation.finding, text, moved, first))
    return tuple(sorted(turns, key=lambda turn: -turn.moved)[:most])


def carrying_findings(
    examination: Examination, catalogue: Catalogue | None = None
) -> tuple[Finding, ...]:
    """Return a small set of findings that carries the conclusion by itself.

    Starting from all findings, the one that matters least is dropped again and again while the same
    place stays first with at least half of its probability. The set is small, not proved to be
    the smallest.

    Parameters
    ----------
    examination : Examination
        What was found.
    catalogue : Catalogue, optional
        That of the package by default.

    Returns
    -------
    tuple of Finding
        In the order of the examination.
    """
    posterior = posterior_of(examination, catalogue=catalogue)
    if not posterior.observations:
        return ()
    first = int(posterior.sites.argmax())
    enough = posterior.sites[first] / 2

    while True:
        options = [(posterior.sites_without(seen), seen) for seen in posterior.observations]
        kept = [
            (float(sites[first]), seen)
            for sites, seen in options
            if sites.argmax() == first and sites[first] >= enough
        ]
        if not kept:
            break
        _, least = max(kept, key=lambda item: (item[0], item[1].finding.test))
        posterior.remove(least)
    carried = {(o.finding.test, o.finding.side) for o in posterior.observations}
    return tuple(f for f in examination.present() if (f.test, f.side) in carried)
