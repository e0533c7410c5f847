"""The written shorthand: reads findings the way clinicians write them, and writes them back."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

from lark import Lark, Token, Tree

from decussate.errors import BadInput
from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.examination.document import (
    Examination,
    Finding,
    MeasuredValue,
    Story,
    UnreadText,
)
from decussate.examination.shorthand_fragment import read_fragment
from decussate.examination.shorthand_lexicon import SILENT, Lexicon, Rest
from decussate.examination.shorthand_tokens import Atom, Clause, NotUnderstood, names_in
from decussate.examination.shorthand_words import lexicon_of
from decussate.examination.shorthand_writer import write_shorthand
from decussate.sides import Side

__all__ = ["LONGEST_NOTE", "ShorthandReading", "Span", "read_shorthand", "write_shorthand"]

LONGEST_NOTE = 200_000
"""Longest note read, in characters."""
LONGEST_FRAGMENT = 120
"""Most words and signs between two dividing signs; a longer stretch is no finding."""


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the note, by character offset."""

    start: int
    end: int


@dataclass(frozen=True, slots=True)
class ShorthandReading:
    """What a note says.

    Attributes
    ----------
    findings : tuple of Finding
        In the order of the note.
    story : Story
    unread : tuple of UnreadText
        What was not understood, word for word, with its line, column and reason.
    known_old : tuple of (str, Side or None)
        Test and side of what the note calls old.
    understood : tuple of Span
        Where the understood text stands; with `unread` it covers everything but space and
        the signs that divide.
    """

    findings: tuple[Finding, ...]
    story: Story
    unread: tuple[UnreadText, ...]
    known_old: tuple[tuple[str, Side | None], ...] = ()
    understood: tuple[Span, ...] = ()

    def examination(
        self, identifier: str, label: str = "", *, invented: bool = False
    ) -> Examination:
        """Return an examination that holds what the note says, unread text included."""
        return Examination(
            id=identifier,
            label=label,
            invented=invented,
            story=self.story,
            findings=self.findings,
            known_old=self.known_old,
            unread=self.unread,
        )


def read_shorthand(text: str, catalogue: Catalogue | None = None) -> ShorthandReading:
    """Read a note.

    Parameters
    ----------
    text : str
        One or many findings a line, divided by ``;``, commas, full stops or new lines.
    catalogue : Catalogue, optional
        The tests known; by default those of the package.

    Returns
    -------
    ShorthandReading
        A fragment that is not wholly understood is kept in `unread`; nothing is guessed.

    Raises
    ------
    BadInput
        If the note is longer than `LONGEST_NOTE`.
    """
    if len(text) > LONGEST_NOTE:
        raise BadInput(
            "length of the note",
            f"{len(text):,} characters",
            f"at most {LONGEST_NOTE:,} characters",
            hint="Is this the right file? A note of one examination is a page or two.",
        )
    lexicon = lexicon_of(catalogue or load_catalogue())
    note = _Note(text, lexicon)
    for clause in _parser().parse(text).find_data("clause"):
        note.read_clause(clause)
    return note.reading()


@dataclass(slots=True)
class _Note:
    """The findings, story and unread text of a note while it is read."""

    text: str
    lexicon: Lexicon
    findings: list[Finding] = field(default_factory=list)
    story: dict[str, Any] = field(default_factory=dict)
    known_old: list[tuple[str, Side | None]] = field(default_factory=list)
    understood: list[Span] = field(default_factory=list)
    unread: list[tuple[Span, str]] = field(default_factory=list)
    rest: list[Rest] = field(default_factory=list)
    measured: dict[tuple[str, Side | None], MeasuredValue] = field(default_factory=dict)

    def read_clause(self, tree: Tree[Token]) -> None:
        """Read the fragments of one clause; they share a name and a leading side."""
        clause = Clause(self.lexicon, self.text, measured=self.measured)
        for fragment in tree.children:
            items = fragment.children if isinstance(fragment, Tree) else []
            places = [item for item in items if isinstance(item, Token)]
            if not places:
                continue
            span = Span(_start(places[0]), _end(places[-1]))
            atoms = list(_atoms(places))
            try:
                self._read(atoms, clause)
                self.understood.append(span)
            except NotUnderstood as reason:
                clause = Clause(self.lexicon, self.text, broken=True, measured=self.measured)
                self._keep(span, str(reason))

    def _read(self, atoms: list[Atom], clause: Clause) -> None:
        if len(atoms) > LONGEST_FRAGMENT:
            raise NotUnderstood("too long for one finding: divide it with ; or new lines")
        told = _story_of(atoms, self.lexicon)
        if told is not None:
            self._tell(told)
            return
        if clause.broken and not names_in(atoms, self.lexicon):
            raise NotUnderstood("it continues text that could not be read")
        reading = read_fragment(atoms, clause)
        self.findings += reading.findings
        self.known_old += reading.known_old
        self.rest += reading.rest

    def _keep(self, span: Span, reason: str) -> None:
        """Keep unread text; what follows on within a line under the same reason joins it."""
        if self.unread:
            last, before = self.unread[-1]
            between = self.text[last.end : span.start]
            if before == reason and not between.strip(" \t,"):
                self.unread[-1] = (Span(last.start, span.end), reason)
                return
        self.unread.append((span, reason))

    def _tell(self, told: Sequence[tuple[str, Any]]) -> None:
        """Add to the story, or refuse what contradicts it."""
        for name, value in told:
            if name != "context" and self.story.get(name, value) != value:
                raise NotUnderstood(f"the {name} was already given as {self.story[name]}")
        if any(name == "age" and not 0 <= value <= 120 for name, value in told):
            raise NotUnderstood("an age is 0 to 120 years")
        for name, value in told:
            if name == "context":
                self.story["context"] = (*self.story.get("context", ()), value)
            else:
                self.story[name] = value

    def reading(self) -> ShorthandReading:
        """Return the whole."""
        starts = [0, *(match.end() for match in re.finditer("\n", self.text))]
        unread = []
        for span, reason in self.unread:
            line = bisect_right(starts, span.start)
            column = span.start - starts[line - 1] + 1
            kept = self.text[span.start : span.end]
            unread.append(UnreadText(text=kept, line=line, column=column, reason=reason))
        return ShorthandReading(
            findings=(*self.findings, *self._the_rest()),
            story=Story(**self.story),
            unread=tuple(unread),
            known_old=tuple(dict.fromkeys(self.known_old)),
            understood=tuple(self.understood),
        )

    def _the_rest(self) -> Iterator[Finding]:
        """Give the normal findings that "the rest normal" stands for.

        A group is passed over on a side of which the note says anything: `R facial weakness, rest
        normal` must not make the brow normal.
        """
        said = [(self.lexicon.catalogue.test(found.test), found.side) for found in self.findings]
        for group in dict.fromkeys(self.rest):
            tests = [self.lexicon.catalogue.test(name) for name in group.tests]
            signs = {test.sign for test in tests} - {None}
            spoken = [
                side
                for test, side in said
                if test in tests or test.sign in signs or test.nerve in group.unless
            ]
            for side in (Side.RIGHT, Side.LEFT, None):
                if any(other is side or other is None or side is None for other in spoken):
                    continue
                for test in tests:
                    if test.paired is (side is not None):
                        yield Finding(test=test.id, side=side, response="normal")


@cache
def _parser() -> Lark:
    grammar = (files("decussate.examination") / "shorthand.lark").read_text(encoding="utf-8")
    return Lark(grammar, parser="lalr", propagate_positions=False)


def _start(token: Token) -> int:
    return token.start_pos or 0


def _end(token: Token) -> int:
    return token.end_pos or 0


def _atoms(tokens: Sequence[Token]) -> Iterator[Atom]:
    for token in tokens:
        text = str(token)
        if token.type == "MARK" and text in SILENT:
            continue
        key = re.sub("['’]", "", text.lower()) if token.type == "WORD" else text.lower()
        yield Atom(token.type, text, key, _start(token), _end(token))


def _story_of(atoms: Sequence[Atom], lexicon: Lexicon) -> list[tuple[str, Any]] | None:
    """Read a fragment that is story and nothing else; None when it is not."""
    told: list[tuple[str, Any]] = []
    at = 0
    while at < len(atoms):
        reach = max(lexicon.longest.get(atoms[at].key, 0), lexicon.longest.get("#", 0))
        for length in range(min(reach, len(atoms) - at), 0, -1):
            part = atoms[at : at + length]
            key = tuple("#" if atom.kind == "NUMBER" else atom.key for atom in part)
            fields = lexicon.story.get(key)
            if fields is None:
                continue
            number = next((float(atom.text) for atom in part if atom.kind == "NUMBER"), None)
            told += [(name, number if name == "age" else value) for name, value in fields]
            at += length
            break
        else:
            return None
    return told or None
