"""The order of time, one patient, the sentence for the note, and the places then and now."""

from dataclasses import replace
from datetime import timedelta
from itertools import permutations

import pytest
from comparison_cases import LEFT, RIGHT, examined, found

from decussate.comparison import Kind, compare, compare_places, follow, in_time_order
from decussate.comparison.wording import interval_in_words
from decussate.errors import BadInput
from decussate.examination.record import Story
from decussate.localisation import localise

LID = "upper_lid_position"


def day(number, *findings, **more):
    return examined(*findings, days=number, id=f"day{number}", **more)


def lid(value, response, by="A"):
    return found(LID, RIGHT, response, value, by=by)


def test_examinations_are_put_in_order_of_time_whatever_the_order_given():
    three = [day(n, lid(4.0 - n, "normal" if n < 2 else "partial")) for n in (0, 1, 3)]
    sentences = set()
    for order in permutations(three):
        course = follow(order)
        assert [o.examination.id for o in course.occasions] == ["day0", "day1", "day3"]
        assert len(course.steps) == 2
        moved = "The examinations were put in order of time." in course.warnings
        assert moved is (list(order) != three)
        sentences.add(course.whole.sentence)
    assert sentences == {
        "Compared with 3 days before: newly abnormal: "
        "right upper lid position (3 mm, beyond repeat error)."
    }


def test_the_later_one_first_is_refused():
    with pytest.raises(BadInput) as refused:
        compare(day(3, lid(4.0, "normal")), day(0, lid(4.0, "normal")))
    assert refused.value.field == "order of the examinations"
    assert "Exchange" in refused.value.sentence


def test_without_times_the_order_given_stands_and_is_said():
    untimed = examined(lid(4.0, "normal"))
    order, warnings = in_time_order([untimed, day(1, lid(3.0, "normal"))])
    assert order == (0, 1)
    assert warnings == ("Not every examination has a time: taken in the order given.",)
    assert compare(untimed, untimed).sentence.startswith("Compared with the earlier examination:")
    with pytest.raises(BadInput, match="No finding of 'any' has a time"):
        in_time_order([day(3, lid(4.0, "normal")), untimed, day(1, lid(4.0, "normal"))])


def test_times_that_overlap_are_said():
    long = day(0, lid(4.0, "normal"))
    late = found("gag", LEFT, "normal").model_copy(
        update={"at": long.findings[0].at + timedelta(days=2)}
    )
    long = long.model_copy(update={"findings": (*long.findings, late)})
    assert "The times of the two examinations overlap." in (
        compare(long, day(1, lid(4.0, "normal"))).warnings
    )


@pytest.mark.parametrize(
    ("first", "second", "field"),
    [
        ({"story": Story(sex="male")}, {"story": Story(sex="female")}, "sex"),
        ({"story": Story(age=60)}, {"story": Story(age=41)}, "age"),
        ({"invented": True}, {"invented": False}, "patient"),
    ],
)
def test_two_patients_are_refused(first, second, field):
    with pytest.raises(BadInput) as refused:
        compare(day(0, lid(4.0, "normal"), **first), day(1, lid(4.0, "normal"), **second))
    assert refused.value.field == field
    assert "two people" in refused.value.hint


def test_headings_that_differ_are_a_warning():
    compared = compare(
        day(0, lid(4.0, "normal"), label="A. Invented"),
        day(1, lid(4.0, "normal"), label="B. Invented"),
    )
    assert any("make sure this is one patient" in warning for warning in compared.warnings)


@pytest.mark.parametrize("count", [0, 1])
def test_one_examination_has_nothing_beside_it(count):
    with pytest.raises(BadInput, match="two or more"):
        follow([day(0, lid(4.0, "normal"))] * count)


def test_the_sentence_counts_what_was_not_repeated_and_names_the_examiners():
    first = day(0, lid(4.0, "normal"), found("gag", LEFT, "absent"), found("gag", RIGHT, "normal"))
    second = day(
        9,
        lid(1.5, "partial", by="B"),
        found("gag", RIGHT, "normal"),
        found("weber", None, "right"),
        found("rinne", LEFT, "normal"),
    )
    compared = compare(first, second)
    assert compared.sentence == (
        "Compared with 9 days before: newly abnormal: right upper lid position "
        "(2.5 mm, repeat error not known); 1 unchanged; 1 newly tested and abnormal; "
        "1 newly tested and normal; 1 not tested this time; different examiners."
    )
    assert [change.test for change in compared.of(Kind.NO_LONGER_TESTED)] == ["gag"]
    same = compare(first, first)
    assert same.sentence.endswith(": no change in the 3 tested both times.")
    apart = compare(day(0, found("gag", LEFT, "normal")), day(1, found("weber", None, "normal")))
    assert "nothing was tested both times" in apart.sentence


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (0.5, "30 minutes before"),
        (1, "1 hour before"),
        (47, "47 hours before"),
        (72, "3 days before"),
        (24 * 61, "2 months before"),
        (24 * 365.25 * 3, "3 years before"),
    ],
)
def test_how_long_before_is_said_in_the_unit_a_clinician_uses(hours, words):
    assert interval_in_words(timedelta(hours=hours)) == words


def test_places_gained_and_lost_are_named_and_exchange_when_the_two_do():
    third = (
        found(LID, RIGHT, "complete"),
        found("gaze_in", RIGHT, "absent"),
        found("gaze_up", RIGHT, "absent"),
        found("light_direct", RIGHT, "absent"),
    )
    crossed = (*third, found("arm_power", LEFT, "reduced"), found("leg_power", LEFT, "reduced"))
    then, now = localise(examined(*third)), localise(examined(*crossed))
    places = compare_places(then, now)
    back = compare_places(now, then)
    assert places.gained
    assert places.gained[0].place.startswith("midbrain")
    assert {(s.place, s.side) for s in places.gained} == {(s.place, s.side) for s in back.lost}
    assert places.shifts[0].now == max(c.probability for c in now.candidates)
    assert f"likely place now {now.candidates[0].name}" in places.text
    assert places.text in compare(examined(*third), examined(*crossed), places=(then, now)).sentence


def test_an_unchanged_place_and_an_empty_examination_are_said():
    palsy, nothing = examined(found("gaze_out", LEFT, "absent")), examined()
    then, now = localise(palsy), localise(nothing)
    same = compare_places(then, then)
    assert same.text.startswith(f"likely place unchanged: {then.candidates[0].name} (")
    assert (same.gained, same.lost) == ((), ())
    assert compare_places(then, now).text == "no finding now bears on the place"
    assert "not worked out before" in compare_places(now, then).text


def test_a_track_follows_each_side_and_leaves_gaps():
    failed = found("gag", LEFT, "normal")
    course = follow(
        [
            day(0, lid(4.0, "normal"), failed),
            day(1, failed),
            day(2, lid(2.0, "partial"), found(LID, LEFT, "normal", 4.0)),
            day(3, found(LID, RIGHT, "complete")),
        ]
    )
    (track,) = course.tracks
    assert (track.test, track.unit, track.worse_when) == (LID, "mm", "lower")
    right, left = track.lines
    assert [point.number for point in right.points] == [4.0, None, 2.0, None]
    assert right.points[1].shown == "not tested"
    assert right.points[3].shown == "complete droop, not measured"
    assert right.band == pytest.approx((3.03, 4.97))
    assert left.band is None


def test_a_band_is_only_a_least_one_where_an_examiner_changes():
    three = [
        day(n, lid(4.0 - n, "normal" if n < 2 else "partial", by)) for n, by in enumerate("AAB")
    ]
    (track,) = follow(three).tracks
    assert track.lines[0].limit.beyond is None
    assert track.lines[0].limit == replace(follow(three[:2]).tracks[0].lines[0].limit, beyond=None)
