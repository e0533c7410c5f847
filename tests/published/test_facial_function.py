"""The facial scales against the published definitions."""

import pytest
from published_check import PublishedCheck

from decussate.measures.facial_composite import (
    MOVEMENTS,
    REST_SITES,
    composite_score,
    healthy_range,
)
from decussate.measures.facial_function import (
    EyeClosure,
    FaceObservations,
    Forehead,
    Mouth,
    Rest,
    Synkinesis,
    facial_grade,
    measured_facial_grade,
)
from decussate.measures.facial_pattern import upper_face_weak_in_stroke
from decussate.sides import Side

HB = "House JW, Brackmann DE. Otolaryngol Head Neck Surg 1985;93:146-147"
ROSS = "Ross BG, Fradet G, Nedzelski JM. Otolaryngol Head Neck Surg 1996;114:380-386"


def measured(brow_cm, mouth_cm):
    found = measured_facial_grade(brow_cm=brow_cm, mouth_cm=mouth_cm)
    return (found.points, found.roman, found.estimate_percent)


def travel(brow_cm, mouth_cm, points, roman, percent):
    return PublishedCheck(
        "facial function",
        f"brow {brow_cm} cm, mouth {mouth_cm} cm: points of 8, grade, estimated per cent",
        HB,
        (points, roman, percent),
        lambda: measured(brow_cm, mouth_cm),
        mark="secondary",
    )


def described(what, roman, *seen):
    return PublishedCheck(
        "facial function",
        what,
        HB,
        (roman, ()),
        lambda: (
            facial_grade(FaceObservations(Side.RIGHT, *seen)).roman,
            facial_grade(FaceObservations(Side.RIGHT, *seen)).not_fitting,
        ),
        mark="secondary",
    )


def bands_hold():
    bands = {"V": (1, 25), "IV": (26, 50), "III": (51, 75), "II": (76, 99)}
    grades = [measured(n * 0.25, m * 0.25) for n in range(5) for m in range(5)]
    return all(
        roman not in bands or bands[roman][0] <= 100 * points / 8 <= bands[roman][1]
        for points, roman, _ in grades
    )


def composite(rest, movement, synkinesis):
    found = composite_score(
        Side.LEFT,
        rest=dict(zip(REST_SITES, rest, strict=True)),
        movement=dict(zip(MOVEMENTS, movement, strict=True)),
        synkinesis=dict(zip(MOVEMENTS, synkinesis, strict=True)),
    )
    return (found.rest, found.movement, found.synkinesis, found.total)


def composed(what, expected, rest, movement, synkinesis=(0, 0, 0, 0, 0)):
    return PublishedCheck(
        "facial composite",
        what,
        ROSS,
        expected,
        lambda: composite(rest, movement, synkinesis),
        mark="from memory",
    )


SYMMETRICAL, ASYMMETRICAL = Rest.SYMMETRICAL, Rest.ASYMMETRICAL

CHECKS: list[PublishedCheck] = [
    travel(1.0, 1.0, 8, "I", 100),
    travel(0.75, 1.0, 7, "II", 80),
    travel(0.5, 1.0, 6, "III", 60),
    travel(0.5, 0.75, 5, "III", 60),
    travel(0.0, 1.0, 4, "IV", 40),
    travel(0.0, 0.5, 2, "V", 20),
    travel(0.0, 0.0, 0, "VI", 0),
    travel(1.4, 1.2, 8, "I", 100),
    PublishedCheck(
        "facial function",
        "points as a share of 8 fall inside the band of their grade, II to V",
        HB,
        True,
        bands_hold,
        mark="secondary",
    ),
    described(
        "no deficit anywhere", "I", SYMMETRICAL, Forehead.NORMAL, EyeClosure.NORMAL, Mouth.NORMAL
    ),
    described(
        "good forehead, eye closes with little effort, slight asymmetry of the mouth",
        "II",
        SYMMETRICAL,
        Forehead.MODERATE_TO_GOOD,
        EyeClosure.LITTLE_EFFORT,
        Mouth.SLIGHT_ASYMMETRY,
        Synkinesis.SLIGHT,
    ),
    described(
        "slight to moderate forehead, eye closes with effort, mouth slightly weak",
        "III",
        SYMMETRICAL,
        Forehead.SLIGHT_TO_MODERATE,
        EyeClosure.WITH_EFFORT,
        Mouth.SLIGHTLY_WEAK,
        Synkinesis.NOTICEABLE,
    ),
    described(
        "symmetrical at rest, no forehead, eye does not close, mouth asymmetrical at full effort",
        "IV",
        SYMMETRICAL,
        Forehead.NONE,
        EyeClosure.INCOMPLETE,
        Mouth.ASYMMETRICAL,
    ),
    described(
        "asymmetrical at rest, no forehead, eye does not close, slight movement of mouth",
        "V",
        ASYMMETRICAL,
        Forehead.NONE,
        EyeClosure.INCOMPLETE,
        Mouth.SLIGHT_MOVEMENT,
    ),
    described(
        "no movement, tone lost", "VI", ASYMMETRICAL, Forehead.NONE, EyeClosure.NONE, Mouth.NONE
    ),
    PublishedCheck(
        "facial function",
        "noticeable and interfering synkinesis of a strong face",
        "House-Brackmann override rule, as taught",
        ("III", "IV"),
        lambda: tuple(
            facial_grade(
                FaceObservations(
                    Side.RIGHT,
                    SYMMETRICAL,
                    Forehead.NORMAL,
                    EyeClosure.NORMAL,
                    Mouth.NORMAL,
                    synkinesis,
                )
            ).roman
            for synkinesis in (Synkinesis.NOTICEABLE, Synkinesis.INTERFERES)
        ),
        mark="secondary",
    ),
    composed("normal face", (0, 100, 0, 100), (0, 0, 0), (5, 5, 5, 5, 5)),
    composed("flaccid complete palsy", (20, 20, 0, 0), (1, 2, 1), (1, 1, 1, 1, 1)),
    composed("mild weakness", (0, 88, 0, 88), (0, 0, 0), (4, 5, 4, 5, 4)),
    composed(
        "moderate weakness with synkinesis",
        (10, 64, 5, 49),
        (1, 1, 0),
        (3, 4, 3, 3, 3),
        (1, 1, 2, 0, 1),
    ),
    composed(
        "late contracture with good movement",
        (15, 84, 10, 59),
        (1, 1, 1),
        (4, 5, 4, 4, 4),
        (2, 2, 3, 1, 2),
    ),
    PublishedCheck(
        "facial composite",
        "range of healthy adults",
        "Sunnybrook score of healthy adults, PMID 39215610",
        (65.0, 100.0),
        healthy_range,
    ),
    PublishedCheck(
        "facial pattern",
        "share of central palsies with a weak upper face: measured force of eye closure",
        "J Stroke Cerebrovasc Dis 2017;26:834-841 (6.6 per cent)",
        0.066,
        lambda: upper_face_weak_in_stroke()[0],
        5e-4,
    ),
    PublishedCheck(
        "facial pattern",
        "share of central palsies with a weak upper face: any asymmetry on video",
        "Wongwandee M, Hongdusit K. Neurol Int 2025;17:12 (76 per cent)",
        0.76,
        lambda: upper_face_weak_in_stroke()[1],
        5e-3,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()
