"""Gaze patterns, nystagmus, accommodation and convergence against published figures."""

from __future__ import annotations

import pytest
from published_check import PublishedCheck

from decussate.measures.convergence import (
    AmplitudeBound,
    accommodation_amplitude_d,
    convergence_demand_pd,
    duane_amplitude_d,
    expected_amplitude_d,
    objective_amplitude_d,
    read_near_point_of_convergence,
)
from decussate.measures.eye_excursion import Excursion
from decussate.measures.gaze_patterns import EyeMovement, gaze_patterns, internuclear_cause_shares
from decussate.measures.nystagmus import (
    FastPhase,
    Nystagmus,
    alexander_degree,
    gaze_holding,
    read_nystagmus,
)
from decussate.measures.ocular_alignment import Gaze
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
HOFSTETTER = "Hofstetter, Optom World 1950 (minimum, mean and maximum amplitude)"
ANDERSON = "Anderson et al., Invest Ophthalmol Vis Sci 2008;49:2919"
PARK = "Park et al., PLoS ONE 2019;14:e0225754 (push-up)"
DUANE = "Duane, JAMA 1912;59:1010"
SCHEIMAN = "Scheiman et al., Optom Vis Sci 2003;80:214"
MAPLES = "Maples & Hoenes, Optom Vis Sci 2007;84:224"
ADLER = "Adler, Ophthalmic Physiol Opt 2002;22:565"
KEANE = "Keane, Arch Neurol 2005;62:714 (410 inpatients)"
DEGREES = "degrees of Alexander, as taught"
KATTAH = "Kattah et al., Stroke 2009;40:3504"
JACOBSON = "Jacobson et al., J Am Acad Audiol 2008;19:630"
HEGEMANN = "Hegemann et al., J Assoc Res Otolaryngol 2007"
FISHER = "Fisher, J Neurol Neurosurg Psychiatry 1967;30:383"

ADDUCTION, ABDUCTION, ELEVATION = Excursion.ADDUCTION, Excursion.ABDUCTION, Excursion.ELEVATION


def _pattern(*weak: tuple[Side, Excursion]) -> tuple[str, str]:
    first = gaze_patterns([EyeMovement(s, e) for s, e in weak])[0]
    return first.name, str(first.side or "neither")


def _degree(right: bool, ahead: bool, left: bool) -> int | None:
    beat = FastPhase(RIGHT)
    seen = {Gaze.RIGHT: right, Gaze.AHEAD: ahead, Gaze.LEFT: left}
    return alexander_degree({g: beat if present else None for g, present in seen.items()})


def _speaks_for(seen: Nystagmus) -> tuple[str, ...]:
    return tuple(sorted({a.speaks_for for a in read_nystagmus(seen).arguments}))


def _right_beating(**others) -> Nystagmus:
    return Nystagmus({g: FastPhase(RIGHT) for g in (Gaze.LEFT, Gaze.AHEAD, Gaze.RIGHT)}, **others)


def _row(subject, what, source, expected, obtained, tolerance=0.0, mark=""):
    return PublishedCheck(subject, what, source, expected, obtained, tolerance, mark)


CHECKS: list[PublishedCheck] = [
    *(
        _row(
            "accommodation",
            f"minimum, mean and maximum amplitude at {age}, dioptres",
            HOFSTETTER,
            bounds,
            lambda age=age: tuple(expected_amplitude_d(age, b) for b in AmplitudeBound),
            1e-9,
        )
        for age, bounds in [
            (10, (12.5, 15.5, 21.0)),
            (20, (10.0, 12.5, 17.0)),
            (30, (7.5, 9.5, 13.0)),
            (40, (5.0, 6.5, 9.0)),
            (50, (2.5, 3.5, 5.0)),
        ]
    ),
    _row(
        "accommodation",
        "mean amplitude has gone at 62",
        HOFSTETTER,
        0.0,
        lambda: expected_amplitude_d(62),
    ),
    _row(
        "accommodation",
        "objective amplitude at 20, dioptres",
        ANDERSON,
        6.32,
        lambda: objective_amplitude_d(20),
        0.005,
    ),
    _row(
        "accommodation",
        "objective amplitude at 40, dioptres",
        ANDERSON,
        2.54,
        lambda: objective_amplitude_d(40),
        0.01,
    ),
    _row(
        "accommodation",
        "push-up mean of people in their twenties, dioptres",
        PARK,
        11.13,
        lambda: expected_amplitude_d(25),
        1.0,
    ),
    _row(
        "accommodation",
        "push-up mean of people in their forties, dioptres",
        PARK,
        5.53,
        lambda: expected_amplitude_d(44),
        1.0,
    ),
    _row(
        "accommodation",
        "Duane's mean at 20, dioptres",
        DUANE,
        11.1,
        lambda: duane_amplitude_d(20),
        1e-9,
        "from memory",
    ),
    _row(
        "accommodation",
        "Hofstetter's mean at 40 against Duane's, dioptres",
        DUANE,
        5.8,
        lambda: expected_amplitude_d(40),
        1.0,
        "from memory",
    ),
    _row(
        "accommodation",
        "near point 10 cm is 10 dioptres, 40 cm is 2.5",
        "reciprocal of the distance in metres",
        (10.0, 2.5),
        lambda: (accommodation_amplitude_d(10.0), accommodation_amplitude_d(40.0)),
        1e-9,
    ),
    _row(
        "accommodation",
        "uncorrected 3 dioptre myope, near point 7.69 cm",
        "near point = 1 / (amplitude - refraction)",
        10.0,
        lambda: accommodation_amplitude_d(100.0 / 13.0, -3.0),
        1e-9,
    ),
    _row(
        "convergence",
        "adult break at 5 cm and recovery at 7 cm pass",
        SCHEIMAN,
        False,
        lambda: read_near_point_of_convergence(30, 5.0, 7.0).receded,
    ),
    _row(
        "convergence",
        "adult break at 6 cm is receded",
        SCHEIMAN,
        True,
        lambda: read_near_point_of_convergence(30, 6.0, 7.0).receded,
    ),
    _row(
        "convergence",
        "adult recovery at 8 cm is receded",
        SCHEIMAN,
        True,
        lambda: read_near_point_of_convergence(30, 5.0, 8.0).receded,
    ),
    _row(
        "convergence",
        "child's break at 5 cm passes, at 6 cm is receded",
        MAPLES,
        (False, True),
        lambda: (
            read_near_point_of_convergence(9, 5.0).receded,
            read_near_point_of_convergence(9, 6.0).receded,
        ),
    ),
    _row(
        "convergence",
        "10 cm meets the looser limit, 9 cm does not",
        ADLER,
        (True, False),
        lambda: (
            read_near_point_of_convergence(30, 10.0).clearly_receded,
            read_near_point_of_convergence(30, 9.0).clearly_receded,
        ),
    ),
    _row(
        "convergence",
        "3 metre angles at 6 cm between the pupils, prism dioptres",
        "metre angles times pupil distance in cm",
        18.0,
        lambda: convergence_demand_pd(100.0 / 3.0, 60.0),
        1e-9,
        "common practice",
    ),
    *(
        _row(
            "internuclear palsy",
            f"share of {cause}, {'both sides' if both else 'one side'}",
            KEANE,
            share,
            lambda c=cause, b=both: internuclear_cause_shares(both_sides=b)[c],
            0.006,
        )
        for both, cause, share in [
            (False, "infarct", 0.61),
            (False, "multiple sclerosis", 0.17),
            (False, "other", 0.22),
            (True, "infarct", 0.11),
            (True, "multiple sclerosis", 0.54),
            (True, "other", 0.35),
        ]
    ),
    _row(
        "gaze patterns",
        "right eye does not adduct",
        "side of the internuclear palsy is that of the eye that does not adduct, as taught",
        ("internuclear ophthalmoplegia", "right"),
        lambda: _pattern((RIGHT, ADDUCTION)),
        mark="common practice",
    ),
    _row(
        "gaze patterns",
        "neither eye adducts",
        "as taught",
        ("internuclear ophthalmoplegia of both sides", "neither"),
        lambda: _pattern((RIGHT, ADDUCTION), (LEFT, ADDUCTION)),
        mark="common practice",
    ),
    _row(
        "gaze patterns",
        "neither eye looks left",
        "as taught",
        ("horizontal gaze palsy", "left"),
        lambda: _pattern((LEFT, ABDUCTION), (RIGHT, ADDUCTION)),
        mark="common practice",
    ),
    _row(
        "gaze patterns",
        "only abduction of the right eye is left",
        FISHER,
        ("one and a half", "left"),
        lambda: _pattern((LEFT, ABDUCTION), (LEFT, ADDUCTION), (RIGHT, ADDUCTION)),
        mark="from memory",
    ),
    _row(
        "gaze patterns",
        "left eye does not abduct",
        "as taught",
        ("weak abduction", "left"),
        lambda: _pattern((LEFT, ABDUCTION)),
        mark="common practice",
    ),
    _row(
        "gaze patterns",
        "neither eye looks up",
        "as taught",
        ("upgaze palsy", "neither"),
        lambda: _pattern((LEFT, ELEVATION), (RIGHT, ELEVATION)),
        mark="common practice",
    ),
    _row(
        "gaze patterns",
        "left eye does not adduct, elevate or depress",
        "as taught",
        ("third nerve pattern", "left"),
        lambda: _pattern((LEFT, ADDUCTION), (LEFT, ELEVATION), (LEFT, Excursion.DEPRESSION)),
        mark="common practice",
    ),
    *(
        _row(
            "nystagmus",
            f"right-beating, {where}: degree",
            DEGREES,
            degree,
            lambda p=present: _degree(*p),
            mark="common practice",
        )
        for degree, where, present in [
            (1, "only on right gaze", (True, False, False)),
            (2, "also straight ahead", (True, True, False)),
            (3, "also on left gaze", (True, True, True)),
        ]
    ),
    _row(
        "nystagmus",
        "right-beating: the weak side is the slow-phase side",
        "as taught",
        "left",
        lambda: str(read_nystagmus(_right_beating()).weak_side),
        mark="common practice",
    ),
    _row(
        "nystagmus",
        "one direction, stronger towards the fast phase, less on fixation",
        JACOBSON,
        ("peripheral",),
        lambda: _speaks_for(
            _right_beating(speed={Gaze.RIGHT: 9.0, Gaze.LEFT: 2.0}, fixation_suppresses=True)
        ),
    ),
    _row(
        "nystagmus",
        "direction changes with gaze",
        KATTAH,
        ("central",),
        lambda: _speaks_for(Nystagmus({Gaze.RIGHT: FastPhase(RIGHT), Gaze.LEFT: FastPhase(LEFT)})),
    ),
    _row(
        "nystagmus",
        "purely vertical",
        KATTAH,
        True,
        lambda: (
            "central"
            in _speaks_for(
                Nystagmus({Gaze.AHEAD: FastPhase(upward=-1), Gaze.DOWN: FastPhase(upward=-1)})
            )
        ),
    ),
    _row(
        "nystagmus",
        "stronger on looking towards the fast phase follows the law",
        HEGEMANN,
        True,
        lambda: bool(
            read_nystagmus(_right_beating(speed={Gaze.RIGHT: 9.0, Gaze.LEFT: 2.0})).follows_gaze_law
        ),
    ),
    _row(
        "nystagmus",
        "bias and leak separate: slow phase 4 deg/s to the left, leak of 10 s",
        HEGEMANN + ": tonic imbalance plus leaky integrator",
        (-4.0, 10.0),
        lambda: (lambda g: (g.bias_deg_per_s, g.time_constant_s))(
            gaze_holding({-20.0: -2.0, 0.0: -4.0, 20.0: -6.0})
        ),
        1e-6,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()
