"""A condition of a rule: yes, no or unknown, for one side at a time."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from pydantic import BaseModel, ConfigDict

from decussate.sides import Side
from decussate.urgency.evidence import Evidence, Seen, Truth

__all__ = ["NO", "UNKNOWN", "Condition", "Outcome", "Sided", "all_of", "any_of", "joined", "walk"]

Which = Literal["same", "other", "either", "both"]
"""``same`` and ``other`` follow the side the rule is being tried for; the others do not."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """The answer of a condition, and the findings that make it so.

    Parameters
    ----------
    truth : Truth
        Yes, no or unknown.
    because : tuple of Seen or str
        Findings, and plain words for the rest, behind a yes.
    """

    truth: Truth
    because: tuple[Seen | str, ...] = ()


UNKNOWN = Outcome(Truth.UNKNOWN)
NO = Outcome(Truth.NO)


def all_of(outcomes: Iterable[Outcome]) -> Outcome:
    """No if any is no, unknown if any is unknown, otherwise yes; what follows a no is not asked."""
    seen = []
    for outcome in outcomes:
        if outcome.truth is Truth.NO:
            return NO
        seen.append(outcome)
    if any(outcome.truth is Truth.UNKNOWN for outcome in seen):
        return UNKNOWN
    return Outcome(Truth.YES, joined(seen))


def any_of(outcomes: Iterable[Outcome]) -> Outcome:
    """Yes if any is yes, unknown if any is unknown, otherwise no."""
    seen = tuple(outcomes)
    yes = [outcome for outcome in seen if outcome.truth is Truth.YES]
    if yes:
        return Outcome(Truth.YES, joined(yes))
    return UNKNOWN if any(outcome.truth is Truth.UNKNOWN for outcome in seen) else NO


def joined(outcomes: Iterable[Outcome]) -> tuple[Seen | str, ...]:
    """Join the reasons of several outcomes, each once."""
    return tuple(dict.fromkeys(reason for outcome in outcomes for reason in outcome.because))


class Condition(BaseModel):
    """One condition.

    `weigh` takes the side the rule is tried for and ``assume``: whether an abnormality whose kind
    was not stated counts as the kind asked for.  It does where that raises an alert and does not
    where that would silence one.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    @abstractmethod
    def weigh(self, evidence: Evidence, here: Side, *, assume: bool) -> Outcome:
        """Answer the condition for one side."""

    def parts(self) -> tuple[Condition, ...]:
        """Return the conditions inside this one."""
        return ()

    @property
    def sided(self) -> bool:
        """Whether the answer depends on the side the rule is tried for."""
        return any(part.sided for part in self.parts())


def walk(condition: Condition) -> Iterator[Condition]:
    """Yield a condition and every condition inside it."""
    yield condition
    for part in condition.parts():
        yield from walk(part)


class Sided(Condition):
    """A condition on one side or both; without ``side``, on the whole patient."""

    side: Which | None = None

    def weigh(self, evidence: Evidence, here: Side, *, assume: bool) -> Outcome:
        """Answer for the side or sides meant."""
        if self.side in ("both", "either"):
            each = (self.weigh_on(evidence, side, assume=assume) for side in Side)
            return all_of(each) if self.side == "both" else any_of(each)
        side = None if self.side is None else here if self.side == "same" else here.other
        return self.weigh_on(evidence, side, assume=assume)

    @abstractmethod
    def weigh_on(self, evidence: Evidence, side: Side | None, *, assume: bool) -> Outcome:
        """Answer for one side of the patient, or for the whole patient."""

    @property
    def sided(self) -> bool:
        """Whether the answer follows the side the rule is tried for."""
        return self.side in ("same", "other")
