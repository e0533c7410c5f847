"""Prism dioptres, corneal reflection, muscle geometry and palsies against published figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from published_check import PublishedCheck

from decussate.measures.comitance import is_real_change, real_change_pd
from decussate.measures.double_vision import DoubleVision, Orientation, muscles_behind_double_vision
from decussate.measures.eye_alignment import (
    deg_to_pd,
    pd_to_deg,
    prisms_before_both_eyes_pd,
    reflection_angle,
    reflection_fraction_pd,
)
from decussate.measures.eye_excursion import Excursion, excursion_grade, excursion_z_score
from decussate.measures.muscle_fit import measurement_error_pd
from decussate.measures.muscle_mechanics import Muscle, constant, muscle_action, resting_place
from decussate.measures.ocular_alignment import EyeMuscle, Gaze, predicted_deviations, yoke
from decussate.measures.published_rows import read_tables, row_named
from decussate.measures.three_step import ThreeSteps, suggests_skew_deviation, three_step_test
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
DEFINITION = "definition of the prism dioptre, 1 cm at 1 m (Binocul Vis Strabismus Q 2006;21:45)"
THAI = "123 Thai adults 2020, doi 10.1080/2576117X.2019.1711354, with the degrees worked out"
BARRY = "Barry & Backes, Invest Ophthalmol Vis Sci 1997;38:2597"
MIMS = "Mims & Wood, Binocul Vis Strabismus Q 2002;17:192"
HOLMES = "Holmes et al. (PEDIG), Arch Ophthalmol 2009;127:59"
PARKS = "Parks, Arch Ophthalmol 1958, as set out in Arch Ophthalmol 1984;102:23"
NOORDEN = "von Noorden & Campos, Binocular Vision and Ocular Motility, 6th ed."
HERING = "Hering 1868, law of equal innervation, as taught"
TILLAUX = "spiral of Tillaux (distance of the insertions from the limbus), as taught"
YALCIN = "Yalcin et al., Gulhane Med J 2004;49:271 (60 eyes), limbus distance"
BARTON = "Barton et al., Strabismus 2025;33:54 (60 eyes), angle round the limbus"


def _plane_to_sight_deg(muscle: Muscle) -> float:
    """Angle of the plane of a muscle with the line of sight in primary position."""
    action = muscle_action(muscle)
    angle = math.degrees(math.atan2(abs(action.extorsion), abs(action.elevation)))
    return angle


def _insertion(muscle: Muscle) -> np.ndarray:
    row = row_named(read_tables("muscle_mechanics.yaml")["attachments"], muscle, "muscle")
    shift = constant("globe centre in front of the centre of rotation")
    return np.array(row["insertion_mm"], dtype=float) - [0.0, shift, 0.0]


def _from_limbus_mm(muscle: Muscle) -> float:
    """Arc from insertion to limbus on the globe, the cornea being 11.7 mm across."""
    radius = constant("globe radius")
    place = _insertion(muscle)
    from_pole = math.acos(place[1] / np.linalg.norm(place))
    return radius * (from_pole - math.asin(5.85 / radius))


def _round_the_limbus_deg(first: Muscle, second: Muscle) -> float:
    clock = [math.atan2(p[2], p[0]) for p in (_insertion(first), _insertion(second))]
    turn = abs(math.degrees(clock[0] - clock[1])) % 360.0
    return min(turn, 360.0 - turn)


def _signs(muscle: Muscle) -> tuple[str, ...]:
    """Actions in primary position in order of size, the slight ones left out."""
    action = muscle_action(muscle)
    named = {
        ("elevates", "depresses"): action.elevation,
        ("abducts", "adducts"): action.abduction,
        ("extorts", "intorts"): action.extorsion,
    }
    ordered = sorted(named.items(), key=lambda item: -abs(item[1]))
    return tuple(
        words[0] if size > 0.0 else words[1] for words, size in ordered if abs(size) > 0.03
    )


def _three(higher: Side, gaze: Side, tilt: Side) -> str:
    return str(three_step_test(ThreeSteps(higher, gaze, tilt)).muscle)


def _angle(weak: Muscle, gaze: Gaze, *, tilt: float = 0.0) -> tuple[float, float, float]:
    (found,) = predicted_deviations(
        {EyeMuscle(RIGHT, weak): 1.0}, LEFT, gazes=[gaze], head_tilt_right_deg=tilt
    )
    assert found is not None
    return found.eso_pd, found.right_over_left_pd, found.excyclo_deg or 0.0


def _first(gaze: Gaze, orientation: Orientation, outer: Side) -> str:
    return str(muscles_behind_double_vision(DoubleVision(gaze, orientation, outer))[0].muscle)


def _row(subject, what, source, expected, obtained, tolerance=0.0, mark=""):
    return PublishedCheck(subject, what, source, expected, obtained, tolerance, mark)


CHECKS: list[PublishedCheck] = [
    *(
        _row(
            "prism dioptres",
            f"{pd} prism dioptres in degrees",
            DEFINITION,
            deg,
            lambda pd=pd: pd_to_deg(pd),
            0.005,
        )
        for pd, deg in [
            (1, 0.573),
            (5, 2.862),
            (10, 5.711),
            (20, 11.31),
            (25, 14.04),
            (40, 21.80),
            (60, 30.96),
            (100, 45.00),
        ]
    ),
    *(
        _row(
            "prism dioptres",
            f"{deg} degrees in prism dioptres",
            DEFINITION,
            pd,
            lambda deg=deg: deg_to_pd(deg),
            0.005,
        )
        for deg, pd in [(1, 1.746), (5, 8.749), (10, 17.63), (15, 26.79), (30, 57.74), (45, 100.0)]
    ),
    _row(
        "prism dioptres",
        "skew of 3.3 degrees in prism dioptres",
        "Korda et al., J Neurol 2022;269:1396 (3.3 degrees), converted",
        5.77,
        lambda: deg_to_pd(3.3),
        0.005,
    ),
    _row(
        "prism dioptres",
        "50 before each eye neutralise more than 100",
        "arithmetic of angles: tan(2 atan 0.5) = 4/3",
        400.0 / 3.0,
        lambda: prisms_before_both_eyes_pd(50.0, 50.0),
        1e-9,
    ),
    *(
        _row(
            "eye excursion",
            f"{name} of {pd} prism dioptres in degrees",
            THAI,
            deg,
            lambda pd=pd: pd_to_deg(pd),
            0.05,
        )
        for name, pd, deg in [
            ("adduction", 86, 40.7),
            ("abduction", 102, 45.6),
            ("elevation", 60, 31.0),
            ("depression", 123, 50.9),
        ]
    ),
    _row(
        "eye excursion",
        "Thai mean elevation within a standard deviation of the Korean norm",
        THAI,
        True,
        lambda: abs(excursion_z_score(Excursion.ELEVATION, 31.0)) < 1.0,
    ),
    _row(
        "eye excursion",
        "textbook elevation of 45 degrees is well above the norm",
        "Lim et al., Eye (Lond) 2019: 27.9 (SD 7.6)",
        2.25,
        lambda: excursion_z_score(Excursion.ELEVATION, 45.0),
        0.005,
    ),
    *(
        _row(
            "eye excursion",
            f"abduction to {deg} degrees of about 45 is graded {grade}",
            "quarters of the normal excursion",
            grade,
            lambda deg=deg: excursion_grade(Excursion.ABDUCTION, deg),
            mark="common practice",
        )
        for deg, grade in [(34.0, -1), (22.5, -2), (11.0, -3), (0.0, -4)]
    ),
    _row(
        "corneal reflection",
        "prism dioptres for 1 mm from the pupil centre",
        BARRY,
        20.92,
        lambda: reflection_angle(RIGHT, 1.0).eso_pd,
        0.02,
    ),
    _row(
        "corneal reflection",
        "prism dioptres for 1 mm from the limbus centre",
        BARRY,
        19.43,
        lambda: reflection_angle(RIGHT, 1.0, measured_from="limbus centre").eso_pd,
        0.02,
    ),
    _row(
        "corneal reflection",
        "95 percent error from the limbus in degrees",
        BARRY,
        3.17,
        lambda: reflection_angle(LEFT, 1.0, measured_from="limbus centre").error_95_deg,
    ),
    _row(
        "corneal reflection",
        "1 mm lies in the range of strabismic children",
        "Hasebe et al., Invest Ophthalmol Vis Sci 1998;39:2782: 16 to 24",
        True,
        lambda: 16.0 <= reflection_angle(RIGHT, 1.0).eso_pd <= 24.0,
    ),
    _row(
        "corneal reflection",
        "1 mm lies in the range from person to person",
        "Binocul Vis Strabismus Q 2006;21:45: 14 to 24",
        True,
        lambda: 14.0 <= reflection_angle(RIGHT, 1.0).eso_pd <= 24.0,
    ),
    _row(
        "corneal reflection",
        "2 mm in degrees",
        BARRY,
        23.6,
        lambda: reflection_angle(RIGHT, 2.0).eso_deg,
        0.05,
    ),
    *(
        _row(
            "corneal reflection",
            f"reflection {name} of the way to the limbus",
            MIMS,
            pd,
            lambda f=f: reflection_fraction_pd(f),
            0.01,
        )
        for name, f, pd in [
            ("a quarter", 0.25, 30),
            ("a third", 1 / 3, 41),
            ("half", 0.5, 59),
            ("two thirds", 2 / 3, 75),
            ("three quarters", 0.75, 80),
        ]
    ),
    _row(
        "cover test",
        "smallest real change at 15 prism dioptres",
        HOLMES,
        6.0,
        lambda: real_change_pd(15.0),
    ),
    _row(
        "cover test",
        "smallest real change at 30 prism dioptres",
        HOLMES,
        12.0,
        lambda: real_change_pd(30.0),
    ),
    _row(
        "cover test",
        "smallest real change in sixth nerve palsy",
        "test-retest in sixth nerve palsy 2008, PMID 18045567",
        10.0,
        lambda: real_change_pd(30.0, sixth_nerve_palsy=True),
    ),
    _row(
        "cover test",
        "30 to 20 prism dioptres is not yet a real change",
        HOLMES,
        False,
        lambda: is_real_change(30.0, 20.0),
    ),
    _row(
        "cover test",
        "95 percent half-width at 15 prism dioptres",
        HOLMES,
        4.1,
        lambda: 1.96 * measurement_error_pd(15.0),
        1e-9,
    ),
    _row(
        "cover test",
        "95 percent half-width at 30 prism dioptres",
        HOLMES,
        7.3,
        lambda: 1.96 * measurement_error_pd(30.0),
        1e-9,
    ),
    # Geometry of the muscles: what the attachments give against what is measured another way.
    *(
        _row(
            "eye muscle geometry",
            f"plane of the {muscle} to the line of sight, degrees",
            NOORDEN,
            deg,
            lambda m=muscle: _plane_to_sight_deg(m),
            6.0,
            "from memory",
        )
        for muscle, deg in [
            (Muscle.SUPERIOR_RECTUS, 23.0),
            (Muscle.INFERIOR_RECTUS, 23.0),
            (Muscle.SUPERIOR_OBLIQUE, 54.0),
            (Muscle.INFERIOR_OBLIQUE, 51.0),
        ]
    ),
    *(
        _row(
            "eye muscle geometry",
            f"{muscle} to the limbus, mm",
            TILLAUX,
            mm,
            lambda m=muscle: _from_limbus_mm(m),
            1.3,
            "common practice",
        )
        for muscle, mm in [
            (Muscle.MEDIAL_RECTUS, 5.5),
            (Muscle.INFERIOR_RECTUS, 6.5),
            (Muscle.LATERAL_RECTUS, 6.9),
            (Muscle.SUPERIOR_RECTUS, 7.7),
        ]
    ),
    _row(
        "eye muscle geometry",
        "medial rectus to the limbus, mm",
        YALCIN,
        6.4,
        lambda: _from_limbus_mm(Muscle.MEDIAL_RECTUS),
        1.5,
    ),
    _row(
        "eye muscle geometry",
        "superior rectus to the limbus, mm",
        YALCIN,
        8.1,
        lambda: _from_limbus_mm(Muscle.SUPERIOR_RECTUS),
        1.8,
    ),
    *(
        _row(
            "eye muscle geometry",
            f"medial rectus to {muscle} round the limbus, degrees",
            BARTON,
            deg,
            lambda m=muscle: _round_the_limbus_deg(Muscle.MEDIAL_RECTUS, m),
            sd,
        )
        for muscle, deg, sd in [
            (Muscle.SUPERIOR_RECTUS, 93.14, 3.2),
            (Muscle.INFERIOR_RECTUS, 90.57, 4.47),
            (Muscle.LATERAL_RECTUS, 180.0, 5.65),
        ]
    ),
    *(
        _row(
            "eye muscle actions",
            f"what the {muscle} does, in order",
            NOORDEN,
            actions,
            lambda m=muscle: _signs(m),
            mark="from memory",
        )
        for muscle, actions in [
            (Muscle.LATERAL_RECTUS, ("abducts",)),
            (Muscle.MEDIAL_RECTUS, ("adducts",)),
            (Muscle.SUPERIOR_RECTUS, ("elevates", "intorts", "adducts")),
            (Muscle.INFERIOR_RECTUS, ("depresses", "extorts", "adducts")),
            (Muscle.SUPERIOR_OBLIQUE, ("intorts", "depresses", "abducts")),
            (Muscle.INFERIOR_OBLIQUE, ("extorts", "elevates", "abducts")),
        ]
    ),
    *(
        _row(
            "eye muscle actions",
            f"yoke of the right {a}",
            HERING,
            f"left {b}",
            lambda a=a: str(yoke(EyeMuscle(RIGHT, a))),
            mark="common practice",
        )
        for a, b in [
            (Muscle.LATERAL_RECTUS, Muscle.MEDIAL_RECTUS),
            (Muscle.MEDIAL_RECTUS, Muscle.LATERAL_RECTUS),
            (Muscle.SUPERIOR_RECTUS, Muscle.INFERIOR_OBLIQUE),
            (Muscle.INFERIOR_RECTUS, Muscle.SUPERIOR_OBLIQUE),
            (Muscle.SUPERIOR_OBLIQUE, Muscle.INFERIOR_RECTUS),
            (Muscle.INFERIOR_OBLIQUE, Muscle.SUPERIOR_RECTUS),
        ]
    ),
    # Palsies as the model makes them.
    *(
        _row(
            "three-step test",
            f"{h} eye higher, worse on gaze {g}, worse on tilt {t}",
            PARKS,
            muscle,
            lambda h=h, g=g, t=t: _three(h, g, t),
            mark="secondary",
        )
        for h, g, t, muscle in [
            (RIGHT, RIGHT, RIGHT, "left inferior oblique"),
            (RIGHT, RIGHT, LEFT, "right inferior rectus"),
            (RIGHT, LEFT, RIGHT, "right superior oblique"),
            (RIGHT, LEFT, LEFT, "left superior rectus"),
            (LEFT, LEFT, LEFT, "right inferior oblique"),
            (LEFT, LEFT, RIGHT, "left inferior rectus"),
            (LEFT, RIGHT, LEFT, "left superior oblique"),
            (LEFT, RIGHT, RIGHT, "right superior rectus"),
        ]
    ),
    _row(
        "upright-supine test",
        "half or less lying speaks for skew deviation",
        "Wong et al., Arch Ophthalmol 2011, PMID 22159676",
        (True, False),
        lambda: (suggests_skew_deviation(10.0, 5.0), suggests_skew_deviation(10.0, 6.0)),
    ),
    _row(
        "superior oblique palsy",
        "vertical misalignment in adduction and depression, degrees",
        "Shan et al., Invest Ophthalmol Vis Sci 2007;48:2602 (nerve cut in monkeys): 10 to 12",
        11.0,
        lambda: pd_to_deg(_angle(Muscle.SUPERIOR_OBLIQUE, Gaze.DOWN_LEFT)[1]),
        4.5,
    ),
    _row(
        "superior oblique palsy",
        "torsion in abduction and depression, degrees",
        "Shan et al., Invest Ophthalmol Vis Sci 2007;48:2602: 10 to 12",
        11.0,
        lambda: _angle(Muscle.SUPERIOR_OBLIQUE, Gaze.DOWN_RIGHT)[2],
        4.5,
    ),
    _row(
        "superior oblique palsy",
        "vertical deviation least in abduction and elevation, most in adduction and depression",
        "Shan et al., Invest Ophthalmol Vis Sci 2007;48:2602",
        True,
        lambda: (
            _angle(Muscle.SUPERIOR_OBLIQUE, Gaze.DOWN_LEFT)[1]
            > 5.0 * abs(_angle(Muscle.SUPERIOR_OBLIQUE, Gaze.UP_RIGHT)[1])
        ),
    ),
    _row(
        "superior oblique palsy",
        "V pattern: more eso looking down than up",
        "V pattern of superior oblique palsy, as taught",
        True,
        lambda: (
            _angle(Muscle.SUPERIOR_OBLIQUE, Gaze.DOWN)[0]
            > _angle(Muscle.SUPERIOR_OBLIQUE, Gaze.UP)[0]
        ),
        mark="common practice",
    ),
    _row(
        "superior oblique palsy",
        "hypertropia larger on tilt to the weak side",
        "J AAPOS 2009;13:132, PMID 19157937 (20 patients: smaller on the other tilt)",
        True,
        lambda: (
            _angle(Muscle.SUPERIOR_OBLIQUE, Gaze.AHEAD, tilt=30.0)[1]
            > _angle(Muscle.SUPERIOR_OBLIQUE, Gaze.AHEAD, tilt=-30.0)[1]
        ),
    ),
    _row(
        "sixth nerve palsy",
        "a complete palsy does not abduct past the midline",
        "definition of complete palsy, Holmes et al. (sixth nerve palsy study) 2000",
        True,
        lambda: bool(resting_place([30.0], [0.0], [1.0, 0, 0, 0, 0, 0])[0][0] <= 0.0),
        mark="from memory",
    ),
    _row(
        "sixth nerve palsy",
        "small vertical deviation without a second palsy, prism dioptres",
        "Pihlblad & Demer, J AAPOS 2014;18:235: 5.0 (SD 2.3), 1 to 8",
        5.0,
        lambda: max(
            abs(_angle(Muscle.LATERAL_RECTUS, g)[1]) for g in (Gaze.AHEAD, Gaze.RIGHT, Gaze.LEFT)
        ),
        4.0,
    ),
    _row(
        "sixth nerve palsy",
        "esodeviation grows towards the weak side",
        "Duane's Ophthalmology, as taught",
        True,
        lambda: (
            _angle(Muscle.LATERAL_RECTUS, Gaze.RIGHT)[0]
            > _angle(Muscle.LATERAL_RECTUS, Gaze.AHEAD)[0]
            > _angle(Muscle.LATERAL_RECTUS, Gaze.LEFT)[0]
            > 0.0
        ),
        mark="common practice",
    ),
    *(
        _row(
            "double vision",
            f"farthest apart {gaze}, {orientation}, outer image {outer}",
            "rule of the outer image, as taught",
            muscle,
            lambda g=gaze, o=orientation, s=outer: _first(g, o, s),
            mark="common practice",
        )
        for gaze, orientation, outer, muscle in [
            (Gaze.RIGHT, Orientation.HORIZONTAL, RIGHT, "right lateral rectus"),
            (Gaze.RIGHT, Orientation.HORIZONTAL, LEFT, "left medial rectus"),
            (Gaze.DOWN_LEFT, Orientation.VERTICAL, RIGHT, "right superior oblique"),
            (Gaze.DOWN_LEFT, Orientation.VERTICAL, LEFT, "left inferior rectus"),
            (Gaze.UP_RIGHT, Orientation.VERTICAL, RIGHT, "right superior rectus"),
            (Gaze.UP_RIGHT, Orientation.VERTICAL, LEFT, "left inferior oblique"),
        ]
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()
