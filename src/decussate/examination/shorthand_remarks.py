"""Remarks of the shorthand: reasons, comments, and who examined, when and how."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from decussate.examination.shorthand_tokens import NotUnderstood, Token

__all__ = ["joined", "remarks_of"]


def remarks_of(tokens: Sequence[Token], note: str, needs_reason: bool) -> dict[str, Any]:
    """Read remarks: the reason of `unable`, a comment, and who, when and how."""
    extra: dict[str, Any] = {}
    notes: dict[str, str] = {}
    for token in tokens:
        if token.kind in ("note", "technique"):
            place = "comment" if token.kind == "note" else "technique"
            notes = joined(notes, {place: " ".join(note[token.start : token.end].split())})
            continue
        if token.kind == "TAG":
            name, _, text = token.value[1:-1].partition(":")
            _add_tag(extra, name, _unquoted(text.strip()))
            continue
        text = _unquoted(token.value) if token.kind == "QUOTED" else token.value[1:-1].strip()
        place = "reason" if needs_reason and "reason" not in extra else "comment"
        if place in extra or not text.strip():
            raise NotUnderstood("one remark of a finding can be kept, and not an empty one")
        extra[place] = text
    return joined(notes, extra)


def joined(first: dict[str, Any], second: dict[str, Any]) -> dict[str, Any]:
    """Put two sets of remarks together; comments and techniques follow each other."""
    both = first | second
    for place in ("comment", "technique"):
        if place in first and place in second and first[place] != second[place]:
            both[place] = f"{first[place]}; {second[place]}"
    return both


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
