"""What each finding argues, what the conclusion hangs on, and pathways drawn."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from markupsafe import Markup

from decussate.anatomy import Piece, load_atlas
from decussate.anatomy.strands import Strands, sign_strands
from decussate.bibliography import check_source
from decussate.data_rows import read_rows
from decussate.drawings.convention import Convention
from decussate.drawings.pathways import draw_pathway, plans_of
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination
from decussate.localisation import Candidate, Posterior, Reason
from decussate.localisation.arguments import Argument, Leaning, arguments
from decussate.localisation.sensitivity import sensitivity
from decussate.localisation.what_if import (
    Turn,
    carrying_findings,
    recording_slips,
    turning_findings,
)
from decussate.sides import Side
from decussate.web.conclusions import hundred
from decussate.web.place_pictures import CROP_TOP, own_patterns
from decussate.web.rendering import slug
from decussate.web.view import finding_words

__all__ = [
    "ArgumentView",
    "DoubtView",
    "LeaningView",
    "PathwayView",
    "argument_views",
    "doubt_view",
    "one_argument",
    "pathway_of_finding",
    "pathway_of_place",
    "weight_words",
]

LEANINGS_SHOWN = 5
PATHWAYS_THROUGH_PLACE = 3
"""So many of a place's strongest reasons have their pathways drawn through it."""
BANDS_SHOWN = 3
LEAST_TURN = 0.03
"""A finding without which less of the probability changes place turns nothing (judgement)."""


@dataclass(frozen=True, slots=True)
class LeaningView:
    """A place for or against which a finding speaks, in words."""

    place: str
    side: str
    name: str
    words: str
    log10: str
    now: str
    without: str


@dataclass(frozen=True, slots=True)
class ArgumentView:
    """A finding and what it argues."""

    test: str
    side: str
    text: str
    short: str
    supports: tuple[LeaningView, ...]
    against: tuple[LeaningView, ...]

    @property
    def tells(self) -> bool:
        """Whether it tells the leading places apart."""
        return bool(self.supports or self.against)


@dataclass(frozen=True, slots=True)
class PathwayView:
    """A picture of a pathway: its convention in words, and its numbered structures."""

    plan: str
    name: str
    view: str
    svg: Markup
    steps: tuple[tuple[int, str], ...]
    words: str


@dataclass(frozen=True, slots=True)
class DoubtView:
    """How firm the conclusion is: slips that would explain a misfit, what carries it, its range."""

    slips: tuple[tuple[str, str], ...]
    carrying: tuple[tuple[str, str], ...]
    turning: tuple[tuple[str, str, str], ...]
    bands: tuple[tuple[str, str], ...]


@cache
def _words() -> tuple[tuple[float, str], ...]:
    found = []
    for row in read_rows(files(__package__) / "data" / "weight_words.yaml"):
        row.only("id", "from", "words", "source")
        check_source(row["source"], row.where)
        found.append((row.number("from", 1.0, 1000.0), str(row["words"])))
    return tuple(found)


def weight_words(log10: float) -> str:
    """Return a weight in plain words: ``strongly, 19 times likelier here than elsewhere``.

    Parameters
    ----------
    log10 : float
        Of the likelihood ratio.

    Returns
    -------
    str
    """
    times = 10.0 ** abs(log10)
    how = next(words for least, words in _words() if times >= least or least == 1.0)
    direction = "likelier" if log10 > 0 else "less likely"
    shown = f"{times:.0f}" if times >= 9.5 else f"{times:.1f}"
    return f"{how}: {shown} times {direction} there than elsewhere"


def argument_views(posterior: Posterior) -> tuple[ArgumentView, ...]:
    """Return what each finding argues, the one that argues most strongly first."""
    return tuple(_argument(one) for one in arguments(posterior))


def one_argument(posterior: Posterior, test: str, side: str) -> ArgumentView:
    """Return what one finding argues.

    Raises
    ------
    BadInput
        If it is not recorded, or bears on no place.
    """
    for one in argument_views(posterior):
        if (one.test, one.side) == (test, side):
            return one
    raise BadInput("finding", " ".join((test, side)), "a recorded finding that bears on a place")


def _argument(one: Argument) -> ArgumentView:
    leanings = (*one.supports, *one.against)
    strongest = max(leanings, key=lambda each: abs(each.log10), default=None)
    short = "tells the likely places hardly apart"
    if strongest is not None:
        way = "for" if strongest.log10 > 0 else "against"
        short = f"most {way}: {strongest.name}"
    return ArgumentView(
        test=one.test,
        side=one.side or "",
        text=one.text[:1].upper() + one.text[1:],
        short=short,
        supports=_leanings(one.supports),
        against=_leanings(one.against),
    )


def _leanings(leanings: Iterable[Leaning]) -> tuple[LeaningView, ...]:
    """Return the strongest, and the likeliest place even where it is not among them."""
    every = list(leanings)
    shown = every[:LEANINGS_SHOWN]
    likeliest = max(every, key=lambda one: one.probability, default=None)
    if likeliest is not None and likeliest not in shown:
        shown[-1] = likeliest
    return tuple(
        LeaningView(
            place=one.place,
            side=one.side or "",
            name=one.name[:1].upper() + one.name[1:],
            words=weight_words(one.log10),
            log10=f"{one.log10:+.2f}".replace("-", "−"),
            now=hundred(one.probability),
            without=hundred(one.without),
        )
        for one in shown
    )


def doubt_view(examination: Examination, first: str) -> DoubtView:
    """Return what the conclusion hangs on, and how far its numbers could move.

    Parameters
    ----------
    examination : Examination
    first : str
        Name of the place that comes first.

    Returns
    -------
    DoubtView
    """
    return DoubtView(
        slips=tuple(
            (one.finding.test, one.text[:1].upper() + one.text[1:])
            for one in recording_slips(examination)
        ),
        carrying=tuple((one.test, finding_words(one)) for one in carrying_findings(examination)),
        turning=tuple(
            (one.finding.test, one.text[:1].upper() + one.text[1:], _turn_words(one, first))
            for one in turning_findings(examination)
            if one.moved >= LEAST_TURN
        ),
        bands=tuple(
            (
                one.name[:1].upper() + one.name[1:],
                f"{hundred(one.low)} to {hundred(one.high)} of 100, first in "
                f"{hundred(one.first)} of 100 trials",
            )
            for one in sensitivity(examination)[:BANDS_SHOWN]
        ),
    )


def _turn_words(turn: Turn, first: str) -> str:
    kept = "would still come first" if turn.first == first else "would come first"
    return f"without it {hundred(turn.moved)} of 100 move, and {turn.first} {kept}"


def pathway_of_finding(
    posterior: Posterior, test: str, side: Side | None, convention: Convention
) -> tuple[PathwayView, ...]:
    """Draw the pathway that a finding tests, with the likely lesion on it.

    Parameters
    ----------
    posterior : Posterior
    test : str
        Id of a test that reveals a sign.
    side : Side or None
    convention : Convention

    Returns
    -------
    tuple of PathwayView
        Empty where the sign hangs on no pathway that can be drawn.
    """
    known = load_catalogue().test(test)
    if known.sign is None:
        return ()
    strands = sign_strands(load_atlas(), known.sign, side)
    chances = _chances(posterior, strands, posterior.lesions)
    name = f"Pathway of {known.name.lower()}" + (f", {side}" if side else "")
    return _pictures(strands, chances, name, convention)


def pathway_of_place(
    posterior: Posterior, candidate: Candidate, convention: Convention
) -> tuple[PathwayView, ...]:
    """Draw the pathways of the findings that put a place where it is, through the place.

    Parameters
    ----------
    posterior : Posterior
    candidate : Candidate
        One with reasons.
    convention : Convention

    Returns
    -------
    tuple of PathwayView
    """
    atlas = load_atlas()
    together = Strands((), (), (), ())
    for reason in candidate.supports[:PATHWAYS_THROUGH_PLACE]:
        together = together.beside(sign_strands(atlas, _sign(reason), reason.side))
    lesions = posterior.model.lesions
    sites = [(one.place, one.side) for one in lesions.sites]
    start, stop = posterior.model.span(sites.index((candidate.place, candidate.side)))
    inside = np.zeros(len(posterior.lesions))
    inside[start:stop] = posterior.lesions[start:stop]
    inside /= max(inside.sum(), np.finfo(float).tiny)
    chances = _chances(posterior, together, inside)
    return _pictures(together, chances, f"Pathways through {candidate.name}", convention, most=1)


def _sign(reason: Reason) -> str:
    sign = load_catalogue().test(reason.test).sign
    assert sign is not None  # noqa: S101  (a reason always bears on a sign)
    return sign


def _chances(
    posterior: Posterior, strands: Strands, lesions: np.ndarray[tuple[int], np.dtype[np.float64]]
) -> Mapping[Piece, float]:
    damage = posterior.model.lesions.damage
    found = {}
    for piece in strands.pieces:
        if piece in damage:
            columns, amount = damage[piece]
            found[piece] = float(lesions[columns[amount > 0]].sum())
    return found


def _pictures(
    strands: Strands,
    chances: Mapping[Piece, float],
    name: str,
    convention: Convention,
    *,
    most: int = 2,
) -> tuple[PathwayView, ...]:
    drawn = (
        draw_pathway(plan, strands, chances, name=name, convention=convention)
        for plan in plans_of(strands.pieces, chances, most)
    )
    return tuple(
        PathwayView(
            one.plan,
            one.title,
            one.view,
            Markup(_for_page(one.svg, slug(f"{name} {one.plan}"))),  # noqa: S704  (our own words)
            one.steps,
            one.words,
        )
        for one in drawn
    )


def _for_page(svg: str, owner: str) -> str:
    """Leave the sentence on the convention to the caption, as the pictures of places do."""
    cropped = re.sub(
        r'viewBox="0 0 (\d+) ([\d.]+)"',
        lambda box: f'viewBox="0 {CROP_TOP:g} {box[1]} {float(box[2]) - CROP_TOP:g}"',
        svg,
        count=1,
    )
    return own_patterns(cropped, owner)
