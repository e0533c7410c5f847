"""A note or letter as a person kept it, beside what the program had written at that moment."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

__all__ = ["LONGEST", "WrittenText"]

LONGEST = 40_000
"""Most characters of a kept text; a note has about two thousand (judgement)."""

_Text = Annotated[str, Field(max_length=LONGEST)]


class WrittenText(BaseModel):
    """A text that somebody kept; both what was generated and what was kept stay in the record.

    Parameters
    ----------
    document : str
        What it is.
    generated : str
        What the program had written, as it was shown.
    text : str
        What was kept; the same where nothing was changed by hand.
    fields : mapping of str to str
        What was typed into a letter, by the part it belongs to.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    document: Literal["note", "letter"]
    generated: _Text
    text: _Text
    fields: dict[str, _Text] = {}

    @property
    def edited(self) -> bool:
        """Whether it was changed by hand."""
        return self.text != self.generated
