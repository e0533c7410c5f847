"""Tie every urgency rule to the tests that name it: ``docs/safety/traceability.csv``.

``python tools/traceability.py --write`` makes the table anew; ``--check`` fails when it is stale or
when a rule has no test that raises it. A test names a rule through a parameter, a constant in its
body, or the computation of a published check.
"""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Iterator
from contextlib import redirect_stdout
from pathlib import Path
from types import CodeType
from typing import Any

import pytest

from decussate.bibliography import cite
from decussate.urgency import load_rules

ROOT = Path(__file__).resolve().parents[1]
TABLE = ROOT / "docs" / "safety" / "traceability.csv"
TESTS = ("tests/urgency", "tests/published/test_urgency_rules.py")
RAISING = (
    "test_every_rule.py::test_the_rule_is_raised_by_its_signs",
    "test_every_rule.py::test_a_rule_on_the_place_needs_its_probability",
)
"""The tests that try one rule each, with an examination made for it."""


class Collector:
    """Pytest plug-in that keeps the collected tests."""

    def __init__(self) -> None:
        self.items: list[pytest.Item] = []

    def pytest_itemcollected(self, item: pytest.Item) -> None:
        """Keep one test."""
        self.items.append(item)


def _constants(code: CodeType) -> Iterator[object]:
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _constants(constant)
        elif isinstance(constant, tuple | frozenset):
            yield from constant
        else:
            yield constant


def _words(item: pytest.Item) -> Iterator[object]:
    """Everything a test may name a rule by."""
    function: Any = getattr(item, "function", None)
    yield from _constants(function.__code__)
    call: Any = getattr(item, "callspec", None)
    for value in call.params.values() if call else ():
        yield value
        obtained = getattr(value, "obtained", None)
        for cell in getattr(obtained, "__closure__", None) or ():
            yield cell.cell_contents


def collect() -> list[pytest.Item]:
    """Return the tests of the rules, as pytest collects them."""
    collector = Collector()
    arguments = ["--collect-only", "-q", "-p", "no:cacheprovider"]
    with redirect_stdout(io.StringIO()) as said:
        paths = [str(ROOT / path) for path in TESTS]
        status = pytest.main([*arguments, *paths], plugins=[collector])
    if status != pytest.ExitCode.OK:
        raise SystemExit(f"the tests of the rules cannot be collected: {said.getvalue()[-2000:]}")
    return collector.items


def table() -> str:
    """Return the table as CSV; a rule that no test raises ends the program."""
    rules = load_rules()
    found: dict[str, list[str]] = {rule.id: [] for rule in rules}
    for item in collect():
        name = item.nodeid
        for word in dict.fromkeys(w for w in _words(item) if isinstance(w, str) and w in found):
            found[word].append(name)
    lacking = [
        rule.id
        for rule in rules
        if not any(key in test for key in RAISING for test in found[rule.id])
    ]
    if lacking:
        raise SystemExit(f"no test raises {', '.join(lacking)}")
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(("rule", "level", "source", "mark", "raised_by", "published", "other_tests"))
    for rule in rules:
        tests = sorted(set(found[rule.id]))
        raised = [test for test in tests if any(key in test for key in RAISING)]
        published = [test for test in tests if test.startswith("tests/published/")]
        others = [test for test in tests if test not in raised and test not in published]
        cells = (" ; ".join(group) for group in (raised, published, others))
        writer.writerow((rule.id, rule.level.value, cite(rule.source), rule.mark, *cells))
    return text.getvalue()


def main(argument: str) -> None:
    """Write the table or compare it with the file."""
    made = table()
    if argument == "--write":
        TABLE.write_text(made, encoding="utf-8")
    elif argument != "--check":
        raise SystemExit("python tools/traceability.py --write | --check")
    elif not TABLE.exists() or TABLE.read_text(encoding="utf-8") != made:
        raise SystemExit(f"{TABLE.name} is stale: python tools/traceability.py --write")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) == 2 else "")
