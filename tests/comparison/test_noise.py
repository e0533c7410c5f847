"""Measured changes against repeat error: units, examiners, and what is not known."""

import pytest
import yaml
from comparison_cases import LEFT, MEASURED, RIGHT, found
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.comparison import Verdict, measured_change
from decussate.comparison.repeatability import load_repeatability, read_repeatability
from decussate.comparison.values import worse_when
from decussate.data_rows import Row
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue

WRITTEN = "as written"


def change(earlier, later, **more):
    return measured_change(load_catalogue().test(earlier.test), earlier, later, **more)


def acuity(value, unit=WRITTEN, **more):
    return found("distance_acuity", RIGHT, "reduced", value, unit, **more)


def test_every_measured_test_is_accounted_for():
    rows = load_repeatability()
    assert {test.id for test in MEASURED} == set(rows)
    silent = {row.id for row in rows.values() if not row.known}
    assert silent == {"no_figure_found"}
    assert all(row.people for row in rows.values() if row.known)


def test_a_way_that_is_worse_is_known_wherever_a_change_has_one():
    neither = {test.id for test in MEASURED if worse_when(test) == "neither"}
    assert neither == {
        "ambient_light",
        "chart_distance",
        "near_reading_distance",
        "fork_frequency",
        "positional_latency",
        "positional_duration",
        "ice_pack",
    }


@pytest.mark.parametrize(
    ("earlier", "later", "difference"),
    [
        (("6/6", WRITTEN), (0.3, "logMAR"), 0.3),
        (("20/40", WRITTEN), ("6/12", WRITTEN), 0.0),
        (("logMAR 0.1", WRITTEN), ("85 letters", WRITTEN), -0.1),
        (("decimal 0.1", WRITTEN), ("6/6", WRITTEN), -1.0),
    ],
)
def test_acuities_compare_whatever_their_notation(earlier, later, difference):
    assert change(acuity(*earlier), acuity(*later)).difference == pytest.approx(difference)


def test_acuity_below_the_chart_is_compared_by_order_and_given_no_amount():
    fall = change(acuity("6/36"), acuity("HM"))
    assert (fall.difference, fall.worse, fall.verdict) == (None, True, Verdict.BEYOND)
    assert change(acuity("NPL"), acuity("PL")).worse is False
    assert change(acuity("CF"), acuity("CF")).verdict is Verdict.WITHIN


def test_the_less_repeatable_of_two_ways_of_measuring_is_taken():
    assert change(acuity("6/6"), acuity("logMAR 0.2")).limit.beyond == 0.33
    assert change(acuity("logMAR 0.0"), acuity("logMAR 0.2")).limit.beyond == 0.18
    named = "letter by letter, in focus"
    both = (acuity(f"logMAR {v}", technique=named) for v in (0.0, 0.2))
    assert change(*both).limit.beyond == 0.11


def test_one_examiner_repeats_better_than_two():
    def eye(value, by):
        return found("eye_prominence", LEFT, "normal", value, by=by)

    assert change(eye(18.0, "A"), eye(19.5, "A")).verdict is Verdict.BEYOND
    assert change(eye(18.0, "A"), eye(19.5, "B")).verdict is Verdict.WITHIN
    assert change(eye(18.0, None), eye(19.5, None)).verdict is Verdict.WITHIN


def test_a_figure_for_one_examiner_says_little_of_two():
    def lid(value, by):
        return found("upper_lid_position", LEFT, "normal", value, by=by)

    assert change(lid(5.0, "A"), lid(3.0, "A")).verdict is Verdict.BEYOND
    assert change(lid(5.0, "A"), lid(4.5, "B")).verdict is Verdict.WITHIN
    unknown = change(lid(5.0, "A"), lid(3.0, "B"))
    assert unknown.verdict is Verdict.UNKNOWN
    assert "repeat error is published for one examiner only" in unknown.remarks


def test_where_no_figure_was_found_nothing_is_said():
    score = change(
        found("facial_composite", LEFT, "normal", 90.0),
        found("facial_composite", LEFT, "reduced", 20.0),
    )
    assert score.verdict is Verdict.UNKNOWN
    assert score.limit is None
    assert score.citation == ""
    assert score.worse


def test_a_deviation_that_turns_over_is_counted_from_side_to_side():
    def cover(response, value):
        return found("alternate_cover_distance", None, response, value)

    turned = change(cover("eso", 6.0), cover("exo", 8.0))
    assert (turned.difference, turned.worse) == (-14.0, None)
    assert turned.verdict is Verdict.BEYOND
    # Called normal, its direction was not kept: the smaller of the two differences counts.
    settled = change(cover("exo", 12.0), cover("normal", 2.0))
    assert (abs(settled.difference), settled.worse) == (10.0, False)
    upright = found("prism_up_gaze", None, "right_higher", 9.0)
    across = found("prism_up_gaze", None, "eso", 9.0)
    assert change(upright, across).difference is None


def test_print_without_its_distance_is_not_compared_with_print_at_one():
    near = found("near_acuity", RIGHT, "normal", "N5 at 40 cm", WRITTEN)
    bare = found("near_acuity", RIGHT, "reduced", 8.0, "N")
    assert change(near, bare).difference is None
    closer = found("near_acuity", RIGHT, "normal", "N5 at 20 cm", WRITTEN)
    assert change(near, closer).difference == pytest.approx(0.30103)


@given(st.sampled_from([t for t in MEASURED if t.measurement.kind == "number"]), st.data())
@settings(max_examples=80, deadline=None)
def test_a_larger_change_is_never_judged_smaller(test, data):
    scale = test.measurement
    side = RIGHT if test.paired else None
    start, near = (round(data.draw(st.floats(scale.low, scale.high)), 3) for _ in range(2))
    far = start + 1.7 * (near - start)
    if not all(scale.low <= value <= scale.high for value in (start, near, far)):
        return
    rank = {Verdict.WITHIN: 0, Verdict.UNKNOWN: 1, Verdict.BEYOND: 2}
    answer = next(iter(test.responses))
    small, large = (
        change(
            found(test.id, side, answer, float(start), by="A"),
            found(test.id, side, answer, float(value), by="A"),
        )
        for value in (near, far)
    )
    if small.limit and large.limit and small.limit == large.limit:
        assert rank[large.verdict] >= rank[small.verdict]
    else:
        # A larger deviation also has a larger repeat error; or nothing is known of either.
        cover = load_repeatability()[test.id].rule == "cover test"
        assert cover or small.limit is large.limit is None


@pytest.mark.parametrize(
    ("row", "field"),
    [
        ("{id: a, tests: [no_such_test], source: judgement}", "tests"),
        ("{id: a, tests: [gag], source: judgement}", "tests"),
        ("{id: a, tests: [eye_prominence], unit: cm, within: 1, source: judgement}", "unit"),
        ("{id: a, tests: [eye_prominence], unit: mm, within: -1, source: judgement}", "within"),
        ("{id: a, tests: [eye_prominence], unit: mm, rule: guess, source: judgement}", "rule"),
        ("{id: a, tests: [eye_prominence], unit: mm, within: 1, source: nobody}", "source"),
        ("{id: a, tests: [distance_acuity], rule: distance acuity, source: judgement}", "methods"),
        ("{id: a, tests: [eye_prominence, eye_prominence], source: judgement}", "tests"),
    ],
)
def test_a_bad_row_is_refused(row, field):
    with pytest.raises(BadInput) as refused:
        read_repeatability([Row(yaml.safe_load(row), "rows, line 1")], load_catalogue())
    assert refused.value.field == field
    assert "rows, line 1" in refused.value.sentence
