"""Blind spot, scotomas, perimetry files, red and the accuracy of confrontation."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.visual_field import FieldPosition
from decussate.measures.visual_field_confrontation import (
    ConfrontationAccuracy,
    confrontation_accuracy,
    red_desaturation,
)
from decussate.measures.visual_field_directions import Quadrant
from decussate.measures.visual_field_points import (
    PerimetryPoint,
    central_pattern,
    deviations_db,
    read_perimetry_csv,
)
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
scotomas = st.builds(
    Scotoma,
    st.sampled_from(Side),
    st.floats(-30.0, 30.0),
    st.floats(-30.0, 30.0),
    st.floats(0.5, 20.0),
    st.floats(0.5, 20.0),
)


@settings(max_examples=40)
@given(scotomas)
def test_edges_give_back_the_scotoma_and_its_mirror(scotoma):
    found = scotoma_from_edges(scotoma.eye, scotoma.edge)
    assert (found.x_deg, found.y_deg) == pytest.approx((scotoma.x_deg, scotoma.y_deg))
    assert (found.width_deg, found.height_deg) == pytest.approx(
        (scotoma.width_deg, scotoma.height_deg)
    )
    mirrored = scotoma_from_edges(scotoma.eye.other, [p.mirrored() for p in scotoma.edge])
    assert mirrored.x_deg == pytest.approx(-found.x_deg)
    assert scotoma_kind(scotoma.mirrored()) is scotoma_kind(scotoma)
    assert scotoma.mirrored().area_sr == pytest.approx(scotoma.area_sr)


@settings(max_examples=30)
@given(scotomas)
def test_scotoma_area_is_a_little_under_the_area_on_the_chart(scotoma):
    chart = math.pi / 4 * scotoma.width_deg * scotoma.height_deg
    # The edge is a ring of 360 steps: half a percent when a thin one passes through fixation.
    assert 0.85 * chart < scotoma.area_sq_deg < 1.005 * chart


def test_blind_spot_report_mirrors():
    one = blind_spot_report(Scotoma(RIGHT, 18.5, 1.0, 9.0, 12.0))
    other = blind_spot_report(Scotoma(LEFT, -18.5, 1.0, 9.0, 12.0))
    assert one.remarks == other.remarks
    assert one.temporal_deg == other.temporal_deg == 18.5
    assert len(one.remarks) == 4


def test_blind_spot_in_the_nasal_field_is_refused():
    with pytest.raises(BadInput, match="nasal to fixation"):
        blind_spot_report(Scotoma(LEFT, 15.0, -1.5, 5.5, 7.5))


@pytest.mark.parametrize(
    ("scotoma", "kind"),
    [
        (Scotoma(RIGHT, 0, 0, 10, 10), ScotomaKind.CENTRAL),
        (Scotoma(RIGHT, 8, 0, 26, 14), ScotomaKind.CENTROCAECAL),
        (Scotoma(RIGHT, 15.5, -1.5, 9, 12), ScotomaKind.BLIND_SPOT),
        (Scotoma(RIGHT, -6, 3, 6, 6), ScotomaKind.PARACENTRAL),
        (Scotoma(RIGHT, -30, 20, 8, 8), ScotomaKind.ELSEWHERE),
    ],
)
def test_kind_of_scotoma(scotoma, kind):
    assert scotoma_kind(scotoma) is kind


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: Scotoma(RIGHT, 0, 0, 0, 5), "above 0"),
        (lambda: scotoma_from_edges(RIGHT, [FieldPosition(0, 1)] * 3), "four or more"),
        (lambda: scotoma_from_edges(RIGHT, [FieldPosition(0, 1)] * 4), "differ across"),
        (lambda: confrontation_accuracy("stare"), "red_kinetic"),
        (lambda: confrontation_accuracy(defect="blue"), "arcuate"),
        (lambda: red_desaturation(RIGHT, {Quadrant.UPPER_NASAL: 90.0}), "not tested"),
        (lambda: red_desaturation(RIGHT, dict.fromkeys(Quadrant, 120.0)), "0 to 100"),
        (lambda: red_desaturation(RIGHT, dict.fromkeys(Quadrant, 0.0)), "nothing to compare"),
        (lambda: central_pattern(RIGHT, "10-2"), "30-2 or 24-2"),
        (
            lambda: (
                ConfrontationAccuracy("a", "b", None, None, None, None, "", "s", "").missed_percent
            ),
            "a figure or a range",
        ),
    ],
)
def test_bad_input_says_what_was_expected(call, message):
    with pytest.raises(BadInput, match=message):
        call()


@settings(max_examples=40)
@given(st.fixed_dictionaries({q: st.floats(1.0, 100.0) for q in Quadrant}))
def test_red_in_the_mirrored_eye_is_duller_on_the_mirrored_side(percent):
    one, other = red_desaturation(RIGHT, percent), red_desaturation(LEFT, percent)
    assert one.duller == other.duller
    assert one.meridian == other.meridian
    if one.duller_side is not None:
        assert other.duller_side is one.duller_side.other


def test_bitemporal_red_loss_stops_at_the_vertical():
    dull = {q: 40.0 if "temporal" in q else 100.0 for q in Quadrant}
    assert red_desaturation(RIGHT, dull).duller_side is RIGHT
    assert red_desaturation(LEFT, dull).duller_side is LEFT
    upper = {q: 40.0 if q.is_upper else 100.0 for q in Quadrant}
    assert red_desaturation(LEFT, upper).meridian == "horizontal"


def test_every_accuracy_row_has_a_source_and_a_share_missed():
    rows = confrontation_accuracy()
    assert len(rows) == 19
    for row in rows:
        low, high = row.missed_percent
        assert 0.0 <= low <= high <= 100.0
        assert row.source
    certain = confrontation_accuracy("finger_counting")[0]
    assert certain.positive_likelihood_ratio == math.inf
    assert confrontation_accuracy("confrontation_screening")[0].negative_likelihood_ratio is None


def csv_text(eye, name="24-2", db="30"):
    return "x,y,dB\n" + "\n".join(
        f"{x:g},{y:g},{db}" for x, y in sorted(central_pattern(eye, name))
    )


def test_perimetry_file_is_read(tmp_path):
    path = tmp_path / "field.csv"
    path.write_text("\ufeffdB, y ,X\r\n31,3,-9\r\n\r\n<0,-3,9\r\n", encoding="utf-8")
    points = read_perimetry_csv(RIGHT, path)
    assert points == (PerimetryPoint(-9, 3, 31.0), PerimetryPoint(9, -3, 0.0, seen=False))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("x;y;dB\n1;2;3\n", r"line 1: column names.*commas"),
        ("", r"line 1: column names"),
        ("x,y,dB,eye\n1,2,3,R\n", r"line 1: column names"),
        ("x,y,dB\n3,3,30\n9,3,3O\n", r"line 3: dB: found '3O'"),
        ("x,y,dB\n3,3,30\n3,3,29\n", r"line 3: x, y.*first given on line 2"),
        ("x,y,dB\n3,3\n", r"line 2: row"),
        ("x,y,dB\n3,93,30\n", r"line 2: y: found '93'"),
        ("x,y,dB\n3,3,-8\n", r"line 2: dB.*deviation from normal"),
        ("x,y,dB\n3,3,60\n", r"line 2: dB: found '60'"),
        ("x,y,dB\n3,3,nan\n", r"line 2: dB"),
        ("x,y,dB\n", r"points: found 'none'"),
    ],
)
def test_perimetry_errors_name_line_and_field(text, message):
    with pytest.raises(BadInput, match=message):
        read_perimetry_csv(RIGHT, text)


@pytest.mark.parametrize("eye", Side)
def test_field_filed_under_the_wrong_eye_is_caught(eye):
    assert len(read_perimetry_csv(eye, csv_text(eye))) == 54
    with pytest.raises(BadInput, match="wrong eye"):
        read_perimetry_csv(eye.other, csv_text(eye))


def test_error_names_the_file(tmp_path):
    path = tmp_path / "left_eye.csv"
    path.write_text("x,y,dB\n3,3,abc\n", encoding="utf-8")
    with pytest.raises(BadInput, match=r"left_eye\.csv, line 2: dB"):
        read_perimetry_csv(LEFT, path)


def test_deviation_leaves_out_the_blind_spot_and_finds_the_depth():
    points = [
        PerimetryPoint(x, y, 31.0 - 0.3 * math.hypot(x, y) - (12.0 if (x, y) == (-9, 9) else 0.0))
        for x, y in central_pattern(RIGHT, "24-2")
    ]
    deviation = deviations_db(RIGHT, points)
    assert len(deviation) == 52
    deepest = min(deviation, key=deviation.__getitem__)
    assert (deepest.x_deg, deepest.y_deg) == (-9, 9)
    assert deviation[deepest] == pytest.approx(-12.0)
    with pytest.raises(BadInput, match="at least 10"):
        deviations_db(RIGHT, points[:5])


def test_average_blind_spots_mirror():
    assert physiological_blind_spot(RIGHT).mirrored() == physiological_blind_spot(LEFT)
