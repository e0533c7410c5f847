"""Muscle power: the grades, which are ordered but are not numbers, and whose muscle moves what."""

from __future__ import annotations

import re
from enum import Enum
from functools import total_ordering

from decussate.errors import BadInput
from decussate.measures.published_rows import PublishedRow, read_tables, row_named
from decussate.sides import Side

__all__ = [
    "GradeChange",
    "MrcGrade",
    "accessory_weakness",
    "compare_grades",
    "grade_agreement",
    "movement_muscle",
    "read_grade",
    "weak_side_from_deviation",
]


@total_ordering
class MrcGrade(Enum):
    """Medical Research Council grade of power.

    Grades can be compared but not added, subtracted or averaged: the steps are not equal.

    References
    ----------
    Medical Research Council, Memorandum 45, 1976. Grades 4-, 4 and 4+ for slight, moderate and
    strong resistance: same memorandum (from memory).
    """

    ZERO = "0"
    ONE = "1"
    TWO = "2"
    THREE = "3"
    FOUR_MINUS = "4-"
    FOUR = "4"
    FOUR_PLUS = "4+"
    FIVE = "5"

    def __lt__(self, other: object) -> bool:
        if not isinstance(other, MrcGrade):
            return NotImplemented
        order = list(MrcGrade)
        return order.index(self) < order.index(other)

    def __str__(self) -> str:
        return self.value

    @property
    def words(self) -> str:
        """Meaning of the grade."""
        rows = read_tables("power.yaml")["mrc_grades"]
        return str(row_named(rows, self.value, "grade")["words"])


class GradeChange(Enum):
    """Direction of change between two gradings."""

    WORSE = "worse"
    SAME = "same"
    BETTER = "better"
    WITHIN_DOUBT = "within doubt"


_WRITTEN = re.compile(r"^(?:mrc)?(?:grade)?([0-5])(\+|-)?(?:/5)?(\+|-)?$")


def read_grade(text: str, muscle: str = "") -> MrcGrade:
    """Read a grade as written: ``4+``, ``4 minus``, ``MRC 4-``, ``5/5``, ``4+/5``, ``4/5+``.

    Parameters
    ----------
    text : str
    muscle : str, optional
        Muscle graded; one that does not act against gravity is refused.

    Returns
    -------
    MrcGrade

    Raises
    ------
    BadInput
        If it is not one of the eight grades, or the muscle is not graded this way.
    """
    graded_otherwise = {row["name"] for row in read_tables("power.yaml")["not_graded"]}
    if muscle.strip().lower() in graded_otherwise:
        raise BadInput(
            f"power of the {muscle.strip().lower()}",
            text,
            "its own scale, not a grade against gravity",
            hint="Face, palate, tongue and eye movements are not graded 0 to 5.",
        )
    tidy = text.strip().lower().replace("\u2212", "-").replace("\u2013", "-")
    tidy = re.sub(r"\s*plus$", "+", re.sub(r"\s*minus$", "-", tidy))
    found = _WRITTEN.match(re.sub(r"\s+", "", tidy))
    grade = "" if found is None else found[1] + (found[2] or found[3] or "")
    if found is None or (found[2] and found[3]) or grade not in {g.value for g in MrcGrade}:
        raise BadInput(
            "power",
            text,
            "0, 1, 2, 3, 4-, 4, 4+ or 5",
            hint="Plus and minus belong to grade 4 only; a grade is never between two others.",
        )
    return MrcGrade(grade)


def compare_grades(before: MrcGrade, after: MrcGrade) -> GradeChange:
    """Say whether power has changed.

    A move between neighbours among 4-, 4, 4+ and 5 is within doubt: examiners agree there in about
    half of cases.

    Parameters
    ----------
    before, after : MrcGrade

    Returns
    -------
    GradeChange

    References
    ----------
    O'Neill et al. 2017, Chiropr Man Therap 25:28: exact agreement 64 % on the six grades, 48 % with
    4+. That a single step there is not counted is `judgement`.
    """
    if before is after:
        return GradeChange.SAME
    order = list(MrcGrade)
    steps = order.index(after) - order.index(before)
    if abs(steps) == 1 and min(before, after) >= MrcGrade.FOUR_MINUS:
        return GradeChange.WITHIN_DOUBT
    return GradeChange.BETTER if steps > 0 else GradeChange.WORSE


def grade_agreement() -> tuple[PublishedRow, ...]:
    """Give the published agreement between examiners.

    Returns
    -------
    tuple of PublishedRow
        Each with ``name`` and ``value``.
    """
    return read_tables("power.yaml")["grade_agreement"]


def movement_muscle(movement: str, towards: Side) -> tuple[str, Side]:
    """Name the muscle, with its side, that makes a movement to one side.

    Parameters
    ----------
    movement : str
        ``"turn the face"``, ``"shrug the shoulder"``, ``"push the jaw sideways"`` or ``"push the
        tongue into the cheek"``.
    towards : Side
        The patient's side moved to.

    Returns
    -------
    muscle : str
    side : Side
        The muscle's own side.

    Raises
    ------
    BadInput
        If the movement is not known.
    """
    row = row_named(read_tables("power.yaml")["movements"], movement, "movement")
    return str(row["muscle"]), towards if row["side"] == "same" else towards.other


def weak_side_from_deviation(part: str, towards: Side) -> Side:
    """Give the weak side from the side to which a midline part deviates.

    The jaw on opening and the tongue on protrusion go towards the weak side. Sight against the
    incisors, not the lips: a weak face fakes deviation.

    Parameters
    ----------
    part : str
        ``"jaw on opening"`` or ``"tongue on protrusion"``.
    towards : Side

    Returns
    -------
    Side

    Raises
    ------
    BadInput
        If the part is not known. (The uvula, which moves away from the weak side, is not here.)
    """
    row = row_named(read_tables("power.yaml")["deviations"], part, "midline part")
    return towards if row["towards"] == "weak" else towards.other


def accessory_weakness(lesion: str, side: Side) -> dict[str, Side | None]:
    """Give the weak sternomastoid and trapezius for a lesion of the accessory path.

    Parameters
    ----------
    lesion : str
        ``"accessory nerve"``, ``"accessory nerve in the posterior triangle"``, ``"cerebral
        hemisphere"`` or ``"medulla"``.
    side : Side
        Side of the lesion.

    Returns
    -------
    dict of str to Side or None
        Weak side by muscle, and under ``"head turn"`` the side to which turning is weak; None where
        the muscle is spared or nothing is reported.

    References
    ----------
    J Neurol Neurosurg Psychiatry 1986 (PMC1028686): turning is weak away from a hemisphere lesion
    and towards a medullary one.
    """
    row = row_named(read_tables("power.yaml")["accessory_lesions"], lesion, "lesion")
    where = {"same": side, "opposite": side.other, "none": None}
    weak: dict[str, Side | None] = {m: where[row[m]] for m in ("sternomastoid", "trapezius")}
    sternomastoid = weak["sternomastoid"]
    weak["head turn"] = None if sternomastoid is None else sternomastoid.other
    return weak
