"""Statements of the shorthand: which side, response and negation belongs to which name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from decussate.examination.bedside_test import Test
from decussate.examination.shorthand_lexicon import Head, Phrase
from decussate.examination.shorthand_modality import with_modality
from decussate.examination.shorthand_tokens import (
    REMARKS,
    Clause,
    NotUnderstood,
    Sides,
    Token,
    tokens_of,
)

__all__ = ["Group", "Statement", "groups_of", "statements_of"]


@dataclass(slots=True)
class Group:
    """Values said of one side; `carried` when the side was said of an earlier name."""

    sides: Sides
    values: list[Token] = field(default_factory=list)
    remarks: list[Token] = field(default_factory=list)
    carried: bool = False
    throughout: bool = False


@dataclass(slots=True)
class Statement:
    """One name with what is said of it."""

    head: Head
    name: Phrase
    lead: list[Token]
    tail: list[Token]
    negated: bool = False
    joined: bool = False


def statements_of(tokens: Sequence[Token], clause: Clause) -> list[Statement]:
    """Divide a fragment into one statement for each name."""
    for token in tokens:
        if token.kind == "refused":
            raise NotUnderstood(token.value)
        if token.kind == "old":
            raise NotUnderstood("`old` goes before the name: old: R ptosis")
    spoken = [token for token in tokens if token.kind != "empty"]
    kept = _negated_values(_slashes(with_modality(spoken, clause)))
    if all(token.kind in _SAY_NOTHING for token in kept):
        raise NotUnderstood("no finding is named")
    places = [index for index, token in enumerate(kept) if token.kind == "head"]
    if not places:
        if clause.head is None:
            unknown = next((token for token in kept if token.kind == "unknown"), None)
            word = clause.note[unknown.start : unknown.end] if unknown else ""
            raise NotUnderstood(f"{word!r} is not a word it knows" if word else "no test is named")
        return [Statement(clause.head, clause.name, [], _without_joins(kept))]
    statements: list[Statement] = []
    lead = kept[: places[0]]
    side_first = any(token.kind == "side" for token in lead)
    negated = any(token.kind == "negations" for token in lead)
    for order, place in enumerate(places):
        after = places[order + 1] if order + 1 < len(places) else len(kept)
        tail = kept[place + 1 : after]
        following: list[Token] = []
        more = order + 1 < len(places)
        if more:
            tail, following = _share(tail, side_first)
        head = _one_head(kept[place], clause)
        _refuse_held(head, statements[-1].head if statements else clause.head, clause)
        opens = [token for token in _without_joins(lead) if token.kind != "negations"]
        joined = any(token.kind == "joins" for token in tail)
        said = _without_joins(tail)
        statements.append(Statement(head, kept[place].key, opens, said, negated, joined))
        kinds = {token.kind for token in following}
        if negated and "joins" in kinds and "negations" not in kinds:
            raise NotUnderstood("it is not clear how far `no` reaches: write `or`, or `no` again")
        if negated and more and not kinds & {"negations", "either"}:
            raise NotUnderstood("it is not clear how far `no` reaches: write `or`, or `no` again")
        negated = "negations" in kinds or (negated and "either" in kinds)
        lead = following
    _share_out(statements)
    _check_negation(statements, kept, clause)
    return statements


def _refuse_held(head: Head, before: Head | None, clause: Clause) -> None:
    """Refuse nystagmus after a positional test: provoked by it or there besides."""
    held = clause.lexicon.holds.get(before.id) if before else None
    if held and before and any(test.nerve == held for test in _tests(head, clause)):
        name = before.tests[0].name.lower()
        raise NotUnderstood(f"it could be the response to the {name}: write it after its name")


def _tests(head: Head, clause: Clause) -> Iterable[Test]:
    return head.tests or [clause.lexicon.catalogue.test(claim.test) for claim in head.findings]


def _slashes(tokens: Sequence[Token]) -> list[Token]:
    """Read ``no ptosis/diplopia`` as `or`; elsewhere a slash between words says nothing."""
    kept: list[Token] = []
    negated = False
    for token in tokens:
        negated = negated or token.kind == "negations"
        if token.kind == "slash":
            if negated:
                kept.append(replace(token, kind="either"))
            continue
        kept.append(token)
    return kept


def _negated_values(tokens: Sequence[Token]) -> list[Token]:
    """Turn `no` and the responses after it into negated responses (tongue: no wasting)."""
    kept: list[Token] = []
    at = 0
    while at < len(tokens):
        token = tokens[at]
        following = tokens[at + 1] if at + 1 < len(tokens) else None
        if token.kind != "negations" or following is None or following.kind != "value":
            kept.append(token)
            at += 1
            continue
        kept.append(replace(following, kind="negated"))
        at += 2
        while at + 1 < len(tokens) and tokens[at].kind in ("either", "joins"):
            if tokens[at + 1].kind != "value":
                break
            if tokens[at].kind == "joins":
                raise NotUnderstood(
                    "it is not clear how far `no` reaches: write `or`, or `no` again"
                )
            kept.append(replace(tokens[at + 1], kind="negated"))
            at += 2
    return kept


def _share_out(statements: list[Statement]) -> None:
    """Give names that are merely listed what is said of the next: R arm and leg 4/5."""
    for this, following in pairwise(statements):
        # Said before the list: reduced V1 V2 R.
        before = [token for token in this.lead if token.kind == "value"]
        said = [token for token in (*this.tail, *following.tail) if token.kind != "side"]
        if before and not said and not following.lead and not following.head.findings:
            following.lead = list(this.lead)
            if not any(token.kind == "side" for token in this.lead):
                this.tail = list(following.tail)
    for this, following in zip(statements[-2::-1], statements[:0:-1], strict=True):
        if this.tail or following.lead or this.negated or any(t.kind != "side" for t in this.lead):
            continue
        if not this.head.findings:
            this.tail = list(following.tail)
        elif not this.lead:
            this.tail = [token for token in following.tail if token.kind == "side"]


def _check_negation(
    statements: list[Statement], kept: Sequence[Token], clause: Clause
) -> None:  # fmt: skip
    """Carry `no` over commas up to `or`, and refuse a list in which its reach is not clear."""
    first = statements[0]
    listed = clause.negated and first.head.findings and not (first.lead or first.tail)
    if listed and not first.negated:
        if not any(token.kind == "either" for token in kept) and not _or_ahead(clause):
            raise NotUnderstood("it is not clear whether `no` covers this: write `no` again")
        for statement in statements:
            statement.negated = True
    clause.negated = statements[-1].negated


def _or_ahead(clause: Clause) -> bool:
    """Whether the comma list goes on as bare names to its `or`: no A, B, C or D."""
    for atoms in clause.ahead:
        kinds = {token.kind for token in tokens_of(atoms, clause)}
        if not kinds <= {"head", "either", "empty"}:
            return False
        if "either" in kinds:
            return True
    return False


_SAY_NOTHING = (*REMARKS, "either", "joins", "throughout")


def _without_joins(tokens: Iterable[Token]) -> list[Token]:
    return [token for token in tokens if token.kind not in ("either", "joins")]


def _share(between: list[Token], side_first: bool) -> tuple[list[Token], list[Token]]:
    """Say which tokens between two names belong to the first and which to the second."""
    for index, token in enumerate(between):
        if token.kind in ("negations", "either", "joins"):
            return between[:index], between[index:]
    sides = [index for index, token in enumerate(between) if token.kind == "side"]
    if not side_first:
        last = between[-1] if between else None
        if last is not None and last.kind == "side" and (len(sides) > 1 or "and" in last.key):
            raise NotUnderstood("it is not clear whose side this is: divide it with commas")
        return between, []
    if not sides:
        return between, []
    if sides != [len(between) - 1]:
        raise NotUnderstood("it is not clear what belongs to which name: divide it with commas")
    return between[:-1], between[-1:]


def _one_head(token: Token, clause: Clause) -> Head:
    heads: tuple[Head, ...] = token.value
    if len(heads) > 1:
        names = " or ".join(head.tests[0].name.lower() for head in heads)
        written = clause.note[token.start : token.end]
        raise NotUnderstood(f"{written!r} could be {names}")
    return heads[0]


def groups_of(statement: Statement) -> list[Group]:
    """Divide what is said of a name by side; the side may come before or after the values."""
    tokens = [*statement.lead, *statement.tail]
    throughout = any(token.kind == "throughout" for token in tokens)
    said = [token for token in tokens if token.kind not in (*REMARKS, "throughout")]
    count = sum(token.kind == "side" for token in said)
    side_first = bool(said) and said[0].kind == "side"
    if count > 1 and not side_first and said[-1].kind != "side":
        raise NotUnderstood("the side is not clear: write it before each response")
    group = Group(None)
    groups = [group]
    closed = False
    first = said[0].start if said else -1
    leading = [token for token in tokens if token.kind == "technique" and token.start < first]
    for token in tokens:
        if token.kind == "throughout" or token in leading:
            continue
        if token.kind in REMARKS:
            group.remarks.append(token)
        elif token.kind == "side" and (side_first or count == 1):
            if group.sides is not None:
                group = Group(None)
                groups.append(group)
            group.sides = token.value
        elif token.kind == "side":
            group.sides, closed = token.value, True
        else:
            if closed:
                group, closed = Group(None), False
                groups.append(group)
            group.values.append(token)
    if not statement.joined and len({bool(group.values) for group in groups}) > 1:
        raise NotUnderstood("the response of one side is missing: divide it with commas")
    for group in groups:
        group.remarks += leading
        group.throughout = throughout
    return groups
