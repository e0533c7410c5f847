"""Write docs/accuracy.md and docs/reliability.svg: how the localisation does on published cases.

Run: python tools/accuracy.py
"""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree as ET

from decussate.examination.record import read_examination
from decussate.localisation import load_model, localise
from decussate.localisation.evaluation import CaseScore
from decussate.localisation.reliability import Band, Figure, Reliability, assess, bands, figures

ROOT = Path(__file__).resolve().parents[1]
CASES = ROOT / "tests" / "published" / "cases"
PAGE = ROOT / "docs" / "accuracy.md"
DRAWING = ROOT / "docs" / "reliability.svg"
COMMAND = "python tools/accuracy.py"
BANDS = 6
LEFT, TOP, SIZE = 90, 40, 420


def main() -> None:
    """Evaluate every case and write both files."""
    files = sorted(CASES.glob("*.json"))
    found = assess([read_examination(file) for file in files], localise)
    grouped = bands(found.scored, BANDS)
    DRAWING.write_text(drawing(grouped), encoding="utf-8")
    PAGE.write_text(page(found, grouped), encoding="utf-8")
    print(f"{PAGE.relative_to(ROOT)} and {DRAWING.relative_to(ROOT)}: {len(files)} cases")


def page(found: Reliability, grouped: tuple[Band, ...]) -> str:
    """The page, whole."""
    cases = found.evaluation.cases
    scored = [case for case in cases if case.scored]
    rest = [case for case in cases if not case.scored]
    today = datetime.now(UTC).date().isoformat()
    stated = sum(p for p, _ in found.scored) / len(found.scored)
    came_true = sum(right for _, right in found.scored) / len(found.scored)
    return f"""# How the localisation does on published cases

Written by `{COMMAND}` on {today}, from the {len(cases)} files of
`tests/published/cases/`. Each is a published case with a confirmed lesion, encoded from what its
paper states; what the paper does not mention is not tested, never normal. The accepted places (the
true one and any that the paper cannot tell from it) are in the file. The anatomy was mended with
these cases in sight, so the figures describe the state of development; they are not an independent
trial. Cases that were printed are often the unusual ones.

## Scored cases

{summary(scored)}

Intervals: bootstrap over cases, percentile method, 10,000 resamples from a fixed seed. *Side*
counts the lateralised cases; the *log score* is the mean natural logarithm of the probability given
to the true place (0 would be certainty, {guess()} a guess among all places).

## Cases not scored

Too few findings, or a truth inferred from the signs; reported apart.

{summary(rest)}

## Do the probabilities come true?

The scored cases by the probability of the place put first: mean probability, and the share in which
that place was accepted, with Wilson's 95 percent interval. Over all of them the mean probability
is {100 * stated:.0f} %, and the place put first was accepted in {100 * came_true:.0f} %. A case may
accept several places, so a share somewhat above the stated probability is to be expected.

![Share of cases right against the probability stated](reliability.svg)

{reliability_table(grouped)}

## Every case

{case_table(cases)}
"""


def guess() -> str:
    """The log score of a guess that gives every place the same probability."""
    return f"{-math.log(len(load_model().lesions.sites)):.1f}"


def summary(cases: list[CaseScore]) -> str:
    """A table of figures with their intervals."""
    names = {
        "top1": "true place first",
        "top3": "true place in the first three",
        "side": "side right",
        "log_score": "mean log score",
    }
    rows = ["| | cases | figure | 95 % interval |", "|---|---:|---:|---|"]
    for key, figure in figures(cases).items():
        rows.append(f"| {names[key]} | {figure.count} | {shown(figure, key == 'log_score')} |")
    return "\n".join(rows)


def shown(figure: Figure, plain: bool) -> str:
    """A figure and its interval as two cells."""
    if plain:
        return f"{figure.value:.2f} | {figure.low:.2f} to {figure.high:.2f}"
    low, value, high = (100 * number for number in (figure.low, figure.value, figure.high))
    return f"{value:.1f} % | {low:.1f} to {high:.1f}"


def reliability_table(grouped: tuple[Band, ...]) -> str:
    """The bands as a table."""
    rows = [
        "| probability stated | mean | cases | first place right | 95 % interval |",
        "|---|---:|---:|---:|---|",
    ]
    for band in grouped:
        span = f"{100 * band.lowest:.0f} to {100 * band.highest:.0f} %"
        rows.append(
            f"| {span} | {100 * band.stated:.0f} % | {band.right.count} "
            f"| {shown(band.right, False)} |"
        )
    return "\n".join(rows)


def case_table(cases: tuple[CaseScore, ...]) -> str:
    """One row a case."""
    rows = [
        "| case | rank | probability | side right | true place | put first |",
        "|---|---:|---:|---|---|---|",
    ]
    side = {True: "yes", False: "**no**", None: "-"}
    for case in cases:
        true = f"{case.side or ''} {' or '.join(case.places)}".strip()
        first = f"{case.first_side or ''} {case.first_place}".strip()
        name = case.id if case.scored else f"{case.id} (not scored)"
        rows.append(
            f"| {name} | {case.rank or '-'} | {100 * case.probability:.1f} % "
            f"| {side[case.side_right]} | {true} | {'the same' if case.rank == 1 else first} |"
        )
    return "\n".join(rows)


def drawing(grouped: tuple[Band, ...]) -> str:
    """A reliability diagram; points off the diagonal are probabilities that do not come true."""
    svg = ET.Element(
        "svg",
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {LEFT + SIZE + 40} {TOP + SIZE + 80}",
        role="img",
        attrib={"font-family": "sans-serif", "font-size": "14", "fill": "#222"},
    )
    ET.SubElement(svg, "title").text = "Share of cases right against the probability stated"
    said = "; ".join(
        f"stated {100 * b.stated:.0f} percent, right {100 * b.right.value:.0f} of 100"
        for b in grouped
    )
    ET.SubElement(svg, "desc").text = f"{said}."
    ET.SubElement(svg, "rect", width="100%", height="100%", fill="#fff")
    for tick in range(0, 101, 20):
        x, y = across(tick / 100), up(tick / 100)
        stroke(svg, x, up(0), x, up(1), "#ddd")
        stroke(svg, across(0), y, across(1), y, "#ddd")
        words(svg, x, up(0) + 22, f"{tick}", "middle")
        words(svg, across(0) - 10, y + 5, f"{tick}", "end")
    stroke(svg, across(0), up(0), across(1), up(1), "#666", dash="6 5")
    for band in grouped:
        x = across(band.stated)
        stroke(svg, x, up(band.right.low), x, up(band.right.high), "#1b4f72", width="2")
        ET.SubElement(
            svg, "circle", cx=f"{x:.1f}", cy=f"{up(band.right.value):.1f}", r="6", fill="#1b4f72"
        )
        words(svg, x + 9, up(band.right.value) - 8, f"n={band.right.count}", "start")
    words(svg, across(0.5), up(0) + 52, "probability stated for the first place (%)", "middle")
    middle = up(0.5)
    upright = words(svg, 30, middle, "first place right (% of cases)", "middle")
    upright.set("transform", f"rotate(-90 30 {middle:.1f})")
    ET.indent(svg)
    return ET.tostring(svg, encoding="unicode") + "\n"


def across(share: float) -> float:
    """Where a share stands from left to right."""
    return LEFT + SIZE * share


def up(share: float) -> float:
    """Where a share stands from top to bottom."""
    return TOP + SIZE * (1 - share)


def stroke(
    svg: ET.Element, x1: float, y1: float, x2: float, y2: float, colour: str, *,
    dash: str = "", width: str = "1",
) -> None:  # fmt: skip
    """Add a line."""
    ends = {"x1": f"{x1:.1f}", "y1": f"{y1:.1f}", "x2": f"{x2:.1f}", "y2": f"{y2:.1f}"}
    dashed = {"stroke-dasharray": dash} if dash else {}
    ET.SubElement(svg, "line", {**ends, "stroke": colour, "stroke-width": width, **dashed})


def words(svg: ET.Element, x: float, y: float, text: str, anchor: str) -> ET.Element:
    """Add a text."""
    place = {"x": f"{x:.1f}", "y": f"{y:.1f}", "text-anchor": anchor}
    element = ET.SubElement(svg, "text", place)
    element.text = text
    return element


if __name__ == "__main__":
    main()
