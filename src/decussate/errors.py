"""The one error raised for input that cannot be accepted."""

from __future__ import annotations

__all__ = ["BadInput"]


class BadInput(ValueError):
    """Input that cannot be accepted, with what a person needs to put it right.

    Parameters
    ----------
    field : str
        What was being read, in the user's words (``"pupil size, right eye"``).
    found : object
        What was given.
    expected : str
        What would have been accepted, with its unit and limits.
    hint : str, optional
        The usual slip and its remedy (``"was this 60/6 for 6/60?"``).
    where : str, optional
        File and line (``"note.txt, line 3"``) or position in a document (``"findings[4].value"``).
    """

    def __init__(
        self, field: str, found: object, expected: str, *, hint: str = "", where: str = ""
    ) -> None:
        self.field = field
        self.found = found
        self.expected = expected
        self.hint = hint
        self.where = where
        super().__init__(self.sentence)

    @property
    def sentence(self) -> str:
        """The error in one or two plain sentences."""
        place = f"{self.where}: " if self.where else ""
        shown = repr(self.found)
        if len(shown) > 80:
            # A path says most at its end, a text at its beginning: keep both.
            shown = f"{shown[:38]}...{shown[-39:]}"
        tail = f" {self.hint}" if self.hint else ""
        return f"{place}{self.field}: found {shown}, expected {self.expected}.{tail}"
