"""Power, facial sensation, corneal reflex and jaw jerk against published rules and counts."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from published_check import PublishedCheck

from decussate.measures.facial_sensation import (
    AREAS,
    Dissociation,
    Sensation,
    dissociation,
    face_areas,
    functional_signs,
    read_sensation,
)
from decussate.measures.power import (
    MrcGrade,
    accessory_weakness,
    grade_agreement,
    movement_muscle,
    read_grade,
    weak_side_from_deviation,
)
from decussate.measures.reflexes import (
    CORNEAL_PAIRS,
    CornealArcs,
    CornealPair,
    JawJerk,
    LimbReflexes,
    corneal_response,
    expected_jaw_jerk,
    explain_corneal,
    explain_jaw_jerk,
)
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
MRC = "Medical Research Council, Memorandum 45, 1976, pages 6-7"
WISCONSIN = "Neuroanatomy course, University of Wisconsin: corneal reflex, V1 in, VII out to both"
DICTIONARY = "Dictionary of Neurological Signs: corneal reflex"
PONSILLO = "Ponsillo, medical dictionary: riflesso corneale"
BLUELINK = "University of Michigan BlueLink anatomy, face"
NEUROLOGY = "Neurology 2011;77:e45, onion-skin pattern facial sensory loss"
ROLAK = "Rolak 1988, J Nerv Ment Dis 176(11): 20 psychogenic, 80 organic"
JNNP = "J Neurol Neurosurg Psychiatry 1986 (PMC1028686), strength of head turning"
CAMPBELL = "Campbell, Clinical Signs in Neurology: jaw deviation"


def check(
    subject: str,
    what: str,
    source: str,
    expected: object,
    obtained: Callable[[], object],
    tolerance: float = 0.0,
    mark: str = "",
) -> PublishedCheck:
    return PublishedCheck(subject, what, source, expected, obtained, tolerance, mark)  # type: ignore[arg-type]


def agreement(name: str) -> float:
    return next(float(row["value"]) for row in grade_agreement() if row["name"] == name)


def responses(afferent: tuple[Side, ...] = (), efferent: tuple[Side, ...] = ()) -> tuple[bool, ...]:
    """Responses in the order touch R: R lid, L lid; touch L: L lid, R lid."""
    seen = corneal_response(CornealArcs(frozenset(afferent), frozenset(efferent)))
    order = ((RIGHT, RIGHT), (RIGHT, LEFT), (LEFT, LEFT), (LEFT, RIGHT))
    return tuple(seen[CornealPair(touched, lid)] for touched, lid in order)


def simplest(rows: tuple[int, int, int, int]) -> str:
    order = ((RIGHT, RIGHT), (RIGHT, LEFT), (LEFT, LEFT), (LEFT, RIGHT))
    blinked = {CornealPair(t, lid): bool(b) for (t, lid), b in zip(order, rows, strict=True)}
    return "; ".join(arcs.words for arcs in explain_corneal(blinked).simplest)


def division(area: str) -> str:
    return next(a.division for a in face_areas() if a.name == area)


def leading(lost: set[str]) -> str:
    found = {a: Sensation.REDUCED if a in lost else Sensation.NORMAL for a in AREAS}
    return "; ".join(fit.pattern.name for fit in read_sensation(LEFT, found).leading)


POWER = [
    *(
        check(
            "power",
            f"grade {grade}",
            MRC,
            words,
            lambda g=grade: read_grade(g).words,
            0.0,
            "secondary",
        )
        for grade, words in (
            ("0", "no contraction"),
            ("1", "flicker or trace of contraction"),
            ("2", "active movement, gravity eliminated"),
            ("3", "active movement against gravity"),
            ("4", "active movement against gravity and resistance"),
            ("5", "normal power"),
        )
    ),
    check(
        "power",
        "slight, moderate, strong resistance are in this order",
        MRC + ", grades 4-, 4, 4+",
        True,
        lambda: MrcGrade.THREE < MrcGrade.FOUR_MINUS < MrcGrade.FOUR < MrcGrade.FOUR_PLUS,
        0.0,
        "from memory",
    ),
    check(
        "power",
        "weighted kappa between examiners, finger extension, six and more grades",
        "Paternostro-Sluga 2008, J Rehabil Med 40:665",
        (0.77, 0.81),
        lambda: (
            agreement("weighted kappa, finger extension, six grades"),
            agreement("weighted kappa, finger extension, with intermediate grades"),
        ),
    ),
    check(
        "power",
        "exact agreement without and with 4+, percent",
        "O'Neill 2017, Chiropr Man Therap 25:28",
        (64.0, 48.0),
        lambda: (
            agreement("exact agreement between 4 and 5, percent, six grades"),
            agreement("exact agreement between 4 and 5, percent, with 4+"),
        ),
    ),
    check(
        "power",
        "the right sternomastoid turns the face to the left",
        "Sternomastoid action (encyclopaedia sentence, hindlish.in)",
        ("sternomastoid", "right"),
        lambda: movement_muscle("turn the face", LEFT),
        0.0,
        "secondary",
    ),
    check(
        "power",
        "the left pterygoid moves the jaw to the right",
        "Examination of jaw strength (teachmeorthopedics); " + CAMPBELL,
        ("lateral pterygoid", "left"),
        lambda: movement_muscle("push the jaw sideways", RIGHT),
        0.0,
        "secondary",
    ),
    check(
        "power",
        "the jaw opens towards the weak side",
        CAMPBELL,
        "right",
        lambda: weak_side_from_deviation("jaw on opening", RIGHT),
        0.0,
        "secondary",
    ),
    check(
        "power",
        "the protruded tongue points to the weak side",
        "Neurosigns: tongue deviation",
        "left",
        lambda: weak_side_from_deviation("tongue on protrusion", LEFT),
        0.0,
        "secondary",
    ),
    check(
        "power",
        "right accessory nerve: sternomastoid, turn, trapezius",
        "Neuroexam (Blumenfeld): accessory nerve",
        ("right", "left", "right"),
        lambda: tuple(
            accessory_weakness("accessory nerve", RIGHT)[m]
            for m in ("sternomastoid", "head turn", "trapezius")
        ),
        0.0,
        "secondary",
    ),
    check(
        "power",
        "right capsular or cortical lesion: turning is weak to the left, away from it",
        JNNP,
        ("left", "right"),
        lambda: tuple(
            accessory_weakness("cerebral hemisphere", RIGHT)[m]
            for m in ("head turn", "sternomastoid")
        ),
    ),
    check(
        "power",
        "right medullary lesion: turning is weak to the right, towards it",
        JNNP,
        "right",
        lambda: accessory_weakness("medulla", RIGHT)["head turn"],
    ),
    check(
        "power",
        "hemisphere lesion: trapezius weak on the opposite side",
        "Neuroexam (Blumenfeld): trapezius",
        "left",
        lambda: accessory_weakness("cerebral hemisphere", RIGHT)["trapezius"],
        0.0,
        "secondary",
    ),
]

CORNEAL = [
    *(
        check(
            "corneal reflex",
            what,
            source,
            expected,
            lambda a=a, e=e: responses(a, e),
            0.0,
            # The course page gives the arc; the cells of this table follow from it.
            "secondary" if source == WISCONSIN else "",
        )
        for what, source, a, e, expected in (
            ("no lesion", WISCONSIN, (), (), (True, True, True, True)),
            (
                "right V1: neither lid from the right",
                PONSILLO,
                (RIGHT,),
                (),
                (False, False, True, True),
            ),
            ("left V1: loss from both lids", DICTIONARY, (LEFT,), (), (True, True, False, False)),
            (
                "right VII: direct lost, consensual kept",
                PONSILLO,
                (),
                (RIGHT,),
                (False, True, True, False),
            ),
            ("left VII", WISCONSIN, (), (LEFT,), (True, False, False, True)),
            ("right V1 and right VII", WISCONSIN, (RIGHT,), (RIGHT,), (False, False, True, False)),
            ("right V1 and left VII", WISCONSIN, (RIGHT,), (LEFT,), (False, False, False, True)),
            ("both V1", WISCONSIN, (RIGHT, LEFT), (), (False,) * 4),
            ("both VII", WISCONSIN, (), (RIGHT, LEFT), (False,) * 4),
        )
    ),
    check(
        "corneal reflex",
        "right touch: right blinks, left does not; left touch likewise: left facial nerve",
        "Question printed with a wrong answer (medicalmcq.in); arc of " + WISCONSIN,
        "left facial nerve (VII)",
        lambda: simplest((1, 0, 0, 1)),
        0.0,
        "secondary",
    ),
    check(
        "corneal reflex",
        "neither lid from the right, both from the left: right V1",
        DICTIONARY,
        "right ophthalmic division (V1)",
        lambda: simplest((0, 0, 1, 1)),
    ),
    check(
        "corneal reflex",
        "no blink at all, but the touch is felt on both sides: both facial nerves",
        DICTIONARY + " (ask also whether the stimulus was felt)",
        "right facial nerve (VII) and left facial nerve (VII)",
        lambda: (
            explain_corneal(dict.fromkeys(CORNEAL_PAIRS, False), {RIGHT: True, LEFT: True})
            .simplest[0]
            .words
        ),
    ),
    check(
        "corneal reflex",
        "no blink at all, feeling not asked: asking is what is left to do",
        DICTIONARY + " (ask also whether the stimulus was felt)",
        True,
        lambda: any(
            "felt" in ask for ask in explain_corneal(dict.fromkeys(CORNEAL_PAIRS, False)).to_ask
        ),
    ),
]

JAW = [
    check(
        "jaw jerk",
        "slight or absent is normal",
        "medschool.co, jaw jerk",
        (False, False),
        lambda: tuple(explain_jaw_jerk(j).abnormal for j in (JawJerk.SLIGHT, JawJerk.ABSENT)),
        0.0,
        "secondary",
    ),
    check(
        "jaw jerk",
        "brisk, or with clonus, is abnormal",
        "medschool.co, jaw jerk; Oxford Neuroexam video 39",
        (True, True),
        lambda: tuple(explain_jaw_jerk(j).abnormal for j in (JawJerk.BRISK, JawJerk.CLONIC)),
        0.0,
        "secondary",
    ),
    check(
        "jaw jerk",
        "four brisk limbs and a brisk jaw: above the cord, above the pons",
        "Jaw jerk in hyperreflexia (curofy discussion)",
        "above the mid-pons",
        lambda: explain_jaw_jerk(JawJerk.BRISK, LimbReflexes.BRISK).level,
        0.0,
        "secondary",
    ),
    check(
        "jaw jerk",
        "four brisk limbs and a slight jaw jerk: not affected by lesions below it, in the cord",
        "Jaw jerk in hyperreflexia (curofy discussion)",
        "below the pons",
        lambda: explain_jaw_jerk(JawJerk.SLIGHT, LimbReflexes.BRISK).level,
        0.0,
        "secondary",
    ),
    check(
        "jaw jerk",
        "both limbs of the arc are the mandibular division: lost with both",
        "medschool.co, jaw jerk: slight or absent, normal or V3 lesion",
        (JawJerk.ABSENT.value,),
        lambda: tuple(expected_jaw_jerk(frozenset(Side))),
        0.0,
        "secondary",
    ),
]

SENSATION = [
    *(
        check(
            "facial sensation",
            f"{area}: {nerve}",
            source,
            nerve,
            lambda a=area: division(a),
            0.0,
            mark,
        )
        for area, nerve, source, mark in (
            ("forehead", "V1", BLUELINK, "secondary"),
            ("upper eyelid", "V1", BLUELINK, "secondary"),
            (
                "nose tip",
                "V1",
                "Numb tip of the nose (teaching case, medicaltalk.net)",
                "secondary",
            ),
            ("cheek", "V2", BLUELINK, "secondary"),
            ("upper lip", "V2", BLUELINK, "secondary"),
            ("lower lip", "V3", BLUELINK, "secondary"),
            ("chin", "V3", BLUELINK, "secondary"),
            ("front of ear", "V3", BLUELINK, "secondary"),
            (
                "angle of jaw",
                "C2/3",
                "Dartmouth human anatomy, figure 47-6",
                "secondary",
            ),
        )
    ),
    check(
        "facial sensation",
        "left half, worst at the edge, centre spared: a zone, not a division",
        NEUROLOGY,
        "outer and middle zones",
        lambda: leading({a.name for a in face_areas() if a.zone >= 2}),
    ),
    check(
        "facial sensation",
        "edge of the face is caudal in the nucleus, to the upper cord",
        NEUROLOGY + " (lower medulla to C2)",
        True,
        lambda: any(
            "caudal" in reason
            for reason in read_sensation(
                LEFT,
                {
                    a.name: Sensation.REDUCED if a.zone == 3 else Sensation.NORMAL
                    for a in face_areas()
                },
            ).reasons
        ),
    ),
    check(
        "facial sensation",
        "round the mouth is rostral in the nucleus",
        NEUROLOGY,
        True,
        lambda: any(
            "rostral" in reason
            for reason in read_sensation(
                LEFT,
                {
                    a.name: Sensation.ABSENT if a.zone == 1 else Sensation.NORMAL
                    for a in face_areas()
                },
            ).reasons
        ),
    ),
    check(
        "facial sensation",
        "V1 pattern of loss carries the caution of the cervical cord",
        "American Academy of Neurology 2023, abstract P14-3.002",
        True,
        lambda: any(
            "cervical cord" in reason
            for reason in read_sensation(
                RIGHT,
                {
                    a.name: Sensation.REDUCED if a.division == "V1" else Sensation.NORMAL
                    for a in face_areas()
                },
            ).reasons
        ),
    ),
    check(
        "facial sensation",
        "loss of the whole trigeminal field spares the angle of the jaw",
        "Dartmouth human anatomy, figure 47-6",
        "all three divisions, angle of jaw spared",
        lambda: leading(set(AREAS) - {"angle of jaw"}),
        0.0,
        "secondary",
    ),
    check(
        "facial sensation",
        "lateral medulla: pin lost, touch kept",
        "McGee, Evidence-Based Physical Diagnosis, chapter 62",
        Dissociation.PIN_ONLY.value,
        lambda: (
            dissociation(
                dict.fromkeys(AREAS, Sensation.ABSENT), dict.fromkeys(AREAS, Sensation.NORMAL)
            ).value
        ),
    ),
    *(
        check(
            "facial sensation",
            f"{name}: {what}",
            ROLAK,
            value,
            lambda name=name, what=what: getattr(functional_signs(name)[0], what),
            tolerance,
        )
        for name, what, value, tolerance in (
            ("pinprick loss splits the midline exactly", "sensitivity_percent", 20.0, 1e-9),
            ("pinprick loss splits the midline exactly", "specificity_percent", 92.5, 1e-9),
            ("pinprick loss splits the midline exactly", "positive_likelihood_ratio", 2.67, 0.005),
            ("pinprick loss splits the midline exactly", "negative_likelihood_ratio", 0.86, 0.005),
            ("vibration is lost on one half of the forehead", "sensitivity_percent", 95.0, 1e-9),
            ("vibration is lost on one half of the forehead", "specificity_percent", 13.75, 1e-9),
            (
                "vibration is lost on one half of the forehead",
                "positive_likelihood_ratio",
                1.10,
                0.005,
            ),
        )
    ),
]

CHECKS: list[PublishedCheck] = [*POWER, *CORNEAL, *JAW, *SENSATION]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()
