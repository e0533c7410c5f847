"""The patient's right and left: one type for the whole package."""

from __future__ import annotations

from enum import StrEnum

__all__ = ["Side"]


class Side(StrEnum):
    """A side of the patient, never the viewer's.

    Examples
    --------
    >>> Side.RIGHT.other
    <Side.LEFT: 'left'>
    """

    RIGHT = "right"
    LEFT = "left"

    @property
    def other(self) -> Side:
        """The opposite side."""
        return Side.LEFT if self is Side.RIGHT else Side.RIGHT
