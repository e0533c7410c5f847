"""Accuracy of bedside tests in the catalogue against the figures it cites."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from published_check import PublishedCheck

from decussate.bibliography import UNSOURCED, load_sources
from decussate.examination.catalogue import load_catalogue

CATALOGUE = load_catalogue()
QUADRANTS = ("upper_temporal", "lower_temporal", "upper_nasal", "lower_nasal")

KERR = "Kerr NM et al. Neurology 2010;74:1184-1190 (kinetic red target, 301 eyes)"
JOHNSON = "Johnson LN, Baloh FG. J Natl Med Assoc 1991;83:895-898 (512 fields)"
SHAHINFAR = "Shahinfar S et al. Ophthalmology 1995;102 (72 patients)"
MANCHANDIA = "Manchandia AM, Demer JL. J AAPOS 2014;18:567-571 (50 patients)"
YOO = "Yoo et al. Sci Rep 2021;11:10089 (56 tonic pupils, 61 controls)"
ICE = "Meeting abstract, IOVS article 2390890 (32 myasthenic, 33 other droops)"
BROWNING = "Browning GG, Swan IRC, Chew KK. J Laryngol Otol 1989"
SHUMAN = "Shuman AG et al. JAMA Intern Med 2013 (250 adults)"
WONG = "Wong SH, White RP. J Neuroophthalmol 2013;33:17-20 (94 of 106)"
WILLS = "The Wills Eye Manual, excerpt"
BRODSKY = "Brodsky MB et al. Chest 2016;150:148-163 (meta-analysis, instrumental reference)"
NATHADWARAWALA = "Nathadwarawala KM et al. JNNP 1992;55:822-825 (81 patients)"


def figure(test: str, name: str) -> Callable[[], float]:
    return lambda: getattr(CATALOGUE.test(test).accuracy, name)


def row(
    test: str,
    name: str,
    expected: float,
    source: str,
    what: str,
    mark: str = "",
    within: float = 5e-4,
) -> PublishedCheck:
    return PublishedCheck(
        "catalogue accuracy", f"{test}: {what}", source, expected, figure(test, name), within, mark
    )


CHECKS = [
    *(row(f"red_pin_{q}", "partial", 0.744, KERR, "sensitivity") for q in QUADRANTS),
    *(row(f"red_pin_{q}", "specificity", 0.93, KERR, "specificity") for q in QUADRANTS),
    *(row(f"peripheral_{q}", "partial", 0.38, SHAHINFAR, "one quadrant found") for q in QUADRANTS),
    *(row(f"peripheral_{q}", "complete", 0.90, SHAHINFAR, "hemianopia found") for q in QUADRANTS),
    *(row(f"peripheral_{q}", "specificity", 0.934, JOHNSON, "specificity") for q in QUADRANTS),
    *(
        row(f"binocular_field_{half}", name, value, JOHNSON, what)
        for half in ("upper", "lower")
        for name, value, what in (
            ("partial", 0.40, "anterior pathway defects found"),
            ("complete", 0.683, "posterior pathway defects found"),
            ("specificity", 0.934, "specificity"),
        )
    ),
    row("red_pin_centre", "present", 0.75, JOHNSON, "central defects found, lower limit"),
    row("red_pin_centre", "specificity", 0.934, JOHNSON, "specificity"),
    row(
        "swinging_light",
        "present",
        0.891,
        "Bruegger et al. Transl Vis Sci Technol 2023;12(6):22 (82 persons)",
        "sensitivity",
    ),
    *(
        row(
            test,
            "present",
            (35 * 3 + 14 * 2 + 1) / 150,
            MANCHANDIA,
            "share of single steps positive",
        )
        for test in (
            "alternate_cover_vertical",
            "vertical_deviation_by_gaze",
            "vertical_deviation_by_tilt",
        )
    ),
    row("weak_pilocarpine_drops", "specificity", 0.828, YOO, "specificity"),
    # 56 of 56 found; (56 + 1) / (56 + 2) is kept, so that one miss does not exclude.
    row("weak_pilocarpine_drops", "present", 57 / 58, YOO, "sensitivity, one miss allowed for"),
    row(
        "apraclonidine_drops",
        "present",
        0.93,
        "Bremner F. Front Neurol 2019;10:55",
        "sensitivity",
        "from memory",
    ),
    row("hydroxyamphetamine_drops", "present", 0.93, WILLS, "sensitivity, at most", "secondary"),
    row("hydroxyamphetamine_drops", "specificity", 0.83, WILLS, "specificity", "secondary"),
    row("ice_pack", "present", 0.78, ICE, "sensitivity"),
    # None of 33 controls; (33 + 1) / (33 + 2) is kept, so that one false positive is possible.
    row("ice_pack", "specificity", 34 / 35, ICE, "specificity, one false positive allowed for"),
    row("venous_pulsation", "specificity", 94 / 106, WONG, "pulsation seen", within=1e-3),
    row(
        "whisper_far", "partial", 0.86, BROWNING + " (60 cm, 101 patients)", "sensitivity, at least"
    ),
    row("whisper_far", "specificity", 0.90, BROWNING + " (60 cm)", "specificity, about"),
    row("rinne", "present", 0.87, BROWNING + " (256 Hz, 127 patients)", "found at a 25 dB gap"),
    row("rinne", "specificity", 0.90, BROWNING, "specificity, above"),
    row("weber", "present", 0.78 + 0.01, SHUMAN, "heard to one side", "secondary"),
    row("weber", "wrong_side", 0.01 / 0.79, SHUMAN, "of these, to the bad ear", "secondary"),
    row(
        "head_impulse",
        "present",
        0.891,
        "Examination review for GRACE-3 (17 studies, 1366 patients)",
        "abnormal in peripheral vertigo",
        "secondary",
    ),
    row(
        "positional_test",
        "present",
        0.79,
        "Halker RB et al. Neurologist 2008, PMID 18469678",
        "sensitivity",
    ),
    row(
        "throat_touch",
        "specificity",
        139 / 140,
        "Davies AE et al. Lancet 1995;345:487-488",
        "felt by healthy people",
    ),
    row(
        "gag",
        "specificity",
        60 / 69,
        "Leder SB. Head Neck 1996;18:138-141",
        "present in healthy adults",
    ),
    row("sip_swallow", "partial", 0.71, BRODSKY, "sensitivity of single sips of 1 to 5 mL"),
    row("sip_swallow", "specificity", 0.9, BRODSKY, "specificity of single sips of 1 to 5 mL"),
    row("water_swallow", "partial", 0.96, NATHADWARAWALA, "sensitivity below 10 mL/s"),
    row("water_swallow", "specificity", 0.69, NATHADWARAWALA, "specificity below 10 mL/s"),
    row(
        "tongue_protrusion",
        "specificity",
        0.95,
        "Umapathi T et al. Cerebrovasc Dis 2000;10:462-465 (300 controls)",
        "straight in controls",
    ),
    PublishedCheck(
        "catalogue limits",
        "water swallow slower than 10 mL/s is slow, 10 is not",
        NATHADWARAWALA,
        ("normal", "reduced"),
        lambda: tuple(
            CATALOGUE.test("water_swallow").measurement.response_for(speed)  # type: ignore[union-attr]
            for speed in (150 / 15, 150 / 16)
        ),
    ),
    PublishedCheck(
        "catalogue limits",
        "convergence near point of 10 cm or more has receded",
        "Adler P. Ophthalmic Physiol Opt 2002;22:565 (the looser definition in use)",
        ("normal", "receded"),
        lambda: tuple(
            CATALOGUE.test("convergence_near_point").measurement.response_for(cm)  # type: ignore[union-attr]
            for cm in (9.5, 10.0)
        ),
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()


def test_every_published_accuracy_is_checked_here() -> None:
    """A row that cites a publication without a check beside it would go unnoticed."""
    checked = {check.what.split(":")[0] for check in CHECKS}
    cited = {
        test.id
        for test in CATALOGUE
        if test.accuracy and {test.accuracy.source, test.accuracy.specificity_source} - UNSOURCED
    }
    assert cited <= checked


def test_marks_of_doubt_are_kept_beside_the_figures() -> None:
    marked = {check.what.split(":")[0]: check.mark for check in CHECKS if check.mark}
    in_catalogue = {
        test.id: test.accuracy.mark for test in CATALOGUE if test.accuracy and test.accuracy.mark
    }
    assert marked == in_catalogue


def test_every_cited_figure_says_what_was_measured() -> None:
    for test in CATALOGUE:
        if test.accuracy and test.accuracy.source in load_sources():
            assert test.accuracy.basis, test.id
