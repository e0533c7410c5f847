"""Which way a drawing faces: whose right is on its left, and how the drawing says so.

Visual fields know no choice: they are always drawn as the patient sees them.
"""

from __future__ import annotations

from enum import StrEnum

from decussate.sides import Side

__all__ = ["Convention"]


class Convention(StrEnum):
    """The side on which a drawing of a face, an eye or a section shows the patient's right."""

    FACING = "facing"
    """As the examiner faces the patient, or as on a scan: the patient's right on the left."""
    OWN = "own"
    """From the patient's own side: the patient's right on the right."""

    @property
    def right_side(self) -> Side:
        """The side of the sheet on which the patient's right is drawn."""
        return Side.LEFT if self is Convention.FACING else Side.RIGHT

    @property
    def sides(self) -> tuple[Side, Side]:
        """The patient's sides in the order in which they stand on the sheet, left to right."""
        return (Side.RIGHT, Side.LEFT) if self is Convention.FACING else (Side.LEFT, Side.RIGHT)

    def across(self, side: Side) -> int:
        """Give the direction on the sheet outward from the midline, for a side of the patient.

        Parameters
        ----------
        side : Side
            The patient's.

        Returns
        -------
        int
            -1 towards the left of the sheet, +1 towards its right.
        """
        return -1 if side is self.sides[0] else 1

    def words(self, view: str = "front") -> str:
        """Say on the drawing which way it faces.

        Parameters
        ----------
        view : str
            ``front`` for a face, an eye or an ear, ``axial`` for a section or a plan from above.

        Returns
        -------
        str
        """
        return f"{_VIEWS[self, view]}: the patient's right is on the {self.right_side}."


_VIEWS = {
    (Convention.FACING, "front"): "As the examiner faces the patient",
    (Convention.FACING, "axial"): "As on a scan, front at the top",
    (Convention.OWN, "front"): "From the patient's own side",
    (Convention.OWN, "axial"): "As seen from above, front at the top",
}
