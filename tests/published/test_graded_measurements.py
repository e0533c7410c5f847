"""How much a graded or measured value argues, against what is published of grades and errors."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from published_check import PublishedCheck
from scipy.stats import norm

from decussate.bibliography import load_sources
from decussate.examination.bedside_test import Grading
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Finding, MeasuredValue
from decussate.localisation import load_model
from decussate.localisation.lesions import Site
from decussate.localisation.observation import finding_likelihood
from decussate.localisation.states import grade_probabilities
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
REPEAT = 1.96 * 2**0.5
"""Two measurements differ by less than this many standard deviations of one, 95 times in 100."""

KERRISON = "Kerrison JB et al. Arch Ophthalmol 2001;119:1333-1341 (monkeys; 4 eyes, 45.0 to 61.6)"
KARDON = (
    "Kardon et al., Ophthalmology 2006;113:1345 (abstract; volume from memory): 54 to 67 percent of"
    " pupil fibres cross in 5 patients, so that a tract costs one eye 8 to 34 percent more"
)
MARTIN = "Martin, ACS Chem Neurosci 2018;9:177-186 (Horner: droop of 1 to 2 mm)"
WHO = "WHO World Report on Hearing 2021"
DUCTIONS = "common practice: -1 leaves 75 percent of the movement, -2 50, -3 25, -4 the midline"
DANISH = "Spontaneous course of 220 facial palsies, early Danish series: 77.3 percent complete"
SKULL = "common practice: no conductive loss exceeds about 60 dB, as the skull carries louder sound"


def finding(test: str, side: Side | None, value: float, response: str = "") -> Finding:
    scale = load_catalogue().test(test).measurement
    assert scale
    return Finding(
        test=test,
        side=side,
        response=response or scale.response_for(value) or "",
        measurement=MeasuredValue(value=value, unit=scale.unit),
    )


def likelihood(one: Finding) -> np.ndarray:
    test = load_catalogue().test(one.test)
    found = finding_likelihood(load_model().atlas.signs[test.sign or ""], test, one)
    assert found is not None
    return found


def chance(one: Finding, place: str, side: Side | None) -> float:
    """Probability of a finding with a lesion of a place, over its patterns."""
    model, test = load_model(), load_catalogue().test(one.test)
    table = model.signs[test.sign or "", one.side]
    columns = slice(*model.span(model.lesions.sites.index(Site(place, side))))
    told = (table.probability @ likelihood(one))[table.level_of[columns]]
    return float(model.lesions.weight[columns] @ told)


def odds(one: Finding, place: str, side: Side, other: str, other_side: Side) -> float:
    """How many times likelier a finding is with one place than with another."""
    return chance(one, place, side) / chance(one, other, other_side)


def against_health(test: str, value: float) -> float:
    """How many times likelier a value is with the sixth nerve cut than with no lesion."""
    one = finding(test, RIGHT, value)
    return chance(one, "abducens_cistern", RIGHT) / chance(one, "normal", None)


def loss_of_light(log_units: float) -> float:
    """Mean loss of light conduction, percent, when every loss was equally likely before."""
    sign = load_model().atlas.signs["afferent_defect"]
    assert sign.scale
    loss = np.linspace(0, 1, 1001)
    told = likelihood(finding("swinging_light", None, log_units, "right"))
    weight = grade_probabilities(sign.scale, 2.6 * loss) @ told
    return float(100 * (weight @ loss) / weight.sum())


def level_meant(test: str, value: float) -> float:
    """The level of the grade for which a value speaks most."""
    sign = load_model().atlas.signs[load_catalogue().test(test).sign or ""]
    assert sign.scale
    return list(sign.scale.grades.values())[int(likelihood(finding(test, RIGHT, value)).argmax())][
        1
    ]


def grading(test: str) -> Grading:
    scale = load_catalogue().test(test).measurement
    assert scale
    assert scale.grading
    return scale.grading


def over_1_mm() -> float:
    """Share above 1 mm among unequal pupils met without a relevant lesion."""
    scale = load_model().atlas.signs["anisocoria"].scale
    assert scale
    return sum(scale.met[1:])


def limit(test: str) -> Callable[[], float]:
    return lambda: grading(test).error * REPEAT


def agreement(test: str) -> Callable[[], float]:
    """How often two examiners give one reading, in percent, away from the ends of the scale."""

    def compute() -> float:
        of = grading(test)
        true = np.linspace(-0.5, 0.5, 201) * of.step
        edges = (np.arange(-5, 6) + 0.5) * of.step
        cells = np.diff(norm.cdf((edges[None, :] - true[:, None]) / of.error), axis=1)
        return float(100 * (cells**2).sum(axis=1).mean())

    return compute


def check(
    what: str,
    source: str,
    expected: float | bool | tuple[object, ...],
    obtained: Callable[[], object],
    tolerance: float = 0.0,
    mark: str = "",
) -> PublishedCheck:
    return PublishedCheck("graded measurement", what, source, expected, obtained, tolerance, mark)


CHECKS = [
    check(
        "an afferent defect of 0.6 log units: percent of fibres lost",
        KERRISON,
        53.3,
        lambda: loss_of_light(0.6),
        8.3,
    ),
    check(
        "a defect of 1.2 log units speaks ten times less for the tract than one of 0.3",
        KARDON,
        True,
        lambda: (
            odds(
                finding("swinging_light", None, 1.2, "left"),
                "optic_nerve_orbital",
                LEFT,
                "optic_tract",
                RIGHT,
            )
            > 10
            * odds(
                finding("swinging_light", None, 0.3, "left"),
                "optic_nerve_orbital",
                LEFT,
                "optic_tract",
                RIGHT,
            )
        ),
    ),
    check(
        "limitation -1 to -4: share of the movement lost",
        DUCTIONS,
        (0.25, 0.5, 0.75, 1.0),
        lambda: tuple(level_meant("gaze_out", grade) for grade in (-1, -2, -3, -4)),
        mark="common practice",
    ),
    check(
        "no abduction past the midline speaks more for the sixth nerve than a slight limit",
        "definition of complete palsy, Holmes et al. (sixth nerve palsy study) 2000",
        True,
        lambda: against_health("gaze_out", -4) > 10 * against_health("gaze_out", -1),
        mark="from memory",
    ),
    check(
        "a lid at MRD1 of -3 mm is seldom Horner's: odds for the third nerve over 10 to 1",
        MARTIN,
        True,
        lambda: (
            odds(
                finding("upper_lid_position", RIGHT, -3),
                "third_cistern_compressed",
                RIGHT,
                "carotid_high",
                RIGHT,
            )
            > 10
        ),
    ),
    check(
        "a lid at MRD1 of 2 mm is more often Horner's than of the third nerve",
        MARTIN,
        True,
        lambda: (
            odds(
                finding("upper_lid_position", RIGHT, 2),
                "carotid_high",
                RIGHT,
                "third_cistern_compressed",
                RIGHT,
            )
            > 1
        ),
    ),
    check(
        "a facial palsy of grade VI speaks for the nerve, of grade II for the hemisphere",
        DANISH,
        (True, True),
        lambda: tuple(
            (
                odds(
                    finding("facial_grade", RIGHT, grade),
                    "facial_labyrinthine",
                    RIGHT,
                    "corona_capsule",
                    LEFT,
                )
                > 1
            )
            == (grade == 6)
            for grade in (6, 2)
        ),
        mark="secondary",
    ),
    check(
        "an average loss of 90 dB speaks for the cochlea, of 60 dB for the middle ear",
        SKULL,
        (True, True),
        lambda: tuple(
            (
                odds(
                    finding("audiogram_average", RIGHT, level),
                    "cochlea",
                    RIGHT,
                    "middle_ear",
                    RIGHT,
                )
                > 1
            )
            == (level == 90)
            for level in (90, 60)
        ),
        mark="common practice",
    ),
    check(
        "hearing: where mild, moderate, moderately severe and profound loss begin, dB",
        WHO,
        (20.0, 35.0, 50.0, 80.0),
        lambda: grading("audiogram_average").begins,
        mark="secondary",
    ),
    check(
        "average hearing: 95 percent of repeats within, dB",
        "Test-retest reliability from 0.5 to 16 kHz, 138 people (Schmuziger et al. 2004)",
        10.0,
        limit("audiogram_average"),
        0.1,
    ),
    check(
        "acuity by line: 95 percent of repeats within, logMAR",
        "Rosser, Laidlaw and Murdoch, Br J Ophthalmol 2001;85:432-436",
        0.33,
        limit("distance_acuity"),
        0.01,
    ),
    check(
        "upper lid: 95 percent of repeats within, mm",
        "Manual and automated lid height, JAMA Ophthalmol 2016, article 2473361 (worked out)",
        0.97,
        limit("upper_lid_position"),
        0.01,
    ),
    check(
        "caloric difference: 95 percent of repeats within, percent",
        "Proctor et al., Ann Otol Rhinol Laryngol 1986;95:83",
        24.0,
        limit("caloric_test"),
        0.2,
    ),
    check(
        "water swallow: 95 percent of repeats within, mL/s",
        "Vermaire et al., Head Neck 2021;43:2468 (figure in the thesis that reprints it)",
        4.4,
        limit("water_swallow"),
        0.05,
        mark="secondary",
    ),
    check(
        "pupil: 95 percent of repeats within, mm",
        "Boxer Wachler & Krueger 1999, comparison card, two examiners",
        1.2,
        limit("pupil_comparison"),
        0.02,
    ),
    check(
        "turn of an eye: 95 percent of repeats within, prism dioptres",
        "Test-retest of the prism and alternate cover test in sixth nerve palsy (PMID 18045567)",
        10.2,
        limit("cover_uncover"),
        0.1,
    ),
    check(
        "torsion: 95 percent of repeats within, degrees",
        "Liebermann et al. 2018, double Maddox rods",
        4.7,
        limit("torsion_measurement"),
        0.05,
    ),
    check(
        "above 1 mm is the normal tail at least, and a tenth at most, of physiological differences",
        "Lam, Thompson & Corbett 1987: 19 percent of 128 differ by 0.4 mm or more (worked out)",
        True,
        lambda: norm.sf(1 / (0.4 / norm.isf(0.095))) * 2 / 0.19 <= over_1_mm() <= 0.1,
    ),
    check(
        "an anisocoria of 3 mm is seldom Horner's: odds for the third nerve over 2 to 1",
        "Dhume & Paul 2013 (third nerve 1 to 2 mm where it is ischaemic); Horner about 1 mm",
        True,
        lambda: (
            odds(
                finding("pupil_comparison", None, 3, "left"),
                "third_cistern_compressed",
                LEFT,
                "sympathetic_neck",
                RIGHT,
            )
            > 2
        ),
        mark="common practice",
    ),
    check(
        "facial grade: two doctors agree, percent",
        "Kanerva et al., Otolaryngol Head Neck Surg 2006;135:865",
        50.0,
        agreement("facial_grade"),
        2.0,
    ),
    check(
        "power: two clinicians agree, percent",
        "O'Neill 2017, Chiropr Man Therap 25:28",
        64.0,
        agreement("arm_power"),
        4.0,
    ),
    check(
        "limitation: two examiners agree at most, percent",
        "Kupersmith & Fazzone, Arch Ophthalmol (article 416168)",
        True,
        lambda: agreement("gaze_out")() < 85.0,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()


def test_every_error_from_a_publication_says_how_it_follows() -> None:
    for test in load_catalogue():
        scale = test.measurement
        if scale and scale.grading:
            assert scale.grading.basis, test.id
            assert scale.grading.source in {"judgement", *load_sources()}, test.id
