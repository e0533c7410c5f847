"""Printed charts: every optotype measured in the PDF, in millimetres, against the standards."""

import math
from functools import cache
from itertools import pairwise

import pdf_measurement as measured
import pytest
from published_check import PublishedCheck

from decussate.documents.near_card import lay_out_near_card, near_card_pdf
from decussate.documents.test_charts import chart_pdf, lay_out_chart

SUBJECT = "printed charts"
ISO_8596 = "ISO 8596: ring 5, stroke 1 and gap 1 minute of arc at acuity 1.0"
SLOAN = "Sloan, Am J Ophthalmol 1959;48:807: letters as tall as wide, stroke one fifth"
BAILEY_LOVIE = "Bailey and Lovie, Am J Optom Physiol Opt 1976;53:740"
HOLLADAY = "Holladay, J Cataract Refract Surg 2004;30:287"
ISO_10938 = "ISO 10938: optotype at most 15 percent of background luminance"
DEFINITION = "5 minutes of arc at the distance of the line: d tan 5'"
OPTONET = "Chart design description, optonet.es: rows spaced by the letter of the smaller row"
TOLERANCE = 0.005


def row(what, source, expected, obtained, tolerance=0.0, mark=""):
    return PublishedCheck(SUBJECT, what, source, expected, obtained, tolerance, mark)


@cache
def chart(distance, optotypes, paper="A3 landscape", version=1):
    return lay_out_chart(distance, optotypes=optotypes, paper=paper, version=version)


@cache
def printed(distance, optotypes, paper="A3 landscape", version=1):
    return chart_pdf(chart(distance, optotypes, paper, version))


@cache
def printed_rows(distance, optotypes, paper="A3 landscape", version=1):
    pages = measured.marks(printed(distance, optotypes, paper, version))
    return [measured.rows(page) for page in pages]


def all_rows(*key):
    return [r for page in printed_rows(*key) for r in page]


def standard_mm(distance_m, logmar):
    """Height by the definition, written apart from the code under test."""
    return distance_m * 1000.0 * math.tan(math.radians(5.0 * 10.0**logmar / 60.0))


def height_of(label, *key):
    index = [r.label for r in chart(*key).rows].index(label)
    return sum(m.height for m in all_rows(*key)[index]) / 5


def worst(pairs):
    """The largest relative error of (obtained, standard) pairs."""
    errors = [abs(obtained / standard - 1.0) for obtained, standard in pairs]
    assert len(errors) >= 30
    return max(errors)


def letter_errors(*key):
    laid = chart(*key)
    found = all_rows(*key)
    assert [len(r) for r in found] == [5] * len(laid.rows)
    for spec, marks in zip(laid.rows, found, strict=True):
        standard = standard_mm(laid.distance_m, spec.logmar)
        for optotype, mark in zip(spec.optotypes, marks, strict=True):
            yield mark.height, standard
            # The C is a ring cut by its gap, so it is narrower than its circle by one percent.
            if optotype.symbol != "C":
                yield mark.width, standard


def stroke_errors(*key):
    """Stroke of every letter against one fifth of its height."""
    for spec, marks in zip(chart(*key).rows, all_rows(*key), strict=True):
        stroke = standard_mm(chart(*key).distance_m, spec.logmar) / 5.0
        for mark in marks:
            yield thinnest(mark, stroke), stroke


def thinnest(mark, stroke):
    """Width at which an opening of the black area begins to lose whole strokes."""
    low, high = 0.5 * stroke, 1.5 * stroke
    area = mark.filled.area
    while high - low > 0.001 * stroke:
        width = (low + high) / 2
        kept = mark.filled.buffer(-width / 2, join_style="mitre").buffer(
            width / 2, join_style="mitre"
        )
        low, high = (width, high) if kept.area > 0.8 * area else (low, width)
    return (low + high) / 2


def ring_errors(part, *key):
    laid = chart(*key)
    for spec, marks in zip(laid.rows, all_rows(*key), strict=True):
        standard = standard_mm(laid.distance_m, spec.logmar)
        for mark in marks:
            ring = measured.ring(mark)
            yield getattr(ring, part), standard * {"diameter": 1.0}.get(part, 0.2)


def gap_positions(*key):
    laid = chart(*key)
    asked = [o.symbol.degrees_clockwise for r in laid.rows for o in r.optotypes]
    seen = [measured.ring(m).gap_degrees_clockwise for r in all_rows(*key) for m in r]
    assert asked == seen
    return len(set(seen))


def gap_errors(*key):
    for spec, marks in zip(chart(*key).rows, all_rows(*key), strict=True):
        standard = standard_mm(chart(*key).distance_m, spec.logmar)
        for (left, right), gap in zip(pairwise(spec.optotypes), measured.gaps(marks), strict=True):
            if "C" not in (left.symbol, right.symbol):
                yield gap, standard


def row_gap_errors(*key):
    for page in printed_rows(*key):
        for upper, lower in pairwise(page):
            yield lower[0].box[1] - upper[0].box[3], lower[0].height


def step_errors(*key):
    for upper, lower in pairwise(all_rows(*key)):
        yield upper[0].height / lower[0].height, 1.2589


def most(errors):
    return max(abs(obtained / standard - 1.0) for obtained, standard in errors)


@cache
def near(rule="N8 is 1 M"):
    card = lay_out_near_card(0.4, n_rule=rule)
    return card, near_card_pdf(card)


def near_errors(rule, standard_of_n):
    card, pdf = near(rule)
    heights = sorted({round(h, 3) for h in measured.letter_heights_mm(pdf, "x")}, reverse=True)
    found = [min(heights, key=lambda h: abs(h - standard_of_n(p.n_size))) for p in card.passages]
    return [(f, standard_of_n(p.n_size)) for f, p in zip(found, card.passages, strict=True)]


LETTER_CHARTS = [
    (2.0, "ten letters"),
    (3.0, "ten letters"),
    (4.0, "ten letters"),
    (6.0, "ten letters"),
    (5.0, "twelve letters"),
    (6.0, "twelve letters"),
]
RING_CHARTS = [(2.0, "rings"), (4.0, "rings"), (6.0, "rings")]

CHECKS: list[PublishedCheck] = [
    *(
        row(
            f"{label} at {distance:g} m, mm",
            DEFINITION,
            height,
            lambda lb=label, d=distance: height_of(lb, d, "ten letters"),
            height * TOLERANCE,
        )
        for label, distance, height in (
            ("6/6", 6.0, 8.727),
            ("6/12", 6.0, 17.45),
            ("6/24", 6.0, 34.91),
            ("4/4", 4.0, 5.818),
            ("5/5", 5.0, 7.272),
            ("3/3", 3.0, 4.363),
            ("2/2", 2.0, 2.909),
            ("4/8", 4.0, 11.61),
        )
    ),
    row(
        "20/20 at 20 feet, mm",
        DEFINITION,
        8.866,
        lambda: height_of("6.096/6.1", 6.096, "ten letters"),
        8.866 * TOLERANCE,
    ),
    *(
        row(
            f"largest error of any letter, {kind} at {distance:g} m",
            SLOAN,
            0.0,
            lambda key=(distance, kind): worst(letter_errors(*key)),
            TOLERANCE,
        )
        for distance, kind in LETTER_CHARTS
    ),
    *(
        row(
            f"largest error of any letter, ten letters at 3 m, version {version}",
            SLOAN,
            0.0,
            lambda v=version: worst(letter_errors(3.0, "ten letters", "A4 landscape", v)),
            TOLERANCE,
        )
        for version in (2, 3)
    ),
    *(
        row(
            f"stroke of every letter, {kind} at {distance:g} m",
            SLOAN,
            0.0,
            lambda key=(distance, kind): worst(stroke_errors(*key)),
            TOLERANCE,
        )
        for distance, kind in ((4.0, "ten letters"), (6.0, "twelve letters"))
    ),
    *(
        row(
            f"largest error of {part} of any ring at {distance:g} m",
            ISO_8596,
            0.0,
            lambda p=part, d=distance: worst(ring_errors(p, d, "rings")),
            TOLERANCE,
        )
        for distance, _ in RING_CHARTS
        for part in ("diameter", "stroke", "gap")
    ),
    row(
        "positions of the gap, as asked and measured",
        ISO_8596,
        8,
        lambda: gap_positions(4.0, "rings"),
    ),
    row(
        "symbols in every row", BAILEY_LOVIE, 5, lambda: min(len(r) for r in all_rows(4.0, "rings"))
    ),
    row(
        "gap between letters is a letter width: largest error",
        BAILEY_LOVIE,
        0.0,
        lambda: most(gap_errors(4.0, "ten letters")),
        TOLERANCE,
    ),
    row(
        "gap between rows is the height of the lower row: largest error",
        OPTONET,
        0.0,
        lambda: most(row_gap_errors(4.0, "ten letters")),
        TOLERANCE,
        "secondary",
    ),
    row(
        "step between rows is 1.2589: largest error",
        HOLLADAY,
        0.0,
        lambda: most(step_errors(4.0, "ten letters")),
        TOLERANCE,
    ),
    row(
        "symbols are printed black: grey level",
        ISO_10938,
        0.0,
        lambda: max(o.grey for r in all_rows(4.0, "rings") for m in r for o in m.outlines),
        0.15,
    ),
    *(
        row(
            f"ruler line of the {name}, mm", "the line says it is 100 mm long", 100.0, obtained, 0.5
        )
        for name, obtained in (
            ("letter chart", lambda: measured.lines_mm(printed(3.0, "ten letters"))[0][0]),
            ("ring chart", lambda: measured.lines_mm(printed(2.0, "rings"))[-1][0]),
            ("near card", lambda: measured.lines_mm(near()[1])[0][0]),
        )
    ),
    row(
        "near card, N8 is 1 M (1.454 mm): largest error of any size",
        "M unit: 5 minutes of arc at 1 m",
        0.0,
        lambda: most(near_errors("N8 is 1 M", lambda n: n / 8 * 1.4544)),
        TOLERANCE,
    ),
    row(
        "near card, letters half the body: largest error of any size",
        "Law, Br J Ophthalmol 1951;35:765: N is the body size in points",
        0.0,
        lambda: most(near_errors("half the body", lambda n: n * 0.5 * 25.4 / 72)),
        TOLERANCE,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()
