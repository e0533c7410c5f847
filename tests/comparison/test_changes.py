"""What changed, test by test: symmetry, and every kind of change."""

import pytest
from comparison_cases import LEFT, RIGHT, examined, found, pairs
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.comparison import Kind, Verdict, changes_between
from decussate.examination.record import ABNORMAL, COULD_NOT_BE_TESTED, NOT_TESTED, Finding
from strategies import examinations

SWAPPED = {
    Kind.NEW: Kind.GONE,
    Kind.GONE: Kind.NEW,
    Kind.BETTER: Kind.WORSE,
    Kind.WORSE: Kind.BETTER,
    Kind.DIFFERENT: Kind.DIFFERENT,
    Kind.UNRANKED: Kind.UNRANKED,
    Kind.UNCHANGED: Kind.UNCHANGED,
}


def seen(changes, *, mirrored=False):
    return {
        (
            change.test,
            change.side.other if mirrored and change.side else change.side,
            change.kind,
            change.measured and change.measured.verdict,
            change.measured and change.measured.worse,
        )
        for change in changes
    }


def only(earlier, later):
    """The one change between two findings."""
    (change,) = changes_between(examined(earlier), examined(later))
    return change


@given(pairs().map(lambda pair: pair[0]) | examinations())
@settings(max_examples=60, deadline=None)
def test_an_examination_beside_itself_shows_no_change(examination):
    changes = changes_between(examination, examination)
    assert len(changes) == len({(f.test, f.side) for f in examination.findings})
    assert not [change for change in changes if change.changed]
    assert all(c.measured.verdict is Verdict.WITHIN for c in changes if c.measured)


@given(pairs())
@settings(max_examples=120, deadline=None)
def test_exchanging_two_examinations_exchanges_better_and_worse(pair):
    one, two = pair
    forth = {(c.test, c.side): c for c in changes_between(one, two)}
    back = {(c.test, c.side): c for c in changes_between(two, one)}
    assert set(forth) == set(back)
    for key, change in forth.items():
        reverse = back[key]
        if change.kind in SWAPPED:
            assert reverse.kind is SWAPPED[change.kind]
        else:
            assert reverse.kind not in SWAPPED
        if change.measured:
            assert reverse.measured.verdict is change.measured.verdict
            if change.measured.difference is not None:
                assert reverse.measured.difference == -change.measured.difference
            if change.measured.worse is not None:
                assert reverse.measured.worse is not change.measured.worse


@given(pairs())
@settings(max_examples=80, deadline=None)
def test_mirroring_both_mirrors_the_changes(pair):
    one, two = pair
    plain = changes_between(one, two)
    mirror = changes_between(one.mirrored(), two.mirrored())
    assert seen(mirror) == seen(plain, mirrored=True)


@given(pairs(), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_the_order_of_findings_makes_no_difference(pair, random):
    one, two = pair
    shuffled = list(two.findings)
    random.shuffle(shuffled)
    again = two.model_copy(update={"findings": tuple(shuffled)})
    assert changes_between(one, two) == changes_between(one, again)


LID = "upper_lid_position"


@pytest.mark.parametrize(
    ("before", "after", "kind"),
    [
        ("normal", "partial", Kind.NEW),
        ("partial", "normal", Kind.GONE),
        ("partial", "complete", Kind.WORSE),
        ("complete", "partial", Kind.BETTER),
        ("partial", "partial", Kind.UNCHANGED),
        ("normal", ABNORMAL, Kind.NEW),
        (ABNORMAL, "complete", Kind.UNRANKED),
        (ABNORMAL, ABNORMAL, Kind.UNCHANGED),
    ],
)
def test_graded_answers_are_ranked_by_the_scale_of_their_sign(before, after, kind):
    assert only(found(LID, RIGHT, before), found(LID, RIGHT, after)).kind is kind


def test_a_state_with_another_direction_is_different_not_worse():
    assert only(found("weber", None, "right"), found("weber", None, "left")).kind is Kind.DIFFERENT
    pupil = "pupil_size_light"
    changed = only(found(pupil, LEFT, "small"), found(pupil, LEFT, "large"))
    assert changed.kind is Kind.DIFFERENT


def test_not_tested_is_never_normal_and_never_gone():
    ptosis, other = found(LID, RIGHT, "partial"), found("gag", LEFT, "normal")
    withdrawn = examined(ptosis, found(LID, RIGHT, NOT_TESTED))
    for later in (examined(other), examined(other, found(LID, RIGHT, NOT_TESTED)), withdrawn):
        kinds = {c.test: c.kind for c in changes_between(examined(ptosis), later)}
        assert kinds[LID] is Kind.NO_LONGER_TESTED
    (newly,) = changes_between(withdrawn, examined(ptosis))
    assert newly.kind is Kind.NEWLY_TESTED
    assert "not tested" in newly.text


def test_a_test_that_failed_is_neither_normal_nor_gone():
    failed = Finding(test="gag", side=RIGHT, response=COULD_NOT_BE_TESTED, reason="bites")
    change = only(found("gag", RIGHT, "absent"), failed)
    assert change.kind is Kind.COULD_NOT_BE_TESTED
    assert change.changed
    assert "bites" in change.text
    assert only(failed, found("gag", RIGHT, "absent")).kind is Kind.NEWLY_TESTED
    twice = only(failed, failed)
    assert twice.kind is Kind.COULD_NOT_BE_TESTED
    assert not twice.changed


def test_a_measured_change_within_noise_is_unchanged_and_beyond_it_is_not():
    def by_a(value, response):
        return found(LID, RIGHT, response, value, by="A")

    assert only(by_a(4.0, "normal"), by_a(3.5, "normal")).kind is Kind.UNCHANGED
    fall = only(by_a(5.0, "normal"), by_a(3.5, "normal"))
    assert fall.kind is Kind.WORSE
    assert fall.measured.verdict is Verdict.BEYOND
    crossing = only(by_a(2.6, "normal"), by_a(2.4, "partial"))
    assert crossing.kind is Kind.NEW
    assert crossing.measured.verdict is Verdict.WITHIN
    assert "within repeat error" in crossing.text


def test_facial_grades_are_ordered_though_the_sign_has_fewer_states():
    grade = "facial_grade"
    worse = only(found(grade, LEFT, "grade_3", 3.0), found(grade, LEFT, "grade_5", 5.0))
    assert worse.kind is Kind.WORSE
    assert worse.measured.verdict is Verdict.UNKNOWN


def test_overaction_of_a_muscle_is_no_gain():
    full, over = found("gaze_in", LEFT, "normal", 0.0), found("gaze_in", LEFT, "normal", 3.0)
    assert only(full, over).kind is Kind.WORSE


def test_other_examiners_techniques_and_circumstances_are_said():
    first = examined(
        found("distance_acuity", RIGHT, "normal", "6/6", "as written", by="A", technique="chart"),
        found("distance_glasses", None, "worn"),
    )
    second = examined(
        found("distance_acuity", RIGHT, "reduced", "6/60", "as written", by="B", technique="card"),
        found("distance_glasses", None, "not_worn"),
    )
    glasses, acuity = changes_between(first, second)
    assert glasses.circumstance
    assert glasses.kind is Kind.DIFFERENT
    said = " ".join(acuity.remarks)
    for words in ("A, then B", "chart, then card", "different circumstances"):
        assert words in said
    assert acuity.kind is Kind.NEW
    assert acuity.measured.verdict is Verdict.UNKNOWN
