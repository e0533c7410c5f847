"""Distance acuity against published tables, standards and studies."""

import itertools
import math

import pytest
from published_check import PublishedCheck

from decussate.measures.acuity_chart import chart_named
from decussate.measures.acuity_interpretation import change, impairment, pinhole, substitute
from decussate.measures.acuity_notation import nearest_line, parse
from decussate.measures.distance_acuity import (
    correct_for_distance,
    from_decimal,
    from_letter_score,
    from_logmar,
    mean_acuity,
    protocol_letter_score,
    snellen,
)

SUBJECT = "distance acuity"
DICOM = "DICOM PS3.17 annex RR.2.4, table RR-1"
HOLLADAY = "Holladay, J Cataract Refract Surg 2004;30:287-290"
BECK = "Beck et al., Am J Ophthalmol 2003;135:194-205"
GREGORI = "Gregori, Feuer and Rosenfeld, Retina 2010;30:1046"
ROSSER = "Rosser, Laidlaw and Murdoch, Br J Ophthalmol 2001;85:432-436"
ICD11 = "WHO ICD-11, 9D90"
ICD10 = "WHO ICD-10 version 2010, note to H54"
BY_LINE = "by line on a Snellen chart"


def row(what, source, expected, obtained, tolerance=0.0, mark=""):
    return PublishedCheck(SUBJECT, what, source, expected, obtained, tolerance, mark)


# decimal label, feet, metres, logMAR and acuity score on one line of the DICOM table
DICOM_ROWS = [
    (2.0, "20/10", "6/3", -0.30, 115),
    (1.6, "20/12.5", "6/3.8", -0.20, 110),
    (1.5, "20/13", "6/4", -0.18, 109),
    (1.3, "20/15", "6/4.5", -0.12, 106),
    (1.25, "20/16", "6/4.8", -0.10, 105),
    (1.2, "20/17", "6/5", -0.08, 104),
    (1.1, "20/18", "6/5.5", -0.04, 102),
    (1.0, "20/20", "6/6", 0.0, 100),
]

CHECKS: list[PublishedCheck] = [
    *(
        row(f"logMAR of {metres}", DICOM, logmar, lambda m=metres: parse(m).logmar, 0.01)
        for _, _, metres, logmar, _ in DICOM_ROWS
    ),
    *(
        # The feet column of the table is rounded to whole feet, by up to 0.01 log units.
        row(f"logMAR of {feet}", DICOM, logmar, lambda f=feet: parse(f).logmar, 0.015)
        for _, feet, _, logmar, _ in DICOM_ROWS
    ),
    *(
        row(
            f"score of {decimal}",
            DICOM,
            score,
            lambda d=decimal: from_decimal(d).acuity_score,
            0.75,
        )
        for decimal, _, _, _, score in DICOM_ROWS
    ),
    row(
        "mean of 20/20 and 20/200 is 0.5 logMAR",
        HOLLADAY,
        0.5,
        lambda: mean_acuity([parse("20/20"), parse("20/200")]).logmar,
        1e-9,
    ),
    row(
        "that mean is 20/63",
        HOLLADAY,
        "20/63",
        lambda: nearest_line(
            mean_acuity([parse("20/20"), parse("20/200")]), test_distance=20, feet=True
        ),
    ),
    row(
        "step between lines",
        HOLLADAY,
        1.2589,
        lambda: from_logmar(0.1).mar_arcmin / from_logmar(0.0).mar_arcmin,
        5e-5,
    ),
    row("letters of 20/20", BECK, 85.0, lambda: parse("20/20").letter_score, 1e-9),
    row("letters of 20/40", BECK, 70.0, lambda: parse("20/40").letter_score, 0.1),
    row("letters of 20/200", BECK, 35.0, lambda: parse("20/200").letter_score, 1e-9),
    row("logMAR of 55 letters", BECK, 0.6, lambda: from_letter_score(55).logmar, 1e-9),
    *(
        row(
            f"letters of {text} by 85 + 50 log10 of the fraction",
            GREGORI,
            85 + 50 * math.log10(top / bottom),
            lambda t=text: parse(t).letter_score,
            1e-9,
        )
        for text, top, bottom in (("20/32", 20, 32), ("20/80", 20, 80), ("20/400", 20, 400))
    ),
    row(
        "acuity score of 20/200",
        "AMA Guides, 5th edition",
        50.0,
        lambda: parse("20/200").acuity_score,
        1e-9,
    ),
    row(
        "letter on a 5-letter chart",
        ROSSER,
        0.02,
        lambda: chart_named("logarithmic 5 letters").letter_values(10)[0],
        1e-9,
    ),
    row(
        "letter on a 3-letter chart",
        ROSSER,
        0.033,
        lambda: chart_named("logarithmic 3 letters").letter_values(10)[0],
        5e-4,
    ),
    row(
        "smallest letter on a Snellen chart",
        ROSSER,
        0.01,
        lambda: min(_letters("Snellen 6 m")),
        0.005,
    ),
    row(
        "largest letter on a Snellen chart",
        ROSSER,
        0.11,
        lambda: max(_letters("Snellen 6 m")),
        0.005,
    ),
    row(
        "smallest and largest step of a Snellen chart",
        ROSSER,
        (0.08, 0.22),
        lambda: _steps("Snellen 6 m"),
        0.005,
    ),
    row(
        "6/9.5-2",
        "Bailey and Lovie 1976: 5 letters, 0.1 steps",
        0.24,
        lambda: parse("6/9.5-2").logmar,
        0.001,
    ),
    row(
        "6/6+1",
        "Bailey and Lovie 1976: 5 letters, 0.1 steps",
        -0.02,
        lambda: parse("6/6+1").logmar,
        1e-9,
    ),
    row(
        "4 m chart at 1 m worsens by 6 lines (30 letters)",
        "ETDRS manual of operations",
        30.0,
        lambda: _shift(4.0, 1.0) * 50.0,
        0.15,
        mark="from memory",
    ),
    row(
        "20 letters at 4 m score 50",
        "ETDRS manual of operations",
        50,
        lambda: protocol_letter_score(20),
        mark="from memory",
    ),
    row(
        "19 letters at 4 m and 24 at 1 m score 43",
        "ETDRS manual of operations",
        43,
        lambda: protocol_letter_score(19, 24),
        mark="from memory",
    ),
    row(
        "the 60 line of a 6 m chart read at 3 m is 3/60",
        ICD11,
        math.log10(20),
        lambda: correct_for_distance(parse("6/60"), chart_distance_m=6, used_distance_m=3).logmar,
        1e-9,
    ),
    row(
        "a warning is given for the distances at which scores fell short (1 m, not 2 m)",
        "Consistency between visual acuity scores at different distances, Arch Ophthalmol 2002",
        (True, False),
        lambda: tuple(
            any("3 to 8 letters" in remark for remark in _nearer(metres).remarks)
            for metres in (1.0, 2.0)
        ),
    ),
    row(
        "fingers counted: decimal 0.014",
        "Schulze-Bonsel et al., IOVS 2006;47:1236-1240",
        0.014,
        lambda: 10 ** -_low("CF", "measured at 30 cm (Schulze-Bonsel 2006)"),
        0.0005,
    ),
    row(
        "hand movements: decimal 0.005",
        "Schulze-Bonsel et al., IOVS 2006;47:1236-1240",
        0.005,
        lambda: 10 ** -_low("HM", "measured at 30 cm (Schulze-Bonsel 2006)"),
        0.0005,
    ),
    row(
        "fingers counted",
        "Lange et al., Graefes 2009;247:137-142",
        1.98,
        lambda: _low("CF", "measured (Lange 2009)"),
    ),
    row(
        "hand movements: decimal 0.0052",
        "Lange et al., Graefes 2009;247:137-142",
        0.0052,
        lambda: 10 ** -_low("HM", "measured (Lange 2009)"),
        0.0001,
    ),
    row(
        "fingers counted",
        "Herrero et al., J Optom 2024",
        2.0,
        lambda: _low("CF", "Berkeley rudimentary vision (Herrero 2024)"),
    ),
    row(
        "hand movements",
        "Herrero et al., J Optom 2024",
        2.6,
        lambda: _low("HM", "Berkeley rudimentary vision (Herrero 2024)"),
    ),
    row(
        "light 2.7, none 3.0",
        "Bach et al. 2007 (tabled on michaelbach.de)",
        (2.7, 3.0),
        lambda: (_low("PL", "imputed (Bach 2007)"), _low("NPL", "imputed (Bach 2007)")),
    ),
    row(
        "fingers at 2 ft are 20/2000",
        "Holladay, J Refract Surg 1997;13:388-391",
        2.0,
        lambda: _low("CF 2 ft", "by distance (Holladay 1997)"),
        1e-9,
        mark="from memory",
    ),
    row(
        "hand movements at 2 ft are 20/20000",
        "Holladay, J Refract Surg 1997;13:388-391",
        3.0,
        lambda: _low("HM 2 ft", "by distance (Holladay 1997)"),
        1e-9,
        mark="from memory",
    ),
    *(
        row(f"category of {text}", ICD11, category, lambda t=text: impairment(parse(t)).category)
        for text, category in (
            ("6/12", 0),
            ("20/40", 0),
            ("decimal 0.5", 0),
            ("6/18", 1),
            ("20/70", 1),
            ("decimal 0.3", 1),
            ("6/24", 2),
            ("6/60", 2),
            ("20/200", 2),
            ("4/60", 3),
            ("3/60", 3),
            ("20/400", 3),
            ("decimal 0.05", 3),
            ("1/60", 4),
            ("CF 1 m", 4),
            ("decimal 0.02", 4),
            ("5/300", 4),
            ("HM", 5),
            ("PL", 5),
            ("NPL", 6),
        )
    ),
    *(
        row(
            f"category of {text}",
            ICD10,
            category,
            lambda t=text: impairment(parse(t), edition="ICD-10 (2010)").category,
        )
        for text, category in (
            ("6/12", 0),
            ("6/18", 0),
            ("6/60", 1),
            ("3/60", 2),
            ("1/60", 3),
            ("PL", 4),
            ("NPL", 5),
        )
    ),
    row(
        "field of 10 degrees in radius with full acuity",
        ICD10,
        3,
        lambda: impairment(parse("6/6"), field_radius_degrees=10, edition="ICD-10 (2010)").category,
    ),
    row(
        "logMAR 0.5 is the limit of mild impairment on logMAR charts",
        "epidemiology.tech, ICD 11 Vision Categories",
        (1, 2),
        lambda: tuple(impairment(from_logmar(v)).category for v in (0.5, 0.6)),
        mark="secondary",
    ),
    *(
        row(
            f"change of {size} is noise, {size + 0.01:.2f} is not ({method})",
            source,
            (False, True),
            lambda s=size, m=method: tuple(
                change(from_logmar(0.3), from_logmar(0.3 + extra), method=m).exceeds_noise
                for extra in (s, s + 0.01)
            ),
        )
        for size, method, source in (
            (0.18, "letter by letter on a logarithmic chart", ROSSER),
            (0.24, "letter by letter on a Snellen chart", ROSSER),
            (0.33, BY_LINE, ROSSER),
            (0.11, "letter by letter, in focus", "Rosser, Murdoch and Cousens, IOVS 2004;45:1076"),
            (
                0.25,
                "letter by letter, 1.00 D out of focus",
                "Rosser, Murdoch and Cousens, IOVS 2004;45:1076",
            ),
            (0.15, "usual clinic practice", "Siderov and Tiu, Acta Ophthalmol Scand 1999;77:673"),
            (
                0.30,
                "by line, children with amblyopia, Snellen chart",
                "Laidlaw, Abbott and Rosser, Br J Ophthalmol 2003;87:1232",
            ),
        )
    ),
    row(
        "pinhole gain of 0.25 logMAR (0.44 to 0.19) counts by letters on a logarithmic chart",
        "Kim, Park and Chun, IOVS 2014;55:6679 with the limit of Rosser 2001",
        "better",
        lambda: (
            pinhole(
                from_logmar(0.44),
                from_logmar(0.19),
                method="letter by letter on a logarithmic chart",
            ).direction.value
        ),
    ),
    row(
        "and does not when scored by line on a Snellen chart",
        "Kim, Park and Chun, IOVS 2014;55:6679 with the limit of Rosser 2001",
        "unchanged",
        lambda: pinhole(from_logmar(0.44), from_logmar(0.19), method=BY_LINE).direction.value,
    ),
]


def _letters(chart):
    lines = chart_named(chart)
    values = [v for i in range(len(lines.lines)) for v in lines.letter_values(i)]
    return [v for v in values if not math.isnan(v)]


def _steps(chart):
    sizes = [logmar for logmar, _ in chart_named(chart).lines]
    steps = [a - b for a, b in itertools.pairwise(sizes)]
    return min(steps), max(steps)


def _shift(chart, used):
    seen = correct_for_distance(snellen(4, 40), chart_distance_m=chart, used_distance_m=used)
    return seen.logmar - 1.0


def _nearer(metres):
    return correct_for_distance(parse("4/40"), chart_distance_m=4.0, used_distance_m=metres)


def _low(text, table):
    return substitute(parse(text), table).logmar


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()
