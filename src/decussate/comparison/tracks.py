"""One measurement over the examinations of a patient, right and left, with its repeat error."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from decussate.comparison.noise import Limit, limit_between
from decussate.comparison.values import DIRECTIONS, value_of, worse_when
from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.examination.document import COULD_NOT_BE_TESTED, Examination, Finding
from decussate.sides import Side

__all__ = ["Line", "Point", "Track", "tracks_of"]


@dataclass(frozen=True, slots=True)
class Point:
    """One examination on a line.

    Attributes
    ----------
    occasion : int
        Place of the examination in the series, from 0.
    at : datetime or None
        When this was measured.
    number : float or None
        In the unit of the track; None when not measured, or below the chart.
    shown : str
        The value as recorded; otherwise ``not tested``, ``could not be tested`` or the answer.
    measured : bool
        Whether a value was recorded, on the scale or below it.
    label : str
        The value without its unit, with its direction in a word (``"8 exo"``); empty if none.
    """

    occasion: int
    at: datetime | None
    number: float | None
    shown: str
    measured: bool
    label: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One side of a track.

    Attributes
    ----------
    side : Side or None
        None for a test of the whole patient.
    points : tuple of Point
        One an examination, in order of time.
    limit : Limit or None
        Repeat error of the later values beside the first; None where no figure was found.
    """

    side: Side | None
    points: tuple[Point, ...]
    limit: Limit | None

    @property
    def band(self) -> tuple[float, float] | None:
        """Values that differ from the first by no more than repeat error; None where unknown."""
        first = next((point.number for point in self.points if point.number is not None), None)
        reach = None
        if self.limit:
            reach = self.limit.within if self.limit.beyond is None else self.limit.beyond
        if first is None or reach is None:
            return None
        return first - reach, first + reach


@dataclass(frozen=True, slots=True)
class Track:
    """One measured test over time.

    Attributes
    ----------
    test, name : str
        Id, and the name of the test.
    unit : str
    directions : tuple of (str, str) or None
        What positive and negative numbers mean, for a test with directions.
    worse_when : str
        ``higher``, ``lower``, ``farther``, ``outside``, ``directed`` or ``neither``.
    lines : tuple of Line
        Right before left; only the sides measured at least once.
    least, most : float
        Ends of the scale of the test; without end where values are signed or converted.
    """

    test: str
    name: str
    unit: str
    directions: tuple[str, str] | None
    worse_when: str
    lines: tuple[Line, ...]
    least: float = -math.inf
    most: float = math.inf


def tracks_of(
    examinations: Sequence[Examination], catalogue: Catalogue | None = None
) -> tuple[Track, ...]:
    """Follow every test that was measured at two examinations or more.

    Parameters
    ----------
    examinations : sequence of Examination
        In order of time.
    catalogue : Catalogue, optional
        That of the package by default.

    Returns
    -------
    tuple of Track
        In the order of the examination. A test measured once only has no course and is left out.

    Raises
    ------
    BadInput
        If a measurement is not possible for its test.
    """
    tracks = []
    for test in catalogue or load_catalogue():
        if test.measurement is None or test.nerve == "preparation":
            continue
        lines = [
            _line(test, side, examinations) for side in (tuple(Side) if test.paired else (None,))
        ]
        followed = tuple(line for line in lines if any(point.measured for point in line.points))
        if any(sum(point.measured for point in line.points) > 1 for line in followed):
            tracks.append(_track(test, followed, examinations))
    return tuple(tracks)


def _track(test: Test, lines: tuple[Line, ...], examinations: Sequence[Examination]) -> Track:
    directions = next((pair for pair in DIRECTIONS if pair[0] in test.responses), None)
    units = {
        value.unit
        for examination in examinations
        for finding in examination.present()
        if finding.test == test.id and (value := value_of(test, finding))
    }
    unit, scale = " or ".join(sorted(units)), test.measurement
    ends = (-math.inf, math.inf)
    if scale and directions is None and unit == scale.unit:
        ends = (scale.low, scale.high)
    return Track(test.id, test.name, unit, directions, worse_when(test), lines, *ends)


def _line(test: Test, side: Side | None, examinations: Sequence[Examination]) -> Line:
    points, measured = [], []
    for place, examination in enumerate(examinations):
        finding = next(
            (f for f in examination.present() if (f.test, f.side) == (test.id, side)), None
        )
        if finding is None:
            points.append(Point(place, None, None, "not tested", False))
            continue
        value = value_of(test, finding)
        if value is None:
            failed = finding.response == COULD_NOT_BE_TESTED
            answer = test.responses.get(finding.response)
            label = answer.label if answer else "abnormal"
            shown = "could not be tested" if failed else f"{label}, not measured"
            points.append(Point(place, finding.at, None, shown, False))
            continue
        measured.append(finding)
        direction = finding.response.replace("_", " ") if _has_direction(test, finding) else ""
        shown, label = (
            " ".join(part for part in (text, direction) if part)
            for text in (value.shown, _short(value.shown, value.unit))
        )
        points.append(Point(place, finding.at, value.number, shown, True, label))
    return Line(side, tuple(points), _widest_limit(test, measured))


def _widest_limit(test: Test, measured: Sequence[Finding]) -> Limit | None:
    """Return the repeat error of the least repeatable pair that the first value makes."""
    limits = [limit_between(test, measured[0], later) for later in measured[1:]]
    return max(
        (limit for limit in limits if limit),
        key=lambda limit: (limit.beyond is None, limit.beyond or limit.within or 0.0),
        default=None,
    )


def _has_direction(test: Test, finding: Finding) -> bool:
    return any(finding.response in pair for pair in DIRECTIONS if pair[0] in test.responses)


def _short(shown: str, unit: str) -> str:
    return shown.removesuffix(f" {unit}").split(" at ")[0]
