"""Findings and examinations for the tests of comparison, with measurements, examiners and times."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import strategies as st

from decussate.examination.catalogue import load_catalogue
from decussate.examination.checking import AS_WRITTEN, measured_response
from decussate.examination.record import (
    ABNORMAL,
    COULD_NOT_BE_TESTED,
    Examination,
    Finding,
    MeasuredValue,
)
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
START = datetime(2026, 3, 1, 9, tzinfo=UTC)
MEASURED = tuple(t for t in load_catalogue() if t.measurement and not t.story)
ALL_TESTS = tuple(t for t in load_catalogue() if not t.story)
ACUITIES = ("6/6", "6/9-2", "20/40", "logMAR 0.30", "85 letters", "CF", "HM", "NPL")
PRINT = ("N5 at 40 cm", "N8 at 33 cm", "N24 at 40 cm")


def found(test, side, response, value=None, unit="", **more):
    """One finding; a value makes it measured."""
    measurement = None if value is None else MeasuredValue(value=value, unit=unit or _unit(test))
    return Finding(test=test, side=side, response=response, measurement=measurement, **more)


def examined(*findings, days=None, **more):
    """One examination, its findings timed where `days` is given."""
    at = None if days is None else START + timedelta(days=days)
    timed = tuple(f.model_copy(update={"at": at}) for f in findings)
    return Examination(id=more.pop("id", "any"), findings=timed, **more)


def _unit(test):
    return load_catalogue().test(test).measurement.unit


@st.composite
def findings(draw, pool):
    """A finding of one of these tests: measured, graded, of unknown grade, or failed."""
    test = draw(st.sampled_from(pool))
    side = draw(st.sampled_from(Side)) if test.paired else None
    who = {"by": draw(st.none() | st.sampled_from("AB"))}
    who["technique"] = draw(st.none() | st.sampled_from(("lying", "sitting")))
    if draw(st.integers(0, 9)) == 0:
        return Finding(test=test.id, side=side, response=COULD_NOT_BE_TESTED, reason="asleep")
    response = draw(st.sampled_from([*test.responses, *([ABNORMAL] if test.sign else [])]))
    measured = None
    scale = test.measurement
    if scale and response != ABNORMAL and draw(st.integers(0, 3)):
        measured = draw(_values(test))
        response = (measured and measured_response(test, measured)) or response
    return Finding(test=test.id, side=side, response=response, measurement=measured, **who)


@st.composite
def _values(draw, test):
    scale = test.measurement
    if scale.reader == "distance_acuity":
        return MeasuredValue(value=draw(st.sampled_from(ACUITIES)), unit=AS_WRITTEN)
    if scale.reader:
        return MeasuredValue(value=draw(st.sampled_from(PRINT)), unit=AS_WRITTEN)
    value = round(draw(st.floats(scale.low, scale.high)), 2)
    return MeasuredValue(value=min(max(value, scale.low), scale.high), unit=scale.unit)


@st.composite
def pairs(draw, most=8):
    """Two examinations that share most of their tests."""
    pool = draw(st.lists(st.sampled_from(ALL_TESTS), min_size=1, max_size=4, unique_by=id))
    some = st.lists(findings(pool), max_size=most, unique_by=lambda f: (f.test, f.side))
    return tuple(Examination(id="any", findings=tuple(draw(some))) for _ in range(2))
