"""The page of long runs: each tool writes its own section and leaves the others alone."""

from __future__ import annotations

import re
from pathlib import Path

__all__ = ["PAGE", "write_section"]

PAGE = Path(__file__).parent.parent / "docs" / "soak.md"
TITLE = "# Long runs\n\n`make soak` remakes this page.\n\n"


def write_section(page: Path, section: str) -> None:
    """Put a section in the place of the one with the same heading, or at the end.

    Parameters
    ----------
    page : Path
        The page.
    section : str
        Markdown that begins with its heading, ``## ...``.
    """
    text = page.read_text(encoding="utf-8") if page.exists() else ""
    sections = re.split(r"^(?=## )", text, flags=re.MULTILINE)[1:]
    heading = section.partition("\n")[0]
    kept = [one for one in sections if one.partition("\n")[0] != heading]
    place = next((i for i, one in enumerate(sections) if one.startswith(f"{heading}\n")), len(kept))
    kept.insert(place, section)
    page.write_text(TITLE + "\n".join(one.strip() + "\n" for one in kept), encoding="utf-8")
