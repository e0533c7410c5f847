"""``decussate evaluate``: how well the localisation does on cases whose true place is known."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from decussate.cli.printing import print_json
from decussate.cli.reading import read_file

if TYPE_CHECKING:
    from decussate.localisation.evaluation import CaseScore, Evaluation, Summary

__all__ = ["evaluate"]


@click.command()
@click.argument("files", metavar="FILES...", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Print as JSON, one row a case.")
def evaluate(files: tuple[str, ...], as_json: bool) -> None:
    """Compare the localisation of each file with the true place it carries."""
    from decussate.localisation import localise
    from decussate.localisation.evaluation import evaluate as score

    evaluation = score((read_file(file) for file in files), localise)
    if as_json:
        print_json(_as_json(evaluation))
        return
    for case in evaluation.cases:
        click.echo(_row(case))
    click.echo()
    click.echo(_figures("Scored", evaluation.scored))
    click.echo(_figures("Not scored (reported apart)", evaluation.unscored))


def _row(case: CaseScore) -> str:
    rank = f"rank {case.rank}" if case.rank else "not listed"
    side = {True: "side right", False: "SIDE WRONG", None: "no side"}[case.side_right]
    first = " ".join(part for part in (case.first_side, case.first_place) if part)
    kept = "" if case.scored else " [not scored]"
    return (
        f"{case.id:<12} {rank:>10}  {100 * case.probability:5.1f} %  {side:<10}  "
        f"first: {first}; true: {case.side or '-'} {' or '.join(case.places)}{kept}"
    )


def _figures(name: str, summary: Summary) -> str:
    if not summary.count:
        return f"{name}: no case."
    return (
        f"{name}: {summary.count} cases; true place first {_percent(summary.top1)}, "
        f"in the first three {_percent(summary.top3)}; side right {_percent(summary.side)} "
        f"of {summary.lateralised} lateralised; mean log score {summary.log_score:.2f}."
    )


def _percent(share: float | None) -> str:
    return "-" if share is None else f"{100 * share:.1f} %"


def _as_json(evaluation: Evaluation) -> dict[str, object]:
    """Figures of the scored cases at the top, the unscored apart, one row a case."""
    return {
        **asdict(evaluation.scored),
        "unscored": evaluation.unscored,
        "cases": [{**asdict(case), "log_score": case.log_score} for case in evaluation.cases],
    }
