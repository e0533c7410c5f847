"""Hypothesis strategies shared by the tests: findings and examinations over the whole catalogue."""

from __future__ import annotations

from hypothesis import strategies as st

from decussate.anatomy.causes import COURSES, ONSETS
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import ABNORMAL, Examination, Finding, Story
from decussate.sides import Side

TELLING_TESTS = tuple(test for test in load_catalogue() if test.sign and test.accuracy)


@st.composite
def findings(draw: st.DrawFn) -> Finding:
    """One finding that bears on a sign."""
    test = draw(st.sampled_from(TELLING_TESTS))
    side = draw(st.sampled_from(Side)) if test.sides == "each" else None
    response = draw(st.sampled_from([*test.responses, ABNORMAL]))
    return Finding(test=test.id, side=side, response=response)


def stories() -> st.SearchStrategy[Story]:
    """Any story, mostly incomplete."""
    return st.builds(
        Story,
        age=st.none() | st.integers(0, 100).map(float),
        sex=st.none() | st.sampled_from(["female", "male"]),
        onset=st.none() | st.sampled_from(ONSETS),
        course=st.none() | st.sampled_from(COURSES),
    )


def examinations(most: int = 12) -> st.SearchStrategy[Examination]:
    """An examination of up to `most` findings, one for each test and side."""
    unique = st.lists(findings(), max_size=most, unique_by=lambda f: (f.test, f.side))
    return st.builds(
        lambda story, found: Examination(id="any", story=story, findings=tuple(found)),
        stories(),
        unique,
    )
