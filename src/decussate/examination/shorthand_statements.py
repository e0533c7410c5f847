"""Statements of the shorthand: which side, response and negation belongs to which name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from decussate.examination.shorthand_lexicon import Head, Phrase
from decussate.examination.shorthand_tokens import Clause, NotUnderstood, Sides, Token

__all__ = ["Group", "Statement", "groups_of", "statements_of"]


@dataclass(slots=True)
class Group:
    """Values said of one side."""

    sides: Sides
    values: list[Token] = field(default_factory=list)
    remarks: list[Token] = field(default_factory=list)


@dataclass(slots=True)
class Statement:
    """One name with what is said of it."""

    head: Head
    name: Phrase
    lead: list[Token]
    tail: list[Token]
    negated: bool = False


def statements_of(tokens: Sequence[Token], clause: Clause) -> list[Statement]:
    """Divide a fragment into one statement for each name."""
    for token in tokens:
        if token.kind == "refused":
            raise NotUnderstood(token.value)
        if token.kind == "old":
            raise NotUnderstood("`old` goes before the name: old: R ptosis")
    kept = [token for token in tokens if token.kind != "empty"]
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
        if order + 1 < len(places):
            tail, following = _share(tail, side_first)
        head = _one_head(kept[place], clause)
        opens = [token for token in _without_joins(lead) if token.kind != "negations"]
        statements.append(Statement(head, kept[place].key, opens, _without_joins(tail), negated))
        kinds = {token.kind for token in following}
        if negated and "joins" in kinds and "negations" not in kinds:
            raise NotUnderstood("it is not clear how far `no` reaches: write `or`, or `no` again")
        negated = "negations" in kinds or (negated and "either" in kinds)
        lead = following
    _share_out(statements)
    _check_negation(statements, kept, clause)
    return statements


def _share_out(statements: list[Statement]) -> None:
    """Give names that are merely listed what is said of the next: R arm and leg 4/5."""
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
        if not any(token.kind == "either" for token in kept):
            raise NotUnderstood("it is not clear whether `no` covers this: write `no` again")
        for statement in statements:
            statement.negated = True
    clause.negated = statements[-1].negated


_SAY_NOTHING = ("REMARK", "QUOTED", "TAG", "either", "joins")


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
    said = [token for token in tokens if token.kind not in ("REMARK", "QUOTED", "TAG")]
    count = sum(token.kind == "side" for token in said)
    side_first = bool(said) and said[0].kind == "side"
    if count > 1 and not side_first and said[-1].kind != "side":
        raise NotUnderstood("the side is not clear: write it before each response")
    group = Group(None)
    groups = [group]
    closed = False
    for token in tokens:
        if token.kind in ("REMARK", "QUOTED", "TAG"):
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
    return groups
