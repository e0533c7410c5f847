"""What is seen in a positional test: the position, the nystagmus and its timing."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from decussate.errors import BadInput
from decussate.measures.nystagmus import FastPhase
from decussate.sides import Side

__all__ = ["CentralClues", "Manoeuvre", "Mechanism", "PositionalObservation"]


class Manoeuvre(StrEnum):
    """The positional tests."""

    HEAD_HANGING = "head hanging to the side"
    STRAIGHT_HANGING = "head hanging straight back"
    ROLL = "supine roll"
    LYING_DOWN = "sitting to lying"
    BOW = "bow"
    LEAN = "lean"


class Mechanism(StrEnum):
    """What is taken to disturb the canal."""

    FREE = "free debris"
    ON_CUPULA = "debris on the cupula"
    SHORT_ARM = "debris in the short arm side"
    NOT_TIMED = "free debris or debris on the cupula (not timed)"


_SIDED = (Manoeuvre.HEAD_HANGING, Manoeuvre.ROLL)


@dataclass(frozen=True, slots=True)
class PositionalObservation:
    """What was seen in one position.

    Parameters
    ----------
    manoeuvre : Manoeuvre
    side : Side, optional
        The ear tested (down); needed for the head-hanging and roll tests only.
    beat : FastPhase, optional
        Direction of the fast phase; None when no nystagmus was seen.
    latency_s, duration_s : float, optional
        Seconds to the start, and from start to end (``inf`` when it went on).
    strength : float, optional
        Slow-phase speed or any one scale, to compare the two sides of the roll test.
    reverses_on_sitting, fatigues, vertigo : bool, optional
        None when not looked for.
    watched_s : float, optional
        How long the position was held.
    """

    manoeuvre: Manoeuvre
    side: Side | None = None
    beat: FastPhase | None = None
    latency_s: float | None = None
    duration_s: float | None = None
    strength: float | None = None
    reverses_on_sitting: bool | None = None
    fatigues: bool | None = None
    vertigo: bool | None = None
    watched_s: float | None = None

    def __post_init__(self) -> None:
        if (self.manoeuvre in _SIDED) is not (self.side is not None):
            raise BadInput(
                f"side of the {self.manoeuvre} test",
                self.side and str(self.side),
                "right or left (the ear tested)" if self.manoeuvre in _SIDED else "no side",
            )
        for field, value in (
            ("latency", self.latency_s),
            ("duration", self.duration_s),
            ("strength", self.strength),
            ("time watched", self.watched_s),
        ):
            if value is not None and not value >= 0.0:
                raise BadInput(field, value, "zero or more (seconds for times)")

    @property
    def mirrored(self) -> PositionalObservation:
        """The observation in the mirrored patient."""
        return PositionalObservation(
            self.manoeuvre,
            self.side and self.side.other,
            self.beat and self.beat.mirrored,
            self.latency_s,
            self.duration_s,
            self.strength,
            self.reverses_on_sitting,
            self.fatigues,
            self.vertigo,
            self.watched_s,
        )


@dataclass(frozen=True, slots=True)
class CentralClues:
    """The rest of the examination, as far as it argues for a central cause."""

    other_neurological_signs: bool = False
    new_headache_or_neck_pain: bool = False
    fixation_suppresses: bool | None = None
    no_response_to_repositioning: bool = False
