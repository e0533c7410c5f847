"""From measurements in nine directions of gaze to the muscles that explain them, with uncertainty.

Every single muscle, and every group that goes weak together, is tried at every degree of weakness
in the mechanical model; each is scored by how probable it makes what was measured. An ordinary
phoria, the same in all directions, is allowed for, and so is the spread between people.

The model knows weak and overacting muscles. It does not know restriction, a slipped or operated
muscle, skew deviation or a supranuclear palsy: forced ductions and the rest of the examination
decide those.

References
----------
Robinson DA. Invest Ophthalmol 1975;14:801 (the model); Holmes JM et al. Arch Ophthalmol 2009;127:59
(error of one measurement).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares
from scipy.special import logsumexp

from decussate.errors import BadInput
from decussate.measures.muscle_mechanics import MUSCLES, Muscle
from decussate.measures.ocular_alignment import (
    EYE_MUSCLES,
    Deviation,
    EyeMuscle,
    Gaze,
    deviations_of_many,
)
from decussate.measures.published_rows import read_tables, row_named
from decussate.sides import Side

__all__ = [
    "Explanation",
    "MuscleFit",
    "MuscleWeakness",
    "allowance",
    "fit_all_muscles",
    "fit_deviations",
    "measurement_error_pd",
    "weigh",
]

Array = npt.NDArray[np.float64]
_GAZES = tuple(Gaze)
_COARSE = np.linspace(0.0, 1.0, 21)
_FINE = np.linspace(0.02, 1.0, 50)
_LARGEST_PD = 200.0


@dataclass(frozen=True, slots=True)
class Explanation:
    """One weak muscle, or muscles weak together, as the reason for the measurements.

    Parameters
    ----------
    name : str
        ``"right superior oblique"``, ``"left oculomotor nerve"`` or ``"no weak muscle"``.
    muscles : tuple of EyeMuscle
    weakness, low, high : float
        Share of the contractile force lost (mean) and its central 95 percent interval; negative
        when the muscle overacts.
    probability : float
        Among the explanations tried, all held equally likely beforehand.
    log_evidence : float
        Natural logarithm of the probability of the measurements.
    """

    name: str
    muscles: tuple[EyeMuscle, ...]
    weakness: float
    low: float
    high: float
    probability: float
    log_evidence: float


@dataclass(frozen=True, slots=True)
class MuscleFit:
    """The explanations in order, the most probable first.

    Parameters
    ----------
    explanations : tuple of Explanation
    misfit : float
        Mean squared difference between measurements and the first explanation in units of its
        expected error: about 1 when the model is enough, well above 2 when it is not.
    """

    explanations: tuple[Explanation, ...]
    misfit: float

    @property
    def single_muscles(self) -> tuple[Explanation, ...]:
        """The explanations by one muscle alone, most probable first."""
        return tuple(e for e in self.explanations if len(e.muscles) == 1)


@dataclass(frozen=True, slots=True)
class MuscleWeakness:
    """The weakness of one muscle when all twelve are free, with its standard error."""

    muscle: EyeMuscle
    weakness: float
    standard_error: float


def allowance(name: str) -> float:
    """Look up an allowance of the fit in ``data/muscle_fit.yaml``.

    Parameters
    ----------
    name : str

    Returns
    -------
    float
        In the unit the row names.
    """
    return float(
        row_named(read_tables("muscle_fit.yaml")["allowances"], name, "allowance")["value"]
    )


def measurement_error_pd(angle_pd: float) -> float:
    """Give the standard error of one prism and cover value.

    Parameters
    ----------
    angle_pd : float
        Size of the deviation, prism dioptres.

    Returns
    -------
    float
        Prism dioptres.

    References
    ----------
    Holmes JM et al. Arch Ophthalmol 2009;127:59: 95 percent half-widths 4.1 to 20 prism dioptres
    and 7.3 above, divided by 1.96.
    """
    rows = read_tables("muscle_fit.yaml")["repeatability"]
    row = next(r for r in rows if abs(angle_pd) <= r["up_to_pd"])
    return float(row["half_width_95_pd"]) / 1.96


@cache
def _hypotheses() -> dict[str, tuple[EyeMuscle, ...]]:
    found: dict[str, tuple[EyeMuscle, ...]] = {str(m): (m,) for m in EYE_MUSCLES}
    for row in read_tables("muscle_fit.yaml")["groups"]:
        muscles = [Muscle(m) for m in row["muscles"]]
        if row["both"]:
            found[row["name"]] = tuple(EyeMuscle(s, m) for s in Side for m in muscles)
        else:
            for side in Side:
                found[f"{side} {row['name']}"] = tuple(EyeMuscle(side, m) for m in muscles)
    return found


@cache
def _predicted(muscles: tuple[EyeMuscle, ...], fixing: Side) -> Array:
    """Deviations at each fine weakness, shape (50, 9, 3); not a number where out of reach."""
    if fixing is Side.LEFT:
        turned = _predicted(tuple(m.mirrored for m in muscles), Side.RIGHT)
        return turned[:, [_GAZES.index(g.mirrored) for g in _GAZES]] * [1.0, -1.0, 1.0]
    lost = {side: np.zeros((len(_COARSE), len(MUSCLES))) for side in Side}
    for muscle in muscles:
        lost[muscle.side][:, MUSCLES.index(muscle.muscle)] = _COARSE
    coarse = deviations_of_many(lost, fixing, _GAZES)
    fine = np.full((len(_FINE), *coarse.shape[1:]), np.nan)
    for g in range(len(_GAZES)):
        reached = ~np.isnan(coarse[:, g, 0])
        # Weakness only ever takes reach away: what lies beyond the first loss is out of reach.
        last = len(reached) if reached.all() else int(np.argmin(reached))
        if last >= 3:
            within = _COARSE[last - 1] >= _FINE
            spline = CubicSpline(_COARSE[:last], coarse[:last, g])
            fine[within, g] = spline(_FINE[within])
    return fine


def weigh(
    log_likelihood: Mapping[str, Array],
    levels: Mapping[str, Array],
    muscles: Mapping[str, tuple[EyeMuscle, ...]],
) -> tuple[Explanation, ...]:
    """Rank explanations by how probable they make the measurements, averaged over weakness.

    Parameters
    ----------
    log_likelihood : mapping of str to ndarray
        For each explanation, at each of its levels of weakness.
    levels : mapping of str to ndarray
        The levels, ascending and held equally likely beforehand.
    muscles : mapping of str to tuple of EyeMuscle

    Returns
    -------
    tuple of Explanation
        Those that are possible at all, best first.
    """
    evidence = {n: float(logsumexp(v)) - float(np.log(len(v))) for n, v in log_likelihood.items()}
    total = float(logsumexp(list(evidence.values())))
    result = []
    for name in sorted(evidence, key=lambda n: -evidence[n]):
        if not np.isfinite(evidence[name]):
            continue
        values, level = log_likelihood[name], levels[name]
        weight: Array = np.exp(values - values.max())
        weight = weight / weight.sum()
        ends = np.searchsorted(np.cumsum(weight), [0.025, 0.975]).clip(max=len(level) - 1)
        result.append(
            Explanation(
                name,
                muscles[name],
                float(weight @ level),
                float(level[ends[0]]),
                float(level[ends[1]]),
                float(np.exp(evidence[name] - total)),
                evidence[name],
            )
        )
    return tuple(result)


def _check(measured: Sequence[Deviation]) -> None:
    if not measured:
        raise BadInput("measured directions of gaze", 0, "at least one, better all nine")
    seen: set[Gaze] = set()
    for deviation in measured:
        if deviation.gaze in seen:
            raise BadInput("direction of gaze", str(deviation.gaze), "each direction once")
        seen.add(deviation.gaze)
        for field, value in (
            ("esodeviation", deviation.eso_pd),
            ("right-over-left deviation", deviation.right_over_left_pd),
        ):
            if not abs(value) <= _LARGEST_PD:
                raise BadInput(
                    f"{field}, {deviation.gaze}",
                    value,
                    f"-{_LARGEST_PD:g} to {_LARGEST_PD:g} prism dioptres",
                    hint="Was the size of the angle given in another unit?",
                )


@dataclass(frozen=True, slots=True)
class _Observed:
    """Measurements as one column: horizontal, vertical, then torsion where it was measured."""

    value: Array
    error: Array
    gaze: npt.NDArray[np.intp]
    part: npt.NDArray[np.intp]

    def taken_from(self, predicted: Array) -> Array:
        found: Array = predicted[..., self.gaze, self.part]
        return found

    def variance(self, predicted: Array) -> Array:
        found: Array = self.error**2 + (allowance("spread between people") * predicted) ** 2
        return found

    def phorias(self) -> list[tuple[npt.NDArray[np.bool_], float]]:
        """Which measurements share an ordinary phoria, and its variance."""
        names = ("ordinary horizontal phoria", "ordinary vertical phoria")
        return [(self.part == i, allowance(n) ** 2) for i, n in enumerate(names)]

    def log_likelihood(self, predicted: Array) -> tuple[Array, Array]:
        """Log probability of the measurements for each row of predictions, and squared misfit.

        The covariance is diagonal plus a constant for each phoria, which has a closed form.
        """
        off, variance = self.value - predicted, self.variance(predicted)
        squared = (off**2 / variance).sum(-1)
        log_size = np.log(2.0 * np.pi * variance).sum(-1)
        for shared, phoria in self.phorias():
            gain = 1.0 + phoria * (1.0 / variance[..., shared]).sum(-1)
            squared -= phoria * (off[..., shared] / variance[..., shared]).sum(-1) ** 2 / gain
            log_size += np.log(gain)
        return -0.5 * (squared + log_size), squared


def _observed(measured: Sequence[Deviation], error_pd: float | None) -> _Observed:
    _check(measured)
    rows: list[tuple[float, float, int, int]] = []
    for d in measured:
        parts = (d.eso_pd, d.right_over_left_pd, d.excyclo_deg)
        for part, value in enumerate(parts):
            if value is None:
                continue
            if part == 2:
                error = allowance("torsion error")
            else:
                error = measurement_error_pd(value) if error_pd is None else error_pd
            rows.append((value, error, _GAZES.index(d.gaze), part))
    table = np.array(rows, dtype=float)
    return _Observed(
        table[:, 0], table[:, 1], table[:, 2].astype(np.intp), table[:, 3].astype(np.intp)
    )


def fit_deviations(
    measured: Sequence[Deviation], fixing: Side, *, error_pd: float | None = None
) -> MuscleFit:
    """Find the muscles that explain prism measurements in up to nine directions.

    Parameters
    ----------
    measured : sequence of Deviation
        The directions measured; torsion where it was measured.
    fixing : Side
        The eye that fixed (the prism stood before the other).
    error_pd : float, optional
        Standard error of one value, prism dioptres; from the published repeatability if not given.

    Returns
    -------
    MuscleFit

    Raises
    ------
    BadInput
        When nothing was measured, a direction is given twice, or a value is impossible.
    """
    if error_pd is not None and not 0.1 <= error_pd <= 20.0:
        raise BadInput("error of one measurement", error_pd, "0.1 to 20 prism dioptres")
    observed = _observed(measured, error_pd)
    hypotheses: dict[str, tuple[EyeMuscle, ...]] = {"no weak muscle": (), **_hypotheses()}
    nothing = np.zeros((1, len(_GAZES), 3))
    likelihood, levels = {}, {}
    best: tuple[float, float] = (-np.inf, np.nan)
    for name, muscles in hypotheses.items():
        table = _predicted(muscles, fixing) if muscles else nothing
        levels[name] = _FINE if muscles else np.zeros(1)
        expected = observed.taken_from(table)
        values = np.full(len(expected), -np.inf)
        reached = np.flatnonzero(~np.isnan(expected).any(1))
        if reached.size:
            values[reached], squared = observed.log_likelihood(expected[reached])
            top = int(np.argmax(values[reached]))
            if values[reached][top] > best[0]:
                best = (float(values[reached][top]), float(squared[top]) / len(observed.value))
        likelihood[name] = values
    return MuscleFit(weigh(likelihood, levels, hypotheses), best[1])


def fit_all_muscles(
    measured: Sequence[Deviation], fixing: Side, *, error_pd: float | None = None
) -> tuple[MuscleWeakness, ...]:
    """Let all twelve muscles be weak at once and weigh each against the others.

    The most probable weaknesses under a normal prior around healthy, with the standard errors of
    the linearised fit: a muscle whose error is as large as the prior was not settled by the
    measurements.

    Parameters
    ----------
    measured : sequence of Deviation
    fixing : Side
    error_pd : float, optional
        Standard error of one value, prism dioptres.

    Returns
    -------
    tuple of MuscleWeakness
        All twelve, the weakest first.

    Raises
    ------
    BadInput
        As `fit_deviations`.
    """
    observed = _observed(measured, error_pd)
    prior = allowance("expected weakness")
    covariance = np.diag(observed.variance(observed.value))
    for shared, phoria in observed.phorias():
        covariance += phoria * np.outer(shared, shared)
    whiten = np.linalg.cholesky(np.linalg.inv(covariance)).T

    def misfit(weakness: Array) -> Array:
        found: Array = misfits(weakness[None])[0]
        return found

    def misfits(weakness: Array) -> Array:
        right, left = weakness[:, :6], weakness[:, 6:]
        table = deviations_of_many({Side.RIGHT: right, Side.LEFT: left}, fixing, _GAZES)
        off = observed.taken_from(table) - observed.value
        # Beyond reach the fit must turn back: treat the position as grossly wrong.
        off = np.where(np.isnan(off), _LARGEST_PD, off)
        return np.hstack([off @ whiten.T, weakness / prior])

    def slope(weakness: Array) -> Array:
        step = 1e-3 * np.where(weakness > 0.5, -1.0, 1.0)
        moved = misfits(np.vstack([weakness, weakness + np.diag(step)]))
        change: Array = ((moved[1:] - moved[0]) / step[:, None]).T
        return change

    start = np.full(len(EYE_MUSCLES), 0.05)
    fitted = least_squares(misfit, start, slope, bounds=(0.0, 1.0), xtol=1e-6, ftol=1e-6)
    at_best = slope(fitted.x)
    spread = np.sqrt(np.diag(np.linalg.inv(at_best.T @ at_best)))
    found = [
        MuscleWeakness(m, float(w), float(e))
        for m, w, e in zip(EYE_MUSCLES, fitted.x, spread, strict=True)
    ]
    return tuple(sorted(found, key=lambda f: -f.weakness))
