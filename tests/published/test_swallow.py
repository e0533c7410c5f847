"""The timed swallow and the swallow screens against published figures."""

import pytest
from published_check import PublishedCheck

from decussate.measures.sex import Sex
from decussate.measures.swallow import (
    WaterSwallow,
    expected_fall_ml_s,
    published_norms,
    swallow_limit,
    swallow_speed,
)
from decussate.measures.swallow_screens import (
    continuous_drinking_screen,
    gugging_score,
    missed_by_passing,
    screen_likelihood_ratio,
    stop_reasons,
)

NATHADWARAWALA = "Nathadwarawala KM et al. J Neurol Neurosurg Psychiatry 1992;55:822-825"
SUITER = "Suiter DM, Leder SB. Dysphagia 2008;23:244-250"
BRODSKY = "Brodsky MB et al. Chest 2016;150:148-163"
ALS = "3-ounce test in amyotrophic lateral sclerosis, PMC10294259"
TRAPL = "Trapl M et al. Stroke 2007 (Gugging swallowing screen)"


def speed(*args, **kwargs):
    found = swallow_speed(WaterSwallow(*args, **kwargs))
    return (found.speed_ml_s, found.slow)


def timed(what, expected, *args, **kwargs):
    return PublishedCheck(
        "swallow", what, NATHADWARAWALA, expected, lambda: speed(*args, **kwargs), 1e-9
    )


def ratios(study):
    return tuple(screen_likelihood_ratio(study, failed=failed) for failed in (True, False))


def accuracy(study, source, failed, passed, tolerance=0.005, mark=""):
    return PublishedCheck(
        "swallow",
        f"{study}: likelihood ratios of failing and passing",
        source,
        (failed, passed),
        lambda: ratios(study),
        tolerance,
        mark,
    )


def gugging(what, parts, total, severity):
    return PublishedCheck(
        "swallow",
        what,
        TRAPL,
        (total, severity),
        lambda: (gugging_score(parts).total, gugging_score(parts).severity),
        mark="secondary",
    )


def norm(name, age=70):
    return next(row["value"] for row in published_norms(age) if row["name"] == name)


CHECKS: list[PublishedCheck] = [
    timed("150 mL in 12 s is 12.5 mL/s, not slow", (12.5, False), 150, 12),
    timed("150 mL in 15 s is 10.0 mL/s, not slow", (10.0, False), 150, 15),
    timed("150 mL in 16 s is slow", (9.375, True), 150, 16),
    timed("stopped with 90 of 150 mL left after 8 s: 60 mL count", (7.5, True), 150, 8, 90),
    accuracy("timed test", NATHADWARAWALA, 3.10, 0.06),
    accuracy("90 mL", SUITER, 1.88, 0.07),
    accuracy(
        "90 mL in stroke rehabilitation",
        "DePippo KL et al. Arch Neurol 1992;49:1259-1261",
        1.85,
        0.41,
        mark="from memory",
    ),
    accuracy("single sips of 1 to 5 mL", BRODSKY, 7.1, 0.32, 0.05),
    accuracy("single sips of 6 to 20 mL", BRODSKY, 6.3, 0.41, 0.05, "secondary"),
    accuracy("consecutive sips of 90 to 100 mL", BRODSKY, 1.94, 0.17),
    accuracy("progressive volumes", BRODSKY, 2.46, 0.22),
    PublishedCheck(
        "swallow",
        "aspirators that pass 90 mL, mixed patients",
        SUITER,
        0.035,
        lambda: missed_by_passing("90 mL"),
        1e-9,
    ),
    PublishedCheck(
        "swallow",
        "aspirators that pass 90 mL, motor neurone disease (30 of 67)",
        ALS,
        30 / 67,
        lambda: missed_by_passing("90 mL in motor neurone disease"),
        5e-4,
    ),
    PublishedCheck(
        "swallow",
        "90 mL screen: clean; left some; stopped; coughed; wet voice",
        SUITER,
        (True, False, False, False, False),
        lambda: tuple(
            continuous_drinking_screen(WaterSwallow(90, 10, **fault)).passed
            for fault in (
                {},
                {"left_ml": 20},
                {"interrupted": True},
                {"coughed": True},
                {"wet_voice": True},
            )
        ),
        mark="secondary",
    ),
    gugging("indirect 5, semisolid 5, liquid 3", (5, 5, 3), 13, "moderate"),
    gugging("indirect 4 stops at once", (4,), 4, "severe"),
    gugging("only the solid part below full", (5, 5, 5, 4), 19, "slight"),
    gugging("all full", (5, 5, 5, 5), 20, "slight or none"),
    PublishedCheck(
        "swallow",
        "oxygen saturation falling by 3 stops the test, by 2 does not",
        "Rofes L et al. 2012",
        (True, False),
        lambda: tuple(
            bool(stop_reasons({}, oxygen_before_percent=97, oxygen_now_percent=now))
            for now in (94, 95)
        ),
        mark="secondary",
    ),
    PublishedCheck(
        "swallow",
        "fall of speed from 60 to 92 years, women and men",
        "Timed Water Swallow Test, normative data for people aged 60 years and older",
        (8.8, 7.3),
        lambda: tuple(expected_fall_ml_s(sex, 60, 92) for sex in Sex),
        1e-9,
    ),
    PublishedCheck(
        "swallow",
        "mean speed of healthy people of 10 to 80 years",
        "Sezer E et al., timed water swallowing test, 196 healthy people",
        13.73,
        lambda: norm("healthy mean"),
    ),
    PublishedCheck(
        "swallow",
        "healthy people over 60 slower than 10 mL/s (of 118)",
        "Karlsson P, Rytiniemi M. 2019",
        15,
        lambda: norm("healthy over 60 slower than 10 mL/s"),
    ),
    PublishedCheck(
        "swallow",
        "repeat tests differ by less than this (median, per cent)",
        "Hughes TAT, Wiles CM. QJM 1996;89:109-116",
        5.0,
        lambda: swallow_limit("repeat difference"),
    ),
    PublishedCheck(
        "swallow",
        "hours within which a stroke patient's swallow is screened",
        "Royal College of Physicians, National clinical guideline for stroke, 2012",
        4.0,
        lambda: swallow_limit("screened within"),
        mark="secondary",
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()
