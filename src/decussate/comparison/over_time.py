"""The examinations of one patient in order of time, and each compared with the one before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from decussate.comparison.changes import Change, Kind, changes_between
from decussate.comparison.places import PlacesThenAndNow, compare_places
from decussate.comparison.tracks import Track, tracks_of
from decussate.comparison.wording import interval_in_words, note_sentence
from decussate.errors import BadInput
from decussate.examination.catalogue import Catalogue
from decussate.examination.document import Examination

if TYPE_CHECKING:
    from decussate.localisation import Localisation

__all__ = ["Comparison", "Course", "Occasion", "compare", "follow", "in_time_order"]


@dataclass(frozen=True, slots=True)
class Occasion:
    """One examination in a series.

    Attributes
    ----------
    examination : Examination
    begun, ended : datetime or None
        First and last time written on its findings; None where none is.
    examiners : tuple of str
        Who recorded findings, in alphabetical order.
    """

    examination: Examination
    begun: datetime | None
    ended: datetime | None
    examiners: tuple[str, ...]

    @classmethod
    def of(cls, examination: Examination) -> Occasion:
        """Read when and by whom an examination was done."""
        times = [finding.at for finding in examination.findings if finding.at]
        by = sorted({finding.by for finding in examination.findings if finding.by})
        return cls(examination, min(times, default=None), max(times, default=None), tuple(by))

    @property
    def name(self) -> str:
        """Label of the examination, or its id."""
        return self.examination.label or self.examination.id


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two examinations of one patient, side by side.

    Attributes
    ----------
    earlier, later : Occasion
    changes : tuple of Change
        One for each test and side found in either, in the order of the examination.
    places : PlacesThenAndNow or None
        None when no localisations were given.
    warnings : tuple of str
        What the reader must know before trusting the comparison.
    """

    earlier: Occasion
    later: Occasion
    changes: tuple[Change, ...]
    places: PlacesThenAndNow | None
    warnings: tuple[str, ...]

    def of(self, *kinds: Kind) -> tuple[Change, ...]:
        """Return the changes of some kinds."""
        return tuple(change for change in self.changes if change.kind in kinds)

    @property
    def interval(self) -> timedelta | None:
        """Time from the earlier to the later; None where either has no time."""
        if self.earlier.begun is None or self.later.begun is None:
            return None
        return self.later.begun - self.earlier.begun

    @property
    def sentence(self) -> str:
        """The comparison in one sentence, for letter and page."""
        return note_sentence(
            interval_in_words(self.interval),
            self.changes,
            self.places,
            other_examiners=self._other_examiners(),
        )

    def brief_sentence(self, shown: int) -> str:
        """Return the comparison in one sentence to be read aloud.

        Parameters
        ----------
        shown : int
            Most changes named; the rest are counted.
        """
        return note_sentence(
            interval_in_words(self.interval),
            self.changes,
            self.places,
            other_examiners=self._other_examiners(),
            shown=shown,
            brief=True,
        )

    def _other_examiners(self) -> bool:
        mixed = bool(self.earlier.examiners and self.later.examiners)
        return mixed and self.earlier.examiners != self.later.examiners


@dataclass(frozen=True, slots=True)
class Course:
    """All examinations of one patient.

    Attributes
    ----------
    occasions : tuple of Occasion
        In order of time.
    steps : tuple of Comparison
        Each examination with the one before it.
    whole : Comparison
        The last with the first.
    tracks : tuple of Track
        Every test measured at two examinations or more.
    warnings : tuple of str
        Of the order in time, and of every pair.
    """

    occasions: tuple[Occasion, ...]
    steps: tuple[Comparison, ...]
    whole: Comparison
    tracks: tuple[Track, ...]
    warnings: tuple[str, ...]


def compare(
    earlier: Examination,
    later: Examination,
    *,
    places: tuple[Localisation, Localisation] | None = None,
    catalogue: Catalogue | None = None,
) -> Comparison:
    """Compare two examinations of one patient.

    Parameters
    ----------
    earlier, later : Examination
    places : tuple of (Localisation, Localisation), optional
        Those of the earlier and of the later.
    catalogue : Catalogue, optional
        That of the package by default.

    Returns
    -------
    Comparison

    Raises
    ------
    BadInput
        If the earlier was done after the later, the two cannot be of one patient (sex, an age that
        falls, an invented person beside a real one), or a finding is not possible.
    """
    then, now = Occasion.of(earlier), Occasion.of(later)
    if then.begun and now.ended and then.begun > now.ended:
        raise BadInput(
            "order of the examinations",
            f"{then.begun.isoformat()} before {now.begun.isoformat() if now.begun else ''}",
            "the earlier examination first",
            hint="Exchange the two.",
        )
    _same_patient(earlier, later)
    return Comparison(
        then,
        now,
        changes_between(earlier, later, catalogue),
        compare_places(*places) if places else None,
        (*_doubts_of_identity(then, now), *_doubts_of_time(then, now)),
    )


def follow(
    examinations: Sequence[Examination],
    *,
    places: Sequence[Localisation] | None = None,
    catalogue: Catalogue | None = None,
) -> Course:
    """Compare all examinations of one patient, put in order of time.

    Parameters
    ----------
    examinations : sequence of Examination
        Two or more, in any order if all have times, otherwise the earliest first.
    places : sequence of Localisation, optional
        One for each, in the order given.
    catalogue : Catalogue, optional
        That of the package by default.

    Returns
    -------
    Course

    Raises
    ------
    BadInput
        As `compare`; if fewer than two are given; or if some have no time and the others are not in
        order.
    """
    if len(examinations) < 2:
        raise BadInput("examinations to compare", len(examinations), "two or more")
    if places is not None and len(places) != len(examinations):
        raise BadInput("localisations", len(places), f"{len(examinations)}, one an examination")
    order, warnings = in_time_order(examinations)
    ordered = [examinations[place] for place in order]
    located = [places[place] for place in order] if places is not None else None

    def pair(first: int, second: int) -> Comparison:
        both = (located[first], located[second]) if located else None
        return compare(ordered[first], ordered[second], places=both, catalogue=catalogue)

    steps = tuple(pair(first, second) for first, second in pairwise(range(len(ordered))))
    whole = steps[0] if len(steps) == 1 else pair(0, len(ordered) - 1)
    said = (*warnings, *(warning for step in (*steps, whole) for warning in step.warnings))
    return Course(
        tuple(Occasion.of(examination) for examination in ordered),
        steps,
        whole,
        tracks_of(ordered, catalogue),
        tuple(dict.fromkeys(said)),
    )


def in_time_order(examinations: Sequence[Examination]) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """Put examinations in order of time.

    Parameters
    ----------
    examinations : sequence of Examination

    Returns
    -------
    tuple of int
        Places in the sequence given, earliest first.
    tuple of str
        Warnings: where an order was changed, or rests on the order given.

    Raises
    ------
    BadInput
        If some have no time, so that the order given must be right, and it is not.
    """
    occasions = [Occasion.of(examination) for examination in examinations]
    given = tuple(range(len(occasions)))
    timed = [(occasion.begun, place) for place, occasion in enumerate(occasions) if occasion.begun]
    by_time = tuple(place for _, place in sorted(timed))
    if len(timed) == len(occasions):
        moved = by_time != given
        return by_time, ("The examinations were put in order of time.",) if moved else ()
    if by_time != tuple(place for _, place in timed):
        without = next(o.name for o in occasions if o.begun is None)
        raise BadInput(
            "order of the examinations",
            " then ".join(occasions[place].begun.isoformat() for _, place in timed),  # type: ignore[union-attr]
            "the earliest first, since not every examination has a time",
            hint=f"No finding of {without!r} has a time.",
        )
    return given, ("Not every examination has a time: taken in the order given.",)


def _same_patient(earlier: Examination, later: Examination) -> None:
    hint = "Are these examinations of two people?"
    then, now = earlier.story, later.story
    if then.sex and now.sex and then.sex != now.sex:
        raise BadInput("sex", f"{then.sex}, then {now.sex}", "one patient", hint=hint)
    if then.age is not None and now.age is not None and now.age < then.age:
        found = f"{then.age:g}, then {now.age:g}"
        raise BadInput("age", found, "an age that does not fall", hint=hint)
    if earlier.invented != later.invented:
        found = "an invented person beside one not marked invented"
        raise BadInput("patient", found, "one patient", hint=hint)


def _doubts_of_identity(then: Occasion, now: Occasion) -> tuple[str, ...]:
    names = then.examination.label, now.examination.label
    if not all(names) or names[0] == names[1]:
        return ()
    return (f"The headings differ ({names[0]}; {names[1]}): make sure this is one patient.",)


def _doubts_of_time(then: Occasion, now: Occasion) -> tuple[str, ...]:
    if then.ended is None or now.begun is None:
        return ("No time was recorded: how far apart the examinations are is not known.",)
    if then.examination != now.examination and then.ended > now.begun:
        return ("The times of the two examinations overlap.",)
    return ()
