"""Hypothesis strategies for FHIR documents: any finding, and every field of an examination."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

from hypothesis import strategies as st

from decussate.examination.catalogue import load_catalogue
from decussate.examination.checking import measured_response
from decussate.examination.document import CONTEXT_KEYS
from decussate.examination.record import (
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Examination,
    Finding,
    MeasuredValue,
    Story,
    Truth,
    UnreadText,
)
from decussate.sides import Side
from strategies import findings

__all__ = ["full_examinations", "full_findings"]

TESTS = tuple(test for test in load_catalogue() if not test.story)

# Anything a person or a program may put into a text, control characters included.
anything = st.text(st.characters(codec="utf-8"), max_size=30)
typed = anything.map(str.strip).filter(bool)
zones = st.integers(-24 * 60 + 1, 24 * 60 - 1).map(lambda m: timezone(timedelta(minutes=m)))
moments = st.datetimes(datetime(2, 1, 1), datetime(9998, 1, 1), timezones=zones)


@st.composite
def full_findings(draw: st.DrawFn) -> Finding:
    """A finding of any test, any status, with every other field now and then."""
    test = draw(st.sampled_from(TESTS))
    side = draw(st.sampled_from(Side)) if test.sides == "each" else None
    response = draw(st.sampled_from([*test.codes, COULD_NOT_BE_TESTED, NOT_TESTED]))
    measurement = None
    if test.measurement and response in test.codes and draw(st.booleans()):
        scale = test.measurement
        value = draw(st.floats(scale.low, scale.high))
        measurement = MeasuredValue(value=value, unit=scale.unit)
        response = measured_response(test, measurement) or response
    return Finding(
        test=test.id,
        side=side,
        response=response,
        measurement=measurement,
        reason=draw(typed) if response == COULD_NOT_BE_TESTED else None,
        technique=draw(st.none() | typed),
        comment=draw(st.none() | typed),
        at=draw(st.none() | moments),
        by=draw(st.none() | typed),
    )


@st.composite
def known_old(draw: st.DrawFn) -> tuple[str, Side | None]:
    found = draw(findings())
    return found.test, found.side


positions = st.integers(1, 100_000)
full_examinations = st.builds(
    Examination,
    id=typed,
    label=anything,
    invented=st.booleans(),
    story=st.builds(
        Story,
        age=st.none() | st.floats(0, 120),
        sex=st.sampled_from([None, "female", "male"]),
        onset=st.sampled_from([None, "sudden", "hours", "days", "weeks", "months", "years"]),
        course=st.sampled_from([None, "improving", "steady", "worsening", "fluctuating"]),
        context=st.lists(st.sampled_from(CONTEXT_KEYS), max_size=4).map(tuple),
    ),
    findings=st.lists(full_findings(), max_size=6).map(tuple),
    known_old=st.lists(known_old(), max_size=3).map(tuple),
    unread=st.lists(
        st.builds(UnreadText, text=anything, line=positions, column=positions, reason=anything),
        max_size=3,
    ).map(tuple),
    citation=st.none() | typed,
    truth=st.none()
    | st.builds(
        Truth,
        places=st.lists(typed | st.just("midbrain_peduncle_third"), max_size=3).map(tuple),
        side=st.sampled_from([None, "right", "left", "midline", "both"]),
        scored=st.booleans(),
        note=anything,
    ),
)
