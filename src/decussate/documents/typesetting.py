"""Setting a document as PDF, Markdown or HTML.

Text reaches the typesetter as data and is never read as its markup. The PDF carries its fonts, is
tagged, and follows PDF/UA-1 (ISO 14289-1); the same document always gives the same bytes.
"""

from __future__ import annotations

import json
import re
from functools import cache
from importlib.resources import as_file, files
from typing import Any
from xml.etree import ElementTree as ET

import typst
from jinja2 import Environment, PackageLoader
from markupsafe import Markup

from decussate.documents.document import Block, Document, Figure, Items, Part, Table, Text
from decussate.errors import BadInput

__all__ = ["as_html", "as_markdown", "as_pdf", "named_apart", "set_for_page"]

_SVG = "http://www.w3.org/2000/svg"
LARGE_PT, USUAL_PT = 12.5, 10.5


def as_pdf(document: Document, *, large: bool = False) -> bytes:
    """Set a document as PDF.

    Parameters
    ----------
    document : Document
    large : bool
        Larger type, for patients.

    Returns
    -------
    bytes
        PDF/UA-1 with embedded fonts; the same document gives the same bytes.

    Raises
    ------
    BadInput
        If a character is in none of the fonts to hand.
    """
    content = _content(document) | {"size_pt": LARGE_PT if large else USUAL_PT}
    with as_file(files("decussate.documents").joinpath("document.typ")) as path:
        # The typefaces that come with the typesetter give the same bytes everywhere; those of the
        # machine are asked only for a script that these lack.
        for own_fonts_only in (True, False):
            try:
                pdf = typst.compile(
                    str(path),
                    root=str(path.parent),
                    font_paths=[],
                    ignore_system_fonts=own_fonts_only,
                    format="pdf",
                    pdf_standards="ua-1",
                    sys_inputs={"content": json.dumps(content)},
                    timestamp=0,
                )
            except typst.TypstError as error:
                missing = re.search(r"the text `\"(.+)\"` could not be displayed", str(error))
                if missing is None:
                    raise
                if own_fonts_only:
                    continue
                raise BadInput(
                    "text for the PDF",
                    missing[1],
                    "characters of a typeface on this machine",
                    hint="Install a typeface for this script, or use HTML.",
                ) from error
            break
    if not isinstance(pdf, bytes):
        raise TypeError("one PDF was expected of the typesetter")
    return pdf


def as_html(document: Document) -> str:
    """Set a document as one HTML page that needs nothing else.

    Parameters
    ----------
    document : Document

    Returns
    -------
    str
        Drawings stand in it as SVG; whatever people typed is escaped.
    """
    return str(_page().render(document=set_for_page(document)))


def set_for_page(document: Document) -> dict[str, Any]:
    """Return a document as plain data for a page of HTML, its drawings ready to stand together.

    Parameters
    ----------
    document : Document

    Returns
    -------
    dict
        Title, lines and parts; every block names its kind.
    """
    content = _content(document)
    figures = (
        block
        for part in (*content["parts"], *content["annex"])
        for block in part["blocks"]
        if block["kind"] == "figure"
    )
    for number, figure in enumerate(figures, 1):
        figure["svg"] = Markup(named_apart(figure["svg"], f"figure-{number}-"))  # noqa: S704
    return content


def as_markdown(document: Document) -> str:
    """Set a document as Markdown (CommonMark with tables); drawings are told in words.

    Parameters
    ----------
    document : Document

    Returns
    -------
    str
        Whatever people typed is kept from being read as markup.
    """
    blocks = [f"**{_marked(document.mark)}**"] if document.mark else []
    blocks.append(f"# {_marked(document.title)}")
    blocks += [_marked(line) for line in document.opening]
    for part in document.parts:
        blocks += _markdown_part(part)
    blocks += [f"*{_marked(line)}*" for line in document.closing]
    for part in document.annex:
        blocks += _markdown_part(part)
    return "\n\n".join(blocks) + "\n"


def _markdown_part(part: Part) -> list[str]:
    return [f"## {_marked(part.heading)}", *(_markdown_block(block) for block in part.blocks)]


def _markdown_block(block: Block) -> str:
    match block:
        case Text(words, strong):
            return f"**{_marked(words)}**" if strong else _marked(words)
        case Items(lines):
            return "\n".join(f"- {_marked(line)}" for line in lines)
        case Table(_, columns, rows):
            shown = (columns, ("---",) * len(columns), *rows)
            return "\n".join(
                "| " + " | ".join("---" if cell == "---" else _marked(cell) for cell in row) + " |"
                for row in shown
            )
        case Figure(title, _, words, caption):
            return f"**{_marked(title)}** (drawing, in words). {_marked(f'{words} {caption}')}"


def _marked(text: str) -> str:
    """Keep a text from being read as Markdown or HTML, on one line."""
    escaped = re.sub(r"([\\`*_\[\]<>#|~&])", r"\\\1", _plain(text))
    # A line must not begin like a list, a number of one, or a rule.
    return re.sub(r"^(\d*)([-+.)=])", r"\1\\\2", escaped)


def _plain(text: str) -> str:
    """Keep a text on its line; characters that cannot be shown become blanks."""
    return " ".join("".join(one if one.isprintable() else " " for one in text).split())


def _content(document: Document) -> dict[str, Any]:
    """Return a document as plain data, for a template."""
    return {
        "title": _plain(document.title),
        "subject": _plain(document.subject),
        "mark": _plain(document.mark),
        "opening": [_plain(line) for line in document.opening],
        "parts": [_part(part) for part in document.parts],
        "closing": [_plain(line) for line in document.closing],
        "foot": _plain(document.foot),
        "annex": [_part(part) for part in document.annex],
    }


def _part(part: Part) -> dict[str, Any]:
    blocks = [_block(block) for block in part.blocks]
    return {"heading": _plain(part.heading), "blocks": blocks}


def _block(block: Block) -> dict[str, Any]:
    match block:
        case Text(words, strong):
            return {"kind": "text", "words": _plain(words), "strong": strong}
        case Items(lines):
            return {"kind": "items", "lines": [_plain(line) for line in lines]}
        case Table(caption, columns, rows):
            return {
                "kind": "table",
                "caption": _plain(caption),
                "columns": [_plain(name) for name in columns],
                "rows": [[_plain(cell) for cell in row] for row in rows],
            }
        case Figure(title, svg, words, caption):
            return {
                "kind": "figure",
                "title": _plain(title),
                "svg": svg,
                "words": _plain(words),
                "caption": _plain(caption),
                "width": _width(svg),
            }


def _width(svg: str) -> float:
    """Return the share of the line a drawing takes: tall ones less, so that two fit a page."""
    _, _, across, along = (float(n) for n in ET.fromstring(svg).attrib["viewBox"].split())  # noqa: S314
    return min(1.0, 0.66 * across / along)


def named_apart(svg: str, prefix: str) -> str:
    """Give the ids of a drawing a prefix, so that two drawings on a page do not share them."""
    root = ET.fromstring(svg)  # noqa: S314  our own drawing
    for element in root.iter():
        for key, value in element.attrib.items():
            if key == "id":
                element.set(key, prefix + value)
            elif value.startswith("url(#"):
                element.set(key, f"url(#{prefix}{value[5:]}")
    ET.register_namespace("", _SVG)
    return ET.tostring(root, encoding="unicode")


@cache
def _page() -> Any:  # noqa: ANN401  the template engine's own type
    loader = PackageLoader("decussate.documents", ".")
    return Environment(
        loader=loader, autoescape=True, trim_blocks=True, lstrip_blocks=True
    ).get_template("document.html")
