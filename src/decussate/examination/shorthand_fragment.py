"""Reading one fragment of shorthand: names, sides, responses and measurements into findings."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from decussate.errors import BadInput
from decussate.examination.bedside_test import Test
from decussate.examination.checking import AS_WRITTEN, measured_number, measured_response
from decussate.examination.document import (
    ABNORMAL,
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Finding,
    MeasuredValue,
)
from decussate.examination.shorthand_lexicon import (
    AWAY,
    TOWARDS,
    Claim,
    Head,
    Lexicon,
    Phrase,
    Rest,
)
from decussate.sides import Side

__all__ = ["Atom", "Clause", "NotUnderstood", "read_fragment"]

BOTH = (Side.RIGHT, Side.LEFT)
_OF_BOTH = ("normal", NOT_TESTED, COULD_NOT_BE_TESTED)  # said without a side, of both sides
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
    broken: bool = False
    measured: dict[tuple[str, Side | None], MeasuredValue] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Token:
    kind: str
    key: Phrase
    start: int
    end: int
    value: Any = None


@dataclass(slots=True)
class _Group:
    """Values said of one side."""

    sides: Sides
    values: list[_Token] = field(default_factory=list)
    remarks: list[_Token] = field(default_factory=list)


@dataclass(slots=True)
class _Statement:
    """One name with what is said of it."""

    head: Head
    name: Phrase
    lead: list[_Token]
    tail: list[_Token]
    negated: bool = False


@dataclass(slots=True)
class Reading:
    """Findings of one fragment, the old deficits among them, and a claim on all the rest."""

    findings: list[Finding]
    known_old: list[tuple[str, Side | None]]
    rest: tuple[Rest, ...] = ()


def read_fragment(atoms: Sequence[Atom], clause: Clause) -> Reading:
    """Read a fragment.

    Parameters
    ----------
    atoms : sequence of Atom
    clause : Clause
        Changed: it carries the last name and a leading side on to the next fragment.

    Returns
    -------
    Reading

    Raises
    ------
    NotUnderstood
        With the reason, when any part of it cannot be read.
    """
    try:
        return _read(atoms, clause)
    except NotUnderstood:
        # A word alone may belong to the topic of the last name: tongue deviates R, wasted R.
        if clause.head is None or _named(atoms, clause.lexicon):
            raise
        carried = clause.head
        for topic in clause.lexicon.topics_of(carried):
            clause.head = topic
            try:
                return _read(atoms, clause)
            except NotUnderstood:
                continue
        clause.head = carried
        raise


def _read(atoms: Sequence[Atom], clause: Clause) -> Reading:
    tokens = _tokens(atoms, clause)
    old = clause.old
    if tokens and tokens[0].kind == "old":
        old = True
        clause.old = len(tokens) > 1 and tokens[1].key == (":",)
        tokens = tokens[1:]
    statements = _statements(_without_headings(tokens), clause)
    drafts = _Drafts(clause)
    last: Sides = None
    rest: tuple[Rest, ...] = ()
    for statement in statements:
        for group in _groups(statement):
            if group.sides is None:
                group.sides = last if last else clause.side
            last = group.sides
            if statement.head.rest:
                if [value.kind for value in group.values] != ["normal"] or statement.negated:
                    raise NotUnderstood("only `normal` can be said of all the rest")
                rest = statement.head.rest
                continue
            drafts.add(statement, group, old)
    first = next((token for token in tokens if token.kind in ("side", "head")), None)
    if first is not None and first.kind == "side":
        clause.side = first.value
    clause.head, clause.name = statements[-1].head, statements[-1].name
    return Reading(drafts.findings(), drafts.old_pairs if old else [], rest)


# ---------------------------------------------------------------- from atoms to tokens


def _tokens(atoms: Sequence[Atom], clause: Clause) -> list[_Token]:
    """Match the longest phrase at each place, words of the named tests before general ones."""
    lexicon = clause.lexicon
    keys = [atom.key for atom in atoms]
    heads = _named(atoms, lexicon) or ([clause.head] if clause.head else [])
    active = _words_after(heads, lexicon)
    opened: set[Phrase] = set()
    tokens: list[_Token] = []
    at = 0
    while at < len(atoms):
        atom = atoms[at]
        if atom.kind in ("REMARK", "QUOTED", "TAG"):
            tokens.append(_Token(atom.kind, (), atom.start, atom.end, atom.text))
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
        tokens.append(_Token(kind or "unknown", key, atom.start, end, value))
        if kind == "head":
            opened |= _words_after(value, lexicon)
        at += length
    return tokens


def _named(atoms: Sequence[Atom], lexicon: Lexicon) -> list[Head]:
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
            words.update(_own(test, lexicon).words)
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


def _number(atoms: Sequence[Atom], at: int, lexicon: Lexicon) -> tuple[int, _Token]:
    """Read a number with the unit or plus signs that follow it."""
    atom = atoms[at]
    rest = [other.key for other in atoms[at + 1 : at + 5]]
    for length in range(len(rest), 0, -1):
        units = lexicon.units.get(tuple(rest[:length]))
        if units:
            end = atoms[at + length].end
            return length + 1, _Token("number", (), atom.start, end, (atom.text, units))
    taken, end = 1, atom.end
    for sign in atoms[at + 1 :]:
        if sign.key != "+" or sign.start != end:
            break
        end, taken = sign.end, taken + 1
    return taken, _Token("number", (), atom.start, end, (atom.text, None))


def _without_headings(tokens: Sequence[_Token]) -> list[_Token]:
    """Drop a name that only heads what follows the colon (``fields: L hemianopia``)."""
    kept: list[_Token] = []
    for index, token in enumerate(tokens):
        colon = index + 1 < len(tokens) and tokens[index + 1].key == (":",)
        begins = all(other.kind == "empty" for other in kept)
        follows = any(other.kind == "head" for other in tokens[index + 2 :])
        if colon and begins and (token.kind == "heading" or (token.kind == "head" and follows)):
            continue
        kept.append(token)
    return kept


# ---------------------------------------------------------------- from tokens to statements


def _statements(tokens: Sequence[_Token], clause: Clause) -> list[_Statement]:
    """Divide a fragment into one statement for each name."""
    for token in tokens:
        if token.kind == "refused":
            raise NotUnderstood(token.value)
        if token.kind == "old":
            raise NotUnderstood("`old` goes before the name: old: R ptosis")
    kept = [token for token in tokens if token.kind not in ("empty", "joins")]
    if not any(token.kind not in ("REMARK", "QUOTED", "TAG", "either") for token in kept):
        raise NotUnderstood("no finding is named")
    places = [index for index, token in enumerate(kept) if token.kind == "head"]
    if not places:
        if clause.head is None:
            unknown = next((token for token in kept if token.kind == "unknown"), None)
            word = clause.note[unknown.start : unknown.end] if unknown else ""
            raise NotUnderstood(f"{word!r} is not a word it knows" if word else "no test is named")
        return [_Statement(clause.head, clause.name, [], kept)]
    statements: list[_Statement] = []
    lead = kept[: places[0]]
    side_first = any(token.kind == "side" for token in lead)
    negated = any(token.kind == "negations" for token in lead)
    for order, place in enumerate(places):
        after = places[order + 1] if order + 1 < len(places) else len(kept)
        tail = kept[place + 1 : after]
        following: list[_Token] = []
        if order + 1 < len(places):
            tail, following = _share(tail, side_first)
        head = _one_head(kept[place], clause)
        opens = [token for token in lead if token.kind not in ("negations", "either")]
        statements.append(_Statement(head, kept[place].key, opens, tail, negated))
        joined = any(token.kind == "either" for token in following)
        negated = (negated and joined) or any(token.kind == "negations" for token in following)
        lead = following
    return statements


def _share(between: list[_Token], side_first: bool) -> tuple[list[_Token], list[_Token]]:
    """Say which tokens between two names belong to the first and which to the second."""
    for index, token in enumerate(between):
        if token.kind in ("negations", "either"):
            return between[:index], between[index:]
    sides = [index for index, token in enumerate(between) if token.kind == "side"]
    if not side_first or not sides:
        return between, []
    if sides != [len(between) - 1]:
        raise NotUnderstood("it is not clear what belongs to which name: divide it with commas")
    return between[:-1], between[-1:]


def _one_head(token: _Token, clause: Clause) -> Head:
    heads: tuple[Head, ...] = token.value
    if len(heads) > 1:
        names = " or ".join(head.tests[0].name.lower() for head in heads)
        written = clause.note[token.start : token.end]
        raise NotUnderstood(f"{written!r} could be {names}")
    return heads[0]


def _groups(statement: _Statement) -> list[_Group]:
    """Divide what is said of a name by side; the side may come before or after the values."""
    tokens = [*statement.lead, *statement.tail]
    said = [token for token in tokens if token.kind not in ("REMARK", "QUOTED", "TAG")]
    count = sum(token.kind == "side" for token in said)
    side_first = bool(said) and said[0].kind == "side"
    if count > 1 and not side_first and said[-1].kind != "side":
        raise NotUnderstood("the side is not clear: write it before each response")
    group = _Group(None)
    groups = [group]
    closed = False
    for token in tokens:
        if token.kind in ("REMARK", "QUOTED", "TAG"):
            group.remarks.append(token)
        elif token.kind == "side" and (side_first or count == 1):
            if group.sides is not None:
                group = _Group(None)
                groups.append(group)
            group.sides = token.value
        elif token.kind == "side":
            group.sides, closed = token.value, True
        else:
            if closed:
                group, closed = _Group(None), False
                groups.append(group)
            group.values.append(token)
    return groups


# ---------------------------------------------------------------- from statements to findings


@dataclass(slots=True)
class _Draft:
    response: str
    firm: bool
    measurement: MeasuredValue | None = None


def _own(test: Test, lexicon: Lexicon) -> Head:
    """Return the name of the test itself, with its words."""
    return lexicon.heads[(test.id,)][0]


class _Drafts:
    """Findings of a fragment while it is read; one of a test and side, or a contradiction."""

    def __init__(self, clause: Clause) -> None:
        self.clause = clause
        self.lexicon = clause.lexicon
        self.catalogue = clause.lexicon.catalogue
        self.drafts: dict[tuple[str, Side | None], _Draft] = {}
        self.extras: dict[tuple[str, Side | None], dict[str, Any]] = {}
        self.old_pairs: list[tuple[str, Side | None]] = []

    def findings(self) -> list[Finding]:
        """Build the findings in the order they were said."""
        built = []
        for (test, side), draft in self.drafts.items():
            extra = self.extras.get((test, side), {})
            if draft.response == COULD_NOT_BE_TESTED:
                extra = {"reason": self.lexicon.no_reason} | extra
            elif "reason" in extra:
                raise NotUnderstood("a reason belongs to `unable`")
            built.append(
                Finding(
                    test=test,
                    side=side,
                    response=draft.response,
                    measurement=draft.measurement,
                    **extra,
                )
            )
        return built

    def add(self, statement: _Statement, group: _Group, old: bool) -> None:
        """Read one group of one statement."""
        head, name = statement.head, statement.name
        before = set(self.drafts)
        kinds = {token.kind for token in group.values}
        touched: set[tuple[str, Side | None]] = set()
        written = self._text_value(head, group)
        if statement.negated:
            if kinds:
                raise NotUnderstood("`no` with a further response is not clear")
            claims = self._negated(head, name)
            touched |= self._claims(claims, head, name, group.sides, firm=True)
        elif written is not None:
            words, value = written
            touched |= self._values(head, name, _Group(group.sides, words))
            touched |= self._measures(head, name, group.sides, [value])
        elif not group.values:
            if old and not head.findings:
                self.old_pairs += self._pairs(head, name, group.sides)
                return
            touched |= self._claims(self._alone(head, name, group.sides), head, name, group.sides)
        else:
            touched |= self._values(head, name, group)
        for key in touched:
            extra = _remarks(group.remarks, self.drafts[key].response == COULD_NOT_BE_TESTED)
            self.extras.setdefault(key, {}).update(extra)
        if group.remarks and not touched:
            raise NotUnderstood("the remark belongs to no finding")
        self.old_pairs += [key for key in self.drafts if key not in before]

    def _values(
        self, head: Head, name: Phrase, group: _Group
    ) -> set[tuple[str, Side | None]]:  # fmt: skip
        touched: set[tuple[str, Side | None]] = set()
        numbers = [token for token in group.values if token.kind == "number"]
        replaced = False
        added: list[Claim] = []
        for token in group.values:
            if token.kind == "number":
                continue
            if token.kind == "status":
                claims = tuple(Claim(test, token.value) for test in self._tests_of(head))
                touched |= self._claims(claims, head, name, group.sides, firm=True)
                replaced = True
                continue
            extra = head.adds.get(token.key)
            if extra is not None:
                added += extra
                continue
            claims = self._meaning(head, name, token, group.sides)
            touched |= self._claims(claims, head, name, group.sides, firm=True)
            replaced = True
        if head.findings and len(head.tests) != 1 and not replaced and not numbers:
            touched |= self._claims(head.findings, head, name, group.sides)
        touched |= self._claims(tuple(added), head, name, group.sides, firm=True)
        if numbers:
            values = [self._number(head, token) for token in numbers]
            touched |= self._measures(head, name, group.sides, values)
        return touched

    # -------------------------------------------------------- what words mean

    def _alone(self, head: Head, name: Phrase, sides: Sides) -> tuple[Claim, ...]:
        if head.findings:
            return head.findings
        if len(head.tests) == 1 and sides and self._directed(head.tests[0]):
            return (Claim(head.tests[0].id, TOWARDS),)
        raise NotUnderstood(f"no response is given for {' '.join(name)}")

    def _negated(self, head: Head, name: Phrase) -> tuple[Claim, ...]:
        if head.findings or self.lexicon.names_what_is_wrong(name):
            if not head.normal:
                raise NotUnderstood(f"say which findings of {' '.join(name)} were absent")
            return tuple(Claim(test, "normal") for test in head.normal)
        claims = head.words.get(("absent",))
        if claims is None:
            raise NotUnderstood(f"`no` is not clear with {' '.join(name)}")
        return claims

    def _meaning(
        self, head: Head, name: Phrase, token: _Token, sides: Sides
    ) -> tuple[Claim, ...]:  # fmt: skip
        """Find what a word after a name means."""
        states = self.lexicon.states
        wrong = bool(head.findings) and self.lexicon.names_what_is_wrong(name)
        if wrong and token.key in states["absent"] and head.normal:
            return tuple(Claim(test, "normal") for test in head.normal)
        if wrong and token.key in states["present"]:
            return self._alone(head, name, sides)
        if token.key in head.words:
            return head.words[token.key]
        plain = self.lexicon.words.get(token.key)
        if plain is not None and plain.kind == "normal" and head.normal and len(head.tests) != 1:
            return tuple(Claim(test, "normal") for test in head.normal)
        for test in head.tests:
            claims = _own(test, self.lexicon).words.get(token.key)
            if claims is not None:
                return claims
        if token.kind == "normal" and head.normal:
            return tuple(Claim(test, "normal") for test in head.normal)
        written = self.clause.note[token.start : token.end]
        if token.kind == "unknown":
            raise NotUnderstood(f"{written!r} is not a word it knows")
        raise NotUnderstood(f"{written!r} is not a response to {' '.join(name)}")

    def _tests_of(self, head: Head) -> Iterable[str]:
        if head.normal:
            return head.normal
        return dict.fromkeys([*(t.id for t in head.tests), *(c.test for c in head.findings)])

    # -------------------------------------------------------- whose side

    def _claims(
        self, claims: Iterable[Claim], head: Head, name: Phrase, sides: Sides, *, firm: bool = False
    ) -> set[tuple[str, Side | None]]:
        touched = set()
        for claim in claims:
            test = self.catalogue.test(claim.test)
            for side, response in self._placed(claim, test, head, name, sides):
                self._put((test.id, side), response, firm and response != ABNORMAL)
                touched.add((test.id, side))
        return touched

    def _placed(
        self, claim: Claim, test: Test, head: Head, name: Phrase, sides: Sides
    ) -> list[tuple[Side | None, str]]:
        """Say on which side a claim lies, or which direction it means."""
        if head.both and sides not in (None, BOTH):
            raise NotUnderstood(f"{' '.join(name)} is of both sides")
        if test.paired:
            meant = BOTH if claim.side == "both" or head.both else sides
            if meant is None:
                if claim.response not in _OF_BOTH and not self.lexicon.names_both(name):
                    raise NotUnderstood("the side is missing: write R, L or both")
                meant = BOTH
            other = claim.side == "other"
            return [(side.other if other else side, claim.response) for side in meant]
        if claim.response not in (TOWARDS, AWAY):
            its_own = head.id == test.id
            if sides is not None and its_own and claim.response in test.codes:
                raise NotUnderstood(f"{test.name.lower()} has no side")
            return [(None, claim.response)]
        if sides is None:
            return [(None, ABNORMAL)]
        if len(sides) > 1:
            raise NotUnderstood(f"{test.name.lower()} can name one side only")
        side = sides[0] if claim.response == TOWARDS else sides[0].other
        return [(None, side.value)]

    def _pairs(self, head: Head, name: Phrase, sides: Sides) -> list[tuple[str, Side | None]]:
        claims = [Claim(test, "normal") for test in self._tests_of(head)]
        placed = []
        for claim in claims:
            test = self.catalogue.test(claim.test)
            if test.paired and sides is None:
                raise NotUnderstood("the side is missing: write R, L or both")
            meant = sides if test.paired else (None,)
            placed += [(test.id, side) for side in meant or ()]
        return placed

    @staticmethod
    def _directed(test: Test) -> bool:
        return not test.paired and {"right", "left"} <= set(test.responses)

    def _put(
        self,
        key: tuple[str, Side | None],
        response: str,
        firm: bool,
        measurement: MeasuredValue | None = None,
    ) -> None:
        draft = self.drafts.get(key)
        if draft is None:
            self.drafts[key] = _Draft(response, firm, measurement)
            return
        if measurement is not None:
            if draft.measurement is not None and draft.measurement != measurement:
                raise NotUnderstood(f"two values of {self.catalogue.test(key[0]).name.lower()}")
            draft.measurement = measurement
        if draft.response == response:
            draft.firm = draft.firm or firm
        elif not draft.firm:
            draft.response, draft.firm = response, firm
        elif firm:
            name = self.catalogue.test(key[0]).name.lower()
            raise NotUnderstood(f"{name} is said to be both {draft.response} and {response}")

    # -------------------------------------------------------- measurements

    def _text_value(
        self, head: Head, group: _Group
    ) -> tuple[list[_Token], tuple[Test, MeasuredValue]] | None:
        """Read a value such as ``6/9-2``, ``CF 1 m`` or ``N8 at 40 cm`` as it stands.

        Returns
        -------
        tuple or None
            Words before the value, and the test with the value; None where there is no such value.
        """
        scale = head.tests[0].measurement if len(head.tests) == 1 else None
        if scale is None or scale.kind != "text":
            return None
        of_value = {tuple(word.split()) for word in scale.words}
        at = 0
        while at < len(group.values) and group.values[at].kind in ("value", "normal"):
            if group.values[at].key in of_value:
                break
            at += 1
        if at == len(group.values):
            return None
        text = self.clause.note[group.values[at].start : group.values[-1].end]
        measured = MeasuredValue(value=" ".join(text.split())[:200], unit=AS_WRITTEN)
        try:
            measured_response(head.tests[0], measured)
        except BadInput as error:
            if any(token.kind == "number" for token in group.values):
                raise NotUnderstood(error.sentence) from None
            return None
        return group.values[:at], (head.tests[0], measured)

    def _number(self, head: Head, token: _Token) -> tuple[Test, MeasuredValue]:
        """Find the test a number belongs to by its unit."""
        text, units = token.value
        written = self.clause.note[token.start : token.end]
        scaled = [test for test in self._measurable(head) if test.measurement]
        if not scaled:
            raise NotUnderstood(f"{written!r}: no measurement belongs to this name")
        for test in scaled:
            scale = test.measurement
            if scale is None:
                continue
            fits = scale.unit in units if units else test.id in self.lexicon.bare
            if not fits:
                continue
            measured = self._value(text, scale.kind, scale.unit)
            if measured is not None:
                return test, measured
        expected = " or ".join(dict.fromkeys(t.measurement.unit for t in scaled if t.measurement))
        what = "the unit is missing" if units is None else "this unit does not belong here"
        raise NotUnderstood(f"{written!r}: {what}, expected {expected}")

    def _measurable(self, head: Head) -> list[Test]:
        claimed = [self.catalogue.test(claim.test) for claim in head.findings]
        return list({test.id: test for test in [*head.tests, *claimed]}.values())

    def _value(self, text: str, kind: str, unit: str) -> MeasuredValue | None:
        """Turn the digits into a value of this kind of scale."""
        if "/" not in text:
            return MeasuredValue(value=float(text), unit=unit)
        share, _, of = text.replace(" ", "").partition("/")
        if kind == "fraction":
            return MeasuredValue(value=f"{share}/{of}", unit=unit)
        top = self.lexicon.out_of.get(unit)
        if top is None or not of.isdigit() or float(of) != top:
            return None
        if share[-1] in "+-":
            raise NotUnderstood(f"{text!r}: write the whole grade, and the sign as a remark")
        return MeasuredValue(value=float(share), unit=unit)

    def _measures(
        self,
        head: Head,
        name: Phrase,
        sides: Sides,
        values: Iterable[tuple[Test, MeasuredValue]],
    ) -> set[tuple[str, Side | None]]:
        touched = set()
        for test, measured in values:
            try:
                meant = measured_response(test, measured)
            except BadInput as error:
                raise NotUnderstood(error.sentence) from None
            claim = Claim(test.id, meant or "")
            if meant is None and self._directed(test) and sides:
                claim = Claim(test.id, TOWARDS)
            for side, response in self._placed(claim, test, head, name, sides):
                key = (test.id, side)
                firm = bool(response)
                if not response:
                    response, firm = self._unbanded(head, test, side, measured), False
                self._put(key, response, firm, measured)
                self.clause.measured[key] = measured
                touched.add(key)
        return touched

    def _unbanded(
        self, head: Head, test: Test, side: Side | None, measured: MeasuredValue
    ) -> str:  # fmt: skip
        """Find the response a value means where the catalogue gives no bands."""
        if (test.id, side) in self.drafts:
            return self.drafts[(test.id, side)].response
        rule = self.lexicon.comparisons.get(test.id)
        if rule:
            other = self.clause.measured.get((rule["against"], side))
            if other is None:
                against = self.catalogue.test(rule["against"]).name.lower()
                raise NotUnderstood(f"{test.name.lower()} needs {against} of that side before it")
            than = measured_number(self.catalogue.test(rule["against"]), other)
            better = than - measured_number(test, measured) >= rule["by"]
            return str(rule["better"] if better else rule["same"])
        if test.id in self.lexicon.measured:
            return self.lexicon.measured[test.id]
        for claim in head.findings:
            if claim.test == test.id:
                return ABNORMAL if claim.response == TOWARDS else claim.response
        raise NotUnderstood("say what was found as well as its measurement")


def _remarks(tokens: Sequence[_Token], needs_reason: bool) -> dict[str, Any]:
    """Read remarks: the reason of `unable`, a comment, and who, when and how."""
    extra: dict[str, Any] = {}
    for token in tokens:
        if token.kind == "TAG":
            name, _, text = token.value[1:-1].partition(":")
            _add_tag(extra, name, _unquoted(text.strip()))
            continue
        text = _unquoted(token.value) if token.kind == "QUOTED" else token.value[1:-1].strip()
        place = "reason" if needs_reason and "reason" not in extra else "comment"
        if place in extra or not text.strip():
            raise NotUnderstood("one remark of a finding can be kept, and not an empty one")
        extra[place] = text
    return extra


def _add_tag(extra: dict[str, Any], name: str, text: str) -> None:
    fields = {"by": "by", "at": "at", "with": "technique"}
    if name not in fields or not text.strip():
        raise NotUnderstood(f"[{name}: ...] is not one of [by: ], [at: ], [with: ]")
    if name == "at":
        try:
            when = datetime.fromisoformat(text)
        except ValueError:
            when = None
        if when is None or when.tzinfo is None:
            raise NotUnderstood("[at: ] needs a time with its zone, as 2026-01-31T10:00+00:00")
        extra["at"] = when
    else:
        extra[fields[name]] = text


def _unquoted(text: str) -> str:
    if not text.startswith('"'):
        return text
    try:
        return str(json.loads(text))
    except ValueError:
        raise NotUnderstood("the text in quotation marks is not a JSON string") from None
