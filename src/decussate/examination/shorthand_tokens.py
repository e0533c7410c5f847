"""Words of the shorthand: the longest known phrase at each place of a fragment."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from decussate.examination.bedside_test import Test
from decussate.examination.document import MeasuredValue
from decussate.examination.shorthand_lexicon import Head, Lexicon, Phrase
from decussate.sides import Side

__all__ = [
    "REMARKS",
    "Atom",
    "Clause",
    "NotUnderstood",
    "Sides",
    "Token",
    "duration_at",
    "names_in",
    "own_name",
    "tokens_of",
    "without_headings",
    "words_after",
]

Sides = tuple[Side, ...] | None
REMARKS = ("REMARK", "QUOTED", "TAG", "note", "technique")
"""Kinds of token that say something beside the finding."""


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
    only_side: Sides = None
    old: bool = False
    negated: bool = False
    broken: bool = False
    modality: tuple[str, ...] = ()
    techniques: tuple[Token, ...] = ()
    ahead: Sequence[Sequence[Atom]] = ()
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
    active = words_after(heads, lexicon)
    of_parts = any(_measured_in_parts(head) for head in heads)
    opened: set[Phrase] = set()
    first = lexicon.words.get((keys[0],)) if keys else None
    negated = first is not None and first.kind == "negations"
    if clause.head and (negated or tuple(keys) in own_words(clause.head, lexicon)):
        # Tongue midline, no fasciculation: of the tongue still. DHT positive, upbeat torsional.
        opened |= words_after([clause.head], lexicon)
        active |= opened
    tokens: list[Token] = []
    at = 0
    while at < len(atoms):
        atom = atoms[at]
        if atom.kind in ("REMARK", "QUOTED", "TAG"):
            tokens.append(Token(atom.kind, (), atom.start, atom.end, atom.text))
            at += 1
            continue
        length, kind, value = _longest(keys, at, active, opened, lexicon)
        lasting, _ = duration_at(atoms, at, lexicon)
        if lasting > length and not (of_parts and lasting == 1):
            length, kind, value = lasting, "note", None
        total = _sum_at(keys, at, lexicon)
        if total and kind != "head":
            taken, text = total
            end = atoms[at + taken - 1].end
            tokens.append(Token("number", (), atom.start, end, (text, None)))
            at += taken
            continue
        plain = length < 2 and kind not in ("technique", "note")
        if plain and atom.kind in ("NUMBER", "FRACTION"):
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
            opened |= words_after(value, lexicon)
        at += length
    return _compared(tokens, clause)


def _compared(tokens: list[Token], clause: Clause) -> list[Token]:
    """Read ``L>R`` as both sides, with the comparison kept in words."""
    kept: list[Token] = []
    at = 0
    while at < len(tokens):
        three = tokens[at : at + 3]
        signed = [token.kind for token in three[::2]] == ["side", "side"]
        if signed and len(three) == 3 and three[1].key in ((">",), ("<",), (">", ">"), ("<", "<")):
            first, last = three[0], three[2]
            if {*first.value} | {*last.value} == set(Side) and len(first.value) == 1:
                both = (Side.RIGHT, Side.LEFT)
                kept.append(Token("side", first.key, first.start, last.end, both))
                kept.append(Token("note", (">",), first.start, last.end))
                at += 3
                continue
        kept.append(tokens[at])
        at += 1
    if any(token.key == (">",) for token in kept if token.kind == "note"):
        # `bilateral ptosis L>R`: both sides are said twice.
        compared = next(i for i, token in enumerate(kept) if token.key == (">",)) - 1
        kept = [
            token
            for index, token in enumerate(kept)
            if index == compared or token.kind != "side" or len(token.value) < 2
        ]
    return kept


def duration_at(atoms: Sequence[Atom], at: int, lexicon: Lexicon) -> tuple[int, str]:
    """Find the longest way of saying for how long that begins at a place.

    Returns
    -------
    tuple of int and str
        Number of atoms, 0 when there is none; and the onset it suggests, or nothing.
    """
    keys = tuple(_pattern(atom) for atom in atoms[at : at + 6])
    for length in range(len(keys), 0, -1):
        onset = lexicon.durations.get(keys[:length])
        if onset is not None:
            return length, onset
    return 0, ""


def _pattern(atom: Atom) -> str:
    if atom.kind == "NUMBER":
        return "#"
    if atom.kind == "FRACTION":
        return "#/" + atom.key.partition("/")[2].strip()
    return atom.key


def _measured_in_parts(head: Head) -> bool:
    """Whether ``3/7`` after this name may be a measurement."""
    scales = [test.measurement for test in head.tests]
    return any(scale is not None and scale.kind in ("fraction", "text") for scale in scales)


def _sum_at(keys: Sequence[str], at: int, lexicon: Lexicon) -> tuple[int, str] | None:
    """Add a value written in lettered parts: E4V5M6, E4 V5 M6."""
    for parts in lexicon.sums.values():
        pattern = "".join(rf"{letter}(\d)" for letter in parts)
        for length in (1, len(parts)):
            match = re.fullmatch(pattern, "".join(keys[at : at + length]))
            if match is None:
                continue
            scores = [int(score) for score in match.groups()]
            if all(1 <= score <= top for score, top in zip(scores, parts.values(), strict=True)):
                return length, str(sum(scores))
    return None


def names_in(atoms: Sequence[Atom], lexicon: Lexicon) -> list[Head]:
    """List every name that stands anywhere in a fragment."""
    keys = [atom.key for atom in atoms]
    found: dict[str, Head] = {}
    for at, key in enumerate(keys):
        for length in range(1, min(lexicon.longest.get(key, 0), len(keys) - at) + 1):
            for head in lexicon.heads.get(tuple(keys[at : at + length]), ()):
                found[head.id] = head
    return list(found.values())


def own_words(head: Head, lexicon: Lexicon) -> set[Phrase]:
    """Words of the one test a name means."""
    return set(head.words) if len(head.tests) == 1 and head.id in lexicon.holds else set()


def words_after(heads: Iterable[Head], lexicon: Lexicon) -> set[Phrase]:
    """Gather the words that may follow these names."""
    words = set(lexicon.states["present"] | lexicon.states["absent"]) if heads else set()
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
    taken, end, signs = 1, atom.end, ""
    for sign in atoms[at + 1 :]:
        if sign.key != "+" or sign.start != end:
            break
        end, taken, signs = sign.end, taken + 1, "+"
    return taken, Token("number", (), atom.start, end, (atom.text + signs, None))


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
