"""Pupils against published grades, prevalences, formulae, and cases."""

import math

import pytest
from published_check import PublishedCheck

from decussate.measures.published_rows import read_tables
from decussate.measures.pupil_reactions import (
    LightReactions,
    Reaction,
    ReflexArcs,
    arcs_that_explain,
    expected_reactions,
    near_dissociation,
    swinging_light,
)
from decussate.measures.pupils import (
    PupilSizes,
    afferent_defect_by_filter,
    afferent_defect_by_grade,
    anisocoria,
    expected_diameter_mm,
    filter_transmission,
)
from decussate.sides import Side

SUBJECT = "pupils"
BELL = "Bell et al., Arch Ophthalmol 1993;111:938-942"
YOTHARAK = "Yotharak and Aui-Aree, J Med Assoc Thai 2012;95(4)"
WATSON = "Watson and Yellott, J Vis 2012;12(10):12, closed form of appendix 2 (equation 27)"
WILHELM = "Relative afferent defect in 102 normal subjects, 2007, PMID 18090558"
PEARLS = (
    "Neurology 2021;96:719, case: right 4.5 and left 3.5 mm in light, 5.5 and 4.0 mm in the dark"
)
LOEWENFELD = "Loewenfeld, The Pupil, 1993: double crossing of the light reflex"
LAM = "Lam, Thompson and Corbett, Am J Ophthalmol 1987;104:69-73"
LARNER = "Larner, A Dictionary of Neurological Signs: anisocoria"
BRISK, ABSENT = Reaction.BRISK, Reaction.ABSENT


def row(what, source, expected, obtained, tolerance=0.0, mark=""):
    return PublishedCheck(SUBJECT, what, source, expected, obtained, tolerance, mark)


def closed_form(flux, age):
    """The rational form printed in the paper's appendix, not the equation that is implemented."""
    f = flux**0.41
    return (18.5172 + 0.122165 * f - 0.105569 * age + 0.000138645 * f * age) / (2 + 0.0630635 * f)


def reactions(**damaged):
    seen = expected_reactions(ReflexArcs(**dict.fromkeys(damaged, ABSENT)))
    return tuple(
        r.value
        for r in (
            seen.right_to_right,
            seen.left_to_right,
            seen.left_to_left,
            seen.right_to_left,
        )
    )


def case_of_2021():
    return anisocoria(PupilSizes(4.5, 3.5), PupilSizes(5.5, 4.0))


def explained(seen):
    return tuple(arcs.damaged for arcs in arcs_that_explain(seen))


CHECKS: list[PublishedCheck] = [
    *(
        row(
            f"grade {grade}, log units",
            BELL,
            log_units,
            lambda g=grade: afferent_defect_by_grade(Side.LEFT, g).low_log_units,
        )
        for grade, log_units in (
            ("I", 0.4),
            ("II", 0.7),
            ("III", 1.1),
            ("IV", 2.0),
            ("V", math.inf),
        )
    ),
    *(
        row(f"grade {grade}, log units", YOTHARAK, limits, lambda g=grade: _range(g))
        for grade, limits in (("1+", (0.0, 0.6)), ("2+", (0.6, 0.9)), ("3+", (1.2, 1.5)))
    ),
    row("grade 4+ is at least, log units", YOTHARAK, 1.8, lambda: _range("4+")[0]),
    row(
        "0.3 log units is found in healthy people",
        WILHELM,
        True,
        lambda: afferent_defect_by_filter(Side.LEFT, 0.3).within_healthy_range,
    ),
    row(
        "0.4 log units is not",
        WILHELM,
        False,
        lambda: afferent_defect_by_filter(Side.LEFT, 0.4).within_healthy_range,
    ),
    *(
        row(
            f"light through a {density} log unit filter",
            "definition of optical density",
            part,
            lambda d=density: filter_transmission(d),
            0.005,
        )
        for density, part in ((0.3, 0.501), (0.6, 0.251), (1.0, 0.1), (2.0, 0.01))
    ),
    *(
        row(
            f"diameter at {luminance:g} cd/m² over {area:g} deg², {age} years, {eyes} eye(s), mm",
            WATSON,
            closed_form(luminance * area * (0.1 if eyes == 1 else 1.0), age),
            lambda lum=luminance, a=area, y=age, e=eyes: expected_diameter_mm(lum, a, y, eyes=e),
            0.001,
        )
        for luminance, area, age, eyes in (
            (0.01, 1000, 25, 2),
            (1, 1000, 45, 2),
            (100, 1000, 70, 2),
            (1000, 1000, 30, 2),
            (100, 1000, 45, 1),
            (10, 2827, 60, 2),
            (300, 100, 80, 1),
        )
    ),
    row(
        "age lowers the light pupil by 0.015 to 0.043 mm a year",
        "Winn et al., IOVS 1994;35:1132-1137",
        True,
        # 9 to 4400 cd/m² over a 10 degree field, the range of the study
        lambda: all(0.010 < _slope(lum) < 0.048 for lum in (9, 44, 220, 1100, 4400)),
    ),
    row(
        "less so in brighter light",
        "Winn et al., IOVS 1994;35:1132-1137",
        True,
        lambda: _slope(4400) < _slope(220) < _slope(9),
    ),
    row(
        "from about 2 to 8 mm",
        "Lazar et al., R Soc Open Sci 2024;11:191613",
        (2.0, 8.0),
        lambda: (expected_diameter_mm(20000, 5000, 25), expected_diameter_mm(0.0001, 1000, 25)),
        0.6,
    ),
    row(
        "difference grows in the dark",
        PEARLS,
        "greater in the dark",
        lambda: case_of_2021().pattern.value,
    ),
    row(
        "the small left pupil is the suspect one",
        PEARLS,
        "left",
        lambda: case_of_2021().suspect.value,
    ),
    row(
        "the caution names an old tonic pupil, which it was",
        PEARLS,
        True,
        lambda: "old tonic pupil" in case_of_2021().caution,
    ),
    row(
        "greater in light: the larger pupil, parasympathetic",
        LARNER,
        ("right", True),
        lambda: (_third().suspect.value, "parasympathetic" in _third().meaning),
    ),
    row(
        "greater in the dark: the smaller pupil, sympathetic",
        LARNER,
        ("left", True),
        lambda: (_horner().suspect.value, " sympathetic" in _horner().meaning),
    ),
    row(
        "0.4 mm is counted, 0.3 mm is not",
        LAM,
        ("the same in light and dark", "none"),
        lambda: tuple(
            anisocoria(PupilSizes(4 + d, 4), PupilSizes(6 + d, 6)).pattern.value for d in (0.4, 0.3)
        ),
    ),
    *(
        row(
            f"healthy people with 0.4 mm or more, {light}, percent",
            source,
            percent,
            lambda lt=light: _prevalence(lt),
            0.5,
        )
        for light, percent, source in (
            ("dim light, one look", 100 * 24 / 128, LAM),
            ("dim light, ever in ten looks", 100 * 52 / 128, LAM),
            ("dim light, in all ten looks", 100 * 4 / 128, LAM),
            ("bright light", 8, "Lam, Thompson and Walls, Ophthalmology 1996;103:790-793"),
            (
                "darkness, infrared camera",
                100 * 22 / 51,
                "Steck et al., Clin Ophthalmol 2018;12:85-89",
            ),
        )
    ),
    row(
        "1 mm is within the usual limit, 1.2 mm beyond",
        "common practice",
        (True, False),
        lambda: tuple(
            anisocoria(PupilSizes(4 + d, 4), PupilSizes(6 + d, 6)).within_physiological_limit
            for d in (1.0, 1.2)
        ),
        mark="common practice",
    ),
    row(
        "right afferent defect: light in that eye moves neither pupil",
        LOEWENFELD,
        ("absent", "absent", "brisk", "brisk"),
        lambda: reactions(afferent_right=True),
    ),
    row(
        "left afferent defect",
        LOEWENFELD,
        ("brisk", "brisk", "absent", "absent"),
        lambda: reactions(afferent_left=True),
    ),
    row(
        "right efferent defect: that pupil does not move whichever eye is lit",
        LOEWENFELD,
        ("absent", "brisk", "brisk", "absent"),
        lambda: reactions(efferent_right=True),
    ),
    row(
        "left efferent defect",
        LOEWENFELD,
        ("brisk", "absent", "absent", "brisk"),
        lambda: reactions(efferent_left=True),
    ),
    row(
        "both afferent defects",
        LOEWENFELD,
        ("absent",) * 4,
        lambda: reactions(afferent_right=True, afferent_left=True),
    ),
    row(
        "afferent and efferent defect of one eye: only the other pupil to its own light",
        LOEWENFELD,
        ("absent", "absent", "brisk", "absent"),
        lambda: reactions(afferent_right=True, efferent_right=True),
    ),
    row(
        "afferent right, efferent left: only the right pupil, to light in the left",
        LOEWENFELD,
        ("absent", "absent", "absent", "brisk"),
        lambda: reactions(afferent_right=True, efferent_left=True),
    ),
    row(
        "blind right eye worked back from its reactions",
        LOEWENFELD,
        (("afferent, right: absent",),),
        lambda: explained(LightReactions(ABSENT, ABSENT, BRISK, BRISK)),
    ),
    row(
        "fixed right pupil worked back from its reactions",
        LOEWENFELD,
        (("efferent, right: absent",),),
        lambda: explained(LightReactions(ABSENT, BRISK, BRISK, ABSENT)),
    ),
    row(
        "an afferent defect alone gives no unequal pupils: both move alike in either light",
        "Larner, A Dictionary of Neurological Signs; common teaching",
        True,
        lambda: _alike(afferent_right=True) and not _alike(efferent_right=True),
        mark="common practice",
    ),
    row(
        "reverse sign: right pupil fixed, left smaller with light in the left: right defect",
        "common practice",
        ("right", True),
        lambda: _reverse(),
        mark="common practice",
    ),
    row(
        "tonic pupil is looked for when one pupil reacts to near and not to light",
        "Trobe, Anisocoria overview, University of Utah NOVEL collection",
        True,
        lambda: "tonic pupil" in _dissociated(one=True),
    ),
    row(
        "dorsal midbrain is looked for when both do",
        "Trobe, Anisocoria overview, University of Utah NOVEL collection",
        True,
        lambda: "dorsal midbrain" in _dissociated(one=False),
    ),
]


def _range(grade):
    defect = afferent_defect_by_grade(Side.RIGHT, grade, scale="plus")
    return defect.low_log_units, defect.high_log_units


def _slope(luminance):
    young, old = (expected_diameter_mm(luminance, 78.5, age, eyes=1) for age in (20, 80))
    return (young - old) / 60


def _third():
    return anisocoria(PupilSizes(6.0, 3.0), PupilSizes(7.0, 6.0))


def _horner():
    return anisocoria(PupilSizes(3.5, 3.0), PupilSizes(6.5, 5.0))


def _prevalence(light):
    rows = read_tables("pupils.yaml")["anisocoria_prevalence"]
    return next(r["percent"] for r in rows if r["light"] == light)


def _alike(**damaged):
    right_r, left_r, left_l, right_l = reactions(**damaged)
    return right_r == left_r and left_l == right_l


def _reverse():
    seen = swinging_light(Side.LEFT, smaller_with_light_in=Side.LEFT)
    return seen.defect.value, seen.reverse


def _dissociated(*, one):
    other = BRISK if one else ABSENT
    light = LightReactions(ABSENT, other, other, ABSENT)
    found = near_dissociation(light, near_right=BRISK, near_left=BRISK)
    assert found.sides == ((Side.RIGHT,) if one else (Side.RIGHT, Side.LEFT))
    return {row["name"] for row in found.consider}


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()
