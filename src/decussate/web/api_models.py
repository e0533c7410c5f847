"""What the read interface answers: one model a kind of answer, every number with its unit.

Units are UCUM codes, given in words and as ``x-unit`` in the published description.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Generic, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from decussate.sides import Side

__all__ = [
    "NOTICE",
    "AlertAnswer",
    "Answer",
    "CandidateAnswer",
    "CauseAnswer",
    "Chance",
    "ChangeAnswer",
    "ComparisonAnswer",
    "ExaminationLine",
    "ExaminationPage",
    "LocalisationAnswer",
    "MeasuredChangeAnswer",
    "NextTestAnswer",
    "Page",
    "PairAnswer",
    "PatientLine",
    "PatientPage",
    "ReasonAnswer",
    "RegionAnswer",
    "ShiftAnswer",
    "SideShares",
    "TwoLesionsAnswer",
    "chance",
    "unit",
]

NOTICE = (
    "Informs a licensed clinician's judgement; it is not a diagnosis. Local codes and the "
    "clinician decide."
)

T = TypeVar("T")


class Answer(BaseModel):
    """Read from the program's own values; never taken in."""

    model_config = ConfigDict(from_attributes=True, frozen=True)


def unit(code: str, words: str) -> Any:  # noqa: ANN401
    """Return a field for a number in a UCUM unit."""
    return Field(description=f"{words}. UCUM unit `{code}`.", json_schema_extra={"x-unit": code})


def _without_rounding(value: float) -> float:
    """Return a sum of probabilities without what rounding added beyond 0 and 1."""
    return min(max(value, 0.0), 1.0) if -ROUNDING < value < 1 + ROUNDING else value


ROUNDING = 1e-9
Chance = Annotated[float, BeforeValidator(_without_rounding)]


def chance(words: str) -> Any:  # noqa: ANN401
    """Return a field for a probability."""
    return Field(
        ge=0,
        le=1,
        description=f"Probability, 0 to 1: {words}. UCUM unit `1`.",
        json_schema_extra={"x-unit": "1"},
    )


class Page(Answer, Generic[T]):
    """One page of a list."""

    items: tuple[T, ...]
    total: int = Field(ge=0, description="How many there are on all pages.")
    page: int = Field(ge=1, description="Which page this is, from 1.")
    size: int = Field(ge=1, description="Most items on a page.")


class PatientLine(Answer):
    """A patient of the list."""

    id: str
    label: str = Field(description="The words that name the patient on a list.")
    invented: bool = Field(description="True for an invented person, in teaching or a demo.")
    examinations: tuple[str, ...] = Field(description="Their identities, newest first.")


class PatientPage(Page[PatientLine]):
    """One page of patients."""


class ExaminationLine(Answer):
    """An examination of the list."""

    id: str
    patient: str = Field(description="Identity of the patient.")
    label: str = Field(description="The words that name the patient on a list.")
    invented: bool = Field(description="True for an invented person, in teaching or a demo.")
    opened_at: datetime = Field(description="When it was begun, in UTC.")
    entries: int = Field(ge=0, description="How many entries its history holds.")


class ExaminationPage(Page[ExaminationLine]):
    """One page of examinations."""


class ReasonAnswer(Answer):
    """A finding and its weight for a place."""

    test: str = Field(description="Id of the test.")
    side: Side | None = Field(description="The patient's side.")
    response: str
    text: str = Field(description="Side, test and response in words.")
    log10: float = unit("1", "Logarithm to base 10 of the likelihood ratio for the place")
    expected: Chance = chance("that a lesion there gives the sign an abnormal state")


class CauseAnswer(Answer):
    """A cause of a lesion in a place, as a question to settle."""

    cause: str
    name: str
    share: Chance = chance("of this cause, given the place and the story")
    settle: str = Field(description="The investigation that settles it.")


class CandidateAnswer(Answer):
    """A place, or a process without one place, where the lesion may be."""

    place: str
    name: str = Field(description="With its side in words.")
    kind: Literal["place", "process"]
    side: Side | None = Field(description="None for the midline or the whole body.")
    probability: Chance = chance("given all findings and the story")
    region: str
    supports: tuple[ReasonAnswer, ...] = Field(description="Findings that speak for it.")
    against: tuple[ReasonAnswer, ...] = Field(description="Findings that speak against it.")
    unexplained: tuple[ReasonAnswer, ...] = Field(description="Findings it does not explain.")
    causes: tuple[CauseAnswer, ...] = Field(description="Most likely first.")
    pathway: tuple[str, ...] = Field(description="Structures probably taken, with their side.")


class RegionAnswer(Answer):
    """A neighbourhood."""

    region: str
    side: Side | None
    probability: Chance = chance("of all places of this neighbourhood together")


class SideShares(Answer):
    """Which side the lesion is on; the three sum to 1."""

    right: Chance = chance("right")
    left: Chance = chance("left")
    midline: Chance = chance("midline, both sides or the whole body")


class NextTestAnswer(Answer):
    """A test not yet done, and what it may tell."""

    test: str
    side: Side | None
    name: str = Field(description="With its side in words.")
    bits: float = unit("bit", "Expected information about the place")
    seconds: float = unit("s", "Usual time of the test")
    cautions: tuple[str, ...] = Field(description="Cautions to heed first, in words.")


class AlertAnswer(Answer):
    """Something that cannot wait, for a licensed clinician to judge."""

    rule: str
    title: str
    advice: str
    time_frame: str = Field(description="By when, in words.")
    level: str = Field(description="How soon: emergency, same day, urgent or soon.")
    because: tuple[str, ...] = Field(description="The findings that raised it, in words.")
    sides: tuple[Side, ...]
    not_examined: tuple[str, ...] = Field(description="Tests not yet done that would change it.")
    source: str = Field(description="Key of the bibliography, or what stands in its place.")
    mark: str = Field(description="How far the source was seen; empty when its text was seen.")


class PairAnswer(Answer):
    """Two sites that together may explain the findings."""

    places: tuple[str, str]
    sides: tuple[Side | None, Side | None]
    names: tuple[str, str] = Field(description="With their sides in words.")
    probability: Chance = chance("among all pairs, if there are two lesions")


class TwoLesionsAnswer(Answer):
    """Two lesions against one."""

    probability: Chance = chance("that there are two lesions rather than one or none")
    needed: bool
    text: str
    pairs: tuple[PairAnswer, ...] = Field(description="Most probable first.")


class LocalisationAnswer(Answer):
    """Where the lesion may be, how sure one can be, what cannot wait and what to test next."""

    notice: str = NOTICE
    examination: str
    program: str = Field(description="Version of the program and of its data.")
    text: str = Field(description="The conclusion in a sentence.")
    findings_used: int = Field(ge=0, description="How many findings bear on a sign.")
    entropy_bits: float = unit("bit", "What remains unknown of the site")
    no_lesion_leads: bool
    side_probability: SideShares
    regions: tuple[RegionAnswer, ...] = Field(description="Most likely first.")
    candidates: tuple[CandidateAnswer, ...] = Field(description="Most likely first.")
    left_out: int = Field(ge=0, description="How many candidates are beyond those listed.")
    left_out_probability: Chance = chance("of those candidates together")
    unexplained: tuple[ReasonAnswer, ...] = Field(
        description="Findings that none of the leading candidates explains."
    )
    two_lesions: TwoLesionsAnswer | None = Field(
        description="None while no finding bears on the place."
    )
    next_tests: tuple[NextTestAnswer, ...] = Field(
        description="Most informative for each minute first."
    )
    alerts: tuple[AlertAnswer, ...] = Field(description="Most urgent first.")


class MeasuredChangeAnswer(Answer):
    """A measured change, held against published repeatability."""

    earlier: str
    later: str
    difference: float | None = Field(description="Later less earlier, in `unit`.")
    unit: str
    worse: bool | None
    verdict: str
    citation: str = Field(description="What the verdict rests on.")
    remarks: tuple[str, ...]


class ChangeAnswer(Answer):
    """One test on one side, then and now."""

    test: str
    side: Side | None
    kind: str
    changed: bool
    text: str = Field(description="The change in words.")
    measured: MeasuredChangeAnswer | None
    remarks: tuple[str, ...]


class ShiftAnswer(Answer):
    """A place whose probability rose or fell."""

    place: str
    side: Side | None
    name: str
    then: Chance = chance("at the earlier examination")
    now: Chance = chance("at the later examination")


class ComparisonAnswer(Answer):
    """Two examinations of one patient, side by side."""

    notice: str = NOTICE
    earlier: str
    later: str
    interval_seconds: float | None = unit("s", "Time from the earlier to the later")
    sentence: str = Field(description="The comparison in one sentence.")
    warnings: tuple[str, ...]
    changes: tuple[ChangeAnswer, ...]
    places: str = Field(description="The localisation then and now, in words.")
    gained: tuple[ShiftAnswer, ...]
    lost: tuple[ShiftAnswer, ...]
