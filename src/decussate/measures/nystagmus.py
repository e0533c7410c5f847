"""Nystagmus by direction, degree and gaze, and what that argues for.

The direction is that of the fast phase, to the patient's own right or left; torsion is named by the
side to which the upper pole of the eye beats.

References
----------
Eggers SDZ et al. J Vestib Res 2019;29:57 (terms); Hegemann S et al. J Assoc Res Otolaryngol 2007
(gaze law); Jacobson GP et al. J Am Acad Audiol 2008;19:630.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from decussate.errors import BadInput
from decussate.measures.ocular_alignment import Gaze
from decussate.measures.published_rows import read_tables, row_named
from decussate.sides import Side

__all__ = [
    "Argument",
    "FastPhase",
    "GazeHolding",
    "Nystagmus",
    "NystagmusReading",
    "Waveform",
    "alexander_degree",
    "gaze_holding",
    "read_nystagmus",
]


class Waveform(StrEnum):
    """Slow and fast phases, or slow phases only."""

    JERK = "jerk"
    PENDULAR = "pendular"


@dataclass(frozen=True, slots=True)
class FastPhase:
    """Direction of the fast phase, each part left out where there is none.

    Parameters
    ----------
    horizontal : Side, optional
        The patient's side towards which it beats.
    upward : int
        1 up-beating, -1 down-beating, 0 neither.
    torsion : Side, optional
        The patient's side towards which the upper pole beats.
    """

    horizontal: Side | None = None
    upward: int = 0
    torsion: Side | None = None

    def __post_init__(self) -> None:
        if self.upward not in (-1, 0, 1):
            raise BadInput("vertical direction of the fast phase", self.upward, "1, 0 or -1")
        if self.horizontal is None and self.torsion is None and self.upward == 0:
            raise BadInput(
                "fast phase",
                "no direction",
                "right or left, up or down, or torsion by the upper pole",
                hint="A clock direction depends on who looks: name the side instead.",
            )

    @property
    def mirrored(self) -> FastPhase:
        """The same beat in the mirrored patient."""
        return FastPhase(
            self.horizontal and self.horizontal.other,
            self.upward,
            self.torsion and self.torsion.other,
        )

    def towards(self, gaze: Gaze) -> int:
        """Say whether a gaze is towards (1), away from (-1) or neither (0) for the main beat."""
        if self.horizontal is not None:
            right = 1 if self.horizontal is Side.RIGHT else -1
            return right * gaze.rightward
        return self.upward * gaze.upward


@dataclass(frozen=True, slots=True)
class Nystagmus:
    """What was seen.

    Parameters
    ----------
    beats : mapping of Gaze to FastPhase or None
        The fast phase in each direction of gaze examined; None where there was none.
    speed : mapping of Gaze to float
        Strength in each direction by any one scale (slow-phase degrees a second, or grades).
    waveform : Waveform
    fixation_suppresses : bool, optional
    larger_in : Side, optional
        The eye in which it is plainly larger.
    only_at_end_of_gaze : bool
        A few beats at far side gaze, equal on both sides.
    """

    beats: Mapping[Gaze, FastPhase | None]
    speed: Mapping[Gaze, float] = field(default_factory=dict)
    waveform: Waveform = Waveform.JERK
    fixation_suppresses: bool | None = None
    larger_in: Side | None = None
    only_at_end_of_gaze: bool = False

    @property
    def mirrored(self) -> Nystagmus:
        """The nystagmus of the mirrored patient."""
        return Nystagmus(
            {g.mirrored: b and b.mirrored for g, b in self.beats.items()},
            {g.mirrored: s for g, s in self.speed.items()},
            self.waveform,
            self.fixation_suppresses,
            self.larger_in and self.larger_in.other,
            self.only_at_end_of_gaze,
        )


@dataclass(frozen=True, slots=True)
class Argument:
    """One reason, the direction it points, and its source."""

    name: str
    speaks_for: str
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class NystagmusReading:
    """The direction, the degree and the reasons.

    Parameters
    ----------
    fast_phase : FastPhase, optional
        The one direction, when it is the same in every gaze.
    degree : int, optional
        1, 2 or 3 by Alexander; None when the direction changes or too few gazes were examined.
    follows_gaze_law : bool, optional
        Stronger on looking towards the fast phase; None when not measured.
    weak_side : Side, optional
        If it comes from a labyrinth or its nerve: the under-active side, away from the fast phase.
    arguments : tuple of Argument
    """

    fast_phase: FastPhase | None
    degree: int | None
    follows_gaze_law: bool | None
    weak_side: Side | None
    arguments: tuple[Argument, ...]

    def speaking_for(self, place: str) -> tuple[Argument, ...]:
        """Select the reasons for ``"peripheral"`` or ``"central"``."""
        return tuple(a for a in self.arguments if a.speaks_for == place)


def alexander_degree(beats: Mapping[Gaze, FastPhase | None]) -> int | None:
    """Give the degree of a nystagmus that keeps one direction.

    Parameters
    ----------
    beats : mapping of Gaze to FastPhase or None
        Straight ahead, towards and away from the fast phase must have been examined.

    Returns
    -------
    int or None
        1 only towards the fast phase, 2 also straight ahead, 3 also away from it; None when the
        direction changes, a needed gaze was not examined, or the pattern is none of the three.

    References
    ----------
    Degrees: common practice.
    """
    seen = {b for b in beats.values() if b is not None}
    if len(seen) != 1:
        return None
    beat = seen.pop()
    found: dict[int, bool] = {}
    for gaze, present in beats.items():
        straight = gaze is Gaze.AHEAD
        if straight or beat.towards(gaze):
            where = beat.towards(gaze)
            found[where] = found.get(where, False) or present is not None
    pattern = tuple(found.get(where) for where in (1, 0, -1))
    degrees = {(True, False, False): 1, (True, True, False): 2, (True, True, True): 3}
    return degrees.get(pattern)  # type: ignore[arg-type]


def _follows_gaze_law(beat: FastPhase, speed: Mapping[Gaze, float]) -> bool | None:
    towards = [s for g, s in speed.items() if beat.towards(g) == 1]
    away = [s for g, s in speed.items() if beat.towards(g) == -1]
    if not towards or not away or max(towards) == max(away):
        return None
    return max(towards) > max(away)


def read_nystagmus(seen: Nystagmus) -> NystagmusReading:
    """Name a nystagmus and collect what it argues for.

    Parameters
    ----------
    seen : Nystagmus

    Returns
    -------
    NystagmusReading
        The arguments are reasons to weigh, not a verdict: central disease can imitate a peripheral
        pattern, and a normal head impulse outweighs all of them.

    Raises
    ------
    BadInput
        When no direction of gaze was examined or a strength is negative.

    References
    ----------
    Kattah JC et al. Stroke 2009;40:3504; Jacobson GP et al. J Am Acad Audiol 2008;19:630; others in
    ``data/nystagmus.yaml``.
    """
    if not seen.beats:
        raise BadInput("nystagmus", "no gaze", "at least one direction of gaze examined")
    for gaze, strength in seen.speed.items():
        if strength < 0.0:
            raise BadInput(
                f"strength of nystagmus, {gaze}",
                strength,
                "zero or more",
                hint="Give the size; the direction is that of the fast phase.",
            )
    directions = {b for b in seen.beats.values() if b is not None}
    beat = next(iter(directions)) if len(directions) == 1 else None
    law = _follows_gaze_law(beat, seen.speed) if beat else None
    holds = {
        "direction fixed": beat is not None and len(seen.beats) > 1,
        "direction changes with gaze": len({(d.horizontal, d.upward) for d in directions}) > 1
        and not seen.only_at_end_of_gaze,
        "purely vertical": any(
            d.upward and d.horizontal is None and d.torsion is None for d in directions
        ),
        "purely torsional": any(
            d.torsion and d.horizontal is None and not d.upward for d in directions
        ),
        "fixation suppresses": seen.fixation_suppresses is True,
        "fixation does not suppress": seen.fixation_suppresses is False,
        "obeys gaze law": law is True,
        "breaks gaze law": law is False,
        "differs between the eyes": seen.larger_in is not None,
        "pendular": seen.waveform is Waveform.PENDULAR,
        "end point only": seen.only_at_end_of_gaze,
    }
    arguments = tuple(
        Argument(row["name"], row["speaks_for"], row["text"], row.citation)
        for row in read_tables("nystagmus.yaml")["arguments"]
        if directions and holds[row["name"]]
    )
    weak = beat.horizontal.other if beat and beat.horizontal else None
    return NystagmusReading(beat, alexander_degree(seen.beats), law, weak, arguments)


@dataclass(frozen=True, slots=True)
class GazeHolding:
    """A constant drift plus the pull back to the middle.

    Parameters
    ----------
    bias_deg_per_s : float
        Slow-phase velocity straight ahead; positive drifts to the patient's right.
    time_constant_s : float
        Of the drift back to the middle; infinite when gaze is held.
    leaky : bool
        Shorter than in health.
    """

    bias_deg_per_s: float
    time_constant_s: float
    leaky: bool


def gaze_holding(velocity_deg_per_s: Mapping[float, float]) -> GazeHolding:
    """Split slow-phase velocity into a vestibular bias and a leak of gaze holding.

    Velocity is fitted as bias minus gaze divided by the time constant, both positive to the right.

    Parameters
    ----------
    velocity_deg_per_s : mapping of float to float
        Slow-phase velocity against gaze in degrees, both positive to the patient's right.

    Returns
    -------
    GazeHolding

    Raises
    ------
    BadInput
        With fewer than two directions of gaze.

    References
    ----------
    Hegemann S et al. J Assoc Res Otolaryngol 2007 (tonic imbalance and a leaky integrator).
    """
    if len(velocity_deg_per_s) < 2:
        raise BadInput("directions of gaze", len(velocity_deg_per_s), "at least two, in degrees")
    gaze = np.array(list(velocity_deg_per_s))
    slope, bias = np.polyfit(gaze, np.array(list(velocity_deg_per_s.values())), 1)
    constant = -1.0 / float(slope) if slope < -1e-9 else float("inf")
    row = row_named(
        read_tables("nystagmus.yaml")["integrator"], "shortest healthy time constant", "limit"
    )
    return GazeHolding(float(bias), constant, constant < float(row["seconds"]))
