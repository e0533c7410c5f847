"""One weak vertical muscle from three comparisons: straight ahead, side gaze and head tilt.

Each of the eight vertically acting muscles is paralysed in the mechanical model and the three
comparisons are read off what the model does; nothing is looked up. The head tilt works through the
counter-roll, which calls on the muscles that twist the eyes. Only the directions are used: patients
show a larger change with tilt than counter-roll alone explains.

References
----------
Parks MM. Arch Ophthalmol 1958 (the three steps); Robinson DA. Invest Ophthalmol 1975;14:801 (the
model).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from decussate.errors import BadInput
from decussate.measures.muscle_mechanics import Muscle
from decussate.measures.ocular_alignment import (
    EYE_MUSCLES,
    EyeMuscle,
    Gaze,
    predicted_deviations,
)
from decussate.measures.published_rows import read_tables, row_named
from decussate.sides import Side

__all__ = [
    "ThreeStepReading",
    "ThreeSteps",
    "predicted_steps",
    "steps_from_measurements",
    "suggests_skew_deviation",
    "three_step_test",
]


@dataclass(frozen=True, slots=True)
class ThreeSteps:
    """The three answers; None where a step was not done or did not differ.

    Parameters
    ----------
    higher_eye : Side, optional
    worse_gaze : Side, optional
        The side of gaze on which the vertical deviation is larger.
    worse_tilt : Side, optional
        The shoulder to which the head is tilted when the deviation is larger.
    """

    higher_eye: Side | None
    worse_gaze: Side | None
    worse_tilt: Side | None

    @property
    def mirrored(self) -> ThreeSteps:
        """The answers of the mirrored patient."""
        return ThreeSteps(
            *(s and s.other for s in (self.higher_eye, self.worse_gaze, self.worse_tilt))
        )


@dataclass(frozen=True, slots=True)
class ThreeStepReading:
    """The muscles still possible after each step.

    Parameters
    ----------
    after_step : tuple of tuple of EyeMuscle
        After the first, second and third step.
    not_valid_for : tuple of str
        Conditions that imitate or spoil the test.
    """

    after_step: tuple[tuple[EyeMuscle, ...], ...]
    not_valid_for: tuple[str, ...]

    @property
    def muscle(self) -> EyeMuscle | None:
        """The one muscle left, if only one is left."""
        return self.after_step[-1][0] if len(self.after_step[-1]) == 1 else None


def _setting(name: str) -> float:
    return float(row_named(read_tables("three_step.yaml")["settings"], name, "setting")["value"])


@cache
def predicted_steps(muscle: EyeMuscle) -> ThreeSteps:
    """Read the three steps off the model with one vertical muscle weak.

    Parameters
    ----------
    muscle : EyeMuscle
        A superior or inferior rectus or an oblique.

    Returns
    -------
    ThreeSteps

    Raises
    ------
    BadInput
        For a horizontal rectus, which causes no vertical deviation.
    """
    if muscle.muscle in (Muscle.LATERAL_RECTUS, Muscle.MEDIAL_RECTUS):
        raise BadInput("muscle", str(muscle), "a vertical rectus or an oblique")
    weak = {muscle: _setting("weakness tried")}
    sound = muscle.side.other

    def height(gaze: Gaze, tilt: float = 0.0) -> float:
        (found,) = predicted_deviations(weak, sound, gazes=[gaze], head_tilt_right_deg=tilt)
        return found.right_over_left_pd if found else 0.0

    tilt = _setting("head tilt")
    return ThreeSteps(
        Side.RIGHT if height(Gaze.AHEAD) > 0.0 else Side.LEFT,
        _larger(height(Gaze.RIGHT), height(Gaze.LEFT)),
        _larger(height(Gaze.AHEAD, tilt), height(Gaze.AHEAD, -tilt)),
    )


def _larger(right: float, left: float) -> Side:
    return Side.RIGHT if abs(right) > abs(left) else Side.LEFT


def three_step_test(steps: ThreeSteps) -> ThreeStepReading:
    """Narrow eight muscles down by the three steps.

    A step that was not done, or did not differ, removes nothing.

    Parameters
    ----------
    steps : ThreeSteps

    Returns
    -------
    ThreeStepReading

    References
    ----------
    Parks MM. Arch Ophthalmol 1958. All three steps were positive in 35 of 50 superior oblique
    palsies proved by imaging (Manchandia and Demer, J AAPOS 2014;18:567): a test that does not fit
    does not exclude the palsy.
    """
    left = [m for m in EYE_MUSCLES if m.muscle not in (Muscle.LATERAL_RECTUS, Muscle.MEDIAL_RECTUS)]
    after = []
    for name in ("higher_eye", "worse_gaze", "worse_tilt"):
        seen = getattr(steps, name)
        if seen is not None:
            left = [m for m in left if getattr(predicted_steps(m), name) is seen]
        after.append(tuple(left))
    spoilers = tuple(str(r["name"]) for r in read_tables("three_step.yaml")["not_valid_for"])
    return ThreeStepReading(tuple(after), spoilers)


def steps_from_measurements(
    ahead_pd: float,
    right_gaze_pd: float | None = None,
    left_gaze_pd: float | None = None,
    tilt_right_pd: float | None = None,
    tilt_left_pd: float | None = None,
) -> ThreeSteps:
    """Read the steps from right-over-left deviations in prism dioptres.

    Parameters
    ----------
    ahead_pd, right_gaze_pd, left_gaze_pd, tilt_right_pd, tilt_left_pd : float
        Positive when the right eye is higher; None when not measured.

    Returns
    -------
    ThreeSteps
        A comparison smaller than the smallest real difference is left undecided.

    Raises
    ------
    BadInput
        When a value is impossible, or when nothing differs straight ahead and in no comparison.
    """
    values = (ahead_pd, right_gaze_pd, left_gaze_pd, tilt_right_pd, tilt_left_pd)
    for value in values:
        if value is not None and not abs(value) <= 100.0:
            raise BadInput("right-over-left deviation", value, "-100 to 100 prism dioptres")
    smallest = _setting("smallest difference")

    def compared(right: float | None, left: float | None) -> Side | None:
        if right is None or left is None or abs(abs(right) - abs(left)) < smallest:
            return None
        return _larger(right, left)

    higher = None if ahead_pd == 0.0 else (Side.RIGHT if ahead_pd > 0.0 else Side.LEFT)
    return ThreeSteps(
        higher, compared(right_gaze_pd, left_gaze_pd), compared(tilt_right_pd, tilt_left_pd)
    )


def suggests_skew_deviation(upright_pd: float, supine_pd: float) -> bool:
    """Say whether lying down halves the vertical deviation, which speaks for skew deviation.

    Parameters
    ----------
    upright_pd, supine_pd : float
        Right-over-left deviation sitting and lying, prism dioptres.

    Returns
    -------
    bool
        A negative result means little in the first weeks: 1 of 19 acute skew deviations fell.

    Raises
    ------
    BadInput
        When there is no deviation upright to compare with.

    References
    ----------
    Wong AMF et al. Arch Ophthalmol 2011, PMID 22159676; Lemos J et al. JAMA Ophthalmol
    2018;136:322.
    """
    if upright_pd == 0.0:
        raise BadInput("vertical deviation upright", upright_pd, "a deviation other than zero")
    rows = read_tables("three_step.yaml")["upright_supine"]
    share = float(row_named(rows, "fall that speaks for skew deviation", "limit")["share"])
    return (abs(upright_pd) - abs(supine_pd)) / abs(upright_pd) >= share
