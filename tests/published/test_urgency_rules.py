"""Published red flags: the signs a guideline names raise an alert with its time frame."""

from collections.abc import Callable
from typing import Any

import pytest
from published_check import PublishedCheck

from decussate.examination.document import Examination, Finding, Story
from decussate.sides import Side
from decussate.urgency import Alert, evaluate

NG127 = "NICE NG127 (2019)"
NG98 = "NICE NG98 (2018) and QS185 statement 2"
VERTIGO = ("ask_vertigo present", "nystagmus_straight_ahead left")
PERIPHERAL = (
    *VERTIGO,
    "head_impulse right present",
    "head_impulse left normal",
    "alternate_cover_vertical normal",
    "nystagmus_side_gaze right normal",
    "nystagmus_side_gaze left present",
)


def alerts(findings: tuple[str, ...], **story: Any) -> tuple[Alert, ...]:
    found = []
    for item in findings:
        test, *side, response = item.split()
        found.append(Finding(test=test, side=Side(side[0]) if side else None, response=response))
    return evaluate(Examination(id="x", story=Story(**story), findings=tuple(found)))


def level(rule: str, *findings: str, **story: Any) -> Callable[[], object]:
    """Return a computation of the level of one rule; ``none`` when it is not raised."""
    return lambda: next(
        (str(alert.level) for alert in alerts(findings, **story) if alert.rule == rule), "none"
    )


def frame(rule: str, *findings: str, **story: Any) -> Callable[[], object]:
    """Return a computation of the time frame of one rule; ``none`` when it is not raised."""
    return lambda: next(
        (alert.time_frame for alert in alerts(findings, **story) if alert.rule == rule), "none"
    )


def row(
    what: str, source: str, expected: str, obtained: Callable[[], object], mark: str = ""
) -> PublishedCheck:
    return PublishedCheck("urgency", what, source, expected, obtained, mark=mark)


CHECKS = [
    row(
        "RF-2 normal head impulse in acute vertigo is dangerous: immediate",
        f"{NG127} 1.2.2-1.2.3",
        "emergency",
        level(
            "vertigo_central_signs",
            *VERTIGO,
            "head_impulse right normal",
            "head_impulse left normal",
            onset="hours",
        ),
    ),
    row(
        "RF-2 skew in acute vertigo: immediate",
        f"{NG127} 1.2.2-1.2.3",
        "emergency",
        level("vertigo_central_signs", *VERTIGO, "alternate_cover_vertical right", onset="hours"),
    ),
    row(
        "RF-2 direction-changing nystagmus in acute vertigo: immediate",
        f"{NG127} 1.2.2-1.2.3",
        "emergency",
        level(
            "vertigo_central_signs",
            *VERTIGO,
            "nystagmus_side_gaze right present",
            "nystagmus_side_gaze left present",
            onset="hours",
        ),
    ),
    row(
        "peripheral pattern (one abnormal impulse, fixed direction, no skew): no central alert",
        "Kattah et al. Stroke 2009;40:3504",
        "none",
        level("vertigo_central_signs", *PERIPHERAL, onset="hours"),
    ),
    row(
        "RF-2 peripheral pattern counts from a trained examiner; otherwise the stroke pathway now",
        f"{NG127} 1.2.2, 1.2.4",
        "today; now unless examined by someone trained",
        frame("vertigo_peripheral_pattern", *PERIPHERAL, onset="hours"),
    ),
    row(
        "RF-3 nystagmus not looked for in acute vertigo: stroke pathway, immediate",
        f"{NG127} 1.2.4",
        "emergency",
        level(
            "vertigo_not_completed",
            "ask_vertigo present",
            "head_impulse right normal",
            "head_impulse left normal",
            onset="hours",
        ),
    ),
    row(
        "RF-3 eye examination not completed: stroke pathway, immediate",
        f"{NG127} 1.2.4",
        "emergency",
        level("vertigo_not_completed", *VERTIGO, "head_impulse right present", onset="hours"),
    ),
    row(
        "RF-1 sudden dizziness with new deafness: immediate",
        f"{NG127} 1.2.1",
        "emergency",
        level(
            "sudden_vertigo_focal", "ask_vertigo present", "whisper_far left absent", onset="sudden"
        ),
    ),
    row(
        "RF-4 any sudden weakness, even of one part: immediate",
        NG127,
        "emergency",
        level("sudden_brain_signs", "arm_power left reduced", onset="sudden"),
        "secondary",
    ),
    row(
        "RF-5 rapid symmetrical limb weakness: immediate",
        NG127,
        "emergency",
        level("rapid_weakness", "leg_power right reduced", "leg_power left reduced", onset="days"),
        "secondary",
    ),
    row(
        "RF-7 slow weakness with swallowing trouble: urgent",
        NG127,
        "urgent",
        level(
            "slow_weakness_swallowing",
            "ask_swallowing reduced",
            "neck_and_limb_power present",
            onset="months",
        ),
        "secondary",
    ),
    row(
        "RF-8 the same with weak breathing: immediate",
        NG127,
        "emergency",
        level(
            "weak_breathing",
            "ask_swallowing reduced",
            "neck_and_limb_power present",
            "breathing present",
            onset="months",
        ),
        "secondary",
    ),
    row(
        "RF-9 isolated weakness of half the face: steroid within 72 hours",
        "AAO-HNSF Bell's palsy guideline, Baugh et al. 2013, doi 10.1177/0194599813505967",
        "treatment within 72 hours of onset",
        frame(
            "face_recent",
            "raise_brows right absent",
            "close_eyes right absent",
            "show_teeth right absent",
            onset="hours",
        ),
    ),
    row(
        "RF-9 forehead spared and sudden: stroke pathway instead",
        NG127,
        "emergency",
        level(
            "sudden_brain_signs",
            "raise_brows right normal",
            "show_teeth right reduced",
            onset="sudden",
        ),
        "secondary",
    ),
    row(
        "RF-11 tender scalp from age 50: same working day if possible, at most 3 working days",
        "BSR guideline 2020, Rheumatology 59:e1-e23",
        "specialist the same working day, at most 3 working days",
        frame("arteritis", "scalp_touch present", age=74),
    ),
    row(
        "RF-12 the same with visual symptoms: eye specialist the same day",
        "BSR guideline 2020, Rheumatology 59:e1-e23",
        "now; eye specialist the same day",
        frame("arteritis_vision", "scalp_touch present", "ask_double_vision present", age=74),
        "from memory",
    ),
    row(
        "RF-13 sudden hearing loss within 30 days: seen within 24 hours",
        NG98,
        "seen by ENT within 24 hours if within 30 days of onset",
        frame("sudden_deafness", "ask_hearing right absent", onset="days"),
    ),
    row(
        "RF-13 does not hold with a blocked ear canal",
        NG98,
        "none",
        level(
            "sudden_deafness", "ask_hearing right absent", "ear_canal right present", onset="days"
        ),
    ),
    row(
        "RF-15 hearing worsening over 4 to 90 days: within 2 weeks",
        NG98,
        "seen within 2 weeks",
        frame("deafness_weeks", "ask_hearing right reduced", onset="weeks"),
        "secondary",
    ),
    row(
        "RF-16 hearing loss with facial droop of the same side: within 24 hours",
        NG98,
        "within 24 hours",
        frame("deafness_face", "ask_hearing right reduced", "show_teeth right reduced"),
        "secondary",
    ),
    row(
        "RF-16 needs the same side",
        NG98,
        "none",
        level("deafness_face", "ask_hearing right reduced", "show_teeth left reduced"),
        "secondary",
    ),
    row(
        "RF-17 immune suppression with ear pain and discharge: within 24 hours",
        NG98,
        "ENT within 24 hours",
        frame(
            "ear_infection_spreading",
            "ask_ear_pain left present",
            "ear_discharge_seen left present",
            context=("immune_suppression",),
        ),
        "secondary",
    ),
    row(
        "RF-19 papilloedema: imaging within 24 hours",
        "Mollan et al. JNNP 2018;89:1088, doi 10.1136/jnnp-2017-317440",
        "imaging within 24 hours",
        frame("both_discs_swollen", "disc_margin right present", "disc_margin left present"),
        "from memory",
    ),
    row(
        "RF-21 third nerve and large pupil: aneurysm until shown otherwise",
        "Clin Exp Emerg Med 2014;1:65, doi 10.15441/ceem.14.002",
        "emergency",
        level("third_nerve_pupil", "gaze_up left absent", "pupil_size_light left large"),
    ),
    row(
        "T5 normal pupil at first in 7 of 51, changing within 5 days: watched for 5 days",
        "Kissel et al. Ann Neurol 1983;13:149, PMID 6830174",
        "discuss today; re-examine the pupil daily for 5 days",
        frame(
            "third_nerve_pupil_spared",
            "gaze_up left absent",
            "gaze_in left reduced",
            "pupil_size_light left normal",
        ),
    ),
    row(
        "RF-22 pain or no pain, the alert stands",
        "Wills Eye Manual, 8th edition",
        "emergency",
        level(
            "third_nerve_pupil",
            "gaze_up left absent",
            "pupil_size_light left large",
            "ask_headache normal",
            "ask_eye_pain left normal",
        ),
        "secondary",
    ),
    row(
        "SS-6 swallow screen within 4 hours of admission",
        "RCP National clinical guideline for stroke, 4th edition, 2012",
        "screen within 4 hours of admission",
        frame("unsafe_swallow", "ask_swallowing reduced"),
        "secondary",
    ),
    row(
        "thunderclap headache: emergency",
        "NICE NG228 (2022) 1.1.3",
        "emergency",
        level("sudden_headache", "ask_headache present", onset="sudden"),
    ),
    row(
        "blood behind the drum after injury: CT within 1 hour",
        "NICE NG232 (2023)",
        "CT within 1 hour",
        frame("skull_base_injury", "ear_drum right present", context=("injury",)),
        "secondary",
    ),
    row(
        "persistent hoarseness from age 45: within 2 weeks",
        "NICE NG12 (2015)",
        "within 2 weeks",
        frame("one_cord", "voice present", age=45, onset="weeks"),
        "secondary",
    ),
    row(
        "acute severe headache with an eye-movement palsy: pituitary emergency",
        "Baldeweg et al. Endocr Connect 2016;5:G12",
        "emergency",
        level(
            "headache_eyes_sudden", "ask_headache present", "gaze_up left absent", onset="sudden"
        ),
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published(check: PublishedCheck) -> None:
    check.assert_holds()
