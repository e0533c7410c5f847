"""Canal planes, gravity and the reading of positional tests against published figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from published_check import PublishedCheck
from scipy.optimize import minimize_scalar

from decussate.measures.canal_geometry import (
    Canal,
    CanalKind,
    HeadPosition,
    excitatory_normal,
    fast_phase_when_excited,
    gravity_out_of_plane_deg,
    head_hanging,
    lying_back_axis,
    plane_angle_deg,
    supine,
    supine_roll,
    turned,
    upright,
)
from decussate.measures.nystagmus import FastPhase
from decussate.measures.positional_observation import Manoeuvre, PositionalObservation
from decussate.measures.positional_provocation import shortfall
from decussate.measures.positional_test import predicted_beat, predicted_roll, read_positional_test
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
POSTERIOR, HORIZONTAL, ANTERIOR = CanalKind.POSTERIOR, CanalKind.HORIZONTAL, CanalKind.ANTERIOR
DELLA = "Della Santina et al., J Assoc Res Otolaryngol 2005;6:191"
WORKED = DELLA + ", Table 1A worked out by hand"
BLANKS = "Blanks et al., Acta Otolaryngol 1975;80:185"
BARANY = "von Brevern et al. (Barany Society), J Vestib Res 2015;25:105"
GUIDELINE = "Bhattacharyya et al., Otolaryngol Head Neck Surg 2017;156(3S):S1"
MACDONALD = "Macdonald et al., Front Neurol 2017;8:141"
BHANDARI = "Bhandari et al., Front Neurol 2022, doi 10.3389/fneur.2022.881156"
EWALD = "Ewald's laws, as taught"
COHEN = "Cohen, Otol Neurotol 2004;25:130: side-lying as an alternative"


def _canal(text: str) -> Canal:
    side, kind = text.split()
    return Canal(Side(side), CanalKind(kind))


def _angle(first: str, second: str, planes: str = "DellaSantina2005") -> float:
    return plane_angle_deg(_canal(first), _canal(second), planes=planes)


def _normal_to_axes_deg(canal: str) -> tuple[float, ...]:
    return tuple(np.degrees(np.arccos(excitatory_normal(_canal(canal)))))


def _felt(side: Side, canal: str, planes: str = "DellaSantina2005") -> float:
    """Share of lying back, head turned 45 degrees, that a canal feels; positive excites."""
    axis = lying_back_axis(side, 45.0)
    return float(axis @ excitatory_normal(_canal(canal), planes=planes))


def _best_turn_deg(side: Side) -> float:
    normal = excitatory_normal(Canal(side, POSTERIOR))
    found = minimize_scalar(
        lambda turn: -float(lying_back_axis(side, turn) @ normal),
        bounds=(0.0, 90.0),
        method="bounded",
    )
    return float(found.x)


def _out(position: HeadPosition, canal: str, planes: str = "DellaSantina2005") -> float:
    return gravity_out_of_plane_deg(position, _canal(canal), planes=planes)


def _named(*seen: PositionalObservation) -> tuple[str, ...]:
    reading = read_positional_test(seen)
    return tuple(sorted(f"{c.canal}, {c.mechanism}" for c in reading.candidates))


def _hanging(
    side: Side, up: int, torsion: Side | None, seconds: float = 20.0
) -> PositionalObservation:
    return PositionalObservation(
        Manoeuvre.HEAD_HANGING, side, FastPhase(None, up, torsion), duration_s=seconds
    )


def _roll(right_down: Side, left_down: Side, right: float, left: float, seconds: float):
    return (
        PositionalObservation(Manoeuvre.ROLL, RIGHT, FastPhase(right_down), None, seconds, right),
        PositionalObservation(Manoeuvre.ROLL, LEFT, FastPhase(left_down), None, seconds, left),
    )


def _helped(seen: Manoeuvre, towards: Side, *, geotropic: bool) -> tuple[str, ...]:
    """Equal roll, the side then told by another test."""
    beats = (RIGHT, LEFT) if geotropic else (LEFT, RIGHT)
    return tuple(
        name.split(",")[0]
        for name in _named(
            *_roll(*beats, 1.0, 1.0, 20.0 if geotropic else 90.0),
            PositionalObservation(seen, None, FastPhase(towards)),
        )
    )


def _central(*seen: PositionalObservation) -> bool:
    return bool(read_positional_test(seen).central)


def _beat(canal: str) -> tuple[object, ...]:
    beat = predicted_beat(_canal(canal))
    return (beat.horizontal, beat.upward, beat.torsion)


def _row(what, source, expected, obtained, tolerance=0.0, mark="", subject="canal geometry"):
    return PublishedCheck(subject, what, source, expected, obtained, tolerance, mark)


def _pattern_row(what, expected, obtained, source=BARANY, mark="from memory"):
    return PublishedCheck("positional test", what, source, expected, obtained, 0.0, mark)


CHECKS: list[PublishedCheck] = [
    # Angles between canals: the papers' own means, against the mean vectors.
    _row(
        "left anterior to posterior plane, degrees",
        DELLA,
        180.0 - 94.0,
        lambda: _angle("left anterior", "left posterior"),
        4.0,
    ),
    _row(
        "left anterior to horizontal plane, degrees",
        DELLA,
        90.0,
        lambda: _angle("left anterior", "left horizontal"),
        6.2,
    ),
    _row(
        "right horizontal to posterior plane, degrees",
        DELLA,
        90.0,
        lambda: _angle("right horizontal", "right posterior"),
        4.9,
    ),
    _row(
        "left horizontal normal to nose, left and up, degrees",
        DELLA,
        (108.7, 92.2, 19.9),
        lambda: _normal_to_axes_deg("left horizontal"),
        2.0,
    ),
    _row(
        "left anterior normal to nose, left and up, degrees",
        DELLA,
        (125.9, 38.4, 100.1),
        lambda: _normal_to_axes_deg("left anterior"),
        1.0,
        "from memory",
    ),
    _row(
        "left posterior normal to nose, left and up, degrees",
        DELLA,
        (133.6, 131.5, 105.6),
        lambda: _normal_to_axes_deg("left posterior"),
        1.0,
        "from memory",
    ),
    _row(
        "tilt of the horizontal canal, degrees",
        DELLA,
        19.9,
        lambda: float(np.degrees(np.arccos(abs(excitatory_normal(_canal("right horizontal"))[2])))),
        7.0,
    ),
    _row(
        "two horizontal planes, degrees",
        WORKED,
        4.5,
        lambda: _angle("left horizontal", "right horizontal"),
        0.05,
    ),
    _row(
        "left anterior to right posterior plane, degrees",
        WORKED,
        10.8,
        lambda: _angle("left anterior", "right posterior"),
        0.05,
    ),
    _row(
        "right anterior to left posterior plane, degrees",
        WORKED,
        10.6,
        lambda: _angle("right anterior", "left posterior"),
        0.05,
    ),
    _row(
        "anterior to horizontal plane, degrees",
        BLANKS,
        180.0 - 111.8,
        lambda: _angle("right anterior", "right horizontal", "Blanks1975"),
        7.6,
    ),
    _row(
        "horizontal to posterior plane, degrees",
        BLANKS,
        180.0 - 95.7,
        lambda: _angle("right horizontal", "right posterior", "Blanks1975"),
        1.0,
        "from memory",
    ),
    _row(
        "anterior to posterior plane, degrees",
        BLANKS,
        86.2,
        lambda: _angle("right anterior", "right posterior", "Blanks1975"),
        0.5,
        "from memory",
    ),
    _row(
        "two horizontal planes, degrees",
        BLANKS,
        19.0,
        lambda: _angle("left horizontal", "right horizontal", "Blanks1975"),
        1.0,
    ),
    _row(
        "left anterior to right posterior plane, degrees",
        BLANKS,
        23.5,
        lambda: _angle("left anterior", "right posterior", "Blanks1975"),
        1.0,
    ),
    _row(
        "tilt of the horizontal canal, degrees",
        BLANKS,
        25.0,
        lambda: float(
            np.degrees(
                np.arccos(
                    abs(excitatory_normal(_canal("right horizontal"), planes="Blanks1975")[2])
                )
            )
        ),
        1.5,
    ),
    # What lying back, head turned, does to each canal.
    *(
        _row(
            f"head hanging {side}: share of the movement felt by the {canal} canal",
            WORKED,
            share,
            lambda s=side, c=canal: _felt(s, c),
            0.0006,
        )
        for side, canal, share in [
            (RIGHT, "right posterior", 0.960),
            (RIGHT, "left anterior", -0.974),
            (RIGHT, "right horizontal", 0.258),
            (RIGHT, "left horizontal", -0.195),
            (RIGHT, "right anterior", -0.142),
            (RIGHT, "left posterior", -0.020),
            (LEFT, "left posterior", 0.965),
            (LEFT, "right anterior", -0.975),
        ]
    ),
    _row(
        "head hanging right: share felt by the right posterior canal",
        BLANKS + ", vectors worked out by hand",
        0.937,
        lambda: _felt(RIGHT, "right posterior", "Blanks1975"),
        0.0006,
        "secondary",
    ),
    _row(
        "turn that serves the right posterior canal best, degrees",
        WORKED,
        46.1,
        lambda: _best_turn_deg(RIGHT),
        0.05,
    ),
    _row(
        "turn of 45 degrees is within 2 of the best",
        GUIDELINE + ": turn of 45 degrees",
        45.0,
        lambda: _best_turn_deg(LEFT),
        2.0,
        "from memory",
    ),
    *(
        _row(
            f"upright: gravity out of the {canal} plane, degrees",
            WORKED,
            deg,
            lambda c=canal: _out(upright(), c),
            0.06,
        )
        for canal, deg in [
            ("right posterior", 16.2),
            ("left anterior", 10.4),
            ("right horizontal", 70.7),
            ("left posterior", 15.2),
        ]
    ),
    *(
        _row(
            f"head hanging right by {hang}: gravity out of the {canal} plane, degrees",
            WORKED,
            deg,
            lambda h=hang, c=canal: _out(head_hanging(RIGHT, below_horizontal_deg=h), c),
            0.06,
        )
        for hang, canal, deg in [
            (0.0, "right posterior", 1.1),
            (10.0, "right posterior", 1.7),
            (20.0, "right posterior", 4.4),
            (30.0, "right posterior", 7.0),
            (40.0, "right posterior", 9.5),
            (20.0, "left anterior", 11.1),
            (30.0, "right horizontal", 40.6),
            (30.0, "left posterior", 44.8),
        ]
    ),
    *(
        _row(
            f"head hanging right by {hang}: gravity out of the right posterior plane, degrees",
            BLANKS + ", vectors worked out by hand",
            deg,
            lambda h=hang: _out(
                head_hanging(RIGHT, below_horizontal_deg=h), "right posterior", "Blanks1975"
            ),
            0.06,
            "secondary",
        )
        for hang, deg in [(20.0, 1.2), (30.0, 2.3)]
    ),
    *(
        _row(
            f"on the back, flexed {flexion:g}, {name}: gravity out of the {canal} plane, degrees",
            WORKED,
            deg,
            lambda p=position, c=canal: _out(p, c),
            0.06,
        )
        for flexion, name, position, canal, deg in [
            (0.0, "nose up", supine(flexion_deg=0.0), "left horizontal", 18.4),
            (20.0, "nose up", supine(flexion_deg=20.0), "right horizontal", 0.8),
            (30.0, "nose up", supine(flexion_deg=30.0), "left horizontal", 11.5),
            (30.0, "right ear down", supine_roll(RIGHT), "right horizontal", 30.2),
            (30.0, "right ear down", supine_roll(RIGHT), "left horizontal", 26.0),
            (30.0, "left ear down", supine_roll(LEFT), "left horizontal", 30.6),
        ]
    ),
    *(
        _row(
            f"head hanging straight back by {hang:g}: gravity out of the {canal} plane, degrees",
            WORKED,
            deg,
            lambda h=hang, c=canal: _out(turned("straight", RIGHT, 0.0, h), c),
            0.06,
        )
        for hang, canal, deg in [
            (30.0, "left anterior", 24.9),
            (60.0, "right anterior", 8.3),
            (75.0, "right anterior", 0.9),
        ]
    ),
    _row(
        "lying on the side keeps at least half of the provocation",
        COHEN,
        True,
        lambda: shortfall(RIGHT, 45.0, 0.0).share_kept >= 0.5,
    ),
    # Eye movement of each canal.
    *(
        _row(
            f"fast phase of the {canal} canal: side, up, upper pole",
            EWALD,
            beat,
            lambda c=canal: _beat(c),
            mark="common practice",
            subject="positional test",
        )
        for canal, beat in [
            ("right posterior", (None, 1, RIGHT)),
            ("left posterior", (None, 1, LEFT)),
            ("right anterior", (None, -1, RIGHT)),
            ("left anterior", (None, -1, LEFT)),
            ("right horizontal", (RIGHT, 0, None)),
            ("left horizontal", (LEFT, 0, None)),
        ]
    ),
    _row(
        "right posterior canal: torsion is seen looking right, vertical beat looking left",
        EWALD,
        (True, True),
        lambda: (
            abs(fast_phase_when_excited(_canal("right posterior"), gaze_right_deg=45.0).up) < 0.1,
            abs(
                fast_phase_when_excited(
                    _canal("right posterior"), gaze_right_deg=-45.0
                ).upper_pole_right
            )
            < 0.1,
        ),
        mark="common practice",
        subject="positional test",
    ),
    # Patterns to canals.
    _pattern_row(
        "right hanging, up and upper pole right, 20 s",
        ("right posterior, free debris",),
        lambda: _named(_hanging(RIGHT, 1, RIGHT)),
    ),
    _pattern_row(
        "left hanging, up and upper pole left, 20 s",
        ("left posterior, free debris",),
        lambda: _named(_hanging(LEFT, 1, LEFT)),
    ),
    _pattern_row(
        "right hanging, up and upper pole right, 90 s",
        ("right posterior, debris on the cupula",),
        lambda: _named(_hanging(RIGHT, 1, RIGHT, 90.0)),
    ),
    _pattern_row(
        "right hanging, down and upper pole right",
        ("right anterior, free debris",),
        lambda: _named(_hanging(RIGHT, -1, RIGHT)),
    ),
    _pattern_row(
        "left hanging, down and upper pole right: anterior, or posterior from its far arm",
        ("left posterior, debris in the short arm side", "right anterior, free debris"),
        lambda: _named(_hanging(LEFT, -1, RIGHT)),
        "classification of apogeotropic posterior canal, as taught",
        "common practice",
    ),
    _pattern_row(
        "both sides hanging, each up and to its own ear",
        ("left posterior, free debris", "right posterior, free debris"),
        lambda: _named(_hanging(RIGHT, 1, RIGHT), _hanging(LEFT, 1, LEFT)),
    ),
    _pattern_row(
        "right hanging, purely down-beating: central is raised",
        True,
        lambda: _central(_hanging(RIGHT, -1, None)),
        MACDONALD,
        "",
    ),
    _pattern_row(
        "right hanging, up and upper pole left: direction is wrong",
        True,
        lambda: _central(_hanging(RIGHT, 1, LEFT)),
        MACDONALD,
        "",
    ),
    _pattern_row(
        "right hanging, purely torsional: central is raised",
        True,
        lambda: _central(_hanging(RIGHT, 0, RIGHT)),
        MACDONALD,
        "",
    ),
    _pattern_row(
        "a classical posterior pattern raises no central argument",
        False,
        lambda: _central(_hanging(RIGHT, 1, RIGHT)),
    ),
    _pattern_row(
        "roll towards the lower ear, stronger right",
        ("right horizontal, free debris",),
        lambda: _named(*_roll(RIGHT, LEFT, 3.0, 1.0, 20.0)),
        GUIDELINE,
        "",
    ),
    _pattern_row(
        "roll towards the lower ear, stronger left",
        ("left horizontal, free debris",),
        lambda: _named(*_roll(RIGHT, LEFT, 1.0, 3.0, 20.0)),
        GUIDELINE,
        "",
    ),
    _pattern_row(
        "roll towards the upper ear, stronger left",
        ("right horizontal, debris on the cupula",),
        lambda: _named(*_roll(LEFT, RIGHT, 1.0, 3.0, 90.0)),
        GUIDELINE,
        "",
    ),
    _pattern_row(
        "roll towards the upper ear, stronger right",
        ("left horizontal, debris on the cupula",),
        lambda: _named(*_roll(LEFT, RIGHT, 3.0, 1.0, 90.0)),
        GUIDELINE,
        "",
    ),
    _pattern_row(
        "roll, same direction both ways: central is raised",
        True,
        lambda: _central(*_roll(RIGHT, RIGHT, 1.0, 1.0, 90.0)),
        BHANDARI,
        "",
    ),
    _pattern_row(
        "equal geotropic roll, lying down beats left: affected right",
        ("right horizontal",),
        lambda: _helped(Manoeuvre.LYING_DOWN, LEFT, geotropic=True),
        GUIDELINE,
        "",
    ),
    _pattern_row(
        "equal apogeotropic roll, lying down beats left: affected left",
        ("left horizontal",),
        lambda: _helped(Manoeuvre.LYING_DOWN, LEFT, geotropic=False),
        GUIDELINE,
        "",
    ),
    _pattern_row(
        "equal geotropic roll, bow beats right: affected right",
        ("right horizontal",),
        lambda: _helped(Manoeuvre.BOW, RIGHT, geotropic=True),
        GUIDELINE,
        "",
    ),
    _pattern_row(
        "equal apogeotropic roll, bow beats right: affected left",
        ("left horizontal",),
        lambda: _helped(Manoeuvre.BOW, RIGHT, geotropic=False),
        GUIDELINE,
        "",
    ),
    _pattern_row(
        "equal geotropic roll, lean beats right: affected left",
        ("left horizontal",),
        lambda: _helped(Manoeuvre.LEAN, RIGHT, geotropic=True),
        GUIDELINE,
        "",
    ),
    _pattern_row(
        "free debris, right horizontal canal: stronger with the right ear down",
        (True, False),
        lambda: tuple(
            predicted_roll(Canal(RIGHT, HORIZONTAL), free=True)[s][1] for s in (RIGHT, LEFT)
        ),
        GUIDELINE,
        "",
    ),
    _pattern_row(
        "standing of the classes",
        ("established", "emerging", "emerging"),
        lambda: tuple(
            read_positional_test([o]).candidates[0].status
            for o in (
                _hanging(RIGHT, 1, RIGHT),
                _hanging(RIGHT, 1, RIGHT, 90.0),
                _hanging(RIGHT, -1, RIGHT),
            )
        ),
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()


def test_hand_arithmetic_agrees_with_the_table() -> None:
    # The published table is inhibitory on the right: the entered normals must be its negatives.
    published = np.array([-0.69248, 0.66561, -0.27826])
    entered = excitatory_normal(Canal(RIGHT, POSTERIOR))
    assert math.isclose(float(entered @ published), -1.0, abs_tol=1e-4)
