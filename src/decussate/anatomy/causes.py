"""Causes: what can hurt a place, and how each tends to begin, run and choose its patients."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from decussate.bibliography import check_source
from decussate.data_rows import Row
from decussate.errors import BadInput

__all__ = ["AGE_BANDS", "COURSES", "ONSETS", "Cause", "read_causes"]

ONSETS = ("sudden", "hours", "days", "weeks", "months", "years")
COURSES = ("improving", "steady", "worsening", "fluctuating", "attacks")
AGE_BANDS = (20.0, 40.0, 60.0, 75.0)
"""Upper limits, in years, of all age bands but the last."""


@dataclass(frozen=True, slots=True)
class Cause:
    """A kind of disease.

    Attributes
    ----------
    id, name : str
        Key and the clinician's name.
    onset, course : Mapping of str to float
        Probability of each word of `ONSETS`, `COURSES`.
    age : tuple of float
        Relative risk in each of the five age bands.
    female : float
        Share of women among patients.
    age_source, female_source : str
        Keys of the bibliography; ``judgement`` where nothing is published.
    context : Mapping of str to float
        How many times more frequent the context is among patients with this cause.
    unmentioned : float
        What remains of its odds when a story was taken and none of its contexts came up; an
        operation or an injury seldom goes unsaid.
    settle : str
        The investigation that settles it.
    source : str
        Key of the bibliography.
    """

    id: str
    name: str
    onset: Mapping[str, float]
    course: Mapping[str, float]
    age: tuple[float, ...]
    female: float
    context: Mapping[str, float]
    unmentioned: float
    settle: str
    source: str
    age_source: str
    female_source: str


def _shares(row: Row, key: str, words: tuple[str, ...]) -> Mapping[str, float]:
    given = row[key]
    for word in given:
        if word not in words:
            raise BadInput(key, word, "one of " + ", ".join(words), where=row.where)
    # No onset is impossible: stories are told late and in haste.
    floor = 0.02
    total = sum(given.values()) + floor * len(words)
    return {word: (given.get(word, 0.0) + floor) / total for word in words}


def read_causes(rows: Iterable[Row], contexts: Iterable[str]) -> Mapping[str, Cause]:
    """Read ``causes.yaml``.

    Raises
    ------
    BadInput
        For an unknown onset, course, context or source, or a number out of range.
    """
    known = frozenset(contexts)
    causes = {}
    for row in rows:
        row.only(
            "id",
            "name",
            "onset",
            "course",
            "age",
            "female",
            "context",
            "unmentioned",
            "settle",
            "source",
            "age_source",
            "female_source",
        )
        age = row["age"]
        if len(age) != len(AGE_BANDS) + 1 or any(risk <= 0 for risk in age):
            raise BadInput("age", age, "five relative risks above 0", where=row.where)
        for context in row.get("context", {}):
            if context not in known:
                raise BadInput("context", context, "an id of contexts.yaml", where=row.where)
        causes[row["id"]] = Cause(
            id=row["id"],
            name=row["name"],
            onset=_shares(row, "onset", ONSETS),
            course=_shares(row, "course", COURSES),
            age=tuple(float(risk) for risk in age),
            female=row.number("female", 0.01, 0.99, 0.5),
            context=row.get("context", {}),
            unmentioned=row.number("unmentioned", 0.05, 1.0, 1.0),
            settle=row["settle"],
            source=check_source(row["source"], row.where),
            age_source=check_source(row.get("age_source", "judgement"), row.where),
            female_source=check_source(row.get("female_source", "judgement"), row.where),
        )
    return causes
