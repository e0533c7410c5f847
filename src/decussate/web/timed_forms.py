"""What the forms of the timers and counters say, as findings of the catalogue."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import inf
from typing import Any

from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Finding
from decussate.measures.as_findings.hearing import fork_findings, whisper_findings
from decussate.measures.as_findings.positional_test import positional_findings
from decussate.measures.as_findings.swallow import water_swallow_findings
from decussate.measures.as_findings.writing import could_not, graded, measured, stated
from decussate.measures.fork_prediction import Fork
from decussate.measures.nystagmus import FastPhase
from decussate.measures.positional_observation import Manoeuvre, PositionalObservation
from decussate.measures.swallow import WaterSwallow
from decussate.measures.tuning_forks import ForkFindings, Rinne, Weber
from decussate.measures.whisper import WHISPER_DISTANCES_M, WhisperTest
from decussate.sides import Side
from decussate.web.measured_entries import number_in, side_in, tick_in

__all__ = ["GATES", "OPACITY_SPOTS", "READERS", "TARGETS", "gate_findings", "unit_of"]

GATES: Mapping[str, tuple[str, ...]] = {
    "positional": ("neck_safe",),
    "swallow": ("alertness", "cough", "voice_wet"),
}
"""Tests that the line to be ticked before a timed test answers as normal (common practice)."""

TARGETS: Mapping[str, tuple[str, ...]] = {
    "far and near": ("near_response", "convergence"),
    "finger and pen": ("saccade_inward", "saccade_outward", "saccade_size"),
    "up and down": ("saccade_vertical",),
    "cover, far": ("cover_uncover", "alternate_cover_distance", "alternate_cover_vertical"),
    "cover, near": ("alternate_cover_near",),
}
"""Pairs between which the eyes, or the cover, go to and fro, and what is seen meanwhile."""

OPACITY_SPOTS = ("central", "upper", "lower", "nasal", "temporal")
"""Where in the pupil an opacity lies, as the examiner sees it against the red."""


def gate_findings(kind: str) -> tuple[Finding, ...]:
    """Return what ticking the line before a timed test says."""
    return tuple(Finding(test=test, response="normal") for test in GATES.get(kind, ()))


def _positional(form: dict[str, str]) -> tuple[Finding, ...]:
    side = side_in(form)
    seen = _choice(form, "nystagmus", ("none", *_beats(side)), "nystagmus")
    latency = number_in(form, "latency_s", "latency", "seconds")
    duration = number_in(form, "duration_s", "duration", "seconds")
    went_on = tick_in(form, "went_on")
    if seen == "none" and (latency or duration or went_on):
        raise BadInput(
            "nystagmus",
            "none, with a time",
            "a direction with the times, or none without them",
            hint="Clear the times, or say which way it beat.",
        )
    observation = PositionalObservation(
        Manoeuvre.HEAD_HANGING,
        side,
        _beats(side).get(seen),
        latency_s=None if seen == "none" else latency,
        duration_s=None if seen == "none" else inf if went_on else duration,
        reverses_on_sitting=tick_in(form, "reverses"),
        fatigues=tick_in(form, "fatigues"),
        vertigo=tick_in(form, "vertigo"),
    )
    return positional_findings([observation])


def _beats(side: Side) -> Mapping[str, FastPhase]:
    # The record keeps no side of torsion or of a horizontal beat: the lower ear stands in for it.
    return {
        "upbeat_torsional": FastPhase(upward=1, torsion=side),
        "downbeat": FastPhase(upward=-1),
        "horizontal": FastPhase(horizontal=side),
        "other": FastPhase(torsion=side),
    }


def _swallow(form: dict[str, str]) -> tuple[Finding, ...]:
    """Read the sips, and the glass where it was given; the glass alone where sips were before."""
    found: tuple[Finding, ...] = ()
    if form.get("sips"):
        codes = tuple(load_catalogue().test("sip_swallow").responses)
        found = (stated("sip_swallow", _choice(form, "sips", codes, "small sips")),)
    given = number_in(form, "given_ml", "water given", "mL")
    if given is None and not form.get("seconds") and found:
        return found
    return found + water_swallow_findings(
        WaterSwallow(
            given_ml=_needed(given, "water given", "mL"),
            seconds=_needed(number_in(form, "seconds", "time taken", "seconds"), "time taken", "s"),
            left_ml=number_in(form, "left_ml", "water left", "mL") or 0.0,
            swallows=_count(form, "swallows", "swallows"),
            coughed=_yes_no(form, "cough"),
            wet_voice=_yes_no(form, "wet_voice"),
            interrupted=_yes_no(form, "stopped"),
        )
    )


def _whisper(form: dict[str, str]) -> tuple[Finding, ...]:
    first = _count(form, "first", "whispers repeated of the first set")
    if first is None:
        raise BadInput("whispers repeated of the first set", "nothing", "0 to 3")
    far, near = WHISPER_DISTANCES_M
    distance = _choice(form, "distance", ("far", "near"), "distance of the whisper")
    return whisper_findings(
        WhisperTest(
            side_in(form),
            first,
            _count(form, "second", "whispers repeated of the second set"),
            other_ear_masked=_yes_no(form, "masked"),
            distance_m=far if distance == "far" else near,
        )
    )


def _rinne(form: dict[str, str]) -> tuple[Finding, ...]:
    ears = {
        side: Rinne(_choice(form, side.value, tuple(Rinne), f"Rinne, {side} ear"))
        for side in Side
        if form.get(side.value)
    }
    weber = Weber(_choice(form, "weber", tuple(Weber), "Weber")) if form.get("weber") else None
    fork = Fork(_choice(form, "fork", tuple(Fork), "fork")) if form.get("fork") else None
    if len(ears) == 2 and weber is not None:
        found = list(fork_findings(ForkFindings(ears[Side.RIGHT], ears[Side.LEFT], weber), fork))
    else:
        found = [_one_rinne(side, answer) for side, answer in ears.items()]
        if weber is Weber.NOT_HEARD:
            found.append(could_not("weber", "the fork was not heard"))
        elif weber is not None:
            found.append(graded("weber", "weber", weber))
        used = {"technique": fork.value if fork else None}
        found = [finding.model_copy(update=used) for finding in found]
    for side in ears:
        times = [
            f"heard by {way} {seconds:g} s"
            for way in ("bone", "air")
            if (seconds := number_in(form, f"{way}_{side}", f"heard by {way}", "seconds"))
            is not None
        ]
        found = [_with_times(finding, side, times) for finding in found]
    if ears:
        method = _choice(form, "method", ("normal", "fading"), "way of comparing")
        found.append(stated("rinne_method", method))
    return tuple(found)


def _one_rinne(side: Side, answer: Rinne) -> Finding:
    if answer is Rinne.NOT_HEARD:
        return could_not("rinne", "the fork was not heard by air or by bone", side)
    return graded("rinne", "rinne", answer, side)


def _with_times(finding: Finding, side: Side, times: list[str]) -> Finding:
    if finding.test != "rinne" or finding.side is not side or not times:
        return finding
    comment = "; ".join(filter(None, (finding.comment, *times)))
    return finding.model_copy(update={"comment": comment})


def _blink(form: dict[str, str]) -> tuple[Finding, ...]:
    codes = tuple(load_catalogue().test("blink").responses)
    seconds = number_in(form, "seconds", "time watched", "seconds")
    found = []
    for side in Side:
        if not form.get(side.value):
            continue
        code = _choice(form, side.value, codes, f"blink, {side} eye")
        full = _count(form, f"full_{side}", f"full blinks, {side} eye")
        part = _count(form, f"part_{side}", f"incomplete blinks, {side} eye")
        counts = [
            f"{count} {name}"
            for count, name in ((full, "full"), (part, "incomplete"))
            if count is not None
        ]
        watched = f" in {seconds:g} s" if seconds and counts else ""
        comment = " and ".join(counts) + watched
        found.append(stated("blink", code, side, comment=comment))
    return tuple(found)


def _red_reflex(form: dict[str, str]) -> tuple[Finding, ...]:
    """Read the reflex of each eye, and where an opacity lies."""
    catalogue = load_catalogue()
    codes = tuple(catalogue.test("red_reflex").responses)
    places = tuple(catalogue.test("opacity_place").responses)
    found = []
    for side in Side:
        if form.get(side.value):
            seen = _choice(form, side.value, codes, f"red reflex, {side} eye")
            spot = form.get(f"spot_{side}", "")
            if spot:
                spot = _choice(form, f"spot_{side}", OPACITY_SPOTS, f"opacity, {side} eye")
            found.append(stated("red_reflex", seen, side, comment=spot))
            place = form.get(f"place_{side}", "")
            if (place or spot) and seen == "normal":
                raise BadInput(
                    f"red reflex, {side} eye",
                    "clear, with an opacity",
                    "dull where an opacity is placed",
                )
            if place:
                place = _choice(form, f"place_{side}", places, f"opacity, {side} eye")
                found.append(stated("opacity_place", place, side))
    return tuple(found)


def _targets(form: dict[str, str]) -> tuple[Finding, ...]:
    """Read what was seen while the eyes, or the cover, went to and fro; count and time go along."""
    pair = _choice(form, "pair", tuple(TARGETS), "pair of targets")
    changes = _count(form, "changes", "changes of target")
    seconds = number_in(form, "seconds", "time", "seconds")
    parts = (
        f"{changes} changes" if changes else "",
        f"in {seconds:g} s" if changes and seconds else "",
    )
    comment = " ".join(part for part in parts if part)
    catalogue = load_catalogue()
    found = []
    for name in TARGETS[pair]:
        test = catalogue.test(name)
        for side in tuple(Side) if test.paired else (None,):
            field = f"{name} {side}" if side else name
            value = number_in(form, f"{field} value", test.name, unit_of(name))
            if not form.get(field):
                if value is not None:
                    raise BadInput(test.name, f"{value:g} alone", "what was seen, with the value")
                continue
            code = _choice(form, field, tuple(test.responses), test.name)
            found.append(stated(name, code, side, value=value, comment=comment))
    if pair == "far and near":
        near_point = number_in(form, "near point", "near point of convergence", "cm")
        if near_point is not None:
            found.append(_near_point(near_point))
    return tuple(found)


def unit_of(name: str) -> str:
    """Return the unit in which a test is measured; empty where it is not."""
    scale = load_catalogue().test(name).measurement
    return scale.unit if scale else ""


def _near_point(value_cm: float) -> Finding:
    return measured("convergence_near_point", value_cm)


READERS: dict[str, Callable[[dict[str, str]], tuple[Finding, ...]]] = {
    "positional": _positional,
    "swallow": _swallow,
    "whisper": _whisper,
    "rinne": _rinne,
    "blink": _blink,
    "red_reflex": _red_reflex,
    "targets": _targets,
}


def _choice(form: dict[str, str], field: str, allowed: tuple[Any, ...], name: str) -> str:
    answer = form.get(field, "")
    if answer not in allowed:
        expected = "one of " + ", ".join(str(one).replace("_", " ") for one in allowed)
        raise BadInput(name, answer or "nothing", expected)
    return answer


def _count(form: dict[str, str], field: str, name: str) -> int | None:
    count = number_in(form, field, name, "a count")
    if count is not None and count != int(count):
        raise BadInput(name, form[field], "a whole number")
    return None if count is None else int(count)


def _needed(value: float | None, name: str, unit: str) -> float:
    if value is None:
        raise BadInput(name, "nothing", f"a number ({unit})")
    return value


def _yes_no(form: dict[str, str], field: str) -> bool:
    """Return a yes or no that must be given: nothing is taken as normal unasked."""
    answer = tick_in(form, field)
    if answer is None:
        raise BadInput(field.replace("_", " "), "nothing", "yes or no")
    return answer
