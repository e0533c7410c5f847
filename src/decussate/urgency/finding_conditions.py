"""Conditions on what was found, found normal, or not examined."""

from __future__ import annotations

from typing import Literal

from decussate.examination.document import ABNORMAL
from decussate.sides import Side
from decussate.urgency.condition import NO, UNKNOWN, Outcome, Sided, any_of
from decussate.urgency.evidence import Evidence, Seen, Truth

__all__ = [
    "NormalCondition",
    "ResponseCondition",
    "SetAsideCondition",
    "SignCondition",
    "UntestedCondition",
]


class SignCondition(Sided):
    """A sign is abnormal, by any test that reveals it.

    A sign of each side needs ``side``.  A sign of the whole patient has none; where it names a
    direction (``right``, ``left``), ``towards`` may say which.
    """

    sign: str
    states: tuple[str, ...] = ()
    towards: Literal["same", "other"] | None = None

    def weigh(self, evidence: Evidence, here: Side, *, assume: bool) -> Outcome:
        """Look on the side meant, or for the direction meant."""
        if self.towards is None:
            return super().weigh(evidence, here, assume=assume)
        wanted = here if self.towards == "same" else here.other
        return self._judge(evidence.by_sign.get((self.sign, None), ()), (wanted,), assume)

    def weigh_on(self, evidence: Evidence, side: Side | None, *, assume: bool) -> Outcome:
        """Look at the findings of one side."""
        return self._judge(evidence.by_sign.get((self.sign, side), ()), self.states, assume)

    def _judge(self, seen: tuple[Seen, ...], wanted: tuple[str, ...], assume: bool) -> Outcome:
        if not seen:
            return UNKNOWN
        return any_of(self._judge_one(one, wanted, assume) for one in seen)

    def _judge_one(self, one: Seen, wanted: tuple[str, ...], assume: bool) -> Outcome:
        if one.normal:
            return NO
        if one.state is None and wanted:
            return Outcome(Truth.YES if assume else Truth.UNKNOWN, (one,))
        return Outcome(Truth.YES, (one,)) if not wanted or one.state in wanted else NO

    @property
    def sided(self) -> bool:
        """A direction also follows the side."""
        return self.towards is not None or super().sided


class NormalCondition(Sided):
    """A sign was tested and found normal by every test used; not tested is unknown."""

    normal: str

    def weigh_on(self, evidence: Evidence, side: Side | None, *, assume: bool) -> Outcome:
        """Look at the findings of one side."""
        seen = evidence.by_sign.get((self.normal, side), ())
        if not seen:
            return UNKNOWN
        return Outcome(Truth.YES, seen) if all(one.normal for one in seen) else NO


class ResponseCondition(Sided):
    """A test gave one of these responses; for what is only recorded and reveals no sign."""

    test: str
    responses: tuple[str, ...]

    def weigh_on(self, evidence: Evidence, side: Side | None, *, assume: bool) -> Outcome:
        """Look at the findings of one side."""
        seen = evidence.by_test.get((self.test, side), ())
        if not seen:
            return UNKNOWN
        if any(one.finding.response in self.responses for one in seen):
            return Outcome(Truth.YES, seen)
        if any(one.finding.response == ABNORMAL for one in seen):
            return Outcome(Truth.YES if assume else Truth.UNKNOWN, seen)
        return NO


class UntestedCondition(Sided):
    """No test of a sign was done, or it could not be done; never true of a known old deficit."""

    untested: str

    def weigh_on(self, evidence: Evidence, side: Side | None, *, assume: bool) -> Outcome:
        """Look for findings of one side."""
        key = (self.untested, side)
        answered = key in evidence.by_sign or key in evidence.set_aside
        return NO if answered else Outcome(Truth.YES)


class SetAsideCondition(Sided):
    """A sign is set aside as known to be old, so that it can neither alarm nor reassure."""

    set_aside: str

    def weigh_on(self, evidence: Evidence, side: Side | None, *, assume: bool) -> Outcome:
        """Look for what is old on one side, with nothing newer found beside it."""
        key = (self.set_aside, side)
        old = key in evidence.set_aside and key not in evidence.by_sign
        return Outcome(Truth.YES) if old else NO
