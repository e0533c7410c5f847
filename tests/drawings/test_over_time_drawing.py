"""The plots over time: sides by line and mark, values in words, the band of repeat error."""

from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.comparison import follow
from decussate.drawings.over_time import draw_over_time
from decussate.errors import BadInput
from decussate.examination.record import Examination, Finding, MeasuredValue
from decussate.sides import Side

SVG = "{http://www.w3.org/2000/svg}"
START = datetime(2026, 3, 1, 9, tzinfo=UTC)


def measured(test, side, value, unit="mm", response="normal", **more):
    return Finding(
        test=test,
        side=side,
        response=response,
        measurement=MeasuredValue(value=value, unit=unit),
        **more,
    )


def course(*days):
    """A course of one examination for each tuple of (day, findings...)."""
    return follow(
        [
            Examination(
                id=str(day),
                findings=tuple(
                    f.model_copy(update={"at": START + timedelta(days=day)}) for f in findings
                ),
            )
            for day, *findings in days
        ]
    )


def drawn(*days, **more):
    return ET.fromstring(draw_over_time(course(*days), **more))


def panel(root, test):
    return next(g for g in root.iter(f"{SVG}g") if g.get("id") == f"track-{test}")


def group(root, side):
    return next(g for g in root.iter(f"{SVG}g") if g.get("data-side") == side)


def said(root):
    return [t.text for t in root.iter(f"{SVG}text")]


def heights(root, side):
    """Where the marks of a side stand, from their own shapes."""
    if side is Side.RIGHT:
        return [float(c.get("cy")) for c in group(root, side).iter(f"{SVG}circle")]
    paths = [p.get("transform") for p in group(root, side).iter(f"{SVG}path")]
    return [float(path.split()[1].rstrip(")")) for path in paths]


prominence = st.floats(12.0, 28.0).map(lambda value: round(value, 1))


@given(st.lists(prominence, min_size=2, max_size=4), st.data())
@settings(max_examples=30, deadline=None)
def test_sides_keep_their_own_line_mark_and_values_and_mirror(values, data):
    others = [data.draw(prominence) for _ in values]

    def days(first, second):
        return [
            (
                number,
                measured("eye_prominence", first, a),
                measured("eye_prominence", second, b),
            )
            for number, (a, b) in enumerate(zip(values, others, strict=True))
        ]

    root = drawn(*days(Side.RIGHT, Side.LEFT))
    mirror = drawn(*days(Side.LEFT, Side.RIGHT))
    assert heights(root, Side.RIGHT) == heights(mirror, Side.LEFT)
    assert heights(root, Side.LEFT) == heights(mirror, Side.RIGHT)
    dashes = {
        side: {line.get("stroke-dasharray") for line in group(root, side).iter(f"{SVG}line")}
        for side in Side
    }
    assert dashes[Side.RIGHT].isdisjoint(dashes[Side.LEFT])
    for side, expected in ((Side.RIGHT, values), (Side.LEFT, others)):
        titles = [t.text for t in group(root, side).iter(f"{SVG}title")]
        assert titles == [f"{side}: {value:g} mm" for value in expected]


def test_the_band_is_as_wide_as_the_published_repeat_error():
    days = [
        (n, measured("eye_prominence", Side.RIGHT, float(v), by="A"))
        for n, v in enumerate((18, 20))
    ]
    root = drawn(*days)
    first, second = heights(root, Side.RIGHT)
    one_mm = abs(first - second) / 2
    band = next(r for r in root.iter(f"{SVG}rect") if r.get("class") == "band")
    top, height = float(band.get("y")), float(band.get("height"))
    assert height == pytest.approx(2 * 1.19 * one_mm, abs=0.2)
    assert top + height / 2 == pytest.approx(first, abs=0.2)
    assert "hatch-right" in band.get("fill")
    assert any("repeat error ±1.19 mm" in words for words in said(root))
    assert "Hertel" in band.find(f"{SVG}title").text


def test_worse_is_drawn_lower_whichever_way_the_scale_runs():
    root = drawn(
        (
            0,
            measured("audiogram_average", Side.LEFT, 10.0, "dB HL"),
            measured("upper_lid_position", Side.LEFT, 4.0),
        ),
        (
            1,
            measured("audiogram_average", Side.LEFT, 60.0, "dB HL", "reduced"),
            measured("upper_lid_position", Side.LEFT, 1.0, response="partial"),
        ),
    )
    for test in ("audiogram_average", "upper_lid_position"):
        before, after = heights(panel(root, test), Side.LEFT)
        assert after > before
        assert any("worse is lower" in words for words in said(panel(root, test)))


def test_no_line_bridges_an_examination_without_the_test():
    gag = Finding(test="gag", side=Side.LEFT, response="normal")
    root = drawn(
        (0, measured("eye_prominence", Side.LEFT, 18.0)),
        (2, gag),
        (4, measured("eye_prominence", Side.LEFT, 18.0)),
        (6, measured("eye_prominence", Side.LEFT, 19.0)),
    )
    assert len(list(group(root, Side.LEFT).iter(f"{SVG}line"))) == 1
    assert "left: not tested" in said(root)


def test_what_is_below_the_chart_and_what_has_no_figure_is_said():
    root = drawn(
        (
            0,
            measured("distance_acuity", Side.RIGHT, "6/9", "as written"),
            measured("facial_composite", Side.LEFT, 80.0, "Sunnybrook score"),
        ),
        (
            3,
            measured("distance_acuity", Side.RIGHT, "CF", "as written", "absent"),
            measured("facial_composite", Side.LEFT, 75.0, "Sunnybrook score"),
        ),
    )
    assert "right: CF" in said(root)
    score = panel(root, "facial_composite")
    assert not [r for r in score.iter(f"{SVG}rect") if r.get("class") == "band"]
    assert "Repeat error not known, no band." in said(score)


def test_deviations_name_their_direction():
    def cover(response, value):
        return measured("alternate_cover_distance", None, value, "prism dioptre", response)

    root = drawn((0, cover("eso", 10.0)), (5, cover("exo", 20.0)))
    assert {"10 eso", "20 exo"} <= set(said(root))
    assert any(words.startswith("prism dioptre; up eso, down exo") for words in said(root))


def test_time_is_to_scale_only_where_labels_keep_apart():
    def eye(value):
        return measured("eye_prominence", Side.LEFT, value)

    wide = drawn((0, eye(18.0)), (1, eye(18.0)), (4, eye(18.0)))
    assert any("Time is to scale" in words for words in said(wide))
    crowded = drawn((0, eye(18.0)), (1, eye(18.0)), (300, eye(18.0)))
    assert any("not to scale" in words for words in said(crowded))


def test_a_test_that_was_not_measured_twice_is_refused_and_nothing_is_said_so():
    once = course((0, measured("eye_prominence", Side.LEFT, 18.0)), (1,))
    with pytest.raises(BadInput, match="no test was measured twice"):
        draw_over_time(once, tests=["eye_prominence"])
    root = ET.fromstring(draw_over_time(once))
    assert "No test was measured at two examinations." in said(root)


def test_neither_scale_nor_band_goes_beyond_the_test():
    def face(value):
        return measured(
            "facial_grade", Side.LEFT, value, "House-Brackmann grade", f"grade_{value:g}"
        )

    root = drawn((0, face(6.0)), (5, face(5.0)))
    shown = {word for word in said(panel(root, "facial_grade")) if word.isdigit()}
    assert shown == {"5", "6"}
    band = next(r for r in root.iter(f"{SVG}rect") if r.get("class") == "band")
    first, second = heights(root, Side.LEFT)
    assert float(band.get("height")) == pytest.approx(abs(first - second), abs=0.2)


def test_two_examinations_of_one_day_are_told_apart_by_the_hour():
    def eye(value):
        return measured("eye_prominence", Side.LEFT, value)

    root = drawn((0, eye(18.0)), (0.25, eye(18.0)), (2, eye(19.0)))
    assert {"1 Mar 09:00", "1 Mar 15:00", "3 Mar 09:00"} <= set(said(root))
    assert {"09:00", "15:00"} <= set(said(drawn((0, eye(18.0)), (0.25, eye(18.0)))))


def test_in_one_column_the_plots_stand_below_each_other_and_the_words_fit():
    days = [
        (
            number,
            measured("eye_prominence", Side.RIGHT, 18.0),
            measured("upper_lid_position", Side.LEFT, 4.0),
        )
        for number in range(2)
    ]
    beside, below = drawn(*days), drawn(*days, columns=1)
    across = [float(root.get("viewBox").split()[2]) for root in (beside, below)]
    assert across[0] == 2 * across[1]
    tests = ("eye_prominence", "upper_lid_position")
    (first, second) = (panel(below, test).get("transform") for test in tests)
    assert first.split()[0] == second.split()[0]
    assert first != second
    assert sorted(said(beside)) == sorted(said(below))
    for text in below.iter(f"{SVG}text"):
        if text.get("text-anchor") == "start" and text in list(below):
            width = 0.52 * 12 * len(text.text)  # of a plain face, on average (from memory)
            assert float(text.get("x")) + width < across[1], text.text
