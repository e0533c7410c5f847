"""What follows from an examination, in the words the results panel and the dock show."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice

from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, Finding
from decussate.localisation import Candidate, Localisation, NextTest, Reason, localise
from decussate.sides import Side
from decussate.urgency import Alert, evaluate
from decussate.urgency.reservations import reservations
from decussate.web.bedside import chance_words, load_parts
from decussate.web.held_back import HeldBack
from decussate.web.view import sides_of

__all__ = ["Conclusion", "begin_with", "chance", "conclude", "hundred", "listed_candidates"]

PLACES_SHOWN = 5
REASONS_SHOWN = 6
CAUSES_SHOWN = 4
NEXT_TESTS_SHOWN = 5
LEAST_CHANCE_SHOWN = 0.005
"""A place below half a chance in a hundred is not listed (judgement)."""


@dataclass(frozen=True, slots=True)
class ReasonView:
    """A finding and what it argues; `weight` in words, empty where it has none."""

    test: str
    text: str
    weight: str


@dataclass(frozen=True, slots=True)
class CauseView:
    """A cause, its share of the place's probability in hundredths, and what settles it."""

    name: str
    hundred: str
    settle: str


@dataclass(frozen=True, slots=True)
class PlaceView:
    """A place with its probability as words, number and bar, and the reasons under headings.

    `lesion` is false for the one entry that says there is none: it has neither pathways nor causes.
    """

    key: str
    side: str
    title: str
    words: str
    hundred: str
    percent: float
    reasons: tuple[tuple[str, tuple[ReasonView, ...], str], ...]
    causes: tuple[CauseView, ...]
    lesion: bool


@dataclass(frozen=True, slots=True)
class NextView:
    """A test worth doing next."""

    test: str
    side: str
    name: str
    seconds: int
    gain: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Conclusion:
    """Everything that follows from an examination as it now stands."""

    localisation: Localisation
    alerts: tuple[Alert, ...]
    used: int
    undecided: str
    reservations: tuple[str, ...]
    side_words: str
    places: tuple[PlaceView, ...]
    unexplained: tuple[ReasonView, ...]
    next_tests: tuple[NextView, ...]


@lru_cache(maxsize=64)
def conclude(examination: Examination) -> Conclusion:
    """Work out where, how sure, what cannot wait and what to test next.

    Parameters
    ----------
    examination : Examination
        The present state.

    Returns
    -------
    Conclusion
        Ready to be shown.
    """
    localisation = localise(examination)
    shares = localisation.side_probability
    return Conclusion(
        localisation=localisation,
        alerts=tuple(evaluate(examination, localisation)),
        used=localisation.findings_used,
        undecided=localisation.undecided if localisation.findings_used else "",
        reservations=reservations(examination),
        side_words="Side: "
        + ", ".join(
            f"{word} {hundred(shares.get(key, 0.0))}"
            for key, word in (("right", "right"), ("midline", "neither or both"), ("left", "left"))
        )
        + " of 100",
        places=tuple(_place(candidate) for candidate in listed_candidates(localisation)),
        unexplained=_reasons(localisation.unexplained),
        next_tests=_next_tests(localisation.next_tests),
    )


def _next_tests(found: Iterable[NextTest]) -> tuple[NextView, ...]:
    """Return the tests worth doing next; one that is wanted on both sides stands once, sideless."""
    by_test: dict[str, list[NextTest]] = {}
    for wanted in found:
        by_test.setdefault(wanted.test, []).append(wanted)
    return tuple(
        NextView(
            test=test,
            side=str(sides[0].side or "") if len(sides) == 1 else "",
            name=load_catalogue().test(test).name,
            seconds=round(sides[0].seconds),
            gain=f"gains {max(side.bits for side in sides):.2f} bits",
            cautions=_cautions(test),
        )
        for test, sides in list(by_test.items())[:NEXT_TESTS_SHOWN]
    )


def begin_with(
    path: str, present: Mapping[tuple[str, Side | None], Finding], held_back: HeldBack
) -> tuple[NextView, ...]:
    """Return what to do next while nothing recorded points anywhere: the tests in their order.

    Parameters
    ----------
    path : str
        Key of the short path chosen; empty for the whole examination.
    present : mapping of (str, Side or None) to Finding
        Findings that stand.
    held_back : HeldBack
        What bars a test.

    Returns
    -------
    tuple of NextView
        The first usual tests that are not recorded yet, and that nothing bars; one barred on one
        side is named with the other.
    """
    gain = "next on the path chosen" if path else "next in the order of the examination"
    waiting = (
        (test, free)
        for part in load_parts(path)
        for test in part.routine
        if (
            free := [
                side
                for side in sides_of(test)
                if (test.id, side) not in present and not held_back(test, side)
            ]
        )
    )
    return tuple(
        NextView(
            test.id,
            str(free[0] or "") if len(free) == 1 else "",
            test.name,
            round(test.seconds),
            gain,
            _cautions(test.id),
        )
        for test, free in islice(waiting, NEXT_TESTS_SHOWN)
    )


def listed_candidates(localisation: Localisation) -> tuple[Candidate, ...]:
    """Return the places that the panel lists, most likely first."""
    first, *rest = localisation.candidates[:PLACES_SHOWN]
    return (first, *(one for one in rest if one.probability >= LEAST_CHANCE_SHOWN))


def _cautions(test: str) -> tuple[str, ...]:
    catalogue = load_catalogue()
    return tuple(catalogue.cautions[key].name for key in catalogue.test(test).cautions)


def _place(candidate: Candidate) -> PlaceView:
    named = candidate.side is None or candidate.side.value in candidate.name.lower()
    name = candidate.name if named else f"{candidate.side} {candidate.name}"
    return PlaceView(
        key=candidate.place,
        side=candidate.side.value if candidate.side else "",
        title=name[:1].upper() + name[1:],
        words=chance(candidate.probability),
        hundred=hundred(candidate.probability),
        percent=round(100 * candidate.probability, 1),
        reasons=(
            ("Speaks for it", _reasons(candidate.supports), "+"),
            ("Speaks against it", _reasons(candidate.against), "−"),
            ("Not explained by it", _reasons(candidate.unexplained), "?"),
        ),
        causes=tuple(
            CauseView(cause.name, hundred(cause.share), cause.settle)
            for cause in candidate.causes[:CAUSES_SHOWN]
        ),
        lesion=candidate.is_lesion,
    )


def _reasons(reasons: Iterable[Reason]) -> tuple[ReasonView, ...]:
    return tuple(
        ReasonView(reason.test, reason.text, f"×{10 ** abs(reason.log10):.3g}")
        for reason in tuple(reasons)[:REASONS_SHOWN]
    )


def chance(probability: float) -> str:
    """Return a probability in words."""
    return next(word.words for word in chance_words() if probability >= word.start)


def hundred(probability: float) -> str:
    """Return a probability as so many of 100."""
    hundredths = round(100 * probability)
    if hundredths == 0 and probability > 0:
        return "under 1"
    if hundredths == 100 and probability < 1:
        return "over 99"
    return str(hundredths)
