"""Reading and writing the examination document (JSON, version 1), and its published schema."""

from __future__ import annotations

import difflib
import json
import re
from pathlib import Path
from typing import Any, NoReturn

import yaml
from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from decussate.errors import BadInput
from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.examination.checking import Problem, check_findings
from decussate.examination.document import (
    ABNORMAL,
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Examination,
    Finding,
    MeasuredValue,
    Story,
    Truth,
    UnreadText,
)

__all__ = [
    "ABNORMAL",
    "COULD_NOT_BE_TESTED",
    "LARGEST_DOCUMENT",
    "NOT_TESTED",
    "Examination",
    "Finding",
    "MeasuredValue",
    "Problem",
    "Story",
    "Truth",
    "UnreadText",
    "check_findings",
    "examine_document",
    "json_schema",
    "read_examination",
    "write_examination",
]

LARGEST_DOCUMENT = 2_000_000
"""Longest examination document read, in characters."""


def read_examination(source: Path | str, catalogue: Catalogue | None = None) -> Examination:
    """Read an examination document that has no problem.

    Parameters
    ----------
    source : Path or str
        A file, or the text of the document.
    catalogue : Catalogue, optional
        The tests known; by default those of the package.

    Returns
    -------
    Examination

    Raises
    ------
    BadInput
        For the first problem, with its position; the hint counts the others.
    """
    examination, problems = examine_document(source, catalogue)
    if problems:
        others = len(problems) - 1
        more = (
            f"{others} more problem{'s' if others > 1 else ''} in this document." if others else ""
        )
        raise problems[0].error(more)
    if examination is None:
        raise AssertionError("a document without a problem can be built")
    return examination


def examine_document(
    source: Path | str, catalogue: Catalogue | None = None
) -> tuple[Examination | None, tuple[Problem, ...]]:
    """Read an examination document and list everything wrong with it.

    Parameters
    ----------
    source : Path or str
        A file, or the text of the document.
    catalogue : Catalogue, optional
        The tests known; by default those of the package.

    Returns
    -------
    Examination or None
        None when the document cannot be built at all.
    tuple of Problem
        Empty when there is none.
    """
    name = str(source) if isinstance(source, Path) else "the document"
    try:
        text = _text(source, name)
        document = _json(text, name)
    except BadInput as error:
        return None, (Problem.of(error),)
    lines = _Lines(text)
    try:
        examination = Examination.model_validate(document)
    except ValidationError as error:
        wrong = [_shape_problem(item, document, name, lines) for item in error.errors()]
        return None, tuple({problem.path: problem for problem in wrong}.values())
    found = check_findings(examination, catalogue or load_catalogue())
    return examination, tuple(item.placed(f"{name}, {lines.of(item.path)}") for item in found)


def write_examination(examination: Examination) -> str:
    """Write an examination as JSON; fields that hold nothing are left out.

    Parameters
    ----------
    examination : Examination

    Returns
    -------
    str
        Reads back to an equal examination.
    """
    return examination.model_dump_json(indent=2, exclude_none=True) + "\n"


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of the document, as published in ``docs/schema``.

    Returns
    -------
    dict

    References
    ----------
    JSON Schema, draft 2020-12.
    """
    schema = Examination.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def _text(source: Path | str, name: str) -> str:
    if isinstance(source, str):
        text = source
    else:
        try:
            if source.stat().st_size > 4 * LARGEST_DOCUMENT:
                text = "x" * (LARGEST_DOCUMENT + 1)
            else:
                text = source.read_text(encoding="utf-8-sig")
        except OSError as error:
            raise BadInput(
                "file", name, "a file that can be read", hint=str(error.strerror)
            ) from None
        except UnicodeDecodeError as error:
            hint = f"Byte {error.start + 1} is not UTF-8: save the file as UTF-8."
            raise BadInput("file", name, "text in UTF-8", hint=hint) from None
    if len(text) > LARGEST_DOCUMENT:
        raise BadInput(
            "size of the document",
            "more",
            f"at most {LARGEST_DOCUMENT:,} characters",
            hint="Keep one examination in a file.",
            where=name,
        )
    return text


def _json(text: str, name: str) -> dict[str, Any]:
    def once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        built = dict(pairs)
        if len(built) < len(pairs):
            keys = [key for key, _ in pairs]
            twice = next(key for key in keys if keys.count(key) > 1)
            raise BadInput("key", twice, "each key once in one object", where=name)
        return built

    def no_constant(word: str) -> NoReturn:
        raise BadInput("number", word, "a finite number", where=name)

    try:
        document = json.loads(text, object_pairs_hook=once_each, parse_constant=no_constant)
    except json.JSONDecodeError as error:
        where = f"{name}, line {error.lineno}, column {error.colno}"
        ended = error.pos >= len(text.rstrip())
        hint = (
            "The document stops early: was it cut off while being saved or copied?"
            if ended or "Unterminated" in error.msg
            else "A JSON document begins with {. Notes in shorthand belong in a .txt file."
            if not text.lstrip().startswith("{")
            else "Look for a missing comma, quotation mark or bracket just before this place."
        )
        shown = text[error.pos : error.pos + 30] or "the end of the text"
        expected = _JSON_WORDS.get(error.msg, error.msg[0].lower() + error.msg[1:])
        raise BadInput("JSON", shown, expected, hint=hint, where=where) from None
    except BadInput:
        raise
    except (RecursionError, ValueError):
        raise BadInput(
            "JSON", "nesting too deep, or a number too long", "an examination", where=name
        ) from None
    if not isinstance(document, dict):
        raise BadInput("document", document, "one examination, a JSON object { ... }", where=name)
    return document


_JSON_WORDS = {
    "Expecting value": "a value",
    "Expecting property name enclosed in double quotes": "a key in double quotes",
    "Expecting ',' delimiter": "a comma or a closing bracket",
    "Expecting ':' delimiter": "a colon",
    "Extra data": "nothing after the end of the document",
    "Unterminated string starting at": "a closing quotation mark",
}


class _Lines:
    """Line and column of a place in the document, worked out when first asked for."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._root: yaml.Node | None = None
        self._composed = False

    def of(self, path: tuple[str | int, ...]) -> str:
        """Describe a place: ``line 12, column 7, findings[3].side``."""
        shown = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path)[1:]
        if not self._composed:
            self._root, self._composed = _composed(self._text), True
        node = self._root
        for step in path:
            if isinstance(node, yaml.MappingNode):
                node = next((v for k, v in node.value if k.value == step), None) or node
            elif isinstance(node, yaml.SequenceNode) and isinstance(step, int):
                node = node.value[step] if step < len(node.value) else node
        if node is None:
            return shown
        mark = node.start_mark
        return f"line {mark.line + 1}, column {mark.column + 1}" + (f", {shown}" if shown else "")


def _composed(text: str) -> yaml.Node | None:
    """Read JSON as YAML, only because the YAML reader keeps positions; None where it cannot."""
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    try:
        node: yaml.Node | None = yaml.compose(text.replace("\t", " "), Loader=loader)
    except (yaml.YAMLError, RecursionError):
        return None
    return node


def _shape_problem(
    item: ErrorDetails, document: dict[str, Any], name: str, lines: _Lines
) -> Problem:
    """Turn one complaint of the model into a problem a person can act on."""
    path = tuple(step for step in item["loc"] if _is_step(step, document))
    kind, field = item["type"], str(path[-1] if path else "document")
    found, hint = item["input"], ""
    expected = re.sub(r"^(Input|Value|String) (should|must) (be )?", "", item["msg"])
    if kind == "missing":
        found, expected = "nothing", f"the field {field!r}"
    elif kind == "extra_forbidden":
        found, expected = field, "only the fields of the schema"
        known = _field_names()
        near = difflib.get_close_matches(field, known, 1)
        hint = f"Did you mean {near[0]!r}?" if near else "See decussate schema."
    elif kind == "value_error":
        field, expected = "finding", str(item["ctx"]["error"])
        found = found.get("response") if isinstance(found, dict) else found
    elif path[-2:] == ("measurement", "value"):
        expected, hint = "a number, or text such as 6/9", "A number stands without quotation marks."
    elif field == "side":
        hint = "Write the patient's side in full: right or left."
    elif kind == "timezone_aware":
        expected, hint = "a time with its zone", "As 2026-01-31T10:00:00+00:00."
    return Problem(path, field, found, expected, hint, f"{name}, {lines.of(path)}")


def _is_step(step: str | int, document: dict[str, Any]) -> bool:
    """Whether a step of a model's path is a place in the document, not a branch of a union."""
    return isinstance(step, int) or step in _field_names() or step in document


def _field_names() -> list[str]:
    models: tuple[type[BaseModel], ...] = (
        Examination, Finding, MeasuredValue, Story, Truth, UnreadText,
    )  # fmt: skip
    return sorted({name for model in models for name in model.model_fields})
