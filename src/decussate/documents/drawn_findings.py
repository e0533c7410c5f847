"""Drawings of what was recorded: fields, gaze, face, sensation, pupils, hearing.

A drawing is made only where something recorded was abnormal, and only of what was tested.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any
from xml.etree import ElementTree as ET

import yaml

from decussate.documents.document import Block, Figure, Text
from decussate.drawings.audiogram import draw_audiogram
from decussate.drawings.face import draw_face
from decussate.drawings.facial_sensation import draw_facial_sensation
from decussate.drawings.gaze import draw_gaze
from decussate.drawings.pupils import draw_pupils
from decussate.drawings.visual_field import DrawnField, draw_visual_fields
from decussate.examination.document import COULD_NOT_BE_TESTED, Examination, Finding
from decussate.measures.as_findings.drawn_field import drawn_field_in
from decussate.measures.audiogram import Audiogram
from decussate.measures.audiogram_words import levels_read
from decussate.measures.facial_pattern import HalfFace, Movement
from decussate.measures.facial_sensation import Sensation
from decussate.measures.ocular_alignment import Gaze
from decussate.measures.pupil_reactions import LightReactions, Reaction
from decussate.measures.pupils import PupilSizes
from decussate.measures.visual_field_directions import Quadrant
from decussate.measures.visual_field_outline import outline_from_quadrants
from decussate.sides import Side

__all__ = ["drawn_findings"]

Found = Mapping[tuple[str, Side | None], Finding]


def drawn_findings(
    examination: Examination, *, audiogram: Audiogram | None = None
) -> tuple[Block, ...]:
    """Draw the abnormal findings that have a drawing.

    Parameters
    ----------
    examination : Examination
    audiogram : Audiogram, optional
        Thresholds, where they are not in the record itself.

    Returns
    -------
    tuple of Figure or Text
        A text where a drawing could not be made because part of it was not tested.
    """
    found = {(one.test, one.side): one for one in examination.present()}
    drawn: list[Block] = []
    for draw in (_fields, _gaze, _face, _sensation, _pupils):
        drawn += draw(found)
    audiogram = audiogram or _recorded_audiogram(examination)
    if audiogram is not None:
        drawn.append(_figure("audiogram", draw_audiogram(audiogram)))
    return tuple(drawn)


def _recorded_audiogram(examination: Examination) -> Audiogram | None:
    """Return the thresholds that the comments of the record hold."""
    findings = (f for f in examination.present() if f.test.startswith("audiogram_"))
    levels = levels_read(" ".join(found.comment or "" for found in findings))
    # The last written of one ear, frequency and way stands.
    own = {(t.side, t.frequency_hz, t.conduction, t.masked): t for t in levels}
    return Audiogram(tuple(own.values())) if own else None


@cache
def _rules() -> Mapping[str, Any]:
    text = files("decussate.documents").joinpath("data/drawn_findings.yaml").read_text("utf-8")
    rules: dict[str, Any] = yaml.safe_load(text)
    return rules


def _figure(name: str, svg: str) -> Figure:
    return Figure(_rules()["titles"][name], svg, _described(svg), _rules()["captions"][name])


def _described(svg: str) -> str:
    """Return the words of a figure: the drawing's own description, sides in words."""
    described = ET.fromstring(svg).find("{http://www.w3.org/2000/svg}desc")  # noqa: S314
    return (described.text if described is not None else "") or ""


def _abnormal(found: Found, tests: Mapping[str, Any] | tuple[str, ...]) -> bool:
    """Whether any of the tests has a response that is neither normal nor missing."""
    return any(
        one.response not in ("normal", COULD_NOT_BE_TESTED)
        for (test, _), one in found.items()
        if test in tests
    )


def _number(finding: Finding, stated: Mapping[str, float], scale: float = 1.0) -> float | None:
    """Return the measured value, or the one a response is drawn at; None if it says neither."""
    if finding.measurement is not None and isinstance(finding.measurement.value, float):
        return finding.measurement.value / scale
    return stated.get(finding.response)


def _fields(found: Found) -> list[Block]:
    rules = _rules()
    tests: Mapping[str, str] = rules["field_tests"]
    by_hand = {eye: drawn for eye in Side if (drawn := drawn_field_in(found, eye))}
    inside = any(field.areas for field, _ in by_hand.values())
    if not inside and not _abnormal(found, tuple(tests.values())):
        return []
    eyes: dict[Side, DrawnField | None] = {}
    partly, by_quadrant = [], False
    for eye in Side:
        if eye in by_hand:
            field, _ = by_hand[eye]
            eyes[eye] = DrawnField(field.outline, field.areas)
            continue
        one_eye = {
            Quadrant(name): found[test, eye]
            for name, test in tests.items()
            if (test, eye) in found and found[test, eye].response != COULD_NOT_BE_TESTED
        }
        seen = {q: _number(finding, rules["field_seen"], 100.0) for q, finding in one_eye.items()}
        stated = {q: min(share, 1.2) for q, share in seen.items() if share is not None}
        eyes[eye] = None
        if len(stated) == len(tests):
            eyes[eye] = DrawnField(outline_from_quadrants(eye, stated))
            by_quadrant = True
        elif one_eye:
            partly.append(f"{eye} eye")
    if partly:
        # A half-tested eye has no drawing of its own: "not tested" beside it would be untrue.
        return [Text(rules["captions"]["fields_partly"].format(eyes=" and ".join(partly)))]
    names = [name for name, is_so in (("fields_drawn", by_hand), ("fields", by_quadrant)) if is_so]
    how = "; ".join(f"{eye} eye, {technique}" for eye, (_, technique) in by_hand.items())
    captions = " ".join(rules["captions"][name].format(how=how) for name in names)
    title = rules["titles"][names[0]]
    svg = draw_visual_fields(eyes[Side.RIGHT], eyes[Side.LEFT], title=title)
    return [Figure(title, svg, _described(svg), captions)]


def _gaze(found: Found) -> list[Block]:
    rules = _rules()
    if not _abnormal(found, rules["gaze_tests"]):
        return []
    grades: dict[Side, dict[Gaze, float]] = {side: {} for side in Side}
    for test, (outward, upward) in rules["gaze_tests"].items():
        for side in Side:
            finding = found.get((test, side))
            grade = None if finding is None else _number(finding, rules["gaze_grade"])
            if grade is not None:
                rightward = outward if side is Side.RIGHT else -outward
                grades[side][Gaze.towards(rightward, upward)] = grade
    return [_figure("gaze", draw_gaze(grades[Side.RIGHT], grades[Side.LEFT]))]


def _face(found: Found) -> list[Block]:
    rules = _rules()
    tests: Mapping[str, str] = rules["face_tests"]
    if not _abnormal(found, tuple(tests.values())):
        return []
    stated = {
        (part, side): rules["face_movement"][finding.response]
        for part, test in tests.items()
        for side in Side
        if (finding := found.get((test, side))) and finding.response in rules["face_movement"]
    }
    if len(stated) < 2 * len(tests):
        return [Text(rules["not_drawn"].format(name=rules["titles"]["face"].lower()))]
    right, left = (
        HalfFace(**{part: Movement(stated[part, side]) for part in tests}) for side in Side
    )
    return [_figure("face", draw_face(right, left))]


def _sensation(found: Found) -> list[Block]:
    rules = _rules()
    drawn: list[Block] = []
    for modality, tests in rules["sensation_tests"].items():
        if not _abnormal(found, tests):
            continue
        right, left = (
            {
                area: Sensation(rules["sensation"][finding.response])
                for test, areas in tests.items()
                for area in areas
                if (finding := found.get((test, side))) and finding.response in rules["sensation"]
            }
            for side in Side
        )
        drawn.append(_figure("sensation", draw_facial_sensation(right, left, modality=modality)))
    return drawn


def _pupils(found: Found) -> list[Block]:
    tests: Mapping[str, str] = _rules()["pupil_tests"]
    light, dark = (_sizes(found, tests[name]) for name in ("light", "dark"))
    if not _abnormal(found, tuple(tests.values())) or (light is None and dark is None):
        # Without sizes both would be drawn alike, which reads as equal.
        return []
    reactions = LightReactions(
        right_to_right=_reaction(found, tests["direct"], Side.RIGHT),
        left_to_left=_reaction(found, tests["direct"], Side.LEFT),
        # The consensual test is filed under the pupil that is watched, light in the other eye.
        right_to_left=_reaction(found, tests["consensual"], Side.RIGHT),
        left_to_right=_reaction(found, tests["consensual"], Side.LEFT),
    )
    return [_figure("pupils", draw_pupils(light, dark, reactions=reactions))]


def _sizes(found: Found, test: str) -> PupilSizes | None:
    measured = [
        finding.measurement.value
        for side in Side
        if (finding := found.get((test, side))) and finding.measurement is not None
    ]
    if len(measured) < len(Side) or not all(isinstance(value, float) for value in measured):
        return None
    right, left = (float(value) for value in measured)
    return PupilSizes(right, left)


def _reaction(found: Found, test: str, pupil: Side) -> Reaction | None:
    finding = found.get((test, pupil))
    word = None if finding is None else _rules()["reaction"].get(finding.response)
    return None if word is None else Reaction(word)
