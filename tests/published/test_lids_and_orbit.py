"""Lids and orbit against published measurements and their populations."""

import pytest
from published_check import PublishedCheck

from decussate.measures.lids_and_orbit import (
    Lids,
    Protrusion,
    compare_margin,
    fissure_mm,
    levator_grade,
    read_lids,
    read_protrusion,
)
from decussate.measures.published_rows import read_tables, row_named
from decussate.measures.sex import Sex

SUBJECT = "lids and orbit"
DUNSKY = "Dunsky, Optom Vis Sci 1992;69:562-564"
IOVS_A = "ARVO abstract, IOVS article 2406006"
IOVS_B = "ARVO abstract, IOVS article 2412741"
WU = "Wu et al., Sci Rep 2015;5:8526"
NUCCI = "Nucci et al., Am J Ophthalmol 1989;108:582-584"
MIGLIORI = "Migliori and Gladstone, Am J Ophthalmol 1984;98:438-442"
MEN, WOMEN = Sex.MALE, Sex.FEMALE


def row(what, source, expected, obtained, tolerance=0.0, mark=""):
    return PublishedCheck(SUBJECT, what, source, expected, obtained, tolerance, mark)


def limit(group, sex=None):
    return read_protrusion(Protrusion(15, 15), group=group, sex=sex).upper_limit_mm


CHECKS: list[PublishedCheck] = [
    *(
        row(
            f"upper limit of protrusion, {group}, {sex or 'either sex'}, mm",
            source,
            upper,
            lambda g=group, s=sex: limit(g, s),
            0.0,
            mark,
        )
        for group, sex, upper, source, mark in (
            ("black adults", MEN, 24.14, DUNSKY, ""),
            ("black adults", WOMEN, 22.74, DUNSKY, ""),
            ("Caucasian adults under 65", MEN, 22.5, IOVS_A, ""),
            ("Caucasian adults under 65", WOMEN, 21.3, IOVS_A, ""),
            ("Asian adults under 65", MEN, 19.9, IOVS_A, ""),
            ("Asian adults under 65", WOMEN, 18.6, IOVS_A, ""),
            ("Asian adults", MEN, 19.7, IOVS_B, ""),
            ("Asian adults", WOMEN, 18.3, IOVS_B, ""),
            ("Han Chinese adults", None, 19.0, WU, ""),
            ("Iranian adults", None, 19.3, "Normal Iranian population 2008, PMID 18832980", ""),
            ("Iranian children", None, 17.8, "Normal Iranian population 2008, PMID 18832980", ""),
            ("white adults (United States)", MEN, 21.7, MIGLIORI, "from memory"),
            ("white adults (United States)", WOMEN, 20.1, MIGLIORI, "from memory"),
        )
    ),
    *(
        # Where a mean and a deviation were printed with the limit, the limit is mean + 2 SD.
        row(
            f"mean + 2 SD of {group}, {sex}, mm",
            source,
            upper,
            lambda g=group, s=sex: _mean_plus_two(g, s),
            0.25,
        )
        for group, sex, upper, source in (
            ("Caucasian adults under 65", "male", 22.5, IOVS_A),
            ("Caucasian adults under 65", "female", 21.3, IOVS_A),
            ("Asian adults under 65", "male", 19.9, IOVS_A),
            ("Asian adults", "male", 19.7, IOVS_B),
            ("Asian adults", "female", 18.3, IOVS_B),
            ("Han Chinese adults", "either", 19.0, WU),
        )
    ),
    row(
        "22 mm is within the limit of a black man and beyond that of a Han Chinese man",
        "Dunsky 1992 and Wu 2015",
        ((), ("right", "left")),
        lambda: (_beyond("black adults", MEN), _beyond("Han Chinese adults", None)),
    ),
    row(
        "21 mm is not a limit for black adults",
        DUNSKY,
        True,
        lambda: limit("black adults", MEN) > 21 and limit("black adults", WOMEN) > 21,
    ),
    row(
        "no child of 852 had more than 2 mm between the eyes",
        NUCCI,
        (None, "right"),
        lambda: (_unequal(17, 15), _unequal(17.5, 15).value),
    ),
    row(
        "margin reflex distance, mean, mm",
        "Rana, Int Ophthalmol 2023;43",
        3.5,
        lambda: _margin("Australian adults, mean age 58"),
    ),
    *(
        row(
            f"margin reflex distance, {group}, one deviation below the mean, mm",
            "Eyelid positions among Korean age groups, 380 people (abstract)",
            -1.0,
            lambda g=group, mm=mean - sd: compare_margin(mm, group=g).deviations,
            1e-9,
        )
        for group, mean, sd in (
            ("Korean, under 20 years", 2.94, 0.95),
            ("Korean, 20 to 40 years", 3.23, 0.92),
            ("Korean, 40 to 60 years", 3.33, 1.09),
            ("Korean, 60 years and over", 2.42, 1.03),
        )
    ),
    row(
        "half of the eyes before ptosis surgery (mean 1.06 mm) are below 2 mm",
        "Nemet, J Craniofac Surg 2015, with the limit of clinical guidance",
        1,
        lambda: len(read_lids(Lids(3.5, 1.06)).low_sides),
        mark="secondary",
    ),
    row(
        "fissure: 3.5 and 5.2 mm of margin distance add to 8.7, within 8 to 10",
        "Rana, Int Ophthalmol 2023;43 with Dutton's normal fissure",
        True,
        lambda: 8.0 <= fissure_mm(3.5, 5.2) <= 10.0,
    ),
    row(
        "levator of 13, 10, 6 and 4 mm",
        "Lid table, sadbhaavclinic.com, and ESOPRS (12 and over)",
        ("normal", "good", "fair", "poor"),
        lambda: tuple(levator_grade(mm)["name"] for mm in (13, 10, 6, 4)),
        mark="secondary",
    ),
    row(
        "lid less than 2 mm above the reflex is low",
        "Clinical guidance on ptosis",
        (0, 1),
        lambda: tuple(len(read_lids(Lids(4.0, mm)).low_sides) for mm in (2.0, 1.9)),
        mark="secondary",
    ),
    row(
        "droop of 1.5, 3 and 4.5 mm",
        "Clinical guidance on ptosis",
        ("mild", "moderate", "severe"),
        lambda: tuple(read_lids(Lids(4.5, 4.5 - mm)).grade for mm in (1.5, 3.0, 4.5)),
        mark="secondary",
    ),
    row(
        "Horner: 1 to 2 mm of droop with a normal levator points to the sympathetic supply",
        "Martin, ACS Chem Neurosci 2018;9:177-186",
        True,
        lambda: "sympathetic" in read_lids(Lids(4.0, 2.5, 14, 14)).meaning,
    ),
    row(
        "third nerve: a larger droop with a weak levator",
        "Martin, ACS Chem Neurosci 2018;9:177-186",
        True,
        lambda: "third nerve" in read_lids(Lids(4.0, -1.0, 14, 3)).meaning,
    ),
]


def _mean_plus_two(group, sex):
    rows = read_tables("lids_and_orbit.yaml")["protrusion"]
    found = next(r for r in rows if r["name"] == group and r["sex"] == sex)
    return found["mean_mm"] + 2 * found["sd_mm"]


def _beyond(group, sex):
    reading = read_protrusion(Protrusion(22, 22), group=group, sex=sex)
    return tuple(side.value for side in reading.beyond_limit)


def _unequal(right, left):
    return read_protrusion(Protrusion(right, left), group="Iranian children").unequal


def _margin(name):
    return row_named(read_tables("lids_and_orbit.yaml")["margin_distance"], name, "people")[
        "mean_mm"
    ]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()
