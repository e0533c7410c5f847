"""Acuity scored letter by letter on a logarithmic chart of five letters a row.

References
----------
.. [1] Bailey IL, Lovie JE. New design principles for visual acuity letter charts.
   Am J Optom Physiol Opt 1976;53:740-745 (rows of five letters, 0.1 log units apart).
.. [2] Rosser DA, Laidlaw DAH, Murdoch IE. The development of a "reduced logMAR" visual acuity chart
   for use in routine clinical practice. Br J Ophthalmol 2001;85:432-436 (0.02 logMAR a letter).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from decussate.errors import BadInput
from decussate.measures.acuity_chart import chart_named
from decussate.measures.distance_acuity import ReadAcuity, from_logmar

__all__ = ["LETTERS_A_ROW", "METHOD", "RowRead", "score_by_letter"]

_CHART = chart_named("logarithmic 5 letters")
LETTERS_A_ROW = _CHART.lines[0][1]
METHOD = "letter by letter on a logarithmic chart"
"""Name of the method in the table of repeatability of ``data/distance_acuity.yaml``."""
_STEP = round(_CHART.lines[0][0] - _CHART.lines[1][0], 6)


@dataclass(frozen=True, slots=True)
class RowRead:
    """A row that was shown, and how many of its letters were read.

    Parameters
    ----------
    logmar : float
        Size of the row at the distance it was read from, a multiple of 0.1.
    read : int
        Letters read, 0 to 5.
    """

    logmar: float
    read: int

    def __post_init__(self) -> None:
        if not 0 <= self.read <= LETTERS_A_ROW:
            raise BadInput("letters read of a row", self.read, f"0 to {LETTERS_A_ROW}")
        if abs(self.logmar / _STEP - round(self.logmar / _STEP)) > 1e-6:
            raise BadInput("row of the chart", self.logmar, "logMAR in steps of 0.1")


def score_by_letter(rows: Iterable[RowRead]) -> ReadAcuity:
    """Score the rows read by one eye.

    The smallest row read whole gives the line. A letter missed on a larger row costs 0.02, a letter
    read on a smaller row gains 0.02 [2]_. Larger rows that were not shown count as read, smaller
    ones as not read.

    Parameters
    ----------
    rows : iterable of RowRead
        Rows shown, each once, in any order.

    Returns
    -------
    ReadAcuity
        In logMAR, with a remark when the smallest row shown was read whole.

    Raises
    ------
    BadInput
        When no row was read whole, a row is given twice, or a row was left out below the smallest
        one read whole.
    """
    shown = sorted(rows, key=lambda row: -row.logmar)
    places = [round(row.logmar / _STEP) for row in shown]
    if len(set(places)) != len(places):
        raise BadInput("rows read", [row.logmar for row in shown], "each row once")
    whole = [n for n, row in enumerate(shown) if row.read == LETTERS_A_ROW]
    if not whole:
        raise BadInput(
            "rows read",
            ", ".join(f"{row.read} of {LETTERS_A_ROW}" for row in shown) or "none",
            "one row read whole, to count from",
            hint="Show a larger row, or go nearer.",
        )
    base = whole[-1]
    below = places[base:]
    if below != list(range(below[0], below[0] - len(below), -1)):
        left_out = next(n for n in range(below[0], below[-1], -1) if n not in below)
        raise BadInput(
            "rows read",
            f"nothing for the row {left_out * _STEP:.1f}",
            "every row below the smallest one read whole",
            hint="Show that row too.",
        )
    letter = _STEP / LETTERS_A_ROW
    missed = sum(LETTERS_A_ROW - row.read for row in shown[:base])
    gained = sum(row.read for row in shown[base + 1 :])
    acuity = from_logmar(round(shown[base].logmar + letter * (missed - gained), 4))
    remarks = (
        () if shown[base + 1 :] else ("The smallest row shown was read whole: may be better.",)
    )
    return replace(acuity, chart=_CHART.name, remarks=remarks)
