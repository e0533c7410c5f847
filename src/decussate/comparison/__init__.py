"""What changed between examinations of one patient, and whether it exceeds measurement noise."""

from decussate.comparison.changes import Change, Kind, changes_between
from decussate.comparison.noise import Limit, MeasuredChange, Verdict, measured_change
from decussate.comparison.over_time import (
    Comparison,
    Course,
    Occasion,
    compare,
    follow,
    in_time_order,
)
from decussate.comparison.places import PlaceShift, PlacesThenAndNow, compare_places
from decussate.comparison.tracks import Line, Point, Track, tracks_of

__all__ = [
    "Change",
    "Comparison",
    "Course",
    "Kind",
    "Limit",
    "Line",
    "MeasuredChange",
    "Occasion",
    "PlaceShift",
    "PlacesThenAndNow",
    "Point",
    "Track",
    "Verdict",
    "changes_between",
    "compare",
    "compare_places",
    "follow",
    "in_time_order",
    "measured_change",
    "tracks_of",
]
