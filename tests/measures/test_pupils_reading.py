"""Pupils: mirror symmetry, limits, the reflex arcs worked forwards and back."""

import math
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.pupil_reactions import (
    LightReactions,
    Reaction,
    ReflexArcs,
    arcs_that_explain,
    expected_reactions,
    near_dissociation,
    swinging_light,
)
from decussate.measures.pupils import (
    AnisocoriaPattern,
    PupilSizes,
    afferent_defect_by_filter,
    afferent_defect_by_grade,
    anisocoria,
    expected_diameter_mm,
    filter_transmission,
)
from decussate.sides import Side

BRISK, SLUGGISH, ABSENT = Reaction
ALL_ARCS = [ReflexArcs(*levels) for levels in product(Reaction, repeat=4)]
sizes = st.floats(1.5, 4.5)
widening = st.floats(0.0, 4.0)


def mirrored(arcs):
    return ReflexArcs(
        arcs.afferent_left, arcs.afferent_right, arcs.efferent_left, arcs.efferent_right
    )


def mirrored_reactions(seen):
    return LightReactions(
        seen.left_to_left, seen.right_to_left, seen.right_to_right, seen.left_to_right
    )


@given(sizes, sizes, widening, widening)
@settings(max_examples=100)
def test_anisocoria_mirrors(right, left, more_right, more_left):
    light, dark = PupilSizes(right, left), PupilSizes(right + more_right, left + more_left)
    here = anisocoria(light, dark)
    there = anisocoria(
        PupilSizes(light.left_mm, light.right_mm), PupilSizes(dark.left_mm, dark.right_mm)
    )
    assert there.pattern is here.pattern
    assert there.light_mm == pytest.approx(-here.light_mm)
    assert there.suspect is (None if here.suspect is None else here.suspect.other)


@pytest.mark.parametrize(
    ("light", "dark", "pattern", "suspect"),
    [
        ((3.0, 3.2), (6.0, 6.3), AnisocoriaPattern.NONE, None),
        ((3.0, 3.5), (6.0, 6.5), AnisocoriaPattern.SAME, None),
        ((3.0, 3.4), (4.5, 6.0), AnisocoriaPattern.GREATER_IN_DARK, Side.RIGHT),
        ((6.5, 3.0), (7.0, 6.5), AnisocoriaPattern.GREATER_IN_LIGHT, Side.RIGHT),
        ((3.0, 4.5), (6.0, 4.5), AnisocoriaPattern.REVERSES, Side.LEFT),
    ],
)
def test_patterns(light, dark, pattern, suspect):
    reading = anisocoria(PupilSizes(*light), PupilSizes(*dark))
    assert (reading.pattern, reading.suspect) == (pattern, suspect)
    assert reading.meaning
    assert reading.citation


def test_slips_are_refused_and_named():
    with pytest.raises(BadInput, match="tenths"):
        PupilSizes(35, 40)
    with pytest.raises(BadInput, match="centimetres"):
        PupilSizes(0.35, 0.4)
    with pytest.raises(BadInput, match="exchanged"):
        anisocoria(PupilSizes(6, 6), PupilSizes(3, 3))
    with pytest.raises(BadInput, match="A filter marked 25"):
        afferent_defect_by_filter(Side.LEFT, 25)
    with pytest.raises(BadInput, match="grade of afferent defect"):
        afferent_defect_by_grade(Side.LEFT, "III", scale="plus")
    with pytest.raises(BadInput):
        filter_transmission(-0.3)


@pytest.mark.parametrize(
    ("luminance", "area", "age", "eyes"),
    [(100, 1000, 12, 2), (0, 1000, 40, 2), (100, 0, 40, 2), (100, 1000, 40, 3)],
)
def test_expected_size_keeps_to_its_range(luminance, area, age, eyes):
    with pytest.raises(BadInput):
        expected_diameter_mm(luminance, area, age, eyes=eyes)


@given(st.floats(0.001, 1e4), st.floats(20, 83))
@settings(max_examples=50)
def test_more_light_and_more_years_never_widen(luminance, age):
    here = expected_diameter_mm(luminance, 1000, age)
    assert expected_diameter_mm(2 * luminance, 1000, age) < here
    assert expected_diameter_mm(luminance, 1000, age, eyes=1) > here
    assert expected_diameter_mm(luminance, 1000, 83) <= here + 1e-9
    assert 1.5 < here < 9.0


def test_grades_rise_and_the_last_is_boundless():
    sizes_of = [
        afferent_defect_by_grade(Side.RIGHT, grade).low_log_units
        for grade in ("I", "II", "III", "IV", "V")
    ]
    assert sizes_of == sorted(sizes_of)
    assert math.isinf(sizes_of[-1])
    assert afferent_defect_by_grade(Side.LEFT, "II").side is Side.LEFT


@pytest.mark.parametrize("arcs", ALL_ARCS, ids=str)
def test_reactions_mirror_with_the_arcs(arcs):
    assert expected_reactions(mirrored(arcs)) == mirrored_reactions(expected_reactions(arcs))


@pytest.mark.parametrize("arcs", ALL_ARCS, ids=str)
def test_working_back_gives_nothing_worse_than_the_truth(arcs):
    seen = expected_reactions(arcs)
    found = arcs_that_explain(seen)
    assert found
    assert all(expected_reactions(candidate) == seen for candidate in found)
    assert all(candidate.damage <= arcs.damage for candidate in found)


@pytest.mark.parametrize("level", [SLUGGISH, ABSENT])
@pytest.mark.parametrize(
    "arc", ["afferent_right", "afferent_left", "efferent_right", "efferent_left"]
)
def test_a_single_damaged_arc_is_found_alone(arc, level):
    truth = ReflexArcs(**{arc: level})
    assert arcs_that_explain(expected_reactions(truth)) == (truth,)


def test_what_was_not_tested_stays_open():
    # Only the direct reaction of a blind or fixed right eye was looked at: either arc explains it.
    found = arcs_that_explain(LightReactions(right_to_right=ABSENT))
    assert {arcs.damaged for arcs in found} == {
        ("afferent, right: absent",),
        ("efferent, right: absent",),
    }
    assert arcs_that_explain(LightReactions()) == (ReflexArcs(),)


def test_impossible_reactions_have_no_explanation():
    # Every arc is shown to work by another reaction, and yet one reaction fails.
    assert arcs_that_explain(LightReactions(ABSENT, BRISK, BRISK, BRISK)) == ()


def test_direct_and_consensual_name_the_right_pupils():
    seen = expected_reactions(ReflexArcs(efferent_left=ABSENT))
    assert seen.direct(Side.LEFT) is ABSENT
    assert seen.consensual(Side.RIGHT) is ABSENT
    assert seen.direct(Side.RIGHT) is BRISK
    assert seen.consensual(Side.LEFT) is BRISK
    assert ReflexArcs(efferent_left=ABSENT).efferent(Side.LEFT) is ABSENT
    assert ReflexArcs(afferent_left=ABSENT).afferent(Side.LEFT) is ABSENT


@pytest.mark.parametrize("watched", list(Side))
@pytest.mark.parametrize("lit", list(Side))
def test_swinging_light_names_the_eye_that_drives_less(watched, lit):
    seen = swinging_light(watched, smaller_with_light_in=lit)
    assert seen.defect is lit.other
    assert seen.reverse is (watched is lit)
    assert swinging_light(watched, smaller_with_light_in=None).defect is None


def test_near_dissociation_needs_a_pupil_that_light_cannot_move():
    blind_right = expected_reactions(ReflexArcs(afferent_right=ABSENT))
    none = near_dissociation(blind_right, near_right=BRISK, near_left=BRISK)
    assert (none.sides, none.consider) == ((), ())
    untested = near_dissociation(LightReactions(), near_right=BRISK, near_left=None)
    assert untested.sides == ()
    tonic = expected_reactions(ReflexArcs(efferent_left=ABSENT))
    one = near_dissociation(tonic, near_right=BRISK, near_left=SLUGGISH)
    assert one.sides == (Side.LEFT,)
    assert one.consider[0]["name"] == "tonic pupil"
    assert all(row["look_for"] for row in one.consider)
