"""Words of the shorthand: the longest known phrase at each place of a fragment."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from decussate.examination.bedside_test import Test
from decussate.examination.document import MeasuredValue
from decussate.examination.shorthand_lexicon import Head, Lexicon, Phrase
from decussate.sides import Side

__all__ = [
    "Atom",
    "Clause",
    "NotUnderstood",
    "Sides",
    "Token",
    "names_in",
    "own_name",
    "tokens_of",
    "without_headings",
]

Sides = tuple[Side, ...] | None


class NotUnderstood(Exception):
    """A fragment that cannot be read without guessing; the message is the reason shown."""


@dataclass(frozen=True, slots=True)
class Atom:
    """A word, number, sign or remark of the note, with its place."""

    kind: str
    text: str
    key: str
    start: int
    end: int


@dataclass(slots=True)
class Clause:
    """What earlier fragments of a clause leave for later ones, and what the note has so far."""

    lexicon: Lexicon
    note: str
    head: Head | None = None
    name: Phrase = ()
    side: Sides = None
    old: bool = False
    negated: bool = False
    broken: bool = False
    measured: dict[tuple[str, Side | None], MeasuredValue] = field(default_factory=dict)
    said: dict[tuple[str, Side | None], str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Token:
    """A phrase of known kind, or an unknown word, with its place in the note."""

    kind: str
    key: Phrase
    start: int
    end: int
    value: Any = None


def tokens_of(atoms: Sequence[Atom], clause: Clause) -> list[Token]:
    """Match the longest phrase at each place, words of the named tests before general ones."""
    lexicon = clause.lexicon
    keys = [atom.key for atom in atoms]
    heads = names_in(atoms, lexicon) or ([clause.head] if clause.head else [])
    active = _words_after(heads, lexicon)
    opened: set[Phrase] = set()
    tokens: list[Token] = []
    at = 0
    while at < len(atoms):
        atom = atoms[at]
        if atom.kind in ("REMARK", "QUOTED", "TAG"):
            tokens.append(Token(atom.kind, (), atom.start, atom.end, atom.text))
            at += 1
            continue
        length, kind, value = _longest(keys, at, active, opened, lexicon)
        if atom.kind in ("NUMBER", "FRACTION") and (length < 2 or kind in ("", "story")):
            taken, token = _number(atoms, at, lexicon)
            if taken >= length:
                tokens.append(token)
                at += taken
                continue
        length = max(length, 1)
        end = atoms[at + length - 1].end
        key = tuple(keys[at : at + length])
        tokens.append(Token(kind or "unknown", key, atom.start, end, value))
        if kind == "head":
            opened |= _words_after(value, lexicon)
        at += length
    return tokens


def names_in(atoms: Sequence[Atom], lexicon: Lexicon) -> list[Head]:
    """List every name that stands anywhere in a fragment."""
    keys = [atom.key for atom in atoms]
    found: dict[str, Head] = {}
    for at, key in enumerate(keys):
        for length in range(1, min(lexicon.longest.get(key, 0), len(keys) - at) + 1):
            for head in lexicon.heads.get(tuple(keys[at : at + length]), ()):
                found[head.id] = head
    return list(found.values())


def _words_after(heads: Iterable[Head], lexicon: Lexicon) -> set[Phrase]:
    """Gather the words that may follow these names."""
    words: set[Phrase] = set()
    for head in heads:
        words.update(head.words, head.adds)
        for test in head.tests:
            words.update(own_name(test, lexicon).words)
    return words


def _longest(
    keys: Sequence[str], at: int, active: set[Phrase], opened: set[Phrase], lexicon: Lexicon
) -> tuple[int, str, Any]:
    reach = min(lexicon.longest.get(keys[at], 0), len(keys) - at)
    for length in range(reach, 0, -1):
        key = tuple(keys[at : at + length])
        word = lexicon.words.get(key)
        if word is not None and word.kind in ("side", "status"):
            return length, word.kind, word.value
        if word is not None and word.kind == "negations":
            return length, "negations", None
        if key in lexicon.heads and key not in opened:
            return length, "head", lexicon.heads[key]
        if key in active:
            return length, "value", None
        if word is not None:
            return length, word.kind, word.value
    return 0, "", None


def _number(atoms: Sequence[Atom], at: int, lexicon: Lexicon) -> tuple[int, Token]:
    """Read a number with the unit or plus signs that follow it."""
    atom = atoms[at]
    rest = [other.key for other in atoms[at + 1 : at + 5]]
    for length in range(len(rest), 0, -1):
        units = lexicon.units.get(tuple(rest[:length]))
        if units:
            end = atoms[at + length].end
            return length + 1, Token("number", (), atom.start, end, (atom.text, units))
    taken, end = 1, atom.end
    for sign in atoms[at + 1 :]:
        if sign.key != "+" or sign.start != end:
            break
        end, taken = sign.end, taken + 1
    return taken, Token("number", (), atom.start, end, (atom.text, None))


def without_headings(tokens: Sequence[Token]) -> list[Token]:
    """Drop a name that only heads what follows the colon (``fields: L hemianopia``)."""
    kept: list[Token] = []
    for index, token in enumerate(tokens):
        colon = index + 1 < len(tokens) and tokens[index + 1].key == (":",)
        begins = all(other.kind == "empty" for other in kept)
        follows = any(other.kind == "head" for other in tokens[index + 2 :])
        if colon and begins and (token.kind == "heading" or (token.kind == "head" and follows)):
            continue
        kept.append(token)
    return kept


def own_name(test: Test, lexicon: Lexicon) -> Head:
    """Return the name of the test itself, with its words."""
    return lexicon.heads[(test.id,)][0]
