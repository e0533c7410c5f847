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
        place = f"{_short(self.where, 300)}: " if self.where else ""
        tail = f" {self.hint}" if self.hint else ""
        found, field = _short(repr(self.found), 80), _short(self.field, 120)
        return f"{place}{field}: found {found}, expected {_short(self.expected, 2000)}.{tail}"


def _short(text: str, longest: int) -> str:
    """Return a text that is not too long: a path says most at its end, a text at its beginning."""
    if len(text) <= longest:
        return text
    return f"{text[: longest // 2 - 2]}...{text[-(longest // 2 - 1) :]}"
