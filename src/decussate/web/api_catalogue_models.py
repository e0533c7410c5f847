"""What the read interface answers about its own knowledge: tests, places and sources."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from decussate.web.api_models import Answer, Chance, Page, chance, unit

__all__ = [
    "AccuracyAnswer",
    "BandAnswer",
    "CautionAnswer",
    "MeasurementAnswer",
    "PlaceAnswer",
    "PlacePage",
    "ResponseAnswer",
    "SourceAnswer",
    "SourcePage",
    "TestAnswer",
    "TestLine",
    "TestPage",
]


class CautionAnswer(Answer):
    """A warning to heed before a test."""

    id: str
    name: str
    text: str
    source: str


class ResponseAnswer(Answer):
    """One answer a test can give."""

    code: str
    label: str
    state: str | None = Field(description="State of the sign that it stands for, if one.")


class BandAnswer(Answer):
    """Values from `low` up to but not including `high` that mean one response."""

    low: float = Field(description="In the unit of the measurement.")
    high: float = Field(description="In the unit of the measurement.")
    response: str


class MeasurementAnswer(Answer):
    """How a measured value becomes a response."""

    unit: str = Field(description="Unit of `low`, `high` and the bands; `1` for a fraction.")
    kind: str
    low: float = Field(description="Least value accepted, in `unit`.")
    high: float = Field(description="Greatest value accepted, in `unit`.")
    bands: tuple[BandAnswer, ...]
    source: str


class AccuracyAnswer(Answer):
    """How far a response can be trusted."""

    specificity: Chance = chance("of a normal response when the state is normal")
    partial: Chance | None = chance("of an abnormal response in partial loss")
    complete: Chance | None = chance("of an abnormal response in complete loss")
    present: Chance | None = chance("of an abnormal response when the sign is there")
    wrong_side: Chance = chance("that an abnormal response names the wrong side or kind")
    source: str
    specificity_source: str
    mark: str = Field(description="How far the figures were checked; empty when seen.")
    basis: str


class TestLine(Answer):
    """A test of the list."""

    __test__ = False  # pytest collects classes of this name otherwise

    id: str
    name: str
    nerve: str = Field(description="The group it is shown in.")
    sides: str = Field(description="`each` for right and left, or `whole`.")
    sign: str | None = Field(description="The sign it tries to reveal, if one.")
    seconds: float = unit("s", "Usual time for both sides together")


class TestPage(Page[TestLine]):
    """One page of tests."""

    __test__ = False


class TestAnswer(TestLine):
    """A test of the catalogue, whole."""

    story: str | None = Field(description="Field of the story that holds the answer, if one.")
    technique: str
    say: str
    kit: tuple[str, ...]
    cautions: tuple[CautionAnswer, ...]
    responses: tuple[ResponseAnswer, ...]
    measurement: MeasurementAnswer | None
    normal: str
    accuracy: AccuracyAnswer | None
    formal: str
    abbreviations: tuple[str, ...]
    source: str


class PlaceAnswer(Answer):
    """A place where a lesion can sit, or a process without one place."""

    id: str
    name: str = Field(description="Without a side.")
    kind: Literal["place", "process"]
    region: str
    paired: bool = Field(description="Whether there is one on each side.")
    prior: float = Field(
        description="Relative incidence, about new cases for each 100,000 people a year, both "
        "sides together. UCUM unit `/a/(100000.{person})`.",
        json_schema_extra={"x-unit": "/a/(100000.{person})"},
    )
    territory: str
    source: str
    prior_source: str


class PlacePage(Page[PlaceAnswer]):
    """One page of places."""


class SourceAnswer(Answer):
    """A publication of the bibliography."""

    key: str
    citation: str = Field(description="In one line, as a reader looks it up.")
    doi: str | None


class SourcePage(Page[SourceAnswer]):
    """One page of sources."""
