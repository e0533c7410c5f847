"""The table row that every published check is written in must itself be able to fail."""

import pytest
from published_check import PublishedCheck


def row(expected, obtained, tolerance=0.0, mark=""):
    return PublishedCheck(
        "a subject", "a value", "a source", expected, lambda: obtained, tolerance, mark
    )


@pytest.mark.parametrize(
    ("expected", "obtained", "tolerance"),
    [
        (1.0, 1.0, 0.0),
        (1.0, 1.04, 0.05),
        (2, 2.0, 0.0),
        ("right", "right", 0.0),
        (True, True, 0.0),
        ((1.0, "a"), (1.01, "a"), 0.02),
        ((1.0, 2.0), [1.0, 2.0], 0.0),
        (0.5, 1.0, 0.5),
        (float("inf"), float("inf"), 0.0),
    ],
)
def test_agreement_passes(expected, obtained, tolerance):
    row(expected, obtained, tolerance).assert_holds()


@pytest.mark.parametrize(
    ("expected", "obtained", "tolerance"),
    [
        (1.0, 1.06, 0.05),
        (1.0, float("nan"), 0.05),
        (float("inf"), 1e9, 0.05),
        (1.0, None, 0.05),
        ("right", "left", 0.0),
        (True, False, 0.0),
        (True, 1, 0.0),
        (1, True, 0.0),
        ((1.0, "a"), (1.0, "b"), 1.0),
        ((1.0, 2.0), (1.0,), 1.0),
    ],
)
def test_disagreement_fails_and_names_the_source(expected, obtained, tolerance):
    with pytest.raises(AssertionError, match="a source gives"):
        row(expected, obtained, tolerance).assert_holds()


def test_a_row_without_a_source_or_with_an_unknown_mark_is_refused():
    with pytest.raises(ValueError, match="source"):
        PublishedCheck("a subject", "a value", " ", 1.0, lambda: 1.0)
    with pytest.raises(ValueError, match="mark"):
        row(1.0, 1.0, mark="probably")
    with pytest.raises(ValueError, match="tolerance"):
        row(1.0, 1.0, tolerance=-1.0)


def test_the_computation_runs_only_when_asked():
    calls: list[int] = []
    check = PublishedCheck("a", "b", "c", 1, lambda: calls.append(1) or 1)
    assert calls == []
    check.assert_holds()
    assert calls == [1]
