"""What the patient's screen shows and what was read from it, shared by the two views of it.

It is kept in the store, so that a restart of the server or a second one loses nothing marked; a
finding is saved when the examiner records it. A view that cannot reach the server goes on alone.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import lru_cache
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from decussate.documents.optotypes import Gap
from decussate.documents.test_charts import lay_out_chart
from decussate.errors import BadInput
from decussate.measures.acuity_notation import nearest_line, write
from decussate.measures.distance_acuity import ReadAcuity, correct_for_distance
from decussate.measures.letter_by_letter import LETTERS_A_ROW, RowRead, score_by_letter
from decussate.records import Store
from decussate.records.patient_screens import KeptScreen, change_screen, kept_screen
from decussate.records.people import now_utc
from decussate.web.patient_words import load_languages, load_word_tests

__all__ = [
    "Marks",
    "Report",
    "Screen",
    "Shown",
    "chart_rows",
    "checked",
    "mark_acuity",
]

LARGEST, SMALLEST = 1.3, -0.3

OPEN = timedelta(seconds=5)
"""A patient's screen that has not asked for so long is taken to be closed (judgement)."""

Optotypes = Literal["ten letters", "twelve letters", "rings"]
Eye = Literal["right", "left", "right pinhole", "left pinhole"]
Pattern = Annotated[str, StringConstraints(pattern=rf"^[?01]{{{LETTERS_A_ROW}}}$")]
Tenths = Annotated[str, StringConstraints(pattern=r"^-?\d{1,2}$")]
Metres = Annotated[float, Field(ge=0.3, le=10.0)]
_Model = TypeVar("_Model", bound=BaseModel)


class Marks(BaseModel):
    """What one eye read: of each row shown, by its size in tenths of logMAR, ``1`` for a letter
    read, ``0`` for one not read and ``?`` for one not yet asked. `single`: shown one at a time.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    optotypes: Optotypes
    chart_version: int
    distance_m: Metres
    single: bool = False
    rows: dict[Tenths, Pattern] = {}


class Shown(BaseModel):
    """What is shown, and what was read.

    Attributes
    ----------
    view : str
    ground : str
        Ground of everything but charts, which are always black on white.
    distance_m : float or None
        From the patient's eye to the screen, metres; nothing is drawn to size before it is known.
    optotypes, chart_version, row, single : str, int, int, int or None
        Kind and version of the chart, the row shown in tenths of logMAR, and the one letter shown
        alone, where one is.
    eye : str
        Whose reading is being marked.
    marks : mapping of str to Marks
    language, test, own_words : str
        What the words are; own words go before those of a test.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    view: Literal["blank", "chart", "near", "red", "fixation", "words"] = "blank"
    ground: Literal["bright", "dim"] = "bright"
    distance_m: Metres | None = None
    optotypes: Optotypes = "ten letters"
    chart_version: Annotated[int, Field(ge=1, le=9999)] = 1
    row: Annotated[int, Field(ge=-3, le=13)] = 6
    single: Annotated[int, Field(ge=0, lt=LETTERS_A_ROW)] | None = None
    eye: Eye = "right"
    marks: dict[Eye, Marks] = {}
    language: Annotated[str, Field(max_length=12)] = "en"
    test: Annotated[str, Field(max_length=60)] = "distance_acuity"
    own_words: Annotated[str, Field(max_length=300)] = ""


class Report(BaseModel):
    """What a patient's screen says of itself: its size in CSS pixels and how it was calibrated."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    width: Annotated[int, Field(ge=50, le=20000)]
    height: Annotated[int, Field(ge=50, le=20000)]
    px_per_mm: Annotated[float, Field(ge=1.0, le=40.0)] | None
    ratio: Annotated[float, Field(ge=0.2, le=10.0)]


@lru_cache(maxsize=64)
def chart_rows(optotypes: str, version: int) -> tuple[dict[str, Any], ...]:
    """Return the rows of a chart, largest first.

    Parameters
    ----------
    optotypes : str
        Name of a set of letters, or ``rings``.
    version : int
        Another version has other letters in the same sizes.

    Returns
    -------
    tuple of dict
        ``tenths`` of logMAR, ``mm_at_1_m`` (height, which grows in proportion to the distance),
        and the symbols: drawing, turn in degrees clockwise, and name.
    """
    # Laid out at 1 m on the largest sheet at the finest pitch, so that every size is there.
    chart = lay_out_chart(
        1.0,
        optotypes=optotypes,
        paper="A3 landscape",
        largest=LARGEST,
        smallest=SMALLEST,
        version=version,
        printer_dpi=4800,
    )
    return tuple(
        {
            "tenths": round(row.logmar * 10),
            "mm_at_1_m": row.height_mm,
            "symbols": [_symbol(placed.symbol) for placed in row.optotypes],
        }
        for row in chart.rows
    )


def _symbol(symbol: str | Gap) -> dict[str, str | int]:
    if isinstance(symbol, Gap):
        return {"draw": "C", "turn": symbol.degrees_clockwise, "name": f"gap {symbol}"}
    return {"draw": symbol, "turn": 0, "name": symbol}


def mark_acuity(marks: Marks) -> ReadAcuity:
    """Score what one eye read.

    Parameters
    ----------
    marks : Marks
        Rows with a letter not yet asked do not count.

    Returns
    -------
    ReadAcuity

    Raises
    ------
    BadInput
        As `score_by_letter`, or when a row is unfinished.
    """
    for tenths, pattern in marks.rows.items():
        if "?" in pattern and pattern.strip("?"):
            raise BadInput(
                f"row {int(tenths) / 10:.1f}", "letters not yet marked", "each read or not read"
            )
    score = score_by_letter(
        RowRead(int(tenths) / 10, pattern.count("1"))
        for tenths, pattern in marks.rows.items()
        if "?" not in pattern
    )
    # The rows are drawn for this distance; what else a short distance does is remarked on.
    return correct_for_distance(
        score, chart_distance_m=marks.distance_m, used_distance_m=marks.distance_m
    )


@dataclass(frozen=True, slots=True)
class Screen:
    """The state shared by the views of the patient's screen of one examination."""

    store: Store
    examination: str

    def change(self, fields: dict[str, Any]) -> dict[str, Any]:
        """Take over the fields given; the others stay.

        Returns
        -------
        dict
            As `document`.

        Raises
        ------
        BadInput
            For a value that cannot be shown.
        """
        if fields.get("language", "en") not in load_languages():
            raise BadInput("language", fields["language"], "one of " + ", ".join(load_languages()))
        tests = [one.test for one in load_word_tests()]
        if fields.get("test", tests[0]) not in tests:
            raise BadInput("test", fields["test"], "a test whose words can be shown")

        def changed(kept: KeptScreen) -> KeptScreen:
            shown = checked(Shown, _shown(kept).model_dump() | fields)
            return replace(kept, shown=shown.model_dump_json(), version=kept.version + 1)

        checked(Shown, Shown().model_dump() | fields)  # before the database is asked
        return self._document(change_screen(self.store, self.examination, changed))

    def seen(self) -> None:
        """Note that a patient's screen asked for the state; not more often than is needed."""
        kept = kept_screen(self.store, self.examination)
        now = now_utc()
        if kept.seen_at is None or now - kept.seen_at > OPEN / 2:
            change_screen(self.store, self.examination, lambda kept: replace(kept, seen_at=now))

    def is_open(self) -> bool:
        """Whether a patient's screen has asked for the state lately."""
        seen = kept_screen(self.store, self.examination).seen_at
        return seen is not None and now_utc() - seen < OPEN

    def reported(self, fields: dict[str, Any]) -> None:
        """Take over what a patient's screen says of itself.

        Raises
        ------
        BadInput
            For a size or a calibration that no screen has.
        """
        report = checked(Report, fields).model_dump_json()

        def changed(kept: KeptScreen) -> KeptScreen:
            version = kept.version + (report != kept.report)
            return replace(kept, report=report, version=version, seen_at=now_utc())

        change_screen(self.store, self.examination, changed)

    def version(self) -> int:
        """Return how often the state was changed."""
        return kept_screen(self.store, self.examination).version

    def document(self) -> dict[str, Any]:
        """Return the state as both views read it."""
        return self._document(kept_screen(self.store, self.examination))

    def _document(self, kept: KeptScreen) -> dict[str, Any]:
        shown = _shown(kept)
        return {
            "version": kept.version,
            "shown": shown.model_dump(),
            "rows": chart_rows(shown.optotypes, shown.chart_version),
            "scores": {eye: _score_words(marks) for eye, marks in shown.marks.items()},
            "report": json.loads(kept.report) if kept.report else None,
        }


def _shown(kept: KeptScreen) -> Shown:
    """Return what is shown; what an older program kept and this one cannot show is left out."""
    try:
        return Shown.model_validate_json(kept.shown) if kept.shown else Shown()
    except ValidationError:
        return Shown()


def checked(kind: type[_Model], fields: dict[str, Any]) -> _Model:
    """Return fields sent by a page as what they should be.

    Parameters
    ----------
    kind : type
        `Shown`, `Marks` or `Report`.
    fields : dict
        As sent.

    Returns
    -------
    Shown, Marks or Report

    Raises
    ------
    BadInput
        For the first field that does not fit.
    """
    try:
        return kind.model_validate(fields)
    except ValidationError as problem:
        first = problem.errors()[0]
        name = " ".join(str(part) for part in first["loc"])
        raise BadInput(name, first.get("input"), str(first["msg"]).lower()) from None


def _score_words(marks: Marks) -> dict[str, str]:
    try:
        acuity = mark_acuity(marks)
    except BadInput as problem:
        return {"words": "", "wants": " ".join(filter(None, (problem.expected, problem.hint)))}
    words = f"{write(acuity)} (about {nearest_line(acuity)})"
    return {"words": words, "wants": " ".join(acuity.remarks)}
