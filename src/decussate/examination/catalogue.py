"""The catalogue of bedside tests, read from data files and checked row by row."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files
from importlib.resources.abc import Traversable
from itertools import pairwise
from types import MappingProxyType
from typing import Any

from decussate.anatomy import Sign, load_atlas
from decussate.bibliography import check_source
from decussate.data_rows import Row, read_rows
from decussate.errors import BadInput
from decussate.examination.bedside_test import (
    GENERIC_ABNORMAL,
    Accuracy,
    Band,
    Caution,
    Grading,
    Measurement,
    Response,
    Test,
)

__all__ = [
    "GENERIC_ABNORMAL",
    "Accuracy",
    "Band",
    "Catalogue",
    "Caution",
    "Grading",
    "Measurement",
    "Response",
    "Test",
    "load_catalogue",
    "read_catalogue",
]

RESERVED_CODES = frozenset({GENERIC_ABNORMAL, "not_tested", "could_not_be_tested"})
NERVES = (
    "preparation", "look", "I", "II", "pupils", "eye movements", "nystagmus", "V", "VII", "VIII",
    "balance", "IX X", "XI", "XII", "neighbours", "story",
)  # fmt: skip
STORY_FIELDS = ("age", "sex", "onset", "course", "context")
KINDS = ("number", "text", "fraction")
READERS = ("distance_acuity", "near_acuity")
RELATIONS = ("same", "other", "right", "left", "whole")
MARKS = ("", "unconfirmed", "from memory", "secondary")


@dataclass(frozen=True)
class Catalogue:
    """Every test, in the order of the examination."""

    tests: Mapping[str, Test]
    cautions: Mapping[str, Caution]

    def test(self, name: str) -> Test:
        """Return a test by its id.

        Raises
        ------
        BadInput
            If there is no such test.
        """
        if name not in self.tests:
            raise BadInput("test", name, "a test of the catalogue", hint="See: decussate tests.")
        return self.tests[name]

    def __iter__(self) -> Iterator[Test]:
        return iter(self.tests.values())

    def __len__(self) -> int:
        return len(self.tests)

    def __contains__(self, name: object) -> bool:
        return name in self.tests

    @cached_property
    def groups(self) -> Mapping[str, tuple[Test, ...]]:
        """Tests by the nerve or part they are shown under."""
        return {nerve: tuple(test for test in self if test.nerve == nerve) for nerve in NERVES}

    @cached_property
    def by_abbreviation(self) -> Mapping[str, Test]:
        """Tests by each short form, in lower case."""
        return {short.lower(): test for test in self for short in test.abbreviations}


@cache
def load_catalogue() -> Catalogue:
    """Return the catalogue that comes with the package.

    Raises
    ------
    BadInput
        For a bad row, naming file, row, field, what was found and what was expected.
    """
    return read_catalogue(files("decussate.examination") / "data", load_atlas().signs)


def read_catalogue(folder: Traversable, signs: Mapping[str, Sign]) -> Catalogue:
    """Read ``cautions.yaml`` and ``tests/*.yaml`` of a folder.

    Parameters
    ----------
    folder : Traversable
        The data folder; files of tests are read in the order of their names.
    signs : Mapping of str to Sign
        Signs that tests may reveal.

    Raises
    ------
    BadInput
        For a bad row, naming file, row, field, what was found and what was expected.
    """
    cautions = {row["id"]: _read_caution(row) for row in read_rows(folder / "cautions.yaml")}
    tests: dict[str, Test] = {}
    shorts: dict[str, str] = {}
    wheres: dict[str, str] = {}
    parts = sorted((folder / "tests").iterdir(), key=lambda part: part.name)
    for part in parts:
        if not part.name.endswith(".yaml"):
            continue
        for row in read_rows(part):
            test = _read_test(row, signs, cautions)
            if test.id in tests:
                raise BadInput("id", test.id, "an id no other file uses", where=row.where)
            tests[test.id] = test
            for short in test.abbreviations:
                if short.lower() in shorts:
                    owner = shorts[short.lower()]
                    raise BadInput(
                        "abbreviations", short, f"one not used by {owner}", where=row.where
                    )
                shorts[short.lower()] = test.id
            wheres[test.id] = row.where
    for test in tests.values():
        for name, _ in test.sums_up:
            if name not in tests:
                raise BadInput("sums_up", name, "a test of the catalogue", where=wheres[test.id])
    return Catalogue(MappingProxyType(tests), MappingProxyType(cautions))


def _read_caution(row: Row) -> Caution:
    row.only("id", "name", "text", "source")
    return Caution(
        row["id"], _text(row, "name"), _text(row, "text"), check_source(row["source"], row.where)
    )


def _read_test(row: Row, signs: Mapping[str, Sign], cautions: Mapping[str, Caution]) -> Test:
    row.only(
        "id", "name", "nerve", "sides", "sign", "story", "technique", "say", "kit", "cautions",
        "seconds", "responses", "measurement", "normal", "accuracy", "formal", "abbreviations",
        "sums_up", "source",
    )  # fmt: skip
    sides = row.one_of("sides", ("each", "whole"))
    sign = signs[row.one_of("sign", tuple(signs))] if "sign" in row else None
    if sign and sign.paired != (sides == "each"):
        expected = f"{'each' if sign.paired else 'whole'}, as the sign {sign.id} has it"
        raise BadInput("sides", sides, expected, where=row.where)
    told = "story" in row
    if told and sign:
        raise BadInput("story", row["story"], "either a story field or a sign", where=row.where)
    if "accuracy" in row and not sign:
        raise BadInput("accuracy", row["accuracy"], "none, as there is no sign", where=row.where)
    responses = {} if told else _read_responses(row, sign)
    warnings = _words(row, "cautions")
    for name in warnings:
        if name not in cautions:
            raise BadInput("cautions", name, "one of " + ", ".join(cautions), where=row.where)
    return Test(
        id=row["id"],
        name=_text(row, "name"),
        nerve=row.one_of("nerve", NERVES),
        sides=sides,
        sign=sign.id if sign else None,
        story=row.one_of("story", STORY_FIELDS) if told else None,
        technique=_text(row, "technique"),
        say=_text(row, "say"),
        kit=_words(row, "kit"),
        cautions=warnings,
        seconds=row.number("seconds", 1, 3600),
        responses=MappingProxyType(responses),
        measurement=_read_measurement(row, responses, sign) if "measurement" in row else None,
        normal="" if told else _text(row, "normal"),
        accuracy=_read_accuracy(row, sign) if sign else None,
        formal=_text(row, "formal") if sign or "formal" in row else "",
        abbreviations=_words(row, "abbreviations"),
        sums_up=_read_parts(row) if "sums_up" in row else (),
        source=check_source(row["source"], row.where),
    )


def _text(row: Row, key: str) -> str:
    value = row[key]
    if not isinstance(value, str) or not value.strip():
        raise BadInput(key, value, "words", where=row.where)
    return value


def _words(row: Row, key: str) -> tuple[str, ...]:
    value = row[key]
    if not isinstance(value, list) or not all(isinstance(word, str) and word for word in value):
        raise BadInput(key, value, "a list of words", where=row.where)
    return tuple(value)


def _read_parts(row: Row) -> tuple[tuple[str, str], ...]:
    """Read ``test``, ``test.other``, ``test.right`` ...; without a word, the same side."""
    split = [(*word.split("."), "same")[:2] for word in _words(row, "sums_up")]
    for _, relation in split:
        if relation not in RELATIONS:
            raise BadInput("sums_up", relation, ", ".join(RELATIONS), where=row.where)
    return tuple((test, relation) for test, relation in split)


def _part(row: Row, key: str, *allowed: str) -> Row:
    """Return a nested mapping as a row that knows where it stands."""
    value = row[key]
    if not isinstance(value, dict):
        raise BadInput(key, value, "fields: " + ", ".join(allowed), where=row.where)
    part = Row(value, f"{row.where}, {key}")
    part.only(*allowed)
    return part


def _read_responses(row: Row, sign: Sign | None) -> dict[str, Response]:
    responses = {}
    codes = row["responses"]
    if not isinstance(codes, dict) or "normal" not in codes:
        raise BadInput("responses", codes, "a mapping that holds `normal`", where=row.where)
    for code in codes:
        if not isinstance(code, str) or code in RESERVED_CODES:
            raise BadInput(
                "responses", code, "a code of its own (this word is a status)", where=row.where
            )
        answer = _part(Row(codes, row.where), code, "label", "state")
        state = answer.one_of("state", sign.states) if sign else None
        if not sign and "state" in answer:
            raise BadInput(
                "state", answer["state"], "no state, as there is no sign", where=answer.where
            )
        responses[code] = Response(code, _text(answer, "label"), state)
    if sign:
        if responses["normal"].state != sign.neutral:
            found = responses["normal"].state
            raise BadInput("responses, normal, state", found, sign.neutral, where=row.where)
        missing = set(sign.states) - {response.state for response in responses.values()}
        if missing:
            raise BadInput(
                "responses", sorted(codes), f"a response for {sorted(missing)}", where=row.where
            )
    return responses


def _read_measurement(
    row: Row, responses: Mapping[str, Response], sign: Sign | None
) -> Measurement:
    part = _part(
        row, "measurement", "unit", "kind", "reader", "low", "high", "bands", "words", "grading",
        "source",
    )  # fmt: skip
    kind = part.one_of("kind", KINDS)
    if (kind == "text") != ("reader" in part):
        raise BadInput(
            "reader", part.get("reader"), "a reader with kind text only", where=part.where
        )
    low = part.number("low", -1e6, 1e6)
    high = part.number("high", low, 1e6)
    bands = _read_bands(part, low, high, responses) if "bands" in part else ()
    words = part.get("words", {})
    for response in words.values():
        if response not in responses:
            raise BadInput("words", response, "one of " + ", ".join(responses), where=part.where)
    return Measurement(
        unit=_text(part, "unit"),
        kind=kind,
        low=low,
        high=high,
        bands=bands,
        reader=part.one_of("reader", READERS) if "reader" in part else "",
        words=MappingProxyType(words),
        grading=_read_grading(part, bands, sign) if "grading" in part else None,
        source=check_source(part["source"], part.where),
    )


def _read_bands(
    part: Row, low: float, high: float, responses: Mapping[str, Response]
) -> tuple[Band, ...]:
    bands = []
    edge = low
    for place, found in enumerate(part["bands"], 1):
        band = _part(Row({"bands": found}, part.where), "bands", "from", "to", "response")
        if band["from"] != edge:
            raise BadInput(
                "bands, from", band["from"], f"{edge:g}, to leave no gap", where=part.where
            )
        edge = band.number("to", edge, high)
        if edge == band["from"] and place < len(part["bands"]):
            raise BadInput("bands, to", edge, f"more than {edge:g}", where=part.where)
        bands.append(Band(float(band["from"]), edge, band.one_of("response", tuple(responses))))
    if edge != high:
        raise BadInput("bands, to", edge, f"{high:g}, the greatest value", where=part.where)
    return tuple(bands)


def _read_grading(row: Row, bands: tuple[Band, ...], sign: Sign | None) -> Grading:
    part = _part(
        row, "grading", "begins", "ends", "error", "step", "logarithmic", "source", "basis"
    )
    if sign is None or len(sign.grades) == len(sign.states):
        raise BadInput("grading", "present", "none, as no sign is graded", where=part.where)
    grades = sign.severity
    of_grades = _part(part, "begins", *grades)
    begins = tuple(of_grades.number(grade, -1e6, 1e6) for grade in grades)
    ends = part.number("ends", -1e6, 1e6)
    ascending = ends >= begins[0]
    inside = min(begins[-1], ends) == (begins[-1] if ascending else ends)
    if list(begins) != sorted(set(begins), reverse=not ascending) or not inside:
        raise BadInput("begins", begins, "values that only rise or only fall", where=part.where)
    step = part.number("step", 1e-3, 100)
    logarithmic = part.get("logarithmic", False)
    for low, high in pairwise(bands):
        if "normal" in (low.response, high.response):
            edge = high.low if ascending else high.low - step
            if abs(begins[0] - edge) > 1e-9:
                expected = f"{edge:g}, where the band of `normal` ends"
                raise BadInput("begins", begins[0], expected, where=part.where)
    return Grading(
        begins=begins,
        ends=ends,
        error=part.number("error", 1e-3, 100),
        step=step,
        logarithmic=logarithmic,
        source=check_source(part["source"], part.where),
        basis=_text(part, "basis"),
    )


def _read_accuracy(row: Row, sign: Sign) -> Accuracy:
    graded = {"partial", "complete"} < set(sign.states)
    shares = ("partial", "complete") if graded else ("present",)
    directed = not graded and len(sign.states) > 2
    allowed = ("specificity", *shares, "source", "specificity_source", "mark", "basis")
    part = _part(row, "accuracy", *allowed, *(("wrong_side",) if directed else ()))
    found: dict[str, Any] = {name: part.number(name, 0.0, 1.0) for name in shares}
    specificity = part.number("specificity", 0.0, 1.0)
    for name, share in found.items():
        if share <= 1.0 - specificity:
            raise BadInput(
                name,
                share,
                f"more than {1.0 - specificity:g}, or the test says nothing",
                where=part.where,
            )
    return Accuracy(
        specificity=specificity,
        partial=found.get("partial"),
        complete=found.get("complete"),
        present=found.get("present"),
        wrong_side=part.number("wrong_side", 0.0, 0.5) if directed else 0.0,
        source=check_source(part["source"], part.where),
        specificity_source=check_source(part.get("specificity_source", part["source"]), part.where),
        mark=part.one_of("mark", MARKS, ""),
        basis=part.get("basis", ""),
    )
