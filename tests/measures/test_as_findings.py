"""What each converter writes: responses, measured values, what is left out, and its refusals."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audiogram_strategies import air, audiograms, with_bone
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.measures.acuity_notation import parse
from decussate.measures.as_findings.acuity import distance_acuity_findings, near_acuity_findings
from decussate.measures.as_findings.eye_movements import (
    deviation_findings,
    double_vision_findings,
    graded_movement_findings,
    near_point_findings,
    reflection_findings,
)
from decussate.measures.as_findings.face import composite_findings, half_face_findings
from decussate.measures.as_findings.hearing import (
    audiogram_findings,
    fork_findings,
    whisper_findings,
)
from decussate.measures.as_findings.lids_and_orbit import lid_findings
from decussate.measures.as_findings.nystagmus import nystagmus_findings
from decussate.measures.as_findings.positional_test import positional_findings
from decussate.measures.as_findings.power import deviation_findings as midline_findings
from decussate.measures.as_findings.power import power_findings
from decussate.measures.as_findings.pupils import (
    afferent_defect_findings,
    pupil_reaction_findings,
    pupil_size_findings,
)
from decussate.measures.as_findings.sensation_and_reflexes import facial_sensation_findings
from decussate.measures.as_findings.swallow import water_swallow_findings
from decussate.measures.as_findings.visual_field import (
    eye_pattern_findings,
    field_pattern_findings,
    scotoma_findings,
)
from decussate.measures.as_findings.writing import graded, measured, response_to, rows, stated
from decussate.measures.double_vision import DoubleVision
from decussate.measures.eye_alignment import reflection_angle
from decussate.measures.facial_composite import MOVEMENTS
from decussate.measures.facial_function import EyeClosure, Forehead, Mouth, Rest, Synkinesis
from decussate.measures.facial_pattern import HalfFace, Movement
from decussate.measures.facial_sensation import AREAS, Sensation
from decussate.measures.field_pattern import classify_eye
from decussate.measures.field_pattern_both import classify_fields
from decussate.measures.lids_and_orbit import Lids
from decussate.measures.near_acuity import parse as parse_near
from decussate.measures.nystagmus import FastPhase, Nystagmus
from decussate.measures.ocular_alignment import Deviation, Gaze
from decussate.measures.positional_observation import Manoeuvre, PositionalObservation
from decussate.measures.power import MrcGrade
from decussate.measures.pupil_reactions import LightReactions, Reaction
from decussate.measures.pupils import (
    AnisocoriaPattern,
    PupilSizes,
    afferent_defect_by_filter,
    afferent_defect_by_grade,
)
from decussate.measures.reflexes import JawJerk
from decussate.measures.swallow import WaterSwallow
from decussate.measures.tuning_forks import ForkFindings, Rinne, Weber
from decussate.measures.visual_field_directions import Quadrant
from decussate.measures.visual_field_map import map_from_outline
from decussate.measures.visual_field_outline import normal_outline, outline_from_quadrants
from decussate.measures.visual_field_scotoma import Scotoma, physiological_blind_spot
from decussate.measures.whisper import WhisperTest
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT


def answers(found):
    """Responses by test and side."""
    return {(one.test, one.side): one.response for one in found}


def value(found, test, side=None):
    one = next(one for one in found if (one.test, one.side) == (test, side))
    return one.measurement and (one.measurement.value, one.measurement.unit)


def mirrored(found):
    return {one.mirrored() for one in found}


# --- the rows -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("scale", "grades"),
    [
        ("pupil reaction", Reaction),
        ("brow", Forehead),
        ("eye closure", EyeClosure),
        ("mouth", Mouth),
        ("face at rest", Rest),
        ("synkinesis", Synkinesis),
        ("movement of the face", Movement),
        ("jaw jerk", JawJerk),
        ("rinne", set(Rinne) - {Rinne.NOT_HEARD}),
        ("weber", set(Weber) - {Weber.NOT_HEARD}),
        ("anisocoria", set(AnisocoriaPattern) - {AnisocoriaPattern.REVERSES}),
    ],
)
def test_every_grade_of_a_scale_has_one_response_and_no_row_is_idle(scale, grades):
    seen = [str(row["seen"]) for row in rows("responses") if row["scale"] == scale]
    assert sorted(seen) == sorted(grade.value for grade in grades)
    assert response_to(scale, next(iter(grades)))


def test_rows_name_tests_and_areas_that_exist():
    catalogue = load_catalogue()
    for row in rows("face_areas"):
        assert {f"touch_{row['test']}", f"pin_{row['test']}"} <= set(catalogue.tests)
        assert set(row["areas"]) <= set(AREAS)
    assert all(row["test"] in catalogue for row in rows("face_rings"))
    assert all(row["test"] in catalogue for row in rows("composite_movements"))
    assert {row["item"] for row in rows("composite_movements")} <= set(MOVEMENTS)


def test_a_grade_or_response_that_does_not_exist_is_refused():
    with pytest.raises(BadInput, match="pupil reaction"):
        response_to("pupil reaction", "lively")
    with pytest.raises(BadInput, match="light_direct"):
        stated("light_direct", "lively", RIGHT)
    with pytest.raises(BadInput, match="measurement"):
        stated("light_direct", "normal", RIGHT, value=3.0)
    with pytest.raises(BadInput, match="bands"):
        measured("cup_to_disc", 0.5, RIGHT)
    with pytest.raises(BadInput):
        graded("rinne", "rinne", Rinne.NOT_HEARD, RIGHT)


# --- mirrored inputs ----------------------------------------------------------------------------

mm = st.integers(2, 16).map(lambda n: n / 2.0)
reactions = st.none() | st.sampled_from(Reaction)
sides = st.sampled_from(Side)


@settings(max_examples=40)
@given(mm, mm, st.integers(0, 5), st.integers(0, 5))
def test_pupil_sizes_mirror(right, left, wider_right, wider_left):
    def sizes(a, b, c, d):
        return PupilSizes(a, b), PupilSizes(min(a + c / 2, 9.0), min(b + d / 2, 9.0))

    found = pupil_size_findings(*sizes(right, left, wider_right, wider_left))
    other = pupil_size_findings(*sizes(left, right, wider_left, wider_right))
    assert mirrored(found) == set(other)


@settings(max_examples=40)
@given(reactions, reactions, reactions, reactions, reactions, reactions)
def test_pupil_reactions_mirror(rr, lr, ll, rl, near_right, near_left):
    found = pupil_reaction_findings(
        LightReactions(rr, lr, ll, rl), near_right=near_right, near_left=near_left
    )
    other = pupil_reaction_findings(
        LightReactions(ll, rl, rr, lr), near_right=near_left, near_left=near_right
    )
    assert mirrored(found) == set(other)


margins = st.integers(-8, 16).map(lambda n: n / 2.0)


@settings(max_examples=40)
@given(margins, margins, st.none() | mm, st.none() | mm)
def test_lids_mirror(right, left, levator_right, levator_left):
    found = lid_findings(Lids(right, left, levator_right, levator_left))
    other = lid_findings(Lids(left, right, levator_left, levator_right))
    assert mirrored(found) == set(other)


@settings(max_examples=40)
@given(audiograms())
def test_audiogram_mirrors(audiogram):
    assert mirrored(audiogram_findings(audiogram)) == set(audiogram_findings(audiogram.mirrored()))


@settings(max_examples=40)
@given(st.sampled_from(Rinne), st.sampled_from(Rinne), st.sampled_from(Weber))
def test_forks_mirror(right, left, weber):
    forks = ForkFindings(right, left, weber)
    assert mirrored(fork_findings(forks)) == set(fork_findings(forks.mirrored()))


@settings(max_examples=40)
@given(sides, st.integers(0, 3), st.none() | st.integers(0, 3), st.booleans())
def test_whisper_mirrors(side, first, second, masked):
    test = WhisperTest(side, first, second, masked)
    assert mirrored(whisper_findings(test)) == set(whisper_findings(test.mirrored()))


shares = st.fixed_dictionaries({q: st.sampled_from([0.0, 0.4, 0.7, 1.0]) for q in Quadrant})


@settings(max_examples=12, deadline=None)
@given(shares, shares)
def test_fields_mirror(right, left):
    maps = [
        map_from_outline(outline_from_quadrants(eye, seen))
        for eye, seen in ((RIGHT, right), (LEFT, left))
    ]
    found = field_pattern_findings(classify_fields(*maps))
    other = field_pattern_findings(classify_fields(maps[1].mirrored(), maps[0].mirrored()))
    assert mirrored(found) == set(other)


@settings(max_examples=40)
@given(st.dictionaries(st.tuples(sides, st.sampled_from(Gaze)), st.integers(-5, 4), min_size=1))
def test_graded_movements_mirror(grades):
    other = {(side.other, gaze.mirrored): grade for (side, gaze), grade in grades.items()}
    assert mirrored(graded_movement_findings(grades)) == set(graded_movement_findings(other))


pd = st.integers(-40, 40).map(float)


@settings(max_examples=40)
@given(st.lists(st.builds(Deviation, st.sampled_from(Gaze), pd, pd), unique_by=lambda d: d.gaze))
def test_deviations_mirror(seen):
    found = deviation_findings(seen)
    other = deviation_findings([one.mirrored for one in seen])
    assert {(f.test, f.side, f.response, f.measurement) for f in mirrored(found)} == {
        (f.test, f.side, f.response, f.measurement) for f in other
    }


beats = st.none() | st.builds(FastPhase, sides, st.sampled_from([-1, 0, 1]), st.none() | sides)


@settings(max_examples=150)
@given(st.dictionaries(st.sampled_from(Gaze), beats), st.none() | sides, st.none() | st.booleans())
def test_nystagmus_mirrors(seen, larger, fixation):
    nystagmus = Nystagmus(seen, fixation_suppresses=fixation, larger_in=larger)
    assert mirrored(nystagmus_findings(nystagmus)) == set(nystagmus_findings(nystagmus.mirrored))


observed = st.builds(
    PositionalObservation,
    st.sampled_from([Manoeuvre.HEAD_HANGING, Manoeuvre.ROLL]),
    sides,
    beats,
    strength=st.none() | st.integers(0, 5).map(float),
    duration_s=st.none() | st.sampled_from([5.0, float("inf")]),
)


@settings(max_examples=40)
@given(st.lists(observed, max_size=4, unique_by=lambda o: (o.manoeuvre, o.side)))
def test_positional_tests_mirror(seen):
    other = positional_findings([one.mirrored for one in seen])
    assert mirrored(positional_findings(seen)) == set(other)


felt = st.dictionaries(st.sampled_from(AREAS), st.sampled_from(Sensation), min_size=1)


@settings(max_examples=40)
@given(sides, felt, st.sampled_from(["pin", "touch"]))
def test_facial_sensation_mirrors(side, found, modality):
    one = facial_sensation_findings(side, found, modality=modality)
    assert mirrored(one) == set(facial_sensation_findings(side.other, found, modality=modality))


# --- what is written ----------------------------------------------------------------------------


def test_acuity_keeps_the_notation_and_the_pinhole_needs_more_than_noise():
    found = distance_acuity_findings(RIGHT, parse("6/9-2"), parse("6/6"), technique="6 m chart")
    assert answers(found) == {
        ("distance_acuity", RIGHT): "reduced",
        ("pinhole_acuity", RIGHT): "normal",
    }
    assert value(found, "distance_acuity", RIGHT) == ("6/9-2", "as written")
    assert found[0].technique == "6 m chart"
    far = distance_acuity_findings(RIGHT, parse("6/60"), parse("6/12"))
    assert answers(far)["pinhole_acuity", RIGHT] == "present"
    near = near_acuity_findings(LEFT, parse_near("N8 at 40 cm"))
    assert answers(near) == {("near_acuity", LEFT): "reduced"}
    assert value(near, "near_acuity", LEFT) == ("N8 at 40 cm", "as written")


def test_a_difference_within_the_physiological_limit_is_normal_and_the_light_is_still_told():
    small = pupil_size_findings(PupilSizes(3.0, 3.0), PupilSizes(5.0, 5.5))
    assert answers(small)["pupil_comparison", None] == "normal"
    assert answers(small)["pupil_comparison_by_light", None] == "dark"
    large = pupil_size_findings(PupilSizes(6.0, 3.0), PupilSizes(6.5, 6.0))
    assert answers(large)["pupil_comparison", None] == "right"
    assert value(large, "pupil_comparison") == (3.0, "mm")
    assert answers(large)["pupil_comparison_by_light", None] == "light"
    fixed = pupil_size_findings(PupilSizes(4.5, 3.0), PupilSizes(4.5, 7.0))
    assert answers(fixed)["pupil_comparison_by_light", None] == "dark"


def test_a_consensual_reaction_is_filed_under_the_pupil_watched():
    light = LightReactions(right_to_left=Reaction.ABSENT)  # right pupil, light in the left eye
    assert answers(pupil_reaction_findings(light)) == {("light_consensual", RIGHT): "absent"}


def test_an_afferent_defect_keeps_its_size_and_a_tiny_one_is_normal():
    found = afferent_defect_findings(afferent_defect_by_filter(LEFT, 0.9))
    assert answers(found) == {("swinging_light", None): "left"}
    assert value(found, "swinging_light") == (0.9, "log unit")
    tiny = afferent_defect_findings(afferent_defect_by_filter(LEFT, 0.3))
    assert answers(tiny) == {("swinging_light", None): "normal"}
    ranged = afferent_defect_findings(afferent_defect_by_grade(RIGHT, "4+", scale="plus"))
    assert (ranged[0].response, ranged[0].measurement) == ("right", None)
    assert ranged[0].comment == "1.8 log units or more"


def test_a_lid_that_droops_beside_its_fellow_is_partial_but_not_beside_a_retracted_one():
    found = answers(lid_findings(Lids(3.0, 5.0)))
    assert found["upper_lid_position", RIGHT] == "partial"
    retracted = answers(lid_findings(Lids(4.0, 7.5)))
    assert retracted["upper_lid_position", RIGHT] == "normal"
    assert retracted["upper_lid_retraction", LEFT] == "present"


def test_a_full_field_is_normal_and_a_central_scotoma_is_not_a_lost_quadrant():
    whole = map_from_outline(normal_outline(RIGHT))
    assert set(answers(eye_pattern_findings(classify_eye(whole))).values()) == {"normal"}
    central = map_from_outline(normal_outline(RIGHT), scotomas=[Scotoma(RIGHT, 0, 0, 16, 16)])
    found = answers(eye_pattern_findings(classify_eye(central)))
    assert found["red_pin_centre", RIGHT] == "present"
    assert {r for (test, _), r in found.items() if test.startswith("peripheral")} == {"normal"}


def test_blind_spots_are_normal_enlarged_or_joined():
    spot = physiological_blind_spot(LEFT)
    assert answers(scotoma_findings(spot)) == {("blind_spot", LEFT): "normal"}
    large = Scotoma(LEFT, spot.x_deg, spot.y_deg, 14.0, 18.0)
    assert answers(scotoma_findings(large)) == {("blind_spot", LEFT): "enlarged"}
    joined = Scotoma(LEFT, spot.x_deg / 2, 0.0, 24.0, 10.0)
    assert answers(scotoma_findings(joined)) == {
        ("blind_spot", LEFT): "joined",
        ("red_pin_centre", LEFT): "present",
    }
    assert scotoma_findings(Scotoma(LEFT, 20.0, 20.0, 3.0, 3.0)) == ()


def test_an_unmasked_difference_between_the_ears_is_not_called_a_loss():
    found = audiogram_findings(air(60.0, 5.0))
    (right,) = (f for f in found if f.test == "audiogram_average" and f.side is RIGHT)
    assert right.response == "could_not_be_tested"
    assert "masking still needed at 500 Hz" in right.reason
    assert answers(found)["audiogram_average", LEFT] == "normal"


def test_the_kind_of_loss_needs_bone_conduction():
    tests = {test for test, _ in answers(audiogram_findings(air(30.0, 30.0)))}
    assert tests == {"audiogram_average"}
    mixed = audiogram_findings(with_bone(air(60.0, 60.0), 35.0, 35.0))
    assert answers(mixed)["audiogram_kind", RIGHT] == "mixed"
    assert value(mixed, "audiogram_average", RIGHT) == (60.0, "dB HL")


def test_forks_that_were_not_heard_are_not_findings_of_loss():
    found = fork_findings(ForkFindings(Rinne.NOT_HEARD, Rinne.POSITIVE, Weber.NOT_HEARD))
    assert answers(found) == {
        ("rinne", RIGHT): "could_not_be_tested",
        ("rinne", LEFT): "normal",
        ("weber", None): "could_not_be_tested",
    }
    false = fork_findings(ForkFindings(Rinne.NEGATIVE, Rinne.POSITIVE, Weber.LEFT))
    assert answers(false)["rinne", RIGHT] == "present"
    assert "may be false" in (false[0].comment or "")


def test_whispers_need_the_second_set_and_masking():
    assert whisper_findings(WhisperTest(RIGHT, 2))[0].response == "could_not_be_tested"
    unmasked = whisper_findings(WhisperTest(RIGHT, 3, other_ear_masked=False))
    assert unmasked[0].response == "could_not_be_tested"
    found = whisper_findings(WhisperTest(RIGHT, 2, 2))
    assert value(found, "whisper_far", RIGHT) == ("4/6", "1")
    assert answers(whisper_findings(WhisperTest(RIGHT, 1, 1)))["whisper_far", RIGHT] == "reduced"


def test_the_face_by_parts():
    half = HalfFace(Movement.ABSENT, Movement.WEAK, Movement.NORMAL)
    assert answers(half_face_findings(LEFT, half)) == {
        ("raise_brows", LEFT): "absent",
        ("close_eyes", LEFT): "reduced",
        ("show_teeth", LEFT): "normal",
    }
    found = composite_findings(
        LEFT,
        rest={"eye": 0, "nasolabial fold": 0, "mouth": 0},
        movement=dict.fromkeys(MOVEMENTS, 5),
        synkinesis=dict.fromkeys(MOVEMENTS, 0),
    )
    assert set(answers(found).values()) == {"normal"}
    assert value(found, "facial_composite", LEFT) == (100.0, "Sunnybrook score")


@pytest.mark.parametrize("grade", MrcGrade)
def test_power_keeps_the_grades_between(grade):
    (found,) = power_findings("trapezius_power", grade, RIGHT)
    assert found.measurement.value == float(grade.value[0])
    assert (found.comment is None) is (len(grade.value) == 1)
    assert (found.response == "normal") is (grade is MrcGrade.FIVE)


def test_power_of_something_else_and_an_unknown_midline_part_are_refused():
    with pytest.raises(BadInput, match="sternomastoid_power"):
        power_findings("rinne", MrcGrade.FIVE, RIGHT)
    with pytest.raises(BadInput, match="uvula"):
        midline_findings("nose", RIGHT)
    assert answers(midline_findings("uvula", None)) == {("uvula_movement", None): "normal"}


def test_a_ring_of_the_face_speaks_only_when_it_agrees():
    outer = dict.fromkeys(["forehead", "outer cheek", "front of ear"], Sensation.ABSENT)
    inner = dict.fromkeys(["nose tip", "upper lip", "lower lip"], Sensation.NORMAL)
    onion = answers(facial_sensation_findings(RIGHT, {**outer, **inner}, modality="pin"))
    assert onion["pin_face_rim", RIGHT] == "absent"
    assert onion["pin_around_mouth", RIGHT] == "normal"
    half = {**inner, "upper lip": Sensation.ABSENT}
    found = answers(facial_sensation_findings(RIGHT, half, modality="pin"))
    assert ("pin_around_mouth", RIGHT) not in found
    with pytest.raises(BadInput):
        facial_sensation_findings(RIGHT, {"elbow": Sensation.NORMAL}, modality="pin")


def test_a_cough_is_worse_than_a_slow_swallow():
    safe = water_swallow_findings(WaterSwallow(150.0, 10.0, swallows=6))
    assert set(answers(safe).values()) == {"normal"}
    assert value(safe, "water_swallow") == (15.0, "mL/s")
    slow = water_swallow_findings(WaterSwallow(150.0, 50.0))
    assert answers(slow)["water_swallow", None] == "reduced"
    cough = water_swallow_findings(WaterSwallow(150.0, 10.0, coughed=True))
    assert answers(cough)["water_swallow", None] == "absent"
    assert cough[0].comment == "15.0 mL/s"
    left = answers(
        water_swallow_findings(WaterSwallow(150.0, 20.0, left_ml=50.0, interrupted=True))
    )
    assert left["swallow_volume", None] == "unfinished"
    assert left["swallow_stopped", None] == "stopped"


def test_movements_are_named_from_the_eye_and_both_eyes_go_together():
    grades = {(RIGHT, Gaze.RIGHT): -5.0, (LEFT, Gaze.RIGHT): -2.0, (LEFT, Gaze.UP_RIGHT): 2.0}
    found = graded_movement_findings(grades)
    assert answers(found) == {
        ("gaze_out", RIGHT): "absent",
        ("gaze_in", LEFT): "reduced",
        ("gaze_up_and_in", LEFT): "normal",
        ("gaze_together_sideways", RIGHT): "reduced",
    }
    assert value(found, "gaze_out", RIGHT) == (-4.0, "grade")
    assert found[0].comment == "does not reach the midline"


def test_deviations_name_the_larger_and_note_the_other():
    found = deviation_findings(
        [Deviation(Gaze.AHEAD, 3.0, -8.0), Deviation(Gaze.DOWN_LEFT, 12.0, -4.0)]
    )
    assert answers(found) == {
        ("alternate_cover_distance", None): "normal",
        ("alternate_cover_vertical", None): "left",
        ("prism_down_and_side_gaze", LEFT): "eso",
    }
    assert found[-1].comment == "also 4 prism dioptres left eye higher"
    assert value(found, "alternate_cover_vertical") == (8.0, "prism dioptre")


def test_the_corneal_reflection_within_its_error_is_straight():
    straight = reflection_findings(reflection_angle(RIGHT, 0.2))
    assert straight[0].response == "normal"
    assert reflection_findings(reflection_angle(RIGHT, 2.0))[0].response == "in"
    assert reflection_findings(reflection_angle(RIGHT, -2.0))[0].response == "out"


def test_double_vision_of_one_eye_is_not_recorded_as_double_vision():
    account = DoubleVision(Gaze.RIGHT, remains_with_one_eye_covered=True)
    assert answers(double_vision_findings(account)) == {
        ("ask_double_vision", None): "could_not_be_tested"
    }


def test_the_near_point_by_the_bands_of_the_catalogue():
    assert answers(near_point_findings(6.0)) == {("convergence_near_point", None): "normal"}
    assert near_point_findings(20.0)[0].response == "receded"
    with pytest.raises(BadInput):
        near_point_findings(120.0)


def test_end_point_beats_are_normal_and_downbeat_is_sought_looking_down():
    beats = {Gaze.RIGHT: FastPhase(RIGHT), Gaze.LEFT: FastPhase(LEFT), Gaze.AHEAD: None}
    end = answers(nystagmus_findings(Nystagmus(beats, only_at_end_of_gaze=True)))
    assert end["nystagmus_side_gaze", RIGHT] == "normal"
    held = answers(nystagmus_findings(Nystagmus(beats)))
    assert held["nystagmus_side_gaze", LEFT] == "present"
    down = Nystagmus({Gaze.AHEAD: None, Gaze.DOWN_LEFT: FastPhase(upward=-1)})
    assert answers(nystagmus_findings(down))["nystagmus_vertical_beat", None] == "down"
    both = {Gaze.DOWN_LEFT: FastPhase(upward=-1), Gaze.DOWN_RIGHT: FastPhase(upward=1)}
    assert answers(nystagmus_findings(Nystagmus(both)))["nystagmus_vertical_beat", None] == (
        "abnormal"
    )
    assert answers(nystagmus_findings(Nystagmus({}))) == {}


def test_a_beat_the_catalogue_has_no_word_for_is_abnormal_with_a_comment():
    seen = PositionalObservation(Manoeuvre.HEAD_HANGING, RIGHT, FastPhase(torsion=LEFT))
    (found,) = positional_findings([seen])
    assert (found.response, found.comment) == ("abnormal", "direction other than those listed")
    one_way = [PositionalObservation(Manoeuvre.ROLL, ear, FastPhase(RIGHT)) for ear in Side]
    assert positional_findings(one_way)[0].response == "could_not_be_tested"
    away = [PositionalObservation(Manoeuvre.ROLL, ear, FastPhase(ear.other)) for ear in Side]
    assert answers(positional_findings(away)) == {("supine_roll", None): "apogeotropic"}
