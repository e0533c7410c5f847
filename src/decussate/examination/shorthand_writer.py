"""Writing an examination as shorthand that reads back to the same findings and story."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.examination.document import (
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Examination,
    Finding,
    MeasuredValue,
    Story,
)
from decussate.examination.shorthand_lexicon import Lexicon, phrase
from decussate.examination.shorthand_words import lexicon_of
from decussate.sides import Side

__all__ = ["write_shorthand"]

_SIDES = {Side.RIGHT: "R", Side.LEFT: "L"}
_STATUSES = {NOT_TESTED: "not tested", COULD_NOT_BE_TESTED: "unable"}


def write_shorthand(examination: Examination, catalogue: Catalogue | None = None) -> str:
    """Write the story and the findings, one a line, in words `read_shorthand` understands.

    Parameters
    ----------
    examination : Examination
    catalogue : Catalogue, optional
        The tests known; by default those of the package.

    Returns
    -------
    str
        Reads back to the same findings (each field), story and old deficits. Unread text, label,
        citation and truth have no place in shorthand: keep the document for those.
    """
    lexicon = lexicon_of(catalogue or load_catalogue())
    lines = [*_story(examination.story)]
    lines += [_finding(found, lexicon) for found in examination.findings]
    for test, side in examination.known_old:
        lines.append(" ".join(["old:", test, *([_SIDES[side]] if side else [])]))
    return "".join(f"{line}\n" for line in lines)


def _story(story: Story) -> Iterator[str]:
    if story.age is not None:
        yield f"{_number(story.age)} y"
    if story.sex:
        yield story.sex
    if story.onset:
        yield "sudden onset" if story.onset == "sudden" else f"onset over {story.onset}"
    if story.course:
        yield "in attacks" if story.course == "attacks" else story.course
    for word in story.context:
        yield word.replace("_", " ")


def _finding(found: Finding, lexicon: Lexicon) -> str:
    test = lexicon.catalogue.test(found.test)
    parts = [_name(test, lexicon)]
    if found.side:
        parts.append(_SIDES[found.side])
    if found.response in ("right", "left") and not test.paired:
        parts.append(_SIDES[Side(found.response)])
    else:
        parts.append(_STATUSES.get(found.response) or _word(test, found.response, lexicon))
    if found.measurement:
        parts.append(_measured(found.measurement, test, lexicon))
    parts += _remarks(found)
    return " ".join(part for part in parts if part)


def _name(test: Test, lexicon: Lexicon) -> str:
    """Give the first short form that names this test and no other, else its id."""
    for name in lexicon.names[test.id]:
        heads = lexicon.heads.get(phrase(name), ())
        plain = not heads[0].findings if len(heads) == 1 else False
        if plain and heads[0].id == test.id and re.fullmatch(r"[\w ]+", name):
            return name
    return test.id


def _word(test: Test, code: str, lexicon: Lexicon) -> str:
    """Give the first word that means this response of this test: its code, label or another."""
    own = lexicon.heads[(test.id,)][0].words
    label = test.responses[code].label if code in test.responses else code
    for parts in (phrase(code), phrase(label), *own):
        claims = own.get(parts)
        plain = lexicon.words.get(parts)
        if claims and claims[0].response == code and (plain is None or plain.kind == "normal"):
            return " ".join(parts)
    return code


def _measured(measured: MeasuredValue, test: Test, lexicon: Lexicon) -> str:
    if isinstance(measured.value, str):
        return measured.value
    return f"{_number(measured.value)} {lexicon.unit_written[measured.unit]}".rstrip()


def _number(value: float) -> str:
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(value)


def _remarks(found: Finding) -> Iterator[str]:
    for text in (found.reason, found.comment):
        if text:
            yield f"({text})" if re.fullmatch(r"[^()\n\r\"]+", text) else _quoted(text)
    for name, value in (("with", found.technique), ("by", found.by)):
        if value:
            plain = re.fullmatch(r"[^\[\]\n\r\"]+", value)
            yield f"[{name}: {value if plain else _quoted(value)}]"
    if found.at:
        yield f"[at: {found.at.isoformat()}]"


def _quoted(text: str) -> str:
    """Write a text on one line, with no bracket that could end a remark."""
    return json.dumps(text).replace("[", "\\u005b").replace("]", "\\u005d")
