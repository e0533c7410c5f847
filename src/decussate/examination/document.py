"""The examination document: what was found, on which side, by whom and when. Immutable."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal, Self

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, field_validator, model_validator

from decussate.sides import Side

__all__ = [
    "ABNORMAL",
    "CONTEXT_KEYS",
    "COULD_NOT_BE_TESTED",
    "NOT_TESTED",
    "ONSETS",
    "Examination",
    "Finding",
    "MeasuredValue",
    "Story",
    "Truth",
    "UnreadText",
]

ABNORMAL = "abnormal"
"""Response of any test: not normal, the grade or direction not stated."""
COULD_NOT_BE_TESTED = "could_not_be_tested"
"""Status: tried, or ruled out, with a reason. Says nothing about the sign."""
NOT_TESTED = "not_tested"
"""Status: said to be not done. As an entry it withdraws an earlier one; it is never normal."""

ContextKey = Literal[
    "injury",
    "vascular_risk",
    "cancer",
    "infection",
    "drugs",
    "pregnancy",
    "immune_suppression",
    "recent_surgery",
    "diabetes",
    "hypertension",
    "demyelination",
    "thyroid",
    "autoimmune",
    "obesity",
    "since_birth",
]
CONTEXT_KEYS: tuple[str, ...] = ContextKey.__args__  # type: ignore[attr-defined]

OnsetKey = Literal["sudden", "hours", "days", "weeks", "months", "years"]
ONSETS: tuple[str, ...] = OnsetKey.__args__  # type: ignore[attr-defined]

Word = Annotated[str, Field(min_length=1, max_length=200)]
Passage = Annotated[str, Field(min_length=1, max_length=5000)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class MeasuredValue(_Part):
    """A measurement with its unit: ``7 mm``, ``3 MRC``; a Snellen fraction is text."""

    value: Annotated[float, Field(strict=True, allow_inf_nan=False)] | Word
    unit: Word


class Finding(_Part):
    """One recorded response to one test on one side.

    Attributes
    ----------
    test : str
        Id of a test of the catalogue.
    side : Side or None
        The patient's side, for a test done on each side.
    response : str
        A code of that test, or `ABNORMAL`, `COULD_NOT_BE_TESTED`, `NOT_TESTED`.
    measurement : MeasuredValue or None
    reason : str or None
        Why it could not be tested.
    technique : str or None
        How it was done, where accuracy depends on it.
    comment : str or None
    at : datetime or None
        When, with its time zone.
    by : str or None
        Who examined.
    """

    test: Word
    side: Side | None = None
    response: Word
    measurement: MeasuredValue | None = None
    reason: Passage | None = None
    technique: Word | None = None
    comment: Passage | None = None
    at: AwareDatetime | None = None
    by: Word | None = None

    @model_validator(mode="after")
    def _reason_given(self) -> Self:
        if self.response == COULD_NOT_BE_TESTED and not self.reason:
            raise ValueError(f"a reason is needed when the response is {COULD_NOT_BE_TESTED}")
        if self.reason and self.response != COULD_NOT_BE_TESTED:
            raise ValueError(
                f"a reason belongs to the response {COULD_NOT_BE_TESTED} only; use comment"
            )
        return self

    def mirrored(self) -> Finding:
        """Return this finding with right and left exchanged."""
        side = self.side.other if self.side else None
        return self.model_copy(update={"side": side, "response": _mirrored_code(self.response)})


class Story(_Part):
    """What the patient tells: age in years, sex, onset, course, and context."""

    age: Annotated[float, Field(ge=0, le=120, allow_inf_nan=False)] | None = None
    sex: Literal["female", "male"] | None = None
    onset: OnsetKey | None = None
    course: Literal["improving", "steady", "worsening", "fluctuating", "attacks"] | None = None
    context: tuple[ContextKey, ...] = ()

    @field_validator("context")
    @classmethod
    def _once_each(cls, context: tuple[ContextKey, ...]) -> tuple[ContextKey, ...]:
        return tuple(dict.fromkeys(context))


class UnreadText(_Part):
    """Text of a note that was not understood, word for word, with its position (from 1)."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=False)

    text: str
    line: Annotated[int, Field(ge=1)]
    column: Annotated[int, Field(ge=1)]
    reason: str


class Truth(_Part):
    """Where the lesion was shown to be; only in published cases.

    Attributes
    ----------
    places : tuple of str
        The true place and any the publication cannot tell from it.
    side : str or None
        ``right``, ``left``, ``midline`` or ``both``.
    scored : bool
        Whether the case counts in an evaluation.
    note : str
    """

    places: tuple[Word, ...]
    side: Literal["right", "left", "midline", "both"] | None = None
    scored: bool = True
    note: str = ""


class Examination(_Part):
    """A whole examination: the document that is stored, sent and evaluated.

    Attributes
    ----------
    version : str
        Version of this document, ``"1"``.
    id, label : str
        Identifier, and a heading for people.
    invented : bool
        True for teaching and demonstration: no real patient.
    story : Story
    findings : tuple of Finding
        In the order they were entered; a later one of the same test and side supersedes.
    known_old : tuple of (str, Side or None)
        Test and side of deficits known from before; they speak for an old lesion.
    unread : tuple of UnreadText
        What a reader of notes did not understand.
    citation : str or None
        Publication of the case.
    truth : Truth or None
    """

    version: Literal["1"] = "1"
    id: Word
    label: Annotated[str, Field(max_length=500)] = ""
    invented: bool = False
    story: Story = Story()
    findings: tuple[Finding, ...] = ()
    known_old: tuple[tuple[Word, Side | None], ...] = ()
    unread: tuple[UnreadText, ...] = ()
    citation: Passage | None = None
    truth: Truth | None = None

    def present(self) -> tuple[Finding, ...]:
        """Return the findings that stand: the last of each test and side, ``not_tested`` left out.

        Returns
        -------
        tuple of Finding
            In the order of their first entry.
        """
        last = self.latest()
        return tuple(found for found in last.values() if found.response != NOT_TESTED)

    def latest(self) -> Mapping[tuple[str, Side | None], Finding]:
        """Return the last entry of each test and side, ``not_tested`` included."""
        return {(found.test, found.side): found for found in self.findings}

    def mirrored(self) -> Examination:
        """Return the examination of the mirror-image patient; free text stays as written."""
        old = tuple((test, side.other if side else None) for test, side in self.known_old)
        truth = self.truth
        if truth is not None and truth.side in ("right", "left"):
            truth = truth.model_copy(update={"side": _mirrored_code(truth.side)})
        findings = tuple(found.mirrored() for found in self.findings)
        return self.model_copy(update={"findings": findings, "known_old": old, "truth": truth})


_OTHER = {"right": "left", "left": "right"}


def _mirrored_code(code: str) -> str:
    """Exchange right and left in a response code (``left``, ``beats_to_left``)."""
    return "_".join(_OTHER.get(word, word) for word in code.split("_"))
