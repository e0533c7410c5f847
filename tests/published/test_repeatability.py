"""What change is more than repeat error, against the publications that measured it.

Each check gives the smallest changes either side of a published limit and what is said of them.
"""

from __future__ import annotations

import math

import pytest
from published_check import PublishedCheck

from decussate.comparison import Verdict, measured_change
from decussate.comparison.repeatability import Repeatability, load_repeatability
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Finding, MeasuredValue
from decussate.sides import Side

BEYOND, WITHIN, UNKNOWN = "beyond", "within", "unknown"
ROSSER = "Rosser, Laidlaw, Murdoch, Br J Ophthalmol 2001;85:432"
HERTEL = (
    "Intra-observer and inter-observer variation of Hertel exophthalmometry 2009, PMID 19523092"
)
HOLMES = "Holmes et al., sixth nerve palsies 2008, PMID 18045567"
CHILDREN = "Holmes et al. (PEDIG), Arch Ophthalmol 2009;127:59"


def judged(
    test: str,
    earlier: float | str,
    later: float | str,
    *,
    answer: str = "normal",
    by: tuple[str, str] = ("A", "A"),
) -> str:
    """Say what is made of a change between two values of one test."""
    entry = load_catalogue().test(test)
    assert entry.measurement is not None
    unit = "as written" if isinstance(earlier, str) else entry.measurement.unit
    first, second = (
        Finding(
            test=test,
            side=Side.RIGHT if entry.paired else None,
            response=answer,
            measurement=MeasuredValue(value=value, unit=unit),
            by=examiner,
        )
        for value, examiner in zip((earlier, later), by, strict=True)
    )
    change = measured_change(entry, first, second)
    assert change is not None
    return next(
        word
        for word, verdict in (
            (BEYOND, Verdict.BEYOND),
            (WITHIN, Verdict.WITHIN),
            (UNKNOWN, Verdict.UNKNOWN),
        )
        if change.verdict is verdict
    )


def figure(test: str) -> Repeatability:
    """Return the row of a test."""
    return load_repeatability()[test]


def around(test: str, first: float, limit: float, step: float, **more: object) -> tuple[str, str]:
    """Judge a change just inside and just outside a limit."""
    inside, outside = first + limit - step, first + limit + step
    return judged(test, first, inside, **more), judged(test, first, outside, **more)  # type: ignore[arg-type]


TWO = ("A", "B")
CHECKS = [
    PublishedCheck(
        "repeatability", "acuity, Snellen by line, 0.33 logMAR: two lines are noise, four are not",
        ROSSER, (WITHIN, BEYOND),
        lambda: (
            judged("distance_acuity", "6/6", "6/9.5"), judged("distance_acuity", "6/6", "6/15"),
        ),
    ),
    PublishedCheck(
        "repeatability", "acuity, letter by letter on a logarithmic chart, 0.18 logMAR",
        ROSSER, (WITHIN, BEYOND),
        lambda: (
            judged("distance_acuity", "logMAR 0.00", "logMAR 0.18"),
            judged("distance_acuity", "logMAR 0.00", "logMAR 0.20"),
        ),
    ),
    PublishedCheck(
        "repeatability", "acuity, 9 letters of the score are noise (0.18 logMAR), 10 are not",
        ROSSER, (WITHIN, BEYOND),
        lambda: (
            judged("distance_acuity", "85 letters", "76 letters"),
            judged("distance_acuity", "85 letters", "75 letters"),
        ),
    ),
    PublishedCheck(
        "repeatability", "acuity, Snellen with letters counted, 0.24 logMAR",
        ROSSER, (WITHIN, BEYOND),
        lambda: (
            judged("distance_acuity", "6/6-1", "6/9.5-1"),
            judged("distance_acuity", "6/6-1", "6/12-1"),
        ),
    ),
    PublishedCheck(
        "repeatability", "eye prominence, one examiner, limits of agreement 1.19 mm (right eye)",
        HERTEL, (WITHIN, BEYOND), lambda: around("eye_prominence", 18.0, 1.19, 0.01),
    ),
    PublishedCheck(
        "repeatability", "eye prominence, two examiners, limits of agreement 1.74 mm (right eye)",
        HERTEL, (WITHIN, BEYOND), lambda: around("eye_prominence", 18.0, 1.74, 0.01, by=TWO),
    ),
    PublishedCheck(
        "repeatability", "pupil by comparison card, coefficient of repeatability up to 1.2 mm",
        "Boxer Wachler & Krueger, Ophthalmology 1999;106:319", (WITHIN, BEYOND),
        lambda: around("pupil_size_light", 3.0, 1.2, 0.01, by=TWO),
    ),
    PublishedCheck(
        "repeatability", "torsion by double Maddox rods: 4 degrees may be noise, 5 are real",
        "Liebermann et al., J AAPOS 2018;22:146", (WITHIN, BEYOND),
        lambda: (
            judged("torsion_measurement", 3.0, 7.0, answer="out"),
            judged("torsion_measurement", 3.0, 8.0, answer="out"),
        ),
    ),
    PublishedCheck(
        "repeatability", "prism and cover test: under 10 prism dioptres may be noise, 10 are real",
        HOLMES, (WITHIN, BEYOND),
        lambda: (
            judged("alternate_cover_distance", 4.0, 13.0, answer="eso", by=TWO),
            judged("alternate_cover_distance", 4.0, 14.0, answer="eso", by=TWO),
        ),
    ),
    PublishedCheck(
        "repeatability", "prism and cover test above 20 prism dioptres: 12 are real",
        CHILDREN, (WITHIN, BEYOND),
        lambda: (
            judged("alternate_cover_distance", 30.0, 41.0, answer="eso", by=TWO),
            judged("alternate_cover_distance", 30.0, 42.0, answer="eso", by=TWO),
        ),
    ),
    PublishedCheck(
        "repeatability", "near point of convergence, limits of agreement 2.5 cm",
        "Scheiman et al., Ophthalmic Physiol Opt 2025, doi 10.1111/opo.70022", (WITHIN, BEYOND),
        lambda: around("convergence_near_point", 5.0, 2.5, 0.1),
    ),
    PublishedCheck(
        "repeatability", "mouth opening measured once, smallest detectable difference 9 mm",
        "Kropmans et al., Eur J Oral Sci 2000;108:9", (WITHIN, BEYOND),
        lambda: around("mouth_opening", 30.0, 9.0, 0.5),
    ),
    PublishedCheck(
        "repeatability", "tear strip, coefficient of repeatability 9.17 mm",
        "Kim et al., Transl Vis Sci Technol 2019;8(3):40", (WITHIN, BEYOND),
        lambda: around("tear_strip", 10.0, 9.17, 0.1),
    ),
    PublishedCheck(
        "repeatability", "caloric difference between the ears, test-retest limit 24 %",
        "Proctor et al., Ann Otol Rhinol Laryngol 1986;95:83", (WITHIN, BEYOND),
        lambda: around("caloric_test", 10.0, 24.0, 0.5),
    ),
    PublishedCheck(
        "repeatability", "swallowing capacity, smallest detectable change 4.40 mL/s",
        "Vermaire et al., Head Neck 2021;43:2468 (figure in the thesis that reprints it)",
        (WITHIN, BEYOND), lambda: around("water_swallow", 12.0, -4.4, -0.1), mark="secondary",
    ),
    PublishedCheck(
        "repeatability", "hearing: tones repeat within 10 dB in over 99 %, so 15 dB are real",
        "Test-retest reliability from 0.5 to 16 kHz, 138 people (Schmuziger et al. 2004)",
        (WITHIN, BEYOND),
        lambda: (
            judged("audiogram_average", 20.0, 30.0), judged("audiogram_average", 20.0, 35.0),
        ),
    ),
    PublishedCheck(
        "repeatability", "hearing: averages a year apart differ by 3.8 dB at most on average",
        "Long-term repeatability of the pure-tone hearing threshold, 356 employees (abstract)",
        # Mean of the absolute value of a normal difference is its spread times root(2/pi).
        1.96 * 3.8 / math.sqrt(2.0 / math.pi), lambda: figure("audiogram_average").any_examiner,
        tolerance=0.7,
    ),
    PublishedCheck(
        "repeatability", "one House-Brackmann grade is noise (50 % agree); of two nothing is known",
        "Kanerva et al., Otolaryngol Head Neck Surg 2006;135:865", (WITHIN, UNKNOWN),
        lambda: (judged("facial_grade", 3.0, 4.0), judged("facial_grade", 3.0, 5.0)),
    ),
    PublishedCheck(
        "repeatability", "one grade of eye movement is noise (85 % agree); of two nothing is known",
        "Kupersmith & Fazzone, Arch Ophthalmol (article 416168)", (WITHIN, UNKNOWN),
        lambda: (judged("gaze_out", 0.0, -1.0), judged("gaze_out", 0.0, -2.0)),
    ),
    PublishedCheck(
        "repeatability", "2 points of the coma scale are noise (over 2 apart in 10 of 108)",
        "Doctors and nurses, Emergency Medicine Australasia 2006", (WITHIN, UNKNOWN),
        lambda: (judged("consciousness", 15.0, 13.0), judged("consciousness", 15.0, 12.0)),
    ),
    PublishedCheck(
        "repeatability", "lid height: limits -0.66 to 0.71 mm put two ruler readings within 0.97",
        "Manual and automated lid height, JAMA Ophthalmol 2016, article 2473361 (worked out)",
        ((0.66 + 0.71) / 2 * math.sqrt(2.0), WITHIN, BEYOND),
        lambda: (
            figure("upper_lid_position").same_examiner,
            *around("upper_lid_position", 3.0, 0.97, 0.01),
        ),
        tolerance=0.005,
    ),
]  # fmt: skip


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()
