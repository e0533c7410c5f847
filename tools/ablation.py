"""Write docs/ablation.md: what each part of the model earns on the published cases.

Each row takes one part away, compiles the model anew and scores every case again; the difference to
the whole model is paired, case by case.

Run: python tools/ablation.py
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from decussate.anatomy import Atlas, Place, load_atlas
from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.examination.record import ABNORMAL, Examination, Finding, Story, read_examination
from decussate.localisation.evaluation import CaseScore, score_case
from decussate.localisation.localise import localise
from decussate.localisation.model import compile_model

ROOT = Path(__file__).resolve().parents[1]
CASES = ROOT / "tests" / "published" / "cases"
PAGE = ROOT / "docs" / "ablation.md"
COMMAND = "python tools/ablation.py"

USUAL = 0.5
"""A part of a place taken more often than this belongs to its one fixed pattern."""
SURE = 0.999
"""Probability that a test without error is right; 1 would make some cases impossible."""
RESAMPLES = 10_000
COLUMNS = (
    "taken away", "what that means", "first, %", "in three, %", "side, %", "log score",
    "first, change", "log score, change",
)  # fmt: skip
TABLE = "| " + " | ".join(COLUMNS) + " |\n|---|---" + "|---:" * 6 + "|"
T = TypeVar("T")


def fixed_pattern(place: Place) -> Place:
    """Let the place take its usual parts always and the others never; at least one part stays."""
    usual = [part for part in place.parts if part.chance > USUAL]
    kept = usual or [max(place.parts, key=lambda part: part.chance)]
    if not place.paired:  # a midline place must stay its own mirror image
        least = min(part.chance for part in kept)
        kept = [part for part in place.parts if part.chance >= least]
    return replace(place, parts=tuple(replace(part, chance=1.0) for part in kept))


def all_or_nothing(place: Place) -> Place:
    """Let every damage be complete, but for the place that means no lesion."""
    return replace(place, severities={float(any(place.severities)): 1.0})


def same_incidence(place: Place) -> Place:
    """Make every site equally frequent."""
    return replace(place, prior=2.0 if place.paired else 1.0)


def flattened_incidence(place: Place) -> Place:
    """Take the square root of the incidence of each site."""
    sides = 2 if place.paired else 1
    return replace(place, prior=sides * (place.prior / sides) ** 0.5)


def each_place(change: Callable[[Place], Place]) -> Callable[[Atlas], Atlas]:
    """Change every place of an atlas."""
    return lambda atlas: replace(atlas, places={k: change(p) for k, p in atlas.places.items()})


def no_background(atlas: Atlas) -> Atlas:
    """Let no sign be met by chance (almost)."""
    return replace(
        atlas, signs={k: replace(s, background=1 - SURE) for k, s in atlas.signs.items()}
    )


def without_error(test: Test) -> Test:
    """Let a test be right, but for one time in a thousand."""
    if test.accuracy is None:
        return test
    kept = test.accuracy
    sure: dict[str, Any] = {
        name: SURE for name in ("partial", "complete", "present") if getattr(kept, name) is not None
    }
    return replace(test, accuracy=replace(kept, specificity=SURE, wrong_side=1 - SURE, **sure))


def every_test(change: Callable[[Test], Test]) -> Callable[[Catalogue], Catalogue]:
    """Change every test of a catalogue."""
    return lambda known: replace(known, tests={k: change(t) for k, t in known.tests.items()})


def without_story(examination: Examination) -> Examination:
    """Forget age, sex, onset, course and context."""
    return examination.model_copy(update={"story": Story()})


def without_grades(examination: Examination) -> Examination:
    """Say of each abnormal finding of a graded test only that it is abnormal."""
    signs, catalogue = load_atlas().signs, load_catalogue()

    def plain(finding: Finding) -> Finding:
        test = catalogue.test(finding.test)
        scale = signs[test.sign].scale if test.sign else None
        graded = scale is not None and min(scale.states.values()) >= 0
        response = test.responses.get(finding.response)
        if not graded or finding.response == "normal" or response is None or not response.state:
            return finding
        return finding.model_copy(update={"response": ABNORMAL, "measurement": None})

    return examination.model_copy(
        update={"findings": tuple(plain(finding) for finding in examination.findings)}
    )


def unchanged(thing: T) -> T:
    """Return what is given."""
    return thing


@dataclass(frozen=True)
class Variant:
    """The model without one of its parts."""

    name: str
    lost: str
    atlas: Callable[[Atlas], Atlas] = unchanged
    catalogue: Callable[[Catalogue], Catalogue] = unchanged
    examination: Callable[[Examination], Examination] = unchanged


VARIANTS = (
    Variant("whole model", "nothing"),
    Variant(
        "patterns",
        "each place takes its usual parts (chance above one half) always and the others never",
        atlas=each_place(fixed_pattern),
    ),
    Variant("graded damage", "all damage is complete", atlas=each_place(all_or_nothing)),
    Variant(
        "grades of findings",
        "a graded finding only says that it is abnormal",
        examination=without_grades,
    ),
    Variant(
        "errors of tests",
        "every test is right 999 times in 1000",
        catalogue=every_test(without_error),
    ),
    Variant("signs met by chance", "1 in 1000 for every sign", atlas=no_background),
    Variant("story", "age, sex, onset, course and context are not used", examination=without_story),
    Variant(
        "half of the incidence",
        "the square root of every incidence",
        atlas=each_place(flattened_incidence),
    ),
    Variant("incidence", "every site is equally frequent", atlas=each_place(same_incidence)),
)


def scores(variant: Variant, cases: list[Examination]) -> list[CaseScore]:
    """Score every case with one part taken away."""
    model = compile_model(variant.atlas(load_atlas()))
    catalogue = variant.catalogue(load_catalogue())
    return [
        score_case(case, localise(variant.examination(case), model, catalogue)) for case in cases
    ]


def figures(found: list[CaseScore]) -> Mapping[str, np.ndarray]:
    """Return the figures of each case, as arrays over cases."""
    return {
        "first": np.array([100.0 * (one.rank == 1) for one in found]),
        "three": np.array([100.0 * (one.rank is not None and one.rank <= 3) for one in found]),
        "log": np.array([one.log_score for one in found]),
    }


def difference(here: np.ndarray, whole: np.ndarray, digits: int) -> str:
    """Return the mean paired difference with its 95 percent bootstrap interval."""
    change = here - whole
    drawn = np.random.default_rng(1).integers(0, len(change), (RESAMPLES, len(change)))
    low, high = np.percentile(change[drawn].mean(axis=1), (2.5, 97.5))
    return f"{change.mean():+.{digits}f} ({low:+.{digits}f} to {high:+.{digits}f})"


def main() -> None:
    """Score every variant and write the page."""
    cases = [read_examination(file) for file in sorted(CASES.glob("*.json"))]
    scored = [case for case in cases if case.truth and case.truth.scored]
    rows = []
    whole: Mapping[str, np.ndarray] = {}
    for variant in VARIANTS:
        found = scores(variant, scored)
        here = figures(found)
        whole = whole or here
        sides = [one.side_right for one in found if one.side_right is not None]
        cells = [variant.name, variant.lost, f"{here['first'].mean():.1f}"]
        cells += [f"{here['three'].mean():.1f}", f"{100 * sum(sides) / len(sides):.1f}"]
        cells += [f"{here['log'].mean():.2f}"]
        if here is whole:
            cells += ["", ""]
        else:
            cells += [difference(here["first"], whole["first"], 1)]
            cells += [difference(here["log"], whole["log"], 2)]
        rows.append("| " + " | ".join(cells) + " |")
        print(rows[-1], flush=True)
    PAGE.write_text(page(len(scored), rows), encoding="utf-8")


def page(count: int, rows: list[str]) -> str:
    """The page, whole."""
    return f"""# What each part of the model earns

Written by `{COMMAND}` on {datetime.now(UTC).date().isoformat()}, from the {count} scored cases of
`tests/published/cases/`. Each row takes one part away, compiles the model anew and scores the cases
again. The last two columns are the difference to the whole model, paired case by case, with a
bootstrap interval over cases (percentile method, {RESAMPLES:,} resamples, fixed seed). A part that
earns its place has a log score that falls when it is taken away.

{TABLE}
{chr(10).join(rows)}

Published cases are rarer lesions, and carry fewer slips, than a clinic sees. So they like the model
better without its incidences and without the errors of its tests; but without its incidences it
puts the rare neighbour before the common one in classical pictures (decisions.md).
"""


if __name__ == "__main__":
    main()
