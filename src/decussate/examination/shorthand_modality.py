"""Pin or touch: a modality named once holds for the whole list (``pin V1 V2 V3 reduced``)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from decussate.examination.shorthand_lexicon import Head
from decussate.examination.shorthand_tokens import Clause, NotUnderstood, Token

__all__ = ["with_modality"]

ANY = "any"
"""The modality of words such as `sensation`, which leave it open."""


def with_modality(tokens: Sequence[Token], clause: Clause) -> list[Token]:
    """Replace names that leave the modality open by those of the modality the fragment names.

    Parameters
    ----------
    tokens : sequence of Token
    clause : Clause
        Changed: it carries the modality on to later fragments.

    Raises
    ------
    NotUnderstood
        If a modality belongs to no name.
    """
    lexicon = clause.lexicon
    tokens = _without_any(tokens, clause)
    spoken = [token.value for token in tokens if token.kind == "modality"]
    heads = [_only(token) for token in tokens if token.kind == "head"]
    named = [lexicon.modality_of[h.id] for h in heads if h and h.id in lexicon.modality_of]
    open_heads = [head for head in heads if head and head.modalities]
    if not spoken and not named:
        found = clause.modality
    else:
        found = tuple(dict.fromkeys([*spoken, *named]))
        clause.modality = found
    if spoken and (not open_heads or (named and len(found) > 1)):
        return _of_last_name(tokens, heads, clause)
    if not found or not open_heads:
        return list(tokens)
    kept: list[Token] = []
    for token in tokens:
        head = _only(token) if token.kind == "head" else None
        if head is not None and head.modalities:
            for modality in found:
                target = lexicon.by_head_id[head.modalities[modality]]
                kept.append(replace(token, value=(target,)))
        elif token.kind != "modality":
            kept.append(token)
    return kept


def _without_any(tokens: Sequence[Token], clause: Clause) -> list[Token]:
    """Drop `sensation`, which belongs to the parts of the face alone."""
    kept = [token for token in tokens if token.value != ANY or token.kind != "modality"]
    heads = [_only(token) for token in tokens if token.kind == "head"] or [clause.head]
    known = clause.lexicon.modality_of
    of_face = all(head is not None and (head.modalities or head.id in known) for head in heads)
    if len(kept) < len(tokens) and not of_face:
        raise NotUnderstood("say where and how sensation was tested: pin V1, body pin, vibration")
    return kept


def _only(token: Token) -> Head | None:
    """Return the head of a name that has one meaning."""
    return token.value[0] if len(token.value) == 1 else None


def _of_last_name(
    tokens: Sequence[Token], heads: Sequence[Head | None], clause: Clause
) -> list[Token]:
    """Read `touch normal` after `V1 pin reduced`: another modality of the same part."""
    spoken = [token for token in tokens if token.kind == "modality"]
    before = clause.head
    if heads or len(spoken) != 1 or before is None:
        raise NotUnderstood("say which part was tested with it: V1, V2, V3 or the body")
    for whole in clause.lexicon.open_heads:
        target = whole.modalities.get(spoken[0].value)
        if target and before.id in whole.modalities.values():
            at = tokens.index(spoken[0])
            named = replace(spoken[0], kind="head", value=(clause.lexicon.by_head_id[target],))
            return [*tokens[:at], named, *tokens[at + 1 :]]
    raise NotUnderstood("say which part was tested with it: V1, V2, V3 or the body")
