"""The table of security requirements: every test it names exists, every `met` names one.

Checked against: OWASP Application Security Verification Standard 5.0.0 (May 2025), its own table of
requirements: numbers and levels as released, what each asks in our words.
"""

import ast
import csv
import re
from collections import Counter
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
TABLE = ROOT / "docs" / "safety" / "asvs.csv"
ROWS = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))
STATUSES = {"met", "not met", "accepted"}


@cache
def functions_of(file: str) -> frozenset[str]:
    tree = ast.parse((ROOT / file).read_text(encoding="utf-8"))
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef)
    return frozenset(node.name for node in ast.walk(tree) if isinstance(node, kinds))


def test_every_named_test_exists():
    missing = []
    for row in ROWS:
        for name in filter(None, row["tests"].split("; ")):
            file, _, function = name.partition("::")
            if not (ROOT / file).is_file() or function not in functions_of(file):
                missing.append(f"{row['requirement']}: {name}")
    assert missing == []


def test_what_is_met_names_a_test_and_what_is_not_says_why():
    for row in ROWS:
        assert row["status"] in STATUSES, row
        assert row["asks"], row
        assert row["how"], row
        if row["status"] == "met":
            assert row["tests"], row
        else:
            assert row["reason"], row


def test_each_requirement_of_levels_1_and_2_stands_once_in_order():
    numbers = [tuple(map(int, re.findall(r"\d+", row["requirement"]))) for row in ROWS]
    assert numbers == sorted(set(numbers))
    assert {row["level"] for row in ROWS} == {"1", "2"}
    assert {chapter for chapter, *_ in numbers} == {1, 2, 3, 4, 5, 6, 7, 8, 11, 12, 13, 14, 15, 16}
    assert all(re.fullmatch(r"V\d+\.\d+\.\d+", row["requirement"]) for row in ROWS)


def test_the_page_counts_them_as_they_are():
    counts = Counter(row["status"] for row in ROWS)
    text = (TABLE.parent / "README.md").read_text(encoding="utf-8")
    met, accepted, not_met = (counts[status] for status in ("met", "accepted", "not met"))
    words = f"{met} met, {accepted} accepted with a reason, {not_met} not met"
    assert words in " ".join(text.split())
