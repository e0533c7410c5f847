"""Conditions joined by all, any, count, not and try; and the one type for any condition."""

from __future__ import annotations

from typing import Annotated

from pydantic import Discriminator, Field, Tag

from decussate.sides import Side
from decussate.urgency.condition import (
    NO,
    UNKNOWN,
    Condition,
    Outcome,
    Sided,
    all_of,
    any_of,
    joined,
)
from decussate.urgency.evidence import Evidence, Truth
from decussate.urgency.finding_conditions import (
    NormalCondition,
    ResponseCondition,
    SetAsideCondition,
    SignCondition,
    UntestedCondition,
)
from decussate.urgency.story_conditions import (
    AgeCondition,
    ContextCondition,
    CourseCondition,
    NotRecordedCondition,
    OnsetCondition,
    PlaceCondition,
)

__all__ = ["AnyCondition"]


class AllCondition(Condition):
    """Every one of these."""

    all: tuple[AnyCondition, ...] = Field(min_length=1)

    def weigh(self, evidence: Evidence, here: Side, *, assume: bool) -> Outcome:
        """No if any is no, unknown if any is unknown, otherwise yes."""
        return all_of(part.weigh(evidence, here, assume=assume) for part in self.all)

    def parts(self) -> tuple[Condition, ...]:
        """Return the conditions inside."""
        return self.all


class AnyOfCondition(Condition):
    """At least one of these."""

    any: tuple[AnyCondition, ...] = Field(min_length=1)

    def weigh(self, evidence: Evidence, here: Side, *, assume: bool) -> Outcome:
        """Yes if any is yes, unknown if any is unknown, otherwise no."""
        return any_of(part.weigh(evidence, here, assume=assume) for part in self.any)

    def parts(self) -> tuple[Condition, ...]:
        """Return the conditions inside."""
        return self.any


class CountCondition(Condition):
    """At least so many of these."""

    count: int = Field(ge=2)
    of: tuple[AnyCondition, ...] = Field(min_length=2)

    def weigh(self, evidence: Evidence, here: Side, *, assume: bool) -> Outcome:
        """Unknown while those unknown could still make up the number."""
        outcomes = tuple(part.weigh(evidence, here, assume=assume) for part in self.of)
        yes = tuple(outcome for outcome in outcomes if outcome.truth is Truth.YES)
        if len(yes) >= self.count:
            return Outcome(Truth.YES, joined(yes))
        possible = sum(outcome.truth is not Truth.NO for outcome in outcomes)
        return UNKNOWN if possible >= self.count else NO

    def parts(self) -> tuple[Condition, ...]:
        """Return the conditions inside."""
        return self.of


class NotCondition(Condition):
    """The opposite; what is unknown stays unknown."""

    not_: AnyCondition = Field(alias="not")

    def weigh(self, evidence: Evidence, here: Side, *, assume: bool) -> Outcome:
        """Reverse the answer, reading an unstated kind of abnormality the cautious way."""
        return Outcome(self.not_.weigh(evidence, here, assume=not assume).truth.negated)

    def parts(self) -> tuple[Condition, ...]:
        """Return the condition inside."""
        return (self.not_,)


class SideCondition(Sided):
    """The condition inside, tried for the other side, for either, or for both."""

    try_: AnyCondition = Field(alias="try")

    def weigh_on(self, evidence: Evidence, side: Side | None, *, assume: bool) -> Outcome:
        """Try the inside for one side; without a side there is nothing to try."""
        return self.try_.weigh(evidence, side, assume=assume) if side else UNKNOWN

    def parts(self) -> tuple[Condition, ...]:
        """Return the condition inside."""
        return (self.try_,)


_KINDS: dict[str, type[Condition]] = {
    "sign": SignCondition,
    "normal": NormalCondition,
    "test": ResponseCondition,
    "untested": UntestedCondition,
    "set_aside": SetAsideCondition,
    "onset": OnsetCondition,
    "course": CourseCondition,
    "age_from": AgeCondition,
    "age_below": AgeCondition,
    "context": ContextCondition,
    "not_recorded": NotRecordedCondition,
    "at_least": PlaceCondition,
    "all": AllCondition,
    "any": AnyOfCondition,
    "count": CountCondition,
    "not": NotCondition,
    "try": SideCondition,
}


def _kind(value: object) -> str | None:
    if isinstance(value, Condition):
        return type(value).__name__
    if isinstance(value, dict):
        return next((kind.__name__ for key, kind in _KINDS.items() if key in value), None)
    return None


AnyCondition = Annotated[
    Annotated[SignCondition, Tag("SignCondition")]
    | Annotated[NormalCondition, Tag("NormalCondition")]
    | Annotated[ResponseCondition, Tag("ResponseCondition")]
    | Annotated[UntestedCondition, Tag("UntestedCondition")]
    | Annotated[SetAsideCondition, Tag("SetAsideCondition")]
    | Annotated[OnsetCondition, Tag("OnsetCondition")]
    | Annotated[CourseCondition, Tag("CourseCondition")]
    | Annotated[AgeCondition, Tag("AgeCondition")]
    | Annotated[ContextCondition, Tag("ContextCondition")]
    | Annotated[NotRecordedCondition, Tag("NotRecordedCondition")]
    | Annotated[PlaceCondition, Tag("PlaceCondition")]
    | Annotated[AllCondition, Tag("AllCondition")]
    | Annotated[AnyOfCondition, Tag("AnyOfCondition")]
    | Annotated[CountCondition, Tag("CountCondition")]
    | Annotated[NotCondition, Tag("NotCondition")]
    | Annotated[SideCondition, Tag("SideCondition")],
    Discriminator(_kind),
]
"""Any of the conditions, told apart by the word it begins with."""

for _holder in (AllCondition, AnyOfCondition, CountCondition, NotCondition, SideCondition):
    _holder.model_rebuild()
