"""What a document is made of, before it is typeset: parts with text, lists, tables and drawings."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Block", "Document", "Figure", "Items", "Part", "Table", "Text", "paragraphs"]


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph; ``strong`` where it must not be missed."""

    words: str
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Items:
    """A list, one statement a line."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table with a heading to every column; the first column names the row."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing.

    Attributes
    ----------
    title : str
        What it shows.
    svg : str
        An SVG document.
    words : str
        The same in words, for those who do not see it.
    caption : str
        What to know when reading it.
    """

    title: str
    svg: str
    words: str
    caption: str = ""


Block = Text | Items | Table | Figure


@dataclass(frozen=True, slots=True)
class Part:
    """A heading and what stands under it."""

    heading: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """A document for people.

    Attributes
    ----------
    title : str
    subject : str
        Whom it is about; repeated on every page.
    mark : str
        Shown above the title when it must not be overlooked (an invented patient).
    opening : tuple of str
        Lines under the title.
    parts : tuple of Part
    closing : tuple of str
        Last lines of the text.
    foot : str
        Last line of every page.
    annex : tuple of Part
        What follows the text on pages of its own.
    """

    title: str
    subject: str
    mark: str
    opening: tuple[str, ...]
    parts: tuple[Part, ...]
    closing: tuple[str, ...]
    foot: str
    annex: tuple[Part, ...] = ()


def paragraphs(text: str) -> tuple[Text, ...]:
    """Return what a person typed as paragraphs, one a line."""
    return tuple(Text(line.strip()) for line in text.splitlines() if line.strip())
