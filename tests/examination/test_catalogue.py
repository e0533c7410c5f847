"""The catalogue of tests: what it must hold, and how its loader refuses a bad row."""

from __future__ import annotations

import copy
import re
from importlib import import_module
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.anatomy import load_atlas
from decussate.errors import BadInput
from decussate.examination.catalogue import Catalogue, load_catalogue, read_catalogue
from decussate.examination.document import Story
from decussate.measures.distance_acuity import LowVision

CATALOGUE = load_catalogue()
SIGNS = load_atlas().signs
WITH_BANDS = [test for test in CATALOGUE if test.measurement and test.measurement.bands]

# What the project's own specification of the catalogue asks for, part by part, and the tests that
# answer it. A coverage check: the specification is ours, so it is no outside source.
COVERAGE = {
    "preparation": """consent ambient_light distance_glasses reading_glasses hearing_aids alertness
        neck_safe preferred_language old_squint_or_lazy_eye artificial_eye known_deaf_ear dentures
        previous_facial_palsy eye_drops_and_drugs""",
    "look first": """head_posture_tilt head_posture_turn upper_lid_position levator_excursion
        upper_lid_retraction lid_lag sustained_upgaze eye_prominence eye_prominence_difference
        eye_position eye_height face_at_rest scars ear_and_palate_skin""",
    "I smell": "nostril_patency smell_detection smell_identification",
    "II distance acuity": "chart_distance distance_acuity pinhole_acuity",
    "II near acuity": "near_acuity near_reading_distance",
    "II colour": """colour_plates red_comparison red_pin_upper_temporal red_pin_lower_temporal
        red_pin_upper_nasal red_pin_lower_nasal""",
    "II fields, both eyes open": """binocular_field_upper binocular_field_lower
        double_stimulation_visual""",
    "II fields, each eye": """peripheral_upper_temporal peripheral_lower_temporal
        peripheral_upper_nasal peripheral_lower_nasal red_pin_centre amsler_grid blind_spot
        face_half_seen""",
    "II fundus": """red_reflex opacity_place disc_colour disc_margin disc_swelling_grade cup_to_disc
        venous_pulsation retinal_vessels retinal_haemorrhage retina_superior_temporal
        retina_inferior_temporal retina_superior_nasal retina_inferior_nasal fovea""",
    "pupils": """pupil_size_light pupil_size_dark pupil_shape pupil_comparison
        pupil_comparison_by_light light_direct light_consensual swinging_light near_response
        dilatation_speed light_near_comparison iris_movement""",
    "III IV VI movements": """gaze_out gaze_in gaze_up gaze_down gaze_up_and_out gaze_up_and_in
        gaze_down_and_out gaze_down_and_in gaze_together_sideways gaze_together_up
        gaze_together_down ask_double_vision images_farthest_apart image_arrangement outer_image
        cover_uncover alternate_cover_distance alternate_cover_near prism_up_gaze prism_down_gaze
        prism_side_gaze prism_up_and_side_gaze prism_down_and_side_gaze prism_head_tilt
        saccade_inward saccade_outward saccade_vertical saccade_size pursuit convergence
        convergence_near_point dolls_head_horizontal dolls_head_vertical closure_eye_roll
        sustained_upgaze ice_pack""",
    "nystagmus": """nystagmus_straight_ahead nystagmus_side_gaze nystagmus_vertical_beat
        nystagmus_torsional_beat nystagmus_waveform nystagmus_degree nystagmus_fixation
        nystagmus_each_eye outward_eye_in_side_gaze""",
    "V sensation": """touch_forehead touch_cheek touch_jaw pin_forehead pin_cheek pin_jaw
        pin_around_mouth pin_face_rim tongue_touch""",
    "V motor": "jaw_muscle_bulk jaw_clench jaw_opening jaw_tap",
    "corneal reflex": "corneal_touch_direct corneal_touch_other_eye corneal_touch_felt",
    "VII": """face_at_rest blink closure_at_rest raise_brows close_eyes show_teeth blow_cheeks
        tighten_neck emotional_smile taste_front sound_tolerance tear_strip unwanted_movement
        facial_grade facial_composite""",
    "VIII hearing": """ear_canal ear_drum whisper_near whisper_far fork_frequency rinne rinne_method
        weber audiogram_average audiogram_kind""",
    "VIII balance": """nystagmus_straight_ahead nystagmus_side_gaze head_impulse
        alternate_cover_vertical positional_test positional_latency positional_duration
        positional_symptoms positional_reversal positional_fatigue supine_roll supine_roll_stronger
        walking stance""",
    "IX X": """cough voice voice_wet sustained_note palate_at_rest palate_rise uvula_movement
        nasal_escape throat_touch gag water_swallow swallow_volume swallow_time swallow_count
        swallow_cough swallow_wet_voice swallow_stopped""",
    "XI": "sternomastoid_bulk sternomastoid_power trapezius_bulk trapezius_power scapula",
    "XII": """tongue_bulk tongue_flicker tongue_involuntary tongue_protrusion tongue_speed
        tongue_power lingual_speech""",
    "neighbours": """arm_power leg_power tendon_reflexes plantar body_pin finger_nose heel_shin
        walking face_sweating consciousness neck_flexion temperature ask_eye_pain
        ask_pain_on_moving_eye ask_chewing_pain ask_headache hiccup scalp_touch neck_and_limb_power
        breathing ask_fatigability""",
    "story": "story_age story_sex story_onset story_course story_context",
}

# Tests that must not be reached without their warning.
CAUTIONED = {
    "sharps": "pin_forehead pin_cheek pin_jaw pin_around_mouth pin_face_rim body_pin",
    "cornea": "corneal_touch_direct corneal_touch_other_eye corneal_touch_felt",
    "contact_lenses": "corneal_touch_direct corneal_touch_other_eye corneal_touch_felt tear_strip",
    "neck": """neck_safe head_impulse head_impulse_posterior dolls_head_horizontal
        dolls_head_vertical positional_test supine_roll vertical_deviation_by_tilt prism_head_tilt
        neck_flexion sternomastoid_power neck_and_limb_power""",
    "positional": """positional_test positional_latency positional_duration positional_symptoms
        positional_reversal positional_fatigue supine_roll supine_roll_stronger""",
    "swallowing": """water_swallow swallow_volume swallow_time swallow_count swallow_cough
        swallow_wet_voice swallow_stopped taste_front""",
    "gag": "gag throat_touch",
    "dilating_drops": """hydroxyamphetamine_drops disc_margin retinal_vessels fovea red_reflex
        retina_superior_temporal eye_drops_and_drugs""",
    "diagnostic_drops": """weak_pilocarpine_drops strong_pilocarpine_drops apraclonidine_drops
        hydroxyamphetamine_drops forced_duction""",
    "cold_water": "caloric_test",
    "falls": "stance stance_eyes_closed walking positional_test",
    "ice": "ice_pack",
    "bright_light": "red_reflex disc_margin fovea swinging_light light_direct",
    "breathing": "breathing",
    "trigger_zones": "touch_cheek pin_cheek ask_face_pain",
}


# ---------------------------------------------------------------- what the catalogue holds


@pytest.mark.parametrize("part", COVERAGE)
def test_every_part_of_the_examination_is_covered(part: str) -> None:
    missing = [name for name in COVERAGE[part].split() if name not in CATALOGUE]
    assert not missing


def test_every_sign_is_revealed_by_a_test() -> None:
    assert set(SIGNS) == {test.sign for test in CATALOGUE if test.sign}


@pytest.mark.parametrize("caution", CAUTIONED)
def test_cautions_stand_on_the_tests_they_concern(caution: str) -> None:
    assert caution in CATALOGUE.cautions
    without = [
        name for name in CAUTIONED[caution].split() if caution not in CATALOGUE.test(name).cautions
    ]
    assert not without


def test_anything_sharp_carries_the_warning_for_sharps() -> None:
    sharp = [test for test in CATALOGUE if any("neurological pin" in item for item in test.kit)]
    assert len(sharp) == len(CAUTIONED["sharps"].split())
    for test in sharp:
        assert "sharps" in test.cautions
        assert "sharps bin" in test.kit


def test_every_caution_concerns_a_test() -> None:
    assert set(CATALOGUE.cautions) == {name for test in CATALOGUE for name in test.cautions}


def test_every_test_tells_the_examiner_what_to_do_and_say() -> None:
    for test in CATALOGUE:
        assert test.technique.endswith("."), test.id
        assert not test.technique.startswith("As "), f"{test.id} leans on another test"
        assert test.say.endswith((".", "?")), test.id
        assert test.story or test.normal.endswith("."), test.id
        assert not test.sign or test.formal.endswith("."), test.id
        assert test.abbreviations, test.id


def test_story_rows_are_the_fields_of_the_story() -> None:
    told = [test.story for test in CATALOGUE if test.story]
    assert sorted(told) == sorted(Story.model_fields)
    assert all(not test.codes for test in CATALOGUE if test.story)


def test_right_and_left_stand_in_codes_in_pairs_and_in_no_id() -> None:
    for test in CATALOGUE:
        words = [set(code.split("_")) for code in test.responses]
        rights = sum("right" in word for word in words)
        assert rights == sum("left" in word for word in words), test.id
        assert not {"right", "left"} & set(test.id.split("_")), test.id


def test_a_direction_is_the_same_word_as_code_and_state() -> None:
    for test in CATALOGUE:
        for side in ("right", "left"):
            if test.sign and side in test.responses:
                assert test.state_of(side) == side, test.id


def test_tests_that_share_a_sign_share_its_sides() -> None:
    for test in CATALOGUE:
        if test.sign:
            assert test.paired == SIGNS[test.sign].paired


def test_groups_hold_each_test_once_in_order() -> None:
    grouped = [test for group in CATALOGUE.groups.values() for test in group]
    assert sorted(test.id for test in grouped) == sorted(CATALOGUE.tests)
    assert next(iter(CATALOGUE)).nerve == "preparation"
    assert all(CATALOGUE.groups.values())


def test_abbreviations_lead_to_their_test() -> None:
    for short, name in (
        ("VA", "distance_acuity"),
        ("RAPD", "swinging_light"),
        ("hit", "head_impulse"),
    ):
        assert CATALOGUE.by_abbreviation[short.lower()].id == name


def test_an_abnormal_state_of_unknown_grade_may_be_recorded_only_where_there_is_a_sign() -> None:
    assert "abnormal" in CATALOGUE.test("light_direct").codes
    assert CATALOGUE.test("light_direct").state_of("abnormal") is None
    assert "abnormal" not in CATALOGUE.test("scars").codes
    with pytest.raises(BadInput, match="expected one of normal, present"):
        CATALOGUE.test("scars").state_of("abnormal")


def test_detection_follows_the_state() -> None:
    graded = CATALOGUE.test("light_direct").accuracy
    assert graded
    assert graded.abnormal_given("partial") < graded.abnormal_given("complete")
    directed = CATALOGUE.test("uvula_movement").accuracy
    assert directed
    assert directed.abnormal_given("left") == directed.abnormal_given("right")
    with pytest.raises(BadInput, match="abnormal state"):
        graded.abnormal_given("normal")


def test_an_unknown_test_is_named() -> None:
    with pytest.raises(BadInput, match="'light_directt'"):
        CATALOGUE.test("light_directt")


# ---------------------------------------------------------------- measured values


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_any_value_within_limits_means_one_response(data: st.DataObject) -> None:
    test = data.draw(st.sampled_from(WITH_BANDS))
    measured = test.measurement
    assert measured
    value = data.draw(st.floats(measured.low, measured.high))
    assert measured.response_for(value) in test.responses


@pytest.mark.parametrize("test", WITH_BANDS, ids=lambda test: test.id)
def test_values_beyond_the_limits_are_refused(test) -> None:
    low, high = test.measurement.low, test.measurement.high
    for value in (low - 0.5, high + 0.5, float("nan")):
        with pytest.raises(BadInput, match="measured value"):
            test.measurement.response_for(value)


@pytest.mark.parametrize(
    ("name", "value", "response"),
    [
        ("gaze_out", -4, "absent"),  # reaches the midline only
        ("gaze_out", -1, "reduced"),
        ("gaze_out", 0, "normal"),
        ("gaze_out", 2, "normal"),  # over-action is not limitation
        ("arm_power", 0, "absent"),
        ("arm_power", 1, "absent"),  # a flicker moves nothing
        ("arm_power", 4.5, "reduced"),
        ("arm_power", 5, "normal"),
        ("water_swallow", 10.0, "normal"),  # abnormal is below 10 mL/s
        ("water_swallow", 9.375, "reduced"),
        ("facial_grade", 1, "normal"),
        ("facial_grade", 6, "grade_6"),
        ("consciousness", 15, "normal"),
        ("consciousness", 14, "present"),
        ("temperature", 38, "present"),
        ("disc_swelling_grade", 0, "normal"),
        ("disc_swelling_grade", 1, "present"),
        ("distance_acuity", 0.176, "normal"),  # 6/9
        ("distance_acuity", 0.301, "reduced"),  # 6/12
        ("distance_acuity", 1.301, "absent"),  # 3/60
        ("distance_acuity", "HM", "absent"),
        ("upper_lid_position", 4, "normal"),
        ("upper_lid_position", 1, "partial"),
        ("upper_lid_position", -5, "complete"),
        ("whisper_far", 0.5, "normal"),  # three of six is a pass
        ("whisper_far", 2 / 6, "reduced"),
    ],
)
def test_limits_fall_where_they_should(name: str, value: float | str, response: str) -> None:
    measured = CATALOGUE.test(name).measurement
    assert measured
    assert measured.response_for(value) == response


def test_a_word_that_is_no_value_is_refused() -> None:
    measured = CATALOGUE.test("distance_acuity").measurement
    assert measured
    with pytest.raises(BadInput, match="CF, HM, PL, NPL"):
        measured.response_for("dim")


def test_low_vision_words_are_those_of_the_acuity_module() -> None:
    measured = CATALOGUE.test("distance_acuity").measurement
    assert measured
    assert set(measured.words) == set(LowVision)


def test_every_reader_of_text_can_read() -> None:
    readers = {test.measurement.reader for test in CATALOGUE if test.measurement} - {""}
    assert readers == {"distance_acuity", "near_acuity"}
    module = {"distance_acuity": "acuity_notation", "near_acuity": "near_acuity"}
    for reader in readers:
        assert callable(import_module(f"decussate.measures.{module[reader]}").parse)


# ---------------------------------------------------------------- bad rows

GOOD = """
id: light_direct
name: Direct light reaction
nerve: pupils
sides: each
sign: light_direct
technique: Shine a light.
say: Look far away.
kit: [pen torch]
cautions: [bright_light]
seconds: 5
responses:
  normal: {label: brisk, state: normal}
  reduced: {label: sluggish, state: partial}
  absent: {label: no reaction, state: complete}
measurement:
  unit: mm
  kind: number
  low: 0
  high: 4
  source: judgement
  bands:
    - {from: 0, to: 1, response: absent}
    - {from: 1, to: 2, response: reduced}
    - {from: 2, to: 4, response: normal}
normal: Brisk.
accuracy: {specificity: 0.9, partial: 0.5, complete: 0.9, source: judgement}
formal: Pupillometry.
abbreviations: [direct]
source: common practice
"""
CAUTION = (
    "- {id: bright_light, name: Bright light, text: Keep it brief., source: common practice}\n"
)


def _read(folder: Path, *rows: dict, cautions: str = CAUTION) -> Catalogue:
    (folder / "tests").mkdir()
    (folder / "cautions.yaml").write_text(cautions)
    for number, row in enumerate(rows):
        (folder / "tests" / f"{number}_part.yaml").write_text(yaml.safe_dump([row]))
    return read_catalogue(folder, SIGNS)


def _good(**changes: object) -> dict:
    return _changed(yaml.safe_load(GOOD), changes)


def _changed(row: dict, changes: dict[str, object]) -> dict:
    for path, value in changes.items():
        *parents, last = path.split("__")
        part = row
        for parent in parents:
            part = part[int(parent) if parent.isdigit() else parent]
        if value is None:
            del part[last]
        else:
            part[last] = value
    return row


GRADING = {
    "begins": {"slight": 1.5, "moderate": 1.2, "severe": 0.9, "complete": 0.5},
    "ends": 0,
    "error": 0.3,
    "step": 0.5,
    "source": "judgement",
    "basis": "A guess.",
}


def _graded(**changes: object) -> dict:
    row = _good(measurement__grading=copy.deepcopy(GRADING))
    return _changed(row, {f"measurement__grading__{path}": to for path, to in changes.items()})


def test_the_good_row_is_read(tmp_path: Path) -> None:
    assert [test.id for test in _read(tmp_path, _good())] == ["light_direct"]


@pytest.mark.parametrize(
    ("row", "field", "found", "expected"),
    [
        (_good(sign="light_direkt"), "sign", "light_direkt", "light_direct"),
        (_good(sides="whole"), "sides", "whole", "each, as the sign light_direct has it"),
        (_good(sides="both"), "sides", "both", "each, whole"),
        (_good(nerve="XIII"), "nerve", "XIII", "XII"),
        (_good(responses__absent__state="gone"), "state", "gone", "normal, partial, complete"),
        (_good(responses__absent=None), "responses", "normal", "complete"),
        (_good(responses__normal=None), "responses", "reduced", "`normal`"),
        (_good(responses__normal__state="partial"), "responses", "partial", "normal"),
        (
            _good(responses__abnormal={"label": "abnormal", "state": "partial"}),
            "responses",
            "abnormal",
            "status",
        ),
        (_good(responses__reduced="sluggish"), "reduced", "sluggish", "label"),
        (_good(cautions=["bright"]), "cautions", "bright", "bright_light"),
        (_good(source="a colleague"), "source", "a colleague", "bibliography"),
        (_good(accuracy__source="a colleague"), "source", "a colleague", "bibliography"),
        (_good(accuracy__specificity=1.5), "specificity", "1.5", "from 0 to 1"),
        (_good(accuracy__specificity="high"), "specificity", "high", "from 0 to 1"),
        (_good(accuracy__partial=None), "partial", "nothing", "a value"),
        (_good(accuracy__partial=0.05), "partial", "0.05", "more than 0.1"),
        (_good(accuracy__present=0.5), "field name", "present", "partial"),
        (_good(accuracy=None), "accuracy", "nothing", "a value"),
        (_good(technique=None), "technique", "nothing", "a value"),
        (_good(say=" "), "say", " ", "words"),
        (_good(formal=None), "formal", "nothing", "a value"),
        (_good(kit="torch"), "kit", "torch", "list"),
        (_good(seconds=0), "seconds", "0", "from 1"),
        (_good(tecnique="x"), "field name", "tecnique", "technique"),
        (_good(measurement__kind="guess"), "kind", "guess", "number"),
        (_good(measurement__kind="text"), "reader", "None", "reader"),
        (_good(measurement__bands__1__from=1.5), "bands, from", "1.5", "no gap"),
        (_good(measurement__bands__2__to=3), "bands, to", "3", "4"),
        (_good(measurement__bands__0__to=0), "bands, to", "0", "more than 0"),
        (_good(measurement__bands__2__to=9), "to", "9", "to 4"),
        (_good(measurement__bands__0__response="none"), "response", "none", "absent"),
        (_good(measurement__words={"CF": "gone"}), "words", "gone", "absent"),
        (_good(measurement__source="memory"), "source", "memory", "bibliography"),
        (_graded(begins__slight=1.6), "begins", "1.6", "1.5, where the band of `normal` ends"),
        (_graded(begins__severe=1.4), "begins", "1.4", "only rise or only fall"),
        (_graded(begins__severe=None), "severe", "nothing", "a value"),
        (_graded(begins__trace=0.1), "field name", "trace", "complete, moderate, severe, slight"),
        (_graded(ends=0.75), "begins", "0.5", "only rise or only fall"),
        (_graded(error=0), "error", "0", "from 0.001"),
        (_graded(source="memory"), "source", "memory", "bibliography"),
        (_graded(basis=None), "basis", "nothing", "a value"),
        (_good(sign=None, accuracy=None), "state", "complete", "no sign"),
        (_good(story="age"), "story", "age", "either"),
        (_good(sums_up=["light_directt"]), "sums_up", "light_directt", "a test of the catalogue"),
        (_good(sums_up=["light_direct.far"]), "sums_up", "far", "same, other"),
        (_good(sums_up="light_direct"), "sums_up", "light_direct", "a list of words"),
    ],
    ids=lambda part: part if isinstance(part, str) else "",
)
def test_a_bad_row_is_refused(
    tmp_path: Path, row: dict, field: str, found: str, expected: str
) -> None:
    with pytest.raises(BadInput) as caught:
        _read(tmp_path, row)
    error = caught.value
    assert error.where.startswith("0_part.yaml, line 1 (light_direct)")
    assert field in error.field
    assert found in str(error.found)
    assert expected in error.expected


def test_a_grading_is_read_from_the_mildest_grade_on(tmp_path: Path) -> None:
    (test,) = _read(tmp_path, _graded())
    assert test.measurement
    assert test.measurement.grading
    assert test.measurement.grading.begins == (1.5, 1.2, 0.9, 0.5)


def test_one_id_in_two_files_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"1_part.yaml, line 1 \(light_direct\): id: found 'light_"):
        _read(tmp_path, _good(), _good(abbreviations=["second"]))


def test_one_id_twice_in_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "tests").mkdir()
    (tmp_path / "cautions.yaml").write_text(CAUTION)
    (tmp_path / "tests" / "a.yaml").write_text(yaml.safe_dump([_good(), _good()]))
    with pytest.raises(BadInput, match=r"a.yaml, line \d+ \(light_direct\): id: found"):
        read_catalogue(tmp_path, SIGNS)


def test_one_abbreviation_for_two_tests_is_refused(tmp_path: Path) -> None:
    second = _good(id="light_consensual", sign="light_consensual", abbreviations=["Direct"])
    with pytest.raises(BadInput, match="found 'Direct', expected one not used by light_direct"):
        _read(tmp_path, _good(), second)


def test_a_caution_without_words_is_refused(tmp_path: Path) -> None:
    empty = "- {id: bright_light, name: Bright light, text: '', source: common practice}\n"
    with pytest.raises(BadInput, match=re.escape("cautions.yaml, line 1 (bright_light): text")):
        _read(tmp_path, _good(), cautions=empty)
