"""Conditions on the story, and on where the lesion is likely to be."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from decussate.sides import Side
from decussate.urgency.condition import NO, UNKNOWN, Condition, Outcome
from decussate.urgency.evidence import Evidence, Truth

__all__ = [
    "AgeCondition",
    "ContextCondition",
    "CourseCondition",
    "NotRecordedCondition",
    "OnsetCondition",
    "PlaceCondition",
]


class OnsetCondition(Condition):
    """The story began in one of these ways."""

    onset: tuple[Literal["sudden", "hours", "days", "weeks", "months", "years"], ...]

    def weigh(self, evidence: Evidence, here: Side, *, assume: bool) -> Outcome:
        """Unknown when the onset was not recorded."""
        onset = evidence.story.onset
        if onset is None:
            return UNKNOWN
        return Outcome(Truth.YES, (f"onset: {onset}",)) if onset in self.onset else NO


class CourseCondition(Condition):
    """The course since then is one of these."""

    course: tuple[Literal["improving", "steady", "worsening", "fluctuating", "attacks"], ...]

    def weigh(self, evidence: Evidence, here: Side, *, assume: bool) -> Outcome:
        """Unknown when the course was not recorded."""
        course = evidence.story.course
        if course is None:
            return UNKNOWN
        return Outcome(Truth.YES, (f"course: {course}",)) if course in self.course else NO


class AgeCondition(Condition):
    """Age in years from a lower bound up to, and not including, an upper one."""

    age_from: float = 0.0
    age_below: float = 200.0

    def weigh(self, evidence: Evidence, here: Side, *, assume: bool) -> Outcome:
        """Unknown when the age was not recorded."""
        age = evidence.story.age
        if age is None:
            return UNKNOWN
        if self.age_from <= age < self.age_below:
            return Outcome(Truth.YES, (f"age: {age:g}",))
        return NO


class ContextCondition(Condition):
    """One of these is in the story; a context that is not recorded is unknown, never absent."""

    context: tuple[str, ...]

    def weigh(self, evidence: Evidence, here: Side, *, assume: bool) -> Outcome:
        """Yes or unknown: a story lists what is so and never what is not."""
        found = [key for key in self.context if key in evidence.story.context]
        if not found:
            return UNKNOWN
        return Outcome(Truth.YES, tuple(f"context: {key.replace('_', ' ')}" for key in found))


class NotRecordedCondition(Condition):
    """A part of the story is missing."""

    not_recorded: Literal["age", "onset", "course"]

    def weigh(self, evidence: Evidence, here: Side, *, assume: bool) -> Outcome:
        """Yes when nothing was recorded."""
        if getattr(evidence.story, self.not_recorded) is not None:
            return NO
        return Outcome(Truth.YES, (f"{self.not_recorded} not recorded",))


class PlaceCondition(Condition):
    """These places and regions together are at least this probable, on the side meant."""

    places: tuple[str, ...] = ()
    regions: tuple[str, ...] = ()
    at_least: float = Field(gt=0.0, le=1.0)
    side: Literal["same", "any"] = "any"

    def weigh(self, evidence: Evidence, here: Side, *, assume: bool) -> Outcome:
        """Unknown without a localisation."""
        if evidence.localisation is None:
            return UNKNOWN
        share = sum(
            candidate.probability
            for candidate in evidence.localisation.candidates
            if (candidate.place in self.places or candidate.region in self.regions)
            and (self.side == "any" or candidate.side == here)
        )
        if share < self.at_least:
            return NO
        return Outcome(Truth.YES, (f"localisation: {share * 100:.0f} of 100",))

    @property
    def sided(self) -> bool:
        """Whether the side counts."""
        return self.side == "same"
