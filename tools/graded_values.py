"""Write docs/graded_values.md: what each measured value says of the grade of a sign.

Run: python tools/graded_values.py            writes the page
     python tools/graded_values.py --check    says whether the page is up to date
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from decussate.anatomy import load_atlas
from decussate.examination.bedside_test import Grading, Test
from decussate.examination.catalogue import load_catalogue
from decussate.localisation.readings import BLUNDER, WORDS_ERROR

PAGE = Path(__file__).resolve().parents[1] / "docs" / "graded_values.md"

HEAD = f"""# What measured values say

Written by `python tools/graded_values.py` from the catalogue (`grading` of a test) and the scales
of signs; a test fails when it is out of date.

A sign is in a *state* (no loss, partial loss, complete loss), and a state may have *grades*. A
response in words names a state; a measured value tells grades apart. The likelihood of a value *v*
given grade *k* is

    P(v | k) = P(abnormal | state of k) x P(v | k, abnormal)

The first factor is the accuracy stated for the test. A value within normal limits says what
`normal` says, and no more. The second is the chance that a true value, anywhere in the range of the
grade with equal probability, plus a normal error of the standard deviation below, comes to lie
within half a step of *v*, given that it is abnormal at all. The worst reading stands for everything
beyond (floor or ceiling). One reading in {1 / BLUNDER:.0f} is taken to be a slip that could be that
of any grade. A false alarm is mild as a rule: each grade is half as often met as the next milder
one, complete loss 15 in 100 (judgement). Unequal pupils without a lesion follow the physiological
difference instead: {{met}} in 100 of each grade (lam_1987; the tail is judgement).

A word is a reading put less carefully: the grade read, give or take {WORDS_ERROR:g} grade (standard
deviation). What a word says is so a mixture of what the values it stands for say; a value and its
word are one finding.

Where grades begin is common practice for limitation, power and the facial grade, published for
hearing, and judgement elsewhere. Levels of conduction lost that the grades stand for: {{levels}}.

| test | unit | first reading of each grade, mildest on | worst | error (SD) | step | source | why |
|---|---|---|---|---|---|---|---|
"""


def row(test: Test, grading: Grading) -> str:
    """Write one line of the table."""
    of_log = " log10" if grading.logarithmic else ""
    unit = test.measurement.unit if test.measurement else ""
    cells = (
        test.name,
        unit,
        ", ".join(f"{value:g}" for value in grading.begins),
        f"{grading.ends:g}",
        f"{grading.error:g}{of_log}",
        f"{grading.step:g}{of_log}",
        grading.source,
        grading.basis,
    )
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |\n"


def page() -> str:
    """Write the whole page."""
    signs = load_atlas().signs
    scales = {
        tuple(f"{grade} {level:g}" for grade, (_, level) in sign.scale.grades.items() if level > 0)
        for sign in signs.values()
        if sign.scale and len(sign.grades) > len(sign.states)
    }
    levels = "; ".join(", ".join(scale) for scale in sorted(scales, key=lambda one: one[-1]))
    rows = [
        row(test, test.measurement.grading)
        for test in load_catalogue()
        if test.measurement and test.measurement.grading
    ]
    pupils = signs["anisocoria"].scale
    met = ", ".join(f"{100 * share:g}" for share in pupils.met) if pupils else ""
    return HEAD.replace("{levels}", levels).replace("{met}", met) + "".join(rows)


def main(arguments: list[str]) -> int:
    """Write the page, or compare it with what would be written."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true")
    text = page()
    if parser.parse_args(arguments).check:
        current = PAGE.exists() and PAGE.read_text(encoding="utf-8") == text
        if not current:
            print("graded_values.md is out of date: run tools/graded_values.py")
        return 0 if current else 1
    PAGE.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
