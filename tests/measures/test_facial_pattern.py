import pytest
from hypothesis import given
from hypothesis import strategies as st

from decussate.measures.facial_pattern import (
    HalfFace,
    Movement,
    PatternKind,
    facial_pattern,
    upper_face_weak_in_stroke,
)
from decussate.sides import Side

HALF = st.builds(HalfFace, *[st.sampled_from(Movement)] * 3)
N, W, A = Movement.NORMAL, Movement.WEAK, Movement.ABSENT


@given(HALF, HALF)
def test_mirror(right, left):
    one, two = facial_pattern(right, left), facial_pattern(left, right)
    for side in Side:
        assert one[side].kind is two[side.other].kind
        assert one[side].other_side_weak == two[side.other].other_side_weak
        assert one[side].side is side


@pytest.mark.parametrize(
    ("half", "kind"),
    [
        (HalfFace(N, N, N), PatternKind.NONE),
        (HalfFace(N, N, W), PatternKind.LOWER),
        (HalfFace(N, W, A), PatternKind.LOWER),
        (HalfFace(W, W, A), PatternKind.LOWER_MORE),
        (HalfFace(W, W, W), PatternKind.WHOLE),
        (HalfFace(A, A, A), PatternKind.WHOLE),
        (HalfFace(W, N, N), PatternKind.UPPER),
        (HalfFace(N, W, N), PatternKind.UPPER),
        (HalfFace(N, A, W), PatternKind.WHOLE),
    ],
)
def test_kinds(half, kind):
    assert facial_pattern(half, HalfFace())[Side.RIGHT].kind is kind


def test_a_weak_forehead_never_rules_out_a_stroke():
    whole = facial_pattern(HalfFace(A, A, A), HalfFace())[Side.RIGHT]
    assert "does not exclude a stroke" in whole.caution
    low, high = upper_face_weak_in_stroke()
    assert 0 < low < high < 1
