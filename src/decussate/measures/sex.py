"""The two columns that published norms by sex have."""

from __future__ import annotations

from enum import StrEnum

__all__ = ["Sex"]


class Sex(StrEnum):
    """The column of a published norm, not a statement about the person."""

    FEMALE = "female"
    MALE = "male"
