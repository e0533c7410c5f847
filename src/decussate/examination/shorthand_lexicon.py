"""What the words of the shorthand mean: names, responses, sides, units and story."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import Catalogue

__all__ = [
    "AWAY",
    "SILENT",
    "TOWARDS",
    "Claim",
    "Head",
    "Lexicon",
    "Phrase",
    "Rest",
    "Word",
    "phrase",
]

Phrase = tuple[str, ...]
"""A name or word as it is looked up: parts in lower case, hyphens and apostrophes left out."""

TOWARDS, AWAY = "towards", "away"
_PARTS = re.compile(r"\d+(?:\.\d+)?|[^\W\d]\w*|[^\s\w]")
SILENT = frozenset("-–—‐‑−'’‘\"()[],;")


@lru_cache(maxsize=8192)
def phrase(text: str) -> Phrase:
    """Divide a name into the parts it is looked up by.

    Examples
    --------
    >>> phrase("Light-near dissociation")
    ('light', 'near', 'dissociation')
    """
    joined = re.sub(r"(?<=\w)['’](?=\w)", "", text)
    parts = _PARTS.findall(joined.lower())
    kept = tuple(part for part in parts if part not in SILENT)
    return kept or tuple(parts)


@dataclass(frozen=True, slots=True)
class Claim:
    """One finding that a word stands for: a test, a response, and whose side.

    Attributes
    ----------
    test : str
    response : str
        A code; ``towards`` or ``away`` for the side named or the opposite one.
    side : str
        ``same``, ``other`` or ``both``.
    """

    test: str
    response: str
    side: str = "same"


@dataclass(frozen=True, slots=True)
class Rest:
    """Tests that "the rest normal" covers, unless the note speaks of these parts on that side."""

    tests: tuple[str, ...]
    unless: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Head:
    """What a name opens: the tests it speaks of and the words that may follow it.

    Attributes
    ----------
    id : str
    tests : tuple of Test
        Where words and measurements are looked for, in order.
    words : Mapping of Phrase to tuple of Claim
        Words that mean particular findings.
    adds : Mapping of Phrase to tuple of Claim
        Words whose findings come besides those of the name.
    findings : tuple of Claim
        What the name alone records; empty when it only names a test.
    normal : tuple of str
        Tests that `normal` covers.
    both : bool
        Whether the name means both sides by definition.
    rest : tuple of Rest
        Groups of tests that "the rest normal" covers.
    modalities : Mapping of str to str
        Ids of the heads meant once a modality is named: pin of V1 is not touch of V1.
    """

    id: str
    tests: tuple[Test, ...]
    words: Mapping[Phrase, tuple[Claim, ...]]
    adds: Mapping[Phrase, tuple[Claim, ...]] = field(default_factory=dict)
    findings: tuple[Claim, ...] = ()
    normal: tuple[str, ...] = ()
    both: bool = False
    rest: tuple[Rest, ...] = ()
    modalities: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Word:
    """What a phrase that belongs to no test means: a kind, and a value of that kind."""

    kind: str
    value: Any = None


@dataclass(frozen=True)
class Lexicon:
    """Every phrase the shorthand knows.

    Attributes
    ----------
    catalogue : Catalogue
    heads : Mapping of Phrase to tuple of Head
        More than one where tests share a name.
    topics : tuple of Head
        Names that speak of several tests.
    names : Mapping of str to tuple of str
        Names of each test as written, the best first.
    words : Mapping of Phrase to Word
        Sides, statuses, negations and the like.
    units : Mapping of Phrase to frozenset of str
        Written units to the units of the catalogue they may mean.
    story : Mapping of Phrase to tuple of (str, object)
        Phrases of the story line to the fields they set.
    durations : Mapping of Phrase to str
        Ways of saying for how long (``#`` a number, ``#/7`` days of a week) to the onset they
        suggest; empty where they suggest none.
    spelled_out : Mapping of Phrase to Phrase
        Words run together (``RVA``, ``V2/3``) to the words they stand for.
    value_unclear, holds : Mapping of str to str
        By test: why a number after the name of what is wrong is not read; the part of the
        examination whose names in the same sentence could be its response.
    modality_of : Mapping of str to str
        Modality of the heads that some head lists under `Head.modalities`.
    open_heads : tuple of Head
        Names that leave the modality open.
    listed : frozenset of str
        Single words among those names, which a comma list may hold: pin V1, V2, V3 reduced.
    by_head_id : Mapping of str to Head
        Heads by their id.
    conversions : Mapping of (str, str) to tuple of (float, float)
        Unit written and unit of a scale to the factor and the offset from one to the other.
    sums : Mapping of str to Mapping of str to int
        Units whose value may be written as the sum of lettered parts, with the top of each.
    wrong, plural : frozenset of str
        Words that make a name the name of what is wrong, and a name that means both sides.
    states : Mapping of str to frozenset of Phrase
        General words by the state of a scale they stand for.
    bare, signed, out_of, unit_written, measured
        Tests whose number may stand without a unit; units whose grades may bear a sign (4+);
        greatest grade of a unit; how a unit is written; the response a value alone means.
    comparisons : Mapping of str to Mapping
        Tests judged against another test of the same note.
    longest : Mapping of str to int
        Number of parts of the longest phrase that begins with a part.
    """

    catalogue: Catalogue
    heads: Mapping[Phrase, tuple[Head, ...]]
    topics: tuple[Head, ...]
    names: Mapping[str, tuple[str, ...]]
    words: Mapping[Phrase, Word]
    units: Mapping[Phrase, frozenset[str]]
    story: Mapping[Phrase, tuple[tuple[str, object], ...]]
    durations: Mapping[Phrase, str]
    spelled_out: Mapping[Phrase, Phrase]
    value_unclear: Mapping[str, str]
    holds: Mapping[str, str]
    modality_of: Mapping[str, str]
    open_heads: tuple[Head, ...]
    listed: frozenset[str]
    by_head_id: Mapping[str, Head]
    conversions: Mapping[tuple[str, str], tuple[float, float]]
    sums: Mapping[str, Mapping[str, int]]
    wrong: frozenset[str]
    plural: frozenset[str]
    states: Mapping[str, frozenset[Phrase]]
    bare: frozenset[str]
    signed: frozenset[str]
    out_of: Mapping[str, float]
    unit_written: Mapping[str, str]
    measured: Mapping[str, str]
    comparisons: Mapping[str, Mapping[str, Any]]
    longest: Mapping[str, int]
    no_reason: str

    def topics_of(self, head: Head) -> Iterator[Head]:
        """Topics that hold the first test of a name, to which a further word may belong."""
        first = head.tests[0].id if head.tests else ""
        for found in self.topics:
            if found is not head and any(test.id == first for test in found.tests):
                yield found

    def names_what_is_wrong(self, name: Phrase) -> bool:
        """Whether a name is that of an abnormality (`ptosis`), not of a test (`corneal`)."""
        return any(part in self.wrong for part in name)

    def names_both(self, name: Phrase) -> bool:
        """Whether a name means both sides unless one is named (`pupils`)."""
        return any(part in self.plural for part in name)
