"""One measurement of each kind for a given side, with the findings it gives and the place it fits.

Every case is built for the right or the left, so that a case and its mirror are two measurements,
not one finding turned round.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from audiogram_strategies import air, with_bone
from decussate.examination.record import Finding
from decussate.measures import acuity_notation, near_acuity
from decussate.measures.as_findings.acuity import distance_acuity_findings, near_acuity_findings
from decussate.measures.as_findings.eye_movements import (
    deviation_findings,
    double_vision_findings,
    graded_movement_findings,
    near_point_findings,
    reflection_findings,
    three_step_findings,
)
from decussate.measures.as_findings.face import (
    composite_findings,
    facial_grade_findings,
    half_face_findings,
)
from decussate.measures.as_findings.hearing import (
    audiogram_findings,
    fork_findings,
    whisper_findings,
)
from decussate.measures.as_findings.lids_and_orbit import lid_findings, protrusion_findings
from decussate.measures.as_findings.nystagmus import nystagmus_findings
from decussate.measures.as_findings.positional_test import positional_findings
from decussate.measures.as_findings.power import deviation_findings as midline_findings
from decussate.measures.as_findings.power import power_findings
from decussate.measures.as_findings.pupils import (
    afferent_defect_findings,
    pupil_reaction_findings,
    pupil_size_findings,
    swinging_light_findings,
)
from decussate.measures.as_findings.sensation_and_reflexes import (
    corneal_findings,
    facial_sensation_findings,
    jaw_jerk_findings,
)
from decussate.measures.as_findings.swallow import water_swallow_findings
from decussate.measures.as_findings.visual_field import (
    eye_pattern_findings,
    field_outline_findings,
    field_pattern_findings,
    red_desaturation_findings,
    scotoma_findings,
)
from decussate.measures.double_vision import DoubleVision, Orientation
from decussate.measures.eye_alignment import reflection_angle
from decussate.measures.facial_composite import MOVEMENTS
from decussate.measures.facial_function import (
    EyeClosure,
    FaceObservations,
    Forehead,
    Mouth,
    Rest,
)
from decussate.measures.facial_pattern import HalfFace, Movement
from decussate.measures.facial_sensation import Sensation
from decussate.measures.field_pattern import classify_eye
from decussate.measures.field_pattern_both import classify_fields
from decussate.measures.fork_prediction import Fork
from decussate.measures.lids_and_orbit import Lids, Protrusion, protrusion_groups
from decussate.measures.muscle_mechanics import Muscle
from decussate.measures.nystagmus import FastPhase, Nystagmus
from decussate.measures.ocular_alignment import Deviation, EyeMuscle, Gaze, predicted_deviations
from decussate.measures.positional_observation import Manoeuvre, PositionalObservation
from decussate.measures.power import MrcGrade
from decussate.measures.pupil_reactions import (
    Reaction,
    ReflexArcs,
    expected_reactions,
    swinging_light,
)
from decussate.measures.pupils import PupilSizes, afferent_defect_by_filter
from decussate.measures.reflexes import CornealArcs, JawJerk, corneal_response
from decussate.measures.sex import Sex
from decussate.measures.swallow import WaterSwallow
from decussate.measures.three_step import predicted_steps
from decussate.measures.tuning_forks import ForkFindings, Rinne, Weber
from decussate.measures.visual_field_confrontation import red_desaturation
from decussate.measures.visual_field_directions import Quadrant
from decussate.measures.visual_field_map import map_from_outline
from decussate.measures.visual_field_outline import normal_outline, outline_from_quadrants
from decussate.measures.visual_field_scotoma import Scotoma
from decussate.measures.whisper import WhisperTest
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT


@dataclass(frozen=True)
class Case:
    """A measurement, the findings it gives for each side, and the place they should favour."""

    name: str
    findings: Callable[[Side], tuple[Finding, ...]]
    place: str
    other_side: bool = False
    """Whether the place lies on the other side than the measurement."""
    sided: bool = True
    """Whether the measurement tells right from left."""

    def __str__(self) -> str:
        return self.name


def pair(side: Side, affected: object, other: object) -> tuple[object, object]:
    """Give the values for the right and the left."""
    return (affected, other) if side is RIGHT else (other, affected)


def _acuity(side: Side) -> tuple[Finding, ...]:
    return (
        *distance_acuity_findings(side, acuity_notation.parse("CF 1 m"), technique="6 m chart"),
        *near_acuity_findings(side, near_acuity.parse("N48 at 33 cm")),
        *distance_acuity_findings(side.other, acuity_notation.parse("6/5")),
    )


def _refraction(side: Side) -> tuple[Finding, ...]:
    blurred, sharp = acuity_notation.parse("6/36"), acuity_notation.parse("6/6")
    return distance_acuity_findings(side, blurred, sharp)


def _pupil_sizes(side: Side) -> tuple[Finding, ...]:
    """Sympathetic: the pupil of this side does not widen in the dark."""
    light, dark = pair(side, 2.5, 3.0), pair(side, 4.0, 6.5)
    return pupil_size_findings(PupilSizes(*light), PupilSizes(*dark))


def _efferent(side: Side) -> tuple[Finding, ...]:
    arcs = ReflexArcs(**{f"efferent_{side}": Reaction.ABSENT})
    near = {f"near_{side}": Reaction.ABSENT, f"near_{side.other}": Reaction.BRISK}
    light, dark = pair(side, 6.5, 3.0), pair(side, 6.5, 6.0)
    return (
        *pupil_reaction_findings(expected_reactions(arcs), **near),
        *pupil_size_findings(PupilSizes(*light), PupilSizes(*dark)),
    )


def _afferent(side: Side) -> tuple[Finding, ...]:
    return afferent_defect_findings(afferent_defect_by_filter(side, 1.2))


def _lids(side: Side) -> tuple[Finding, ...]:
    margin, levator = pair(side, 0.5, 4.0), pair(side, 14.0, 15.0)
    return lid_findings(Lids(*margin, *levator))


def _protrusion(side: Side) -> tuple[Finding, ...]:
    group = protrusion_groups()[0]
    return protrusion_findings(Protrusion(*pair(side, 27.0, 16.0)), group=group, sex=Sex.MALE)


def _homonymous(side: Side) -> tuple[Finding, ...]:
    """Everything to this side of fixation lost in both eyes, from the map of a whole field."""
    away = 1 if side is RIGHT else -1
    maps = []
    for eye in (RIGHT, LEFT):
        whole = map_from_outline(normal_outline(eye))
        samples = tuple(
            type(s)(s.x_deg, s.y_deg, float(s.x_deg * away > 0.0), s.weight_sr)
            for s in whole.samples
        )
        maps.append(type(whole)(eye, samples))
    return field_pattern_findings(classify_fields(*maps), technique="perimetry")


def _temporal(side: Side) -> tuple[Finding, ...]:
    """Both temporal halves lost, by fingertip against the examiner's own field."""
    found: list[Finding] = []
    for eye in (side, side.other):
        seen = {q: 0.0 if "temporal" in q else 1.0 for q in Quadrant}
        patient = outline_from_quadrants(eye, seen, technique="finger")
        found += field_outline_findings(patient, normal_outline(eye))
    return tuple(found)


def _red(side: Side) -> tuple[Finding, ...]:
    """Red dull in the temporal quadrants of both eyes."""
    found: list[Finding] = []
    for eye in (side, side.other):
        percent = {q: 40.0 if "temporal" in q else 100.0 for q in Quadrant}
        found += red_desaturation_findings(red_desaturation(eye, percent))
    return tuple(found)


def _scotoma(side: Side) -> tuple[Finding, ...]:
    return scotoma_findings(Scotoma(side, 0.0, 0.0, 12.0, 12.0))


def _one_eye(side: Side) -> tuple[Finding, ...]:
    whole = map_from_outline(normal_outline(side), scotomas=[Scotoma(side, 0.0, 0.0, 16.0, 16.0)])
    return eye_pattern_findings(classify_eye(whole))


def _audiogram(side: Side) -> tuple[Finding, ...]:
    levels, bone = pair(side, 45.0, 5.0), pair(side, 5.0, 5.0)
    return audiogram_findings(_masked(with_bone(air(*levels), *bone)))


def _cochlea(side: Side) -> tuple[Finding, ...]:
    levels = pair(side, 65.0, 5.0)
    return audiogram_findings(_masked(with_bone(air(*levels), *levels)))


def _masked(audiogram):
    """The same levels, every threshold taken with the other ear masked."""
    fields = ("side", "frequency_hz", "conduction", "level_db_hl")
    thresholds = {
        (t.side, t.frequency_hz, t.conduction): type(t)(
            *(getattr(t, name) for name in fields), masked=True
        )
        for t in audiogram.thresholds
    }
    return type(audiogram)(tuple(thresholds.values()))


def _forks(side: Side) -> tuple[Finding, ...]:
    rinnes = pair(side, Rinne.NEGATIVE, Rinne.POSITIVE)
    return fork_findings(ForkFindings(*rinnes, Weber(side.value)), Fork.F512_STEEL)


def _whisper(side: Side) -> tuple[Finding, ...]:
    return (
        *whisper_findings(WhisperTest(side, 0, 0)),
        *whisper_findings(WhisperTest(side, 1, 1, distance_m=0.15)),
        *whisper_findings(WhisperTest(side.other, 3)),
    )


def _face(side: Side) -> tuple[Finding, ...]:
    seen = FaceObservations(
        side, Rest.ASYMMETRICAL, Forehead.NONE, EyeClosure.INCOMPLETE, Mouth.SLIGHT_MOVEMENT
    )
    return facial_grade_findings(seen)


def _lower_face(side: Side) -> tuple[Finding, ...]:
    half = HalfFace(brow=Movement.NORMAL, eye=Movement.NORMAL, mouth=Movement.WEAK)
    return (*half_face_findings(side, half), *half_face_findings(side.other, HalfFace()))


def _composite(side: Side) -> tuple[Finding, ...]:
    return composite_findings(
        side,
        rest={"eye": 1, "nasolabial fold": 2, "mouth": 1},
        movement=dict.fromkeys(MOVEMENTS, 1),
        synkinesis=dict.fromkeys(MOVEMENTS, 0),
    )


def _accessory(side: Side) -> tuple[Finding, ...]:
    return (
        *power_findings("sternomastoid_power", MrcGrade.TWO, side),
        *power_findings("trapezius_power", MrcGrade.FOUR_MINUS, side),
        *power_findings("arm_power", MrcGrade.FIVE, side),
    )


def _tongue(side: Side) -> tuple[Finding, ...]:
    return midline_findings("tongue on protrusion", side)


def _second_division(side: Side) -> tuple[Finding, ...]:
    felt = {"forehead": "normal", "cheek": "absent", "chin": "normal", "upper lip": "absent"}
    found = {area: Sensation(seen) for area, seen in felt.items()}
    return (
        *facial_sensation_findings(side, found, modality="touch"),
        *facial_sensation_findings(side, found, modality="pin"),
    )


def _corneal(side: Side) -> tuple[Finding, ...]:
    """The afferent of this side fails: its touch is not felt and neither lid blinks."""
    blinked = corneal_response(CornealArcs(afferent=frozenset({side})))
    return corneal_findings(blinked, {side: False, side.other: True})


def _jaw_jerk(side: Side) -> tuple[Finding, ...]:
    return jaw_jerk_findings(JawJerk.CLONIC)


def _swallow(side: Side) -> tuple[Finding, ...]:
    return water_swallow_findings(WaterSwallow(150.0, 30.0, swallows=15, coughed=True))


def _abducens(side: Side) -> tuple[Finding, ...]:
    out = Gaze.RIGHT if side is RIGHT else Gaze.LEFT
    grades = {(eye, gaze): 0.0 for eye in (side, side.other) for gaze in Gaze}
    return graded_movement_findings({**grades, (side, out): -4.0})


def _gaze_palsy(side: Side) -> tuple[Finding, ...]:
    towards = Gaze.RIGHT if side is RIGHT else Gaze.LEFT
    grades = {(eye, gaze): 0.0 for eye in (side, side.other) for gaze in Gaze}
    return graded_movement_findings({**grades, (RIGHT, towards): -4.0, (LEFT, towards): -4.0})


def _prisms(side: Side) -> tuple[Finding, ...]:
    """The whole cover test of a fourth-nerve palsy, as the model of the muscles predicts it."""
    weak = {EyeMuscle(side, Muscle.SUPERIOR_OBLIQUE): 0.7}
    seen = [d for d in predicted_deviations(weak, side.other) if d is not None]
    rounded = [Deviation(d.gaze, round(d.eso_pd), round(d.right_over_left_pd)) for d in seen]
    return deviation_findings(rounded)


def _three_steps(side: Side) -> tuple[Finding, ...]:
    return three_step_findings(predicted_steps(EyeMuscle(side, Muscle.SUPERIOR_OBLIQUE)))


def _double(side: Side) -> tuple[Finding, ...]:
    out = Gaze.RIGHT if side is RIGHT else Gaze.LEFT
    return double_vision_findings(DoubleVision(out, Orientation.HORIZONTAL, outer_image=side))


def _turned_in(side: Side) -> tuple[Finding, ...]:
    return reflection_findings(reflection_angle(side, 2.0))


def _near_point(side: Side) -> tuple[Finding, ...]:
    return near_point_findings(20.0)


def _nystagmus(side: Side) -> tuple[Finding, ...]:
    """Vestibular: beats away from the failing side, more on looking that way."""
    beat = FastPhase(side.other, torsion=side.other)
    towards, away = (Gaze.LEFT, Gaze.RIGHT) if side is RIGHT else (Gaze.RIGHT, Gaze.LEFT)
    beats = {Gaze.AHEAD: beat, towards: beat, away: None}
    return nystagmus_findings(Nystagmus(beats, fixation_suppresses=True))


def _positional(side: Side) -> tuple[Finding, ...]:
    return positional_findings(
        [
            PositionalObservation(
                Manoeuvre.HEAD_HANGING,
                side,
                FastPhase(upward=1, torsion=side),
                latency_s=4.0,
                duration_s=20.0,
                reverses_on_sitting=True,
                fatigues=True,
                vertigo=True,
            ),
            PositionalObservation(Manoeuvre.HEAD_HANGING, side.other),
        ]
    )


def _roll(side: Side) -> tuple[Finding, ...]:
    ears = {side: 40.0, side.other: 15.0}
    return positional_findings(
        [
            PositionalObservation(Manoeuvre.ROLL, ear, FastPhase(ear), strength=strength)
            for ear, strength in ears.items()
        ]
    )


def _swinging(side: Side) -> tuple[Finding, ...]:
    return swinging_light_findings(swinging_light(side, smaller_with_light_in=side.other))


CASES = (
    Case("acuity of counting fingers", _acuity, "optic_nerve_orbital"),
    Case("pinhole makes it sharp", _refraction, "eye_refraction"),
    Case("pupil small in the dark", _pupil_sizes, "sympathetic_neck"),
    Case("fixed wide pupil", _efferent, "iris_sphincter"),
    Case("afferent defect of 1.2 log units", _afferent, "optic_nerve_orbital"),
    Case("swinging light, reverse", _swinging, "optic_nerve_orbital"),
    Case("low lid, good levator", _lids, "lid_aponeurosis"),
    Case("eye 11 mm forward", _protrusion, "orbit_mass"),
    Case("homonymous hemianopia, perimetry", _homonymous, "occipital_whole", other_side=True),
    Case("both temporal halves, finger", _temporal, "chiasm_body"),
    Case("red dull in both temporal halves", _red, "chiasm_body"),
    Case("pin vanishes at fixation", _scotoma, "optic_nerve_orbital"),
    Case("map with a central scotoma", _one_eye, "optic_nerve_orbital"),
    Case("conductive audiogram", _audiogram, "middle_ear"),
    Case("sensorineural audiogram", _cochlea, "cochlea"),
    Case("Rinne negative, Weber to it", _forks, "middle_ear"),
    Case("whisper not repeated", _whisper, "cochlea"),
    Case("grade V face", _face, "facial_labyrinthine"),
    Case("lower face only", _lower_face, "corona_capsule", other_side=True),
    Case("composite score of a still face", _composite, "facial_labyrinthine"),
    Case("weak sternomastoid and trapezius", _accessory, "accessory_upper_neck"),
    Case("tongue deviates", _tongue, "hypoglossal_high"),
    Case("second division numb", _second_division, "foramen_rotundum"),
    Case("corneal reflex, afferent", _corneal, "trigeminal_root"),
    Case("jaw jerk clonic", _jaw_jerk, "motor_neurone_disease", sided=False),
    Case("water swallow with cough", _swallow, "medulla_lateral", sided=False),
    Case("abduction to the midline", _abducens, "abducens_cistern"),
    Case("neither eye to one side", _gaze_palsy, "pprf"),
    Case("cover test of a weak superior oblique", _prisms, "trochlear_cistern"),
    Case("three steps", _three_steps, "trochlear_cistern"),
    Case("double vision, images apart to one side", _double, "abducens_cistern"),
    Case("corneal reflection displaced", _turned_in, "abducens_cistern"),
    Case("nystagmus beating away", _nystagmus, "vestibular_nerve"),
    Case("head hanging: upbeat and torsional", _positional, "posterior_canal_otoconia"),
    Case("supine roll: to the ground", _roll, "horizontal_canal_otoconia"),
)
