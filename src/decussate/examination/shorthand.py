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
from decussate.examination.shorthand_fragment import Reading as FragmentReading
from decussate.examination.shorthand_fragment import read_fragment
from decussate.examination.shorthand_lexicon import SILENT, Lexicon, Rest
from decussate.examination.shorthand_story import story_of
from decussate.examination.shorthand_tokens import Atom, Clause, NotUnderstood, names_in
from decussate.examination.shorthand_words import lexicon_of
from decussate.examination.shorthand_writer import write_shorthand
from decussate.examination.wording import RECORDED_TOGETHER
from decussate.sides import Side

__all__ = ["LONGEST_NOTE", "ShorthandReading", "Span", "read_shorthand", "write_shorthand"]

LONGEST_NOTE = 200_000
"""Longest note read, in characters."""
LONGEST_FRAGMENT = 120
"""Most words and signs between two dividing signs; a longer stretch is no finding."""
MOST_RUN_TOGETHER = 4
"""Most signs of one word of `spelled_out`."""
LONGEST_LIST = 12
"""Most commas over which one `no` is followed to its `or`."""


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
    told: dict[tuple[str, Side | None], str] = field(default_factory=dict)
    understood: list[Span] = field(default_factory=list)
    unread: list[tuple[Span, str]] = field(default_factory=list)
    rest: list[Rest] = field(default_factory=list)
    measured: dict[tuple[str, Side | None], MeasuredValue] = field(default_factory=dict)
    lasting: list[tuple[Span, str]] = field(default_factory=list)

    def read_clause(self, tree: Tree[Token]) -> None:
        """Read the fragments of one clause; they share a name and a leading side."""
        clause = Clause(self.lexicon, self.text, measured=self.measured)
        parts = [
            [item for item in fragment.children if isinstance(item, Token)]
            for fragment in tree.children
            if isinstance(fragment, Tree) and fragment.children
        ]
        parts, written = self._lists_joined(parts)
        for order, (places, atoms) in enumerate(zip(parts, written, strict=True)):
            span = Span(_start(places[0]), _end(places[-1]))
            clause.ahead = written[order + 1 : order + 1 + LONGEST_LIST]
            try:
                self._read(atoms, clause, span)
            except NotUnderstood as reason:
                clause = Clause(self.lexicon, self.text, broken=True, measured=self.measured)
                self._keep(span, str(reason))

    def _lists_joined(self, parts: list[list[Token]]) -> tuple[list[list[Token]], list[list[Atom]]]:
        """Join fragments that are one list of the parts of the face: pin R V1, V2, V3 reduced."""
        joined: list[list[Token]] = []
        written: list[list[Atom]] = []
        for part in parts:
            atoms = list(_atoms(part, self.lexicon))
            listed = self.lexicon.listed
            if written and atoms and atoms[0].key in listed and self._only_lists(written[-1]):
                joined[-1] = [*joined[-1], *part]
                written[-1] = [*written[-1], *atoms]
            else:
                joined.append(part)
                written.append(atoms)
        return joined, written

    def _only_lists(self, atoms: Sequence[Atom]) -> bool:
        """Whether a fragment names parts of the face and says nothing of them."""
        if not atoms or atoms[-1].key not in self.lexicon.listed or len(atoms) > LONGEST_LIST:
            return False
        words = [
            self.lexicon.words.get((atom.key,))
            for atom in atoms
            if atom.key not in self.lexicon.listed
        ]
        return all(word and word.kind in ("side", "modality", "empty") for word in words)

    def _read(self, atoms: list[Atom], clause: Clause, span: Span) -> None:
        if len(atoms) > LONGEST_FRAGMENT:
            raise NotUnderstood("too long for one finding: divide it with ; or new lines")
        told = story_of(atoms, self.lexicon)
        fields = told.fields if told else []
        self._check_told(fields)
        if told is None or told.used < len(atoms):
            self._find(atoms[told.used :] if told else atoms, clause)
        self._tell(fields)
        start = span.start
        for first, last, onset in told.lasting if told else ():
            lasting = Span(atoms[first].start, atoms[last - 1].end)
            self._understand(start, lasting.start)
            self.lasting.append((lasting, onset))
            start = lasting.end
        self._understand(start, span.end)

    def _understand(self, start: int, end: int) -> None:
        """Count a stretch of the note as understood, without the space around it."""
        text = self.text[start:end]
        kept = Span(start + len(text) - len(text.lstrip()), end - len(text) + len(text.rstrip()))
        if kept.start < kept.end:
            self.understood.append(kept)

    def _find(self, atoms: list[Atom], clause: Clause) -> None:
        if clause.broken:
            if not names_in(atoms, self.lexicon):
                raise NotUnderstood("it continues text that could not be read")
            first = self.lexicon.words.get((atoms[0].key,))
            if first is not None and first.kind in ("either", "joins"):
                raise NotUnderstood("it continues a list that could not be read")
        self._add(read_fragment(atoms, clause))

    def _add(self, reading: FragmentReading) -> None:
        """Take in findings; where a test is both old and otherwise now, what is so now stands."""
        told = {(f.test, f.side): f.response for f in reading.findings}
        otherwise = {pair for pair in told if self.told.get(pair, told[pair]) != told[pair]}
        self.rest += reading.rest
        if not otherwise:
            self.told |= told
            self.findings += reading.findings
            self.known_old += reading.known_old
            return
        before = otherwise & {*reading.known_old} - {*self.known_old}
        again = otherwise & {*self.known_old} - {*reading.known_old}
        for finding in reading.findings:
            earlier = (finding.test, finding.side) in before
            self.findings.insert(0 if earlier else len(self.findings), finding)
        self.told |= {pair: told[pair] for pair in told.keys() - before}
        old = (*self.known_old, *reading.known_old)
        self.known_old = [pair for pair in dict.fromkeys(old) if pair not in before | again]

    def _keep(self, span: Span, reason: str) -> None:
        """Keep unread text; what follows on within a line under the same reason joins it."""
        if self.unread:
            last, before = self.unread[-1]
            between = self.text[last.end : span.start]
            if before == reason and not between.strip(" \t,"):
                self.unread[-1] = (Span(last.start, span.end), reason)
                return
        self.unread.append((span, reason))

    def _check_told(self, told: Sequence[tuple[str, Any]]) -> None:
        """Refuse what contradicts the story."""
        for name, value in told:
            if name != "context" and self.story.get(name, value) != value:
                raise NotUnderstood(f"the {name} was already given as {self.story[name]}")
        if any(name == "age" and not 0 <= value <= 120 for name, value in told):
            raise NotUnderstood("an age is 0 to 120 years")

    def _tell(self, told: Sequence[tuple[str, Any]]) -> None:
        """Add to the story."""
        for name, value in told:
            if name == "context":
                self.story["context"] = (*self.story.get("context", ()), value)
            else:
                self.story[name] = value

    def reading(self) -> ShorthandReading:
        """Return the whole."""
        self._last()
        starts = [0, *(match.end() for match in re.finditer("\n", self.text))]
        unread = []
        for span, reason in sorted(self.unread, key=lambda kept: kept[0].start):
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

    def _last(self) -> None:
        """Take lengths of time as the onset where nothing else gives one, or keep them unread."""
        given = self.story.get("onset")
        for span, onset in self.lasting:
            if onset and self.story.setdefault("onset", onset) == onset and given is None:
                self.understood.append(span)
            else:
                reason = "the story has no place for it beside the onset"
                self.unread.append((span, reason if onset else "say over how many hours or days"))

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
                        yield Finding(
                            test=test.id,
                            side=side,
                            response="normal",
                            technique=RECORDED_TOGETHER,
                        )


@cache
def _parser() -> Lark:
    grammar = (files("decussate.examination") / "shorthand.lark").read_text(encoding="utf-8")
    return Lark(grammar, parser="lalr", propagate_positions=False)


def _start(token: Token) -> int:
    return token.start_pos or 0


def _end(token: Token) -> int:
    return token.end_pos or 0


def _atoms(tokens: Sequence[Token], lexicon: Lexicon) -> Iterator[Atom]:
    """Give the words and signs, those run together (``RVA``) spelled out."""
    atoms = [_atom(token) for token in tokens]
    at = 0
    while at < len(atoms):
        for length in range(min(MOST_RUN_TOGETHER, len(atoms) - at), 0, -1):
            part = atoms[at : at + length]
            words = lexicon.spelled_out.get(tuple(atom.key for atom in part))
            if words:
                start, end = part[0].start, part[-1].end
                yield from (Atom("WORD", word, word, start, end) for word in words)
                at += length
                break
        else:
            if atoms[at].kind != "MARK" or atoms[at].text not in SILENT:
                yield atoms[at]
            at += 1


def _atom(token: Token) -> Atom:
    text = str(token)
    kind = "WORD" if token.type == "TIMES" else token.type
    key = re.sub("['’]", "", text.lower()) if kind == "WORD" else text.lower()
    if kind in ("NUMBER", "FRACTION"):
        text = text.replace("−", "-")
    if kind == "MARK" and text in "–—−‐":
        key = "-"
    return Atom(kind, text, key, _start(token), _end(token))
