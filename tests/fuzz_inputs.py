"""Hostile inputs: random text, and valid texts and JSON documents with something broken in them."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Sequence
from typing import Any

from hypothesis import strategies as st

__all__ = ["NASTY_VALUES", "hostile_json", "hostile_text", "nasty_words"]

NASTY_WORDS = (
    "", " ", "\0", "\x1b[31m", "\x85", "\u2028", "\u202e", "\ufeff", "\ufffe", "\U0010ffff",
    "e\u0301" * 40, "\u0661\u0662", "\u00b2", "\u2167", "½", "ﬁ", "İ", "ß", "－", "٪", "\r",
    "\r\n", "\n\n\n", "\t", ";", ",", "|", "--", "=1+1", "@SUM(A1)", "+cmd", "'\"`", "${x}",
    "{{7*7}}", "%s%n", "<script>alert(1)</script>", "]]>", "../../etc/passwd", "NaN", "nan",
    "Infinity", "-inf", "1e999", "-1e999", "1e-999", "0x10", "1_000", "9" * 400, "-0", "00",
    "1e400000", "9" * 5000, ".", "-", "+", "1/0", "0/0", "6/", "/6", "6/6/6", "1e308", "true",
    "null", "None", "[]", "{}", "(" * 200, "[" * 3000, '{"a":' * 2000, "a" * 3000,
    "right left " * 300, "R L " * 400, "R ptosis " * 60, "x" * 140_000,
)  # fmt: skip
"""Words that broke some program once: numbers that are none, invisible and huge letters, markup."""

NASTY_NUMBERS = (
    "NaN",
    "-1",
    "1e999",
    "9" * 400,
    "9" * 5000,
    "0",
    "-0.0",
    "1e-320",
    "12345678901234567890",
    "٣",
)
LARGEST = 100_000
"""Characters; repeating stops there, so that many inputs can be tried."""


def nasty_words() -> st.SearchStrategy[str]:
    """One word of the list, or any text at all."""
    return st.sampled_from(NASTY_WORDS) | st.text(max_size=20)


def _broken(text: str, changes: list[tuple[str, int, int, str]]) -> str:
    for how, place, length, word in changes:
        start = place % (len(text) + 1)
        end = min(len(text), start + length)
        match how:
            case "insert":
                text = text[:start] + word + text[start:]
            case "replace":
                text = text[:start] + word + text[end:]
            case "delete":
                text = text[:start] + text[end:]
            case "repeat":
                times = min(1 + place % 60, 1 + LARGEST // (len(text) + 1))
                text = text[:end] + text[start:end] * times + text[end:]
            case "cut":
                text = text[:start]
            case "number":
                numbers = list(re.finditer(r"\d+(\.\d+)?", text))
                if numbers:
                    one = numbers[place % len(numbers)]
                    number = NASTY_NUMBERS[length % len(NASTY_NUMBERS)]
                    text = text[: one.start()] + number + text[one.end() :]
            case "lines":
                lines = text.split("\n")
                if len(lines) > 1:
                    first, second = place % len(lines), length % len(lines)
                    lines[first], lines[second] = lines[second], lines[first]
                    text = "\n".join(lines)
            case "case":
                text = text[:start] + text[start:end].swapcase() + text[end:]
    return text[: 2 * LARGEST]


CHANGES = st.lists(
    st.tuples(
        st.sampled_from(
            ("insert", "replace", "delete", "repeat", "cut", "number", "lines", "case")
        ),
        st.integers(0, 1_000_000),
        st.integers(0, 40),
        nasty_words(),
    ),
    min_size=1,
    max_size=5,
)


def hostile_text(seeds: Sequence[str]) -> st.SearchStrategy[str]:
    """Mostly valid texts with one to five changes; sometimes any text, or one sound text."""
    broken = st.builds(_broken, st.sampled_from(seeds), CHANGES)
    anything = st.text(max_size=200) | st.lists(nasty_words(), max_size=12).map(" ".join)
    return st.one_of(broken, broken, broken, anything, st.sampled_from(seeds))


def _deep(depth: int) -> Any:
    value: Any = 1
    for _ in range(depth):
        value = [value]
    return value


NASTY_VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 10**30, 10**400, 1e308, -1e308, 1e-320, float("nan"), float("inf"),
    -float("inf"), "", "\0", "\ud800", "x" * 6000, "9" * 5000, "=1+1", [], {}, [[]], {"": ""},
    [None], ["right"], {"value": 1}, _deep(150), "right", "left", "2026-02-30T00:00:00Z",
    "0001-01-01T00:00:00+00:00", "9999-12-31T23:59:59-23:59",
)  # fmt: skip


def _places(value: Any, found: list[tuple[Any, Any]]) -> list[tuple[Any, Any]]:
    """Every container with each of its keys."""
    if isinstance(value, dict):
        for key, inner in value.items():
            found.append((value, key))
            _places(inner, found)
    elif isinstance(value, list):
        for key, inner in enumerate(value):
            found.append((value, key))
            _places(inner, found)
    return found


def broken_document(seed: str, changes: list[tuple[str, int, Any]]) -> str:
    """Return a JSON text with values replaced, removed, doubled or renamed."""
    document = json.loads(seed)
    for how, place, value in changes:
        try:
            places = _places(document, [])
        except RecursionError:
            break  # deep enough
        if not places:
            break
        holder, key = places[place % len(places)]
        if how == "replace":
            holder[key] = copy.deepcopy(value)  # it may be changed itself by the next change
        elif how == "remove":
            del holder[key]
        elif isinstance(holder, list):
            holder.append(copy.deepcopy(holder[key]))
        elif how == "rename":
            holder[value if isinstance(value, str) else repr(value)[:50]] = holder.pop(key)
        else:
            holder[f"{key}x"] = copy.deepcopy(holder[key])
    try:
        return json.dumps(document)
    except RecursionError:
        return seed


DOCUMENT_CHANGES = st.lists(
    st.tuples(
        st.sampled_from(("replace", "replace", "remove", "double", "rename")),
        st.integers(0, 1_000_000),
        st.sampled_from(NASTY_VALUES) | st.text(max_size=10) | st.floats() | st.integers(),
    ),
    min_size=1,
    max_size=3,
)


def hostile_json(seeds: Sequence[str]) -> st.SearchStrategy[str]:
    """JSON documents with a value that does not belong; or the text itself broken."""
    broken = st.builds(broken_document, st.sampled_from(seeds), DOCUMENT_CHANGES)
    return st.one_of(broken, broken, hostile_text(seeds))
