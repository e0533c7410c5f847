"""Reading one fragment of shorthand into findings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from decussate.examination.document import ABNORMAL, Finding
from decussate.examination.shorthand_drafts import Drafts
from decussate.examination.shorthand_lexicon import Rest
from decussate.examination.shorthand_statements import groups_of, statements_of
from decussate.examination.shorthand_tokens import (
    Atom,
    Clause,
    NotUnderstood,
    Sides,
    Token,
    names_in,
    tokens_of,
    without_headings,
)
from decussate.sides import Side

__all__ = ["Reading", "read_fragment"]


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
        if clause.head is None or names_in(atoms, clause.lexicon):
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
    tokens = tokens_of(atoms, clause)
    old = clause.old
    if tokens and tokens[0].kind == "old":
        old = True
        clause.old = len(tokens) > 1 and tokens[1].key == (":",)
        tokens = tokens[1:]
    statements = statements_of(without_headings(tokens), clause)
    drafts = Drafts(clause)
    named = any(token.kind == "head" for token in tokens)
    last: Sides = None
    rest: tuple[Rest, ...] = ()
    for statement in statements:
        for group in groups_of(statement):
            if group.sides is None:
                group.sides = last or clause.side or (None if named else clause.only_side)
                group.carried = group.sides is not None
            last = group.sides
            if not named:
                group.remarks += clause.techniques
            if statement.head.rest:
                words = [clause.lexicon.words.get(value.key) for value in group.values]
                kinds = [word.kind if word else "" for word in words]
                if kinds != ["normal"] or statement.negated:
                    raise NotUnderstood("only `normal` can be said of all the rest")
                rest = statement.head.rest
                continue
            drafts.add(statement, group, old)
    if named:
        clause.techniques = _leading_techniques(tokens)
    first = next((token for token in tokens if token.kind in ("side", "head")), None)
    if first is not None and first.kind == "side":
        clause.side = first.value
    found = drafts.findings()
    said = {token.value for token in tokens if token.kind == "side"}
    if said and any(one.side for one in found):
        # DHT R positive, upbeat: of the right, while no other side has been spoken of.
        new = clause.only_side in (None, *said) and not (clause.said and clause.only_side is None)
        clause.only_side = said.pop() if len(said) == 1 and new else None
    for one in found:
        before = clause.said.get((one.test, one.side), one.response)
        if before != one.response and ABNORMAL not in (before, one.response):
            name = clause.lexicon.catalogue.test(one.test).name.lower()
            raise NotUnderstood(f"{name} was said to be {before} just before")
    clause.said.update({(one.test, one.side): one.response for one in found})
    clause.head, clause.name = statements[-1].head, statements[-1].name
    return Reading(found, drafts.old_pairs if old else [], rest)


def _leading_techniques(tokens: Sequence[Token]) -> tuple[Token, ...]:
    """Return techniques named before any side, which hold for the whole clause (VA cc: ...)."""
    found = []
    for token in tokens:
        if token.kind == "side":
            break
        if token.kind == "technique":
            found.append(token)
    return tuple(found)
