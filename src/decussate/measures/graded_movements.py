"""From graded limitation and overaction in eight directions to the muscle that explains them.

References
----------
Robinson DA. Invest Ophthalmol 1975;14:801 (the model behind `resting_place`). Grades: common
practice; the steps of overaction have no agreed size.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import numpy as np
import numpy.typing as npt

from decussate.errors import BadInput
from decussate.measures.muscle_fit import MuscleFit, allowance, weigh
from decussate.measures.muscle_mechanics import MUSCLES, Muscle, constant, resting_place
from decussate.measures.ocular_alignment import EYE_MUSCLES, EyeMuscle, Gaze
from decussate.sides import Side

__all__ = ["fit_graded_movements", "predicted_grade"]

Array = npt.NDArray[np.float64]
_GAZES = tuple(Gaze)
_LEVELS: Array = np.linspace(-1.0, 1.0, 41)


@cache
def _predicted_grades(muscle: Muscle) -> Array:
    """Grades of a right eye in the nine directions, weakness -1 to 1 in steps of 0.05."""
    right = np.tile([constant("side gaze") * g.rightward for g in _GAZES], len(_LEVELS))
    up = np.tile([constant("up and down gaze") * g.upward for g in _GAZES], len(_LEVELS))
    lost = np.zeros((len(right), len(MUSCLES)))
    lost[:, MUSCLES.index(muscle)] = np.repeat(_LEVELS, len(_GAZES))
    out, above, _ = resting_place(right, up, lost)
    # Up, down and the corners are graded on the vertical excursion, the sides on the horizontal.
    wanted, reached = np.where(up != 0.0, up, right), np.where(up != 0.0, above, out)
    share = np.divide(reached, wanted, out=np.ones_like(reached), where=wanted != 0.0)
    grades: Array = np.clip(4.0 * (share - 1.0), -5.0, 4.0).reshape(len(_LEVELS), len(_GAZES))
    return grades


def predicted_grade(muscle: EyeMuscle, weakness: float, gaze: Gaze) -> float:
    """Predict the grade a weak muscle gives its own eye in one direction.

    Parameters
    ----------
    muscle : EyeMuscle
    weakness : float
        Share of the contractile force lost, -1 (overacting) to 1 (paralysed).
    gaze : Gaze

    Returns
    -------
    float
        -5 to +4; 0 full.

    Raises
    ------
    BadInput
        When the weakness is out of range.
    """
    if not -1.0 <= weakness <= 1.0:
        raise BadInput("weakness of a muscle", weakness, "-1 to 1", hint="Was this a percentage?")
    seen = gaze if muscle.side is Side.RIGHT else gaze.mirrored
    table = _predicted_grades(muscle.muscle)
    return float(np.interp(weakness, _LEVELS, table[:, _GAZES.index(seen)]))


def fit_graded_movements(grades: Mapping[tuple[Side, Gaze], float]) -> MuscleFit:
    """Find the muscle that explains graded limitation or overaction.

    A grade says how much of the excursion is missing: -1 a quarter, -2 a half, -3 three quarters,
    -4 none beyond the midline, -5 short of the midline; +1 to +4 overaction.

    Parameters
    ----------
    grades : mapping of (Side, Gaze) to float
        The eye and the direction, -5 to +4; 0 is full. A direction left out was not tested.

    Returns
    -------
    MuscleFit
        Single muscles only. ``weakness`` is negative for overaction.

    Raises
    ------
    BadInput
        When nothing was graded, a grade is out of range, or straight ahead was graded.

    References
    ----------
    Grades: common practice.
    """
    if not grades:
        raise BadInput("graded movements", 0, "at least one graded direction")
    for (side, gaze), grade in grades.items():
        if gaze is Gaze.AHEAD:
            raise BadInput(
                "graded direction", str(gaze), "one of the eight directions away from it"
            )
        if not -5.0 <= grade <= 4.0:
            raise BadInput(
                f"grade, {side} eye, {gaze}",
                grade,
                "-5 (short of the midline) to +4 (overaction), 0 full",
                hint="Was this in degrees or prism dioptres?",
            )
    error = allowance("grading error")
    value = np.array(list(grades.values()), dtype=float)
    hypotheses: dict[str, tuple[EyeMuscle, ...]] = {
        "no weak muscle": (),
        **{str(m): (m,) for m in EYE_MUSCLES},
    }
    likelihood, level_of = {}, {}
    best = (-np.inf, np.nan)
    for name, muscles in hypotheses.items():
        expected = np.zeros((len(_LEVELS) if muscles else 1, len(value)))
        for muscle in muscles:
            table = _predicted_grades(muscle.muscle)
            for column, (side, gaze) in enumerate(grades):
                if side is muscle.side:
                    seen = gaze if side is Side.RIGHT else gaze.mirrored
                    expected[:, column] = table[:, _GAZES.index(seen)]
        sd = np.hypot(error, allowance("spread between people") * expected)
        score = ((value - expected) / sd) ** 2
        values = -0.5 * score.sum(1) - np.log(sd).sum(1)
        likelihood[name], level_of[name] = values, _LEVELS if muscles else np.zeros(1)
        top = int(np.argmax(values))
        if values[top] > best[0]:
            best = (float(values[top]), float(score[top].mean()))
    return MuscleFit(weigh(likelihood, level_of, hypotheses), best[1])
