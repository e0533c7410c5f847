"""The visual field against published figures and independent geometry."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from published_check import PublishedCheck
from scipy.integrate import quad
from shapely.geometry import Polygon

from decussate.measures.field_pattern import PatternKind, classify_eye
from decussate.measures.field_pattern_both import (
    BothKind,
    classify_fields,
    congruity_by_site,
)
from decussate.measures.visual_field import (
    FieldPosition,
    arc_offset_mm,
    chart_exaggeration,
    field_position,
    flat_offset_mm,
    growth_with_distance,
    target_diameter_deg,
)
from decussate.measures.visual_field_binocular import binocular_field, driving_rules
from decussate.measures.visual_field_comparison import (
    average_concentric_field_deg,
    field_efficiency_percent,
)
from decussate.measures.visual_field_confrontation import (
    confrontation_accuracy,
    half_detection_loss_db,
)
from decussate.measures.visual_field_directions import FieldDirection, Quadrant
from decussate.measures.visual_field_map import FieldMap, map_from_outline, map_from_points
from decussate.measures.visual_field_outline import (
    FieldOutline,
    combined_ring,
    normal_outline,
    outline_from_extents,
    outline_from_positions,
    outline_from_quadrants,
    solid_angle_sr,
    square_degrees,
)
from decussate.measures.visual_field_points import PerimetryPoint, central_pattern, deviations_db
from decussate.measures.visual_field_scotoma import (
    Scotoma,
    ScotomaKind,
    blind_spot_report,
    physiological_blind_spot,
    scotoma_from_edges,
    scotoma_kind,
)
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
SUBJECT = "visual field"
CFR = "US rating schedule, 38 CFR 4.76a Table III"
SCHIEFER = "Schiefer et al., compendium of visual field defects (normal perimetric findings)"
AJNR = "AJNR Am J Neuroradiol 2007;28:3-8 (PMC8134093), table of lesions and fields"
TANGENT = "tangent screen geometry, x = d tan(angle)"
CARTOGRAPHY = "Cartography in perimetry, Klin Monatsbl Augenheilkd, doi:10.1055/s-2008-1045939"


def circle(radius_deg: float, eye: Side = RIGHT) -> FieldOutline:
    return outline_from_positions(eye, [FieldPosition(m, radius_deg) for m in range(0, 360, 30)])


def lattice(eye: Side, lost: object = None) -> FieldMap:
    """Field map of an eye with everything lost for which ``lost(x, y, eccentricity)`` holds."""
    whole = map_from_outline(normal_outline(eye))
    if lost is None:
        return whole
    assert callable(lost)
    return FieldMap(
        eye,
        tuple(
            type(s)(
                s.x_deg,
                s.y_deg,
                float(lost(s.x_deg, s.y_deg, s.eccentricity_deg)),
                s.weight_sr,
            )
            for s in whole.samples
        ),
    )


def fields(right: object = None, left: object = None):
    return classify_fields(lattice(RIGHT, right), lattice(LEFT, left))


def accuracy(technique: str, defect: str):
    (row,) = confrontation_accuracy(technique, defect)
    return row


def pin_edges(distance_mm: float, places: list[tuple[float, float]]) -> list[FieldPosition]:
    return [field_position(x, y, distance_mm) for x, y in places]


US_LOSS = dict(zip(FieldDirection, (55.0, 55.0, 45.0, 30.0, 40.0, 35.0, 25.0, 35.0), strict=True))


def worked_example() -> FieldOutline:
    normal = normal_outline(RIGHT)
    return outline_from_extents(RIGHT, {d: normal.extent(d) - US_LOSS[d] for d in FieldDirection})


def check(
    what: str,
    source: str,
    expected: object,
    obtained: object,
    tolerance: float = 0.0,
    mark: str = "",
) -> PublishedCheck:
    return PublishedCheck(SUBJECT, what, source, expected, obtained, tolerance, mark)  # type: ignore[arg-type]


GEOMETRY = [
    check(
        "a 30 degree offset on a flat screen at 1 m, mm",
        TANGENT,
        577.0,
        lambda: flat_offset_mm(30.0, 1000.0),
        0.5,
    ),
    check(
        "the same along an arc of 1 m, mm",
        "arc perimeter, x = d angle(rad)",
        524.0,
        lambda: arc_offset_mm(30.0, 1000.0),
        0.5,
    ),
    check("15.5 degrees at 33.3 cm, mm", TANGENT, 92.0, lambda: flat_offset_mm(15.5, 333.0), 0.5),
    check(
        "20 degrees at arm's length (70 cm), mm",
        TANGENT,
        255.0,
        lambda: flat_offset_mm(20.0, 700.0),
        0.5,
    ),
    check("1 degree at 2 m, mm", TANGENT, 34.9, lambda: flat_offset_mm(1.0, 2000.0), 0.05),
    check(
        "5 mm pin at 1 m, degrees",
        "target angle, 2 atan(w / 2d)",
        0.29,
        lambda: target_diameter_deg(5.0, 1000.0),
        0.005,
    ),
    check(
        "5 mm pin at 33.3 cm, degrees",
        "target angle, 2 atan(w / 2d)",
        0.86,
        lambda: target_diameter_deg(5.0, 333.0),
        0.005,
    ),
    check(
        "pin 277 mm out at 1 m, degrees",
        TANGENT,
        15.5,
        lambda: field_position(277.0, 0.0, 1000.0).eccentricity_deg,
        0.05,
    ),
    check(
        "finger level with the eye, degrees",
        "a right angle",
        90.0,
        lambda: field_position(400.0, 0.0, 0.0).eccentricity_deg,
    ),
    check(
        "wiki blind spot rule atan(s/d1) - atan(s/d2): s 60 mm, d 210 and 290 mm, degrees",
        "Horizontal eccentricity, encyclopaedia article",
        math.degrees(math.atan(60 / 210) - math.atan(60 / 290)),
        lambda: (
            field_position(60.0, 0.0, 210.0).eccentricity_deg
            - field_position(60.0, 0.0, 290.0).eccentricity_deg
        ),
        1e-9,
    ),
    check(
        "field doubled in mm at twice the distance: organic",
        "tangent screen at 1 m and 2 m",
        1.0,
        lambda: growth_with_distance(300.0, 1000.0, 600.0, 2000.0),
        1e-12,
        "common practice",
    ),
    check(
        "field of the same mm at twice the distance: tubular",
        "tangent screen at 1 m and 2 m",
        0.5,
        lambda: growth_with_distance(300.0, 1000.0, 300.0, 2000.0),
        1e-12,
        "common practice",
    ),
    *(
        check(
            f"the chart exaggerates at {r} degrees by {percent} percent",
            CARTOGRAPHY,
            float(percent),
            lambda r=r: 100.0 * (chart_exaggeration(r) - 1.0),
            1.0,
        )
        for r, percent in ((30.0, 5), (60.0, 20), (90.0, 57))
    ),
]

AREAS = [
    check(
        "hemisphere, steradians",
        "ISO 80000-3: the full sphere is 4 pi sr",
        2 * math.pi,
        lambda: circle(90.0).area_sr,
        1e-12,
    ),
    check(
        "hemisphere, square degrees",
        "whole sky, 41 253 square degrees (International Astronomical Union)",
        41_253.0 / 2,
        lambda: circle(90.0).area_sq_deg,
        0.5,
    ),
    check(
        "one steradian, square degrees",
        "(180/pi) squared, 3282.8",
        3282.8,
        lambda: square_degrees(1.0),
        0.05,
    ),
    check(
        "cone of 10 degrees radius, sr",
        "solid angle of a cone, 2 pi (1 - cos r)",
        2 * math.pi * (1 - math.cos(math.radians(10))),
        lambda: circle(10.0).area_sr,
        1e-12,
    ),
    check(
        "normal field, 38 CFR table, by adaptive quadrature on the sphere, sr",
        "scipy.integrate.quad of 1 - cos r(t)",
        quad(
            lambda t: (
                1 - math.cos(math.radians(normal_outline(RIGHT).eccentricity_deg(math.degrees(t))))
            ),
            0,
            2 * math.pi,
            points=[k * math.pi / 4 for k in range(1, 8)],
            epsabs=1e-10,
        )[0],
        lambda: normal_outline(RIGHT).area_sr,
        1e-8,
    ),
    check(
        "binocular field, square degrees",
        "Human field of view, encyclopaedia: 13 700 square degrees for both eyes",
        13_700.0,
        lambda: binocular_field(normal_outline(RIGHT), normal_outline(LEFT)).area_sq_deg,
        150.0,
        "secondary",
    ),
    check(
        "binocular field, steradians",
        "Human field of view, encyclopaedia: 4.17 sr for both eyes",
        4.17,
        lambda: solid_angle_sr(binocular_field(normal_outline(RIGHT), normal_outline(LEFT)).ring),
        0.05,
        "secondary",
    ),
    check(
        "normal field of one eye against Goldmann I4e: within two standard deviations, sr",
        "Christoforidis 2011, Clin Ophthalmol 5:535: 3.092 (SD 0.242), 25 normal eyes",
        3.092,
        lambda: normal_outline(RIGHT).area_sr,
        2 * 0.242,
    ),
]

NORMS = [
    check(
        "sum of the eight normal extents, degrees",
        CFR,
        500.0,
        lambda: sum(normal_outline(RIGHT).extent(d) for d in FieldDirection),
    ),
    check(
        "worked example: remaining field 180, average contraction 22.5 degrees",
        "US rating schedule, 38 CFR 4.76a, example of computation",
        22.5,
        lambda: average_concentric_field_deg(worked_example()),
        1e-9,
    ),
    check(
        "30 degrees in two directions and 20 in six: field efficiency, percent",
        "US Social Security listing 2.00A7, 20 CFR 404 subpart P appendix 1",
        36.0,
        lambda: field_efficiency_percent(
            outline_from_extents(
                RIGHT,
                {d: 30.0 if d == "temporal" or d == "nasal" else 20.0 for d in FieldDirection},
            )
        ),
        1e-9,
        "from memory",
    ),
    *(
        check(
            f"normal extent, {direction}, degrees",
            SCHIEFER,
            extent,
            lambda d=direction: normal_outline(LEFT, "schiefer").extent(FieldDirection(d)),
        )
        for direction, extent in (("temporal", 90.0), ("nasal", 60.0), ("up", 50.0), ("down", 60.0))
    ),
    check(
        "normal extents T, N, up, down, degrees",
        "Clinical Methods, chapter 116; Visual fields in glaucoma (entokey) has 110, 60, 60, 75",
        (100.0, 60.0, 60.0, 75.0),
        lambda: tuple(
            normal_outline(RIGHT, "clinical_methods").extent(FieldDirection(d))
            for d in ("temporal", "nasal", "up", "down")
        ),
        0.0,
        "secondary",
    ),
    check(
        "both eyes overlap horizontally, degrees",
        "CIE international lighting vocabulary, field of vision: about 120 seen binocularly",
        120.0,
        lambda: binocular_field(normal_outline(RIGHT), normal_outline(LEFT)).overlap_deg,
        1.0,
    ),
    check(
        "horizontal field of one eye, degrees",
        "CIE international lighting vocabulary, field of vision: about 154 by one eye",
        154.0,
        lambda: sum(
            normal_outline(RIGHT, "schiefer").extent(FieldDirection(d))
            for d in ("temporal", "nasal")
        ),
        5.0,
    ),
    check(
        "horizontal field of both eyes, degrees",
        "CIE international lighting vocabulary, field of vision: nearly 190 with both eyes",
        190.0,
        lambda: (
            binocular_field(
                normal_outline(RIGHT, "schiefer"), normal_outline(LEFT, "schiefer")
            ).horizontal_deg
        ),
        10.0,
    ),
    check(
        "driving, group 1: horizontal, each side, clear centre, degrees",
        "UK government, Visual disorders: assessing fitness to drive",
        (120.0, 50.0, 20.0),
        lambda: next(
            (r.horizontal_deg, r.each_side_deg, r.clear_centre_deg)
            for r in driving_rules()
            if r.rule.startswith("UK Group 1")
        ),
    ),
    check(
        "driving, group 1: up and down, degrees",
        "Swiss summary of minimum requirements (eyepedia.ch): 120, 50 each side, 20 up and down",
        (120.0, 50.0, 20.0, 20.0),
        lambda: next(
            (r.horizontal_deg, r.each_side_deg, r.up_deg, r.down_deg)
            for r in driving_rules()
            if r.rule == "EU Group 1"
        ),
        0.0,
        "secondary",
    ),
    check(
        "30-2 grid: points",
        "DICOM PS3.16 CID 4250, Visual Field Central 76 Point Test Pattern",
        76,
        lambda: len(central_pattern(RIGHT, "30-2")),
    ),
    check(
        "24-2 grid: points",
        "US Social Security POMS DI 24535.005: 54 points",
        54,
        lambda: len(central_pattern(LEFT, "24-2")),
    ),
    check(
        "grid: least distance from a meridian, and spacing, degrees",
        "DICOM PS3.16 CID 4250: 3 degrees from each meridian, 6 degrees apart",
        (3.0, 6.0),
        lambda: (
            min(abs(x) for x, _ in central_pattern(RIGHT, "30-2")),
            min(b - a for a, b in pairwise(sorted({x for x, _ in central_pattern(RIGHT, "30-2")}))),
        ),
    ),
    check(
        "hill of vision falling 0.30 dB a degree shows no deviation beyond 0.5 dB",
        "Calixto 2006, Arq Bras Oftalmol, doi:10.1590/S0004-27492006000500003: -0.30 dB a degree",
        0.0,
        lambda: max(
            map(
                abs,
                deviations_db(
                    RIGHT,
                    [
                        PerimetryPoint(x, y, 30.0 - 0.30 * math.hypot(x, y))
                        for x, y in central_pattern(RIGHT, "24-2")
                    ],
                ).values(),
            )
        ),
        0.5,
    ),
]

ROHRSCHNEIDER = "Rohrschneider 2004, Invest Ophthalmol Vis Sci 45:3257 (104 healthy eyes)"
BLIND_SPOT = [
    check(
        "centre of the right blind spot, degrees right and up",
        ROHRSCHNEIDER,
        (15.5, -1.5),
        lambda: (physiological_blind_spot(RIGHT).x_deg, physiological_blind_spot(RIGHT).y_deg),
    ),
    check(
        "centre of the left blind spot, degrees right and up",
        ROHRSCHNEIDER,
        (-15.5, -1.5),
        lambda: (physiological_blind_spot(LEFT).x_deg, physiological_blind_spot(LEFT).y_deg),
    ),
    *(
        check(
            f"a centre at {place} degrees is {'in' if inside else 'out of'} the range found",
            ROHRSCHNEIDER + ": 13.0 to 17.9",
            inside,
            lambda place=place: (
                blind_spot_report(Scotoma(LEFT, -place, -1.5, 5.5, 7.5)).remarks == ()
            ),
        )
        for place, inside in ((12.9, False), (13.0, True), (17.9, True), (18.0, False))
    ),
    check(
        "blind spot 6 wide, 10 high, 2/5 above: centre below the horizontal, degrees",
        SCHIEFER,
        1.0,
        lambda: (
            blind_spot_report(
                scotoma_from_edges(
                    RIGHT,
                    [
                        FieldPosition.from_chart(x, y)
                        for x, y in ((11.0, -1.0), (17.0, -1.0), (14.0, 4.0), (14.0, -6.0))
                    ],
                )
            ).below_deg
        ),
        1e-9,
    ),
    check(
        "the same: distance temporal, width and height, degrees; within the range",
        SCHIEFER + ": 14, 6 and 10 degrees",
        (14.0, 6.0, 10.0, ()),
        lambda: (lambda r: (r.temporal_deg, r.spot.width_deg, r.spot.height_deg, r.remarks))(
            blind_spot_report(Scotoma(RIGHT, 14.0, -1.0, 6.0, 10.0))
        ),
    ),
    check(
        "edge 12.6 degrees temporal of a 5.5 degree spot: centre, degrees",
        "Optom Vis Sci 2005;82:177: fovea 12.6 degrees from the temporal disc edge (50 normals)",
        15.35,
        lambda: (
            scotoma_from_edges(
                RIGHT,
                [
                    FieldPosition.from_chart(x, y)
                    for x, y in ((12.6, -1.4), (18.1, -1.4), (15.35, 2.35), (15.35, -5.15))
                ],
            ).x_deg
        ),
        0.001,
    ),
    check(
        "pin at 1 m: a spot 103 by 131 mm is 5.5 by 7.5 degrees",
        "blind spot 5.5 by 7.5 degrees, on a flat screen 103 by 131 mm (tangent arithmetic)",
        (5.5, 7.5),
        lambda: (lambda s: (s.width_deg, s.height_deg))(
            scotoma_from_edges(
                RIGHT,
                pin_edges(
                    1000.0,
                    [
                        (flat_offset_mm(12.75, 1000.0), 0.0),
                        (flat_offset_mm(12.75, 1000.0) + 103.0, 0.0),
                        (277.0, 65.5),
                        (277.0, -65.5),
                    ],
                ),
            )
        ),
        0.3,
    ),
    check(
        "a central scotoma that reaches the blind spot",
        "cecocentral scotoma: from the blind spot toward or into fixation (medical dictionary)",
        ScotomaKind.CENTROCAECAL.value,
        lambda: scotoma_kind(Scotoma(LEFT, -8.0, 0.0, 26.0, 12.0)).value,
        0.0,
        "secondary",
    ),
    check(
        "a scotoma beside, but not on, fixation",
        "paracentral scotoma: adjacent to the fixation point (medical dictionary)",
        ScotomaKind.PARACENTRAL.value,
        lambda: scotoma_kind(Scotoma(RIGHT, -6.0, 4.0, 6.0, 6.0)).value,
        0.0,
        "secondary",
    ),
]

KERR = "Kerr et al. 2010, Neurology 74:1184"
CONFRONTATION = [
    check(
        "kinetic red: missed, percent",
        KERR,
        25.6,
        lambda: accuracy("red_kinetic", "any").missed_percent[0],
        1e-9,
    ),
    check(
        "kinetic red: LR+ (74.4 / 7.0)",
        KERR,
        10.6,
        lambda: accuracy("red_kinetic", "any").positive_likelihood_ratio,
        0.05,
    ),
    check(
        "kinetic red: LR-",
        KERR,
        0.275,
        lambda: accuracy("red_kinetic", "any").negative_likelihood_ratio,
        0.0005,
    ),
    check(
        "kinetic red and finger wiggle: LR+ and LR-",
        KERR,
        (7.9, 0.241),
        lambda: (
            lambda r: (
                round(r.positive_likelihood_ratio, 1),
                round(r.negative_likelihood_ratio, 3),
            )
        )(accuracy("red_kinetic_and_finger_wiggle", "any")),
    ),
    check(
        "red target in the central 20 degrees: missed, least and most, percent",
        "Pandit et al. 2001, Lancet 358:1339: sensitivity 73 (63 to 82)",
        (18.0, 37.0),
        lambda: accuracy("red_central_20", "any").missed_percent,
    ),
    check(
        "finger confrontation: LR+ and LR-",
        "Johnson and Baloh 1991, J Natl Med Assoc 83:895: 50 %, 93.4 %",
        (7.6, 0.535),
        lambda: (
            lambda r: (
                round(r.positive_likelihood_ratio, 1),
                round(r.negative_likelihood_ratio, 3),
            )
        )(accuracy("finger_confrontation", "any")),
    ),
    check(
        "anterior pathway: missed, percent",
        "Johnson and Baloh 1991, J Natl Med Assoc 83:895",
        60.0,
        lambda: accuracy("finger_confrontation", "anterior pathway").missed_percent[0],
    ),
    check(
        "arcuate or bitemporal: missed, least and most, percent",
        "Johnson and Baloh 1991, J Natl Med Assoc 83:895: sensitivity 20 to 50",
        (50.0, 80.0),
        lambda: accuracy("finger_confrontation", "arcuate or bitemporal").missed_percent,
    ),
    *(
        check(
            f"screening, {defect}: missed, percent",
            "Shahinfar et al. 1995, Ophthalmology 102",
            missed,
            lambda defect=defect: accuracy("confrontation_screening", defect).missed_percent[0],
        )
        for defect, missed in (
            ("hemianopia", 10.0),
            ("altitudinal", 22.0),
            ("constriction", 33.0),
            ("arcuate", 49.0),
            ("one quadrant", 62.0),
        )
    ),
    check(
        "loss found half the time, upper and lower quadrant, dB",
        "Shahinfar et al. 1995, Ophthalmology 102",
        (-26.0, -19.0),
        lambda: (half_detection_loss_db(upper=True), half_detection_loss_db(upper=False)),
    ),
    check(
        "chiasmal hemianopia: fingers and red, missed, percent",
        "Confrontation in anterior visual pathway lesions, 28 chiasmal hemianopias (Trobe 1981)",
        (58.0, 21.4),
        lambda: tuple(
            round(accuracy(t, "chiasmal hemianopia").missed_percent[0], 1)
            for t in ("fingers", "red_comparison")
        ),
        0.0,
        "from memory",
    ),
    check(
        "finger counting in glaucoma: missed, percent",
        "Bass et al. 2007, Optometry 78:390",
        67.0,
        lambda: accuracy("finger_counting", "glaucoma").missed_percent[0],
    ),
]

KEDAR = "Kedar et al. 2007, Am J Ophthalmol 143:772 (373 congruent, 175 incongruent)"
PATTERNS = [
    *(
        check(
            f"congruent share of hemianopias from the {site}",
            KEDAR,
            share,
            lambda site=site: next(
                r.congruent_at_site for r in congruity_by_site() if r.site == site
            ),
            0.02,
        )
        for site, share in (
            ("occipital lobe", 0.83),
            ("optic radiation", 0.59),
            ("optic tract", 0.50),
        )
    ),
    check(
        "body of the chiasm: bitemporal hemianopia",
        AJNR,
        BothKind.BITEMPORAL.value,
        lambda: fields(lambda x, y, r: x > 0, lambda x, y, r: x < 0).kind.value,
    ),
    check(
        "posterior chiasm: bitemporal hemianopic scotomas",
        AJNR,
        (BothKind.BITEMPORAL.value, PatternKind.HEMIANOPIC_SCOTOMA.value),
        lambda: (lambda p: (p.kind.value, p.right.kind.value))(
            fields(lambda x, y, r: x > 0 and r < 10, lambda x, y, r: x < 0 and r < 10)
        ),
    ),
    check(
        "anterior chiasm, right: central scotoma right, upper temporal loss left",
        AJNR,
        BothKind.JUNCTIONAL.value,
        lambda: fields(lambda x, y, r: r < 8, lambda x, y, r: x < 0 and y > 0).kind.value,
    ),
    check(
        "optic tract: incongruous homonymous hemianopia",
        AJNR,
        (BothKind.HOMONYMOUS.value, True),
        lambda: (lambda p: (p.kind.value, p.congruity < 0.8))(
            fields(
                lambda x, y, r: x < 0 and (y > 0 or r > 30),
                lambda x, y, r: x < 0 and y < 2 * abs(x),
            )
        ),
    ),
    check(
        "lateral geniculate: homonymous horizontal wedge",
        AJNR,
        (BothKind.HOMONYMOUS.value, PatternKind.SECTOR.value, PatternKind.SECTOR.value),
        lambda: (lambda p: (p.kind.value, p.right.kind.value, p.left.kind.value))(
            fields(
                lambda x, y, r: x > 0 and abs(y) < 0.45 * x,
                lambda x, y, r: x > 0 and abs(y) < 0.45 * x,
            )
        ),
    ),
    check(
        "lateral geniculate: the inverse, a spared horizontal wedge",
        AJNR,
        PatternKind.SECTOR_SPARING.value,
        lambda: (
            classify_eye(lattice(RIGHT, lambda x, y, r: x > 0 and abs(y) > 0.45 * x)).kind.value
        ),
    ),
    check(
        "left temporal lobe: right superior homonymous quadrantanopia",
        AJNR,
        (BothKind.HOMONYMOUS.value, PatternKind.QUADRANTANOPIA.value, "right", True),
        lambda: (lambda p: (p.kind.value, p.right.kind.value, p.side.value, p.right.upper))(
            fields(lambda x, y, r: x > 0 and y > 0, lambda x, y, r: x > 0 and y > 0)
        ),
    ),
    check(
        "parietal lobe: homonymous hemianopia denser below",
        AJNR,
        (BothKind.HOMONYMOUS.value, False, False),
        lambda: (lambda p: (p.kind.value, p.right.upper, p.left.upper))(
            fields(
                lambda x, y, r: x < 0 and (y < 0 or r > 45),
                lambda x, y, r: x < 0 and (y < 0 or r > 45),
            )
        ),
    ),
    check(
        "upper bank of the occipital lobe: lower quadrantanopia with macular sparing",
        AJNR,
        (PatternKind.QUADRANTANOPIA.value, False, True),
        lambda: (lambda p: (p.kind.value, p.upper, p.sparing.present))(
            classify_eye(lattice(LEFT, lambda x, y, r: x < 0 and y < 0 and r > 4))
        ),
    ),
    check(
        "occipital: isolated congruous hemianopia with macular sparing",
        AJNR,
        (BothKind.HOMONYMOUS.value, True, True),
        lambda: (lambda p: (p.kind.value, p.congruity > 0.95, p.right.sparing.present))(
            fields(lambda x, y, r: x > 0 and r > 4, lambda x, y, r: x > 0 and r > 4)
        ),
    ),
    check(
        "occipital with the front of the calcarine cortex spared: crescent seen",
        "temporal crescent, AJNR 2007 (PMC8134093); beyond 60 degrees, one eye only",
        True,
        lambda: (
            fields(
                lambda x, y, r: x > 0 and r < 60, lambda x, y, r: x > 0 and r < 60
            ).crescent_spared
        ),
    ),
    check(
        "complete homonymous hemianopia is called complete: not localising",
        AJNR + "; Zhang 2006, Neurology 66:906",
        True,
        lambda: fields(lambda x, y, r: x > 0, lambda x, y, r: x > 0).complete,
    ),
    check(
        "sparing of 2 degrees counts, of 1 does not",
        "Wang 2003, as quoted: macular sparing 2 to 5 degrees",
        (True, False),
        lambda: tuple(
            classify_eye(lattice(RIGHT, lambda x, y, r, w=w: x < 0 and r > w)).sparing.present
            for w in (3.0, 1.0)
        ),
        0.0,
        "secondary",
    ),
    check(
        "arcuate: 10 to 20 degrees, blind spot to nasal raphe, upper",
        "American Academy of Ophthalmology, arcuate scotoma",
        (PatternKind.ARCUATE.value, True),
        lambda: (lambda p: (p.kind.value, p.upper))(
            classify_eye(lattice(LEFT, lambda x, y, r: y > 0 and 10 < r < 20 and x > -15))
        ),
    ),
    check(
        "arcuate on the 24-2 grid stops at the nasal horizontal meridian",
        "Dictionary of Neurological Signs, arcuate scotoma: respects the horizontal, nasal step",
        (PatternKind.ARCUATE.value, ("horizontal",)),
        lambda: (lambda p: (p.kind.value, p.meridians_respected))(
            classify_eye(
                map_from_points(
                    RIGHT,
                    [
                        PerimetryPoint(
                            x,
                            y,
                            2.0
                            if y < 0 and 9 < math.hypot(x, y) < 21 and x < 14
                            else 31.0 - 0.3 * math.hypot(x, y),
                        )
                        for x, y in central_pattern(RIGHT, "24-2")
                    ],
                )
            )
        ),
    ),
    check(
        "concentric constriction",
        SCHIEFER + ", 4.1.1",
        PatternKind.CONSTRICTION.value,
        lambda: classify_eye(map_from_outline(circle(15.0))).kind.value,
    ),
]

CHECKS: list[PublishedCheck] = [
    *GEOMETRY,
    *AREAS,
    *NORMS,
    *BLIND_SPOT,
    *CONFRONTATION,
    *PATTERNS,
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()


def equal_area_polygon(outline: FieldOutline) -> Polygon:
    """Lambert azimuthal equal-area projection: areas on paper are areas on the unit sphere."""
    places = []
    for a, b in pairwise([*outline.vertices, outline.vertices[0]]):
        turn = (b.meridian_deg - a.meridian_deg) % 360.0
        for part in np.linspace(0.0, 1.0, 400):
            t = math.radians(a.meridian_deg + part * turn)
            r = math.radians(a.eccentricity_deg + part * (b.eccentricity_deg - a.eccentricity_deg))
            places.append((2 * math.sin(r / 2) * math.cos(t), 2 * math.sin(r / 2) * math.sin(t)))
    return Polygon(places)


@pytest.mark.parametrize("table", ["us_schedule", "schiefer", "clinical_methods", "theoretical"])
@pytest.mark.parametrize("lost", [(), ("upper_temporal",), ("upper_nasal", "lower_nasal")])
def test_area_on_the_sphere_agrees_with_shapely_on_an_equal_area_map(
    table: str, lost: tuple[str, ...]
) -> None:
    outline = outline_from_quadrants(
        LEFT, {q: 0.2 if q in lost else 1.0 for q in Quadrant}, normal_outline(LEFT, table)
    )
    assert outline.area_sr == pytest.approx(equal_area_polygon(outline).area, rel=2e-5)


def test_overlap_and_union_of_two_eyes_agree_with_shapely() -> None:
    right, left = normal_outline(RIGHT), normal_outline(LEFT)
    one, other = equal_area_polygon(right), equal_area_polygon(left)
    both = solid_angle_sr(combined_ring(right, left, min))
    either = solid_angle_sr(combined_ring(right, left, max))
    assert both == pytest.approx(one.intersection(other).area, rel=2e-5)
    assert either == pytest.approx(one.union(other).area, rel=2e-5)


def test_scotoma_area_off_fixation_agrees_with_shapely() -> None:
    spot = physiological_blind_spot(RIGHT)
    places = [
        (
            2
            * math.sin(math.radians(p.eccentricity_deg) / 2)
            * math.cos(math.radians(p.meridian_deg)),
            2
            * math.sin(math.radians(p.eccentricity_deg) / 2)
            * math.sin(math.radians(p.meridian_deg)),
        )
        for p in spot.edge
    ]
    assert spot.area_sr == pytest.approx(Polygon(places).area, rel=1e-4)


def test_area_agrees_with_a_count_of_random_directions() -> None:
    outline = normal_outline(RIGHT)
    rng = np.random.default_rng(20240607)
    n = 20_000
    cosines = rng.uniform(-1.0, 1.0, n)
    meridians = rng.uniform(0.0, 360.0, n)
    inside = sum(
        outline.contains(FieldPosition(m, r))
        for m, r in zip(meridians, np.degrees(np.arccos(cosines)), strict=True)
        if r <= 120.0
    )
    assert 4 * math.pi * inside / n == pytest.approx(outline.area_sr, rel=0.02)
