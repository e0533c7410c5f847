"""Near acuity against the definition of the M unit, published conversions and studies of focus."""

import pytest
from published_check import PublishedCheck

from decussate.measures.near_acuity import (
    M_UNIT_MM,
    POINT_MM,
    NearAcuity,
    m_from_n,
    near_impairment,
    parse,
    suggested_add,
    x_height_mm,
)

SUBJECT = "near acuity"
SLOAN = "Sloan: 1 M subtends 5 minutes of arc at 1 m"
COLENBRANDER = "Colenbrander, Duane's Clinical Ophthalmology vol 5 ch 51: 1/V = M x D"
ICO = "ICO Visual Acuity Measurement Standard 1984, geometric steps of print"
MILLODOT = "Millodot and Millodot, Ophthalmic Physiol Opt 1989;9:126-132"
DICTIONARY = "Millodot, Dictionary of Optometry and Visual Science, near addition"


def row(what, source, expected, obtained, tolerance=0.0, mark=""):
    return PublishedCheck(SUBJECT, what, source, expected, obtained, tolerance, mark)


CHECKS: list[PublishedCheck] = [
    row("height of 1 M, mm", SLOAN, 1.454, lambda: M_UNIT_MM, 0.0005),
    row(
        "1 mm of letter height is 0.7 M",
        "Type size variability for near-point acuity tests (abstract)",
        0.7,
        lambda: 1.0 / M_UNIT_MM,
        0.05,
    ),
    row(
        "1 M is 1.45 mm",
        "Cejudo, Print sizes in the Spanish newspapers (eurosight abstract)",
        1.45,
        lambda: NearAcuity(1.0, 0.4).height_mm,
        0.005,
    ),
    row(
        "0.4 M at 40 cm is normal sight",
        COLENBRANDER,
        0.0,
        lambda: NearAcuity(0.4, 0.4).logmar,
        1e-9,
    ),
    row("1 M at 40 cm is 20/50", COLENBRANDER, 2.5, lambda: 1 / NearAcuity(1.0, 0.4).decimal, 1e-9),
    *(
        row(f"{m} M at 40 cm, decimal", ICO, decimal, lambda m=m: NearAcuity(m, 0.4).decimal, 0.005)
        for m, decimal in (
            (0.32, 1.25),
            (0.5, 0.8),
            (0.63, 0.63),
            (0.8, 0.5),
            (1.0, 0.4),
            (1.6, 0.25),
            (2.0, 0.2),
            (3.2, 0.125),
            (4.0, 0.1),
            (8.0, 0.05),
        )
    ),
    row("desktop point, mm", "PostScript point: 72 to the inch", 0.3528, lambda: POINT_MM, 5e-5),
    row(
        "N8 is 1 M",
        "common practice: newsprint rule N/8",
        1.0,
        lambda: m_from_n(8),
        1e-12,
        mark="common practice",
    ),
    row(
        "N8 by half the body, M",
        "arithmetic of Law 1951 body size and half-body letters",
        0.970,
        lambda: m_from_n(8, rule="half the body"),
        0.0005,
    ),
    row(
        "x-height of Times New Roman, part of the body",
        "Päper, W3C www-style 2003: 916 of 2048 units",
        916 / 2048,
        lambda: x_height_mm(10, rule="Times New Roman") / (10 * POINT_MM),
        0.001,
    ),
    row(
        "x-height of Times Roman, part of the body",
        "Bigelow, lucidafonts.com: about 450 of 1000 units",
        0.45,
        lambda: x_height_mm(10, rule="Times New Roman") / (10 * POINT_MM),
        0.005,
    ),
    row(
        "worse than N6 at 40 cm",
        "WHO ICD-11, near vision impairment",
        (False, True),
        lambda: tuple(near_impairment(parse(f"N{n} at 40 cm")) for n in (6, 8)),
        mark="secondary",
    ),
    row(
        "worse than M 0.8 at 40 cm",
        "WHO ICD-11, near vision impairment",
        (False, True),
        lambda: tuple(near_impairment(parse(f"{m} M at 40 cm")) for m in (0.8, 1.0)),
        mark="secondary",
    ),
    row(
        "add at 40 cm with no accommodation, D",
        "1 / d: definition of the dioptre",
        2.5,
        lambda: suggested_add(0.4, 0.0),
    ),
    row(
        "half the amplitude stays in reserve: 2 D at 40 cm needs 1.50 D",
        MILLODOT,
        1.5,
        lambda: suggested_add(0.4, 2.0),
        1e-9,
    ),
    row(
        "add = 1/d - half the amplitude: 1 D at 33.3 cm",
        DICTIONARY,
        2.5,
        lambda: suggested_add(1 / 3, 1.0),
        1e-9,
    ),
    row(
        "part of the amplitude used by 305 presbyopes, percent",
        MILLODOT,
        50.7,
        lambda: 100 * (2.5 - suggested_add(0.4, 2.0)) / 2.0,
        1.0,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()
