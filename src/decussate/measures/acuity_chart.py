"""How many letters stand on each line of an acuity chart, and so what one letter is worth."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from decussate.measures.published_rows import read_tables, row_named

__all__ = ["FOOT_M", "Chart", "chart_named"]

FOOT_M = 0.3048


@dataclass(frozen=True, slots=True)
class Chart:
    """How many letters each line of a chart holds.

    Parameters
    ----------
    name : str
    lines : tuple of (float, int)
        Each line as (logMAR at the design distance, letters), largest first.
    distances : tuple of float
        Distances, in metres, by which the lines are named.
    """

    name: str
    lines: tuple[tuple[float, int], ...]
    distances: tuple[float, ...]

    def line_of(self, size_m: float, test_distance_m: float) -> int | None:
        """Index of the line named ``size_m`` (metres), or None when this chart has no such line."""
        # Printed labels (6/7.5, 6/38, 4/12.6) are rounded, by up to 0.006 log units.
        for design in self.distances or (test_distance_m,):
            wanted = math.log10(size_m / design)
            for index, (logmar, _) in enumerate(self.lines):
                if abs(logmar - wanted) < 0.0075:
                    return index
        return None

    def letter_values(self, index: int) -> tuple[float, float]:
        """LogMAR of a letter missed on a line, and of a letter gained on the next.

        The value of a letter is the step to the neighbouring line over the letters of the line it
        stands on: 0.02 only where 5 letters meet a 0.1 step (Rosser, Laidlaw and Murdoch 2001).
        Not a number where the chart has no neighbouring line.
        """
        logmar, letters = self.lines[index]
        missed = (self.lines[index - 1][0] - logmar) / letters if index > 0 else math.nan
        if index + 1 == len(self.lines):
            return missed, math.nan
        below, letters_below = self.lines[index + 1]
        return missed, (logmar - below) / letters_below


@cache
def chart_named(name: str) -> Chart:
    """Fetch a chart of ``data/distance_acuity.yaml``.

    Parameters
    ----------
    name : str
        For example ``"logarithmic 5 letters"`` or ``"Snellen 6 m"``.

    Returns
    -------
    Chart

    Raises
    ------
    BadInput
        When there is no such chart.
    """
    row = row_named(read_tables("distance_acuity.yaml")["charts"], name, "acuity chart")
    if ladder := row.get("ladder"):
        count = round((ladder["largest"] - ladder["smallest"]) / ladder["step"])
        lines = (
            (ladder["largest"] - ladder["step"] * n, ladder["letters"]) for n in range(count + 1)
        )
        return Chart(name, tuple(lines), ())
    design = 20.0 if row["unit"] == "ft" else 6.0
    unit_m = FOOT_M if row["unit"] == "ft" else 1.0
    return Chart(
        name, tuple((math.log10(size / design), n) for size, n in row["lines"]), (design * unit_m,)
    )
