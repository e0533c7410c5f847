import pytest
from hypothesis import given
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.facial_function import (
    EyeClosure,
    FaceObservations,
    Forehead,
    Mouth,
    Rest,
    Synkinesis,
    facial_grade,
    measured_facial_grade,
)
from decussate.sides import Side

OBSERVATIONS = st.builds(
    FaceObservations,
    side=st.sampled_from(Side),
    rest=st.sampled_from(Rest),
    forehead=st.sampled_from(Forehead),
    eye_closure=st.sampled_from(EyeClosure),
    mouth=st.sampled_from(Mouth),
    synkinesis=st.sampled_from(Synkinesis),
)


@given(OBSERVATIONS)
def test_mirror(seen):
    one, two = facial_grade(seen), facial_grade(seen.mirrored())
    assert two.side is one.side.other
    assert (one.grade, one.decided_by, one.not_fitting) == (
        two.grade,
        two.decided_by,
        two.not_fitting,
    )


@given(OBSERVATIONS)
def test_the_eye_is_the_hinge_between_three_and_four(seen):
    grade = facial_grade(seen).grade
    open_eye = seen.eye_closure in (EyeClosure.INCOMPLETE, EyeClosure.NONE)
    if open_eye:
        assert grade >= 4
    elif seen.synkinesis is not Synkinesis.INTERFERES:
        assert grade <= 3


@given(st.floats(0, 3), st.floats(0, 3), st.floats(0, 1))
def test_more_travel_is_never_a_worse_grade(brow, mouth, more):
    one = measured_facial_grade(brow_cm=brow, mouth_cm=mouth).grade
    two = measured_facial_grade(brow_cm=min(3, brow + more), mouth_cm=mouth).grade
    assert two <= one


def test_a_plain_grade_has_no_misfit_and_a_strange_one_names_it():
    plain = FaceObservations(
        Side.LEFT,
        Rest.SYMMETRICAL,
        Forehead.NONE,
        EyeClosure.INCOMPLETE,
        Mouth.ASYMMETRICAL,
    )
    assert (facial_grade(plain).roman, facial_grade(plain).not_fitting) == ("IV", ())
    spared = FaceObservations(
        Side.LEFT,
        Rest.SYMMETRICAL,
        Forehead.NORMAL,
        EyeClosure.INCOMPLETE,
        Mouth.ASYMMETRICAL,
    )
    assert facial_grade(spared).not_fitting == ("forehead: normal",)


def test_synkinesis_alone_sets_the_best_grade():
    normal = (Rest.SYMMETRICAL, Forehead.NORMAL, EyeClosure.NORMAL, Mouth.NORMAL)
    grades = [facial_grade(FaceObservations(Side.RIGHT, *normal, s)).grade for s in Synkinesis]
    assert grades == [1, 2, 3, 4]


@pytest.mark.parametrize(("brow", "says"), [(10, "millimetres"), (-0.1, "0 to 3 cm")])
def test_bad_travel(brow, says):
    with pytest.raises(BadInput, match=says):
        measured_facial_grade(brow_cm=brow, mouth_cm=1)
