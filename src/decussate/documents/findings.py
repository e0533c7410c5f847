"""Findings in words, nerve by nerve: what was abnormal, what was normal, what was not tested."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from decussate.examination.catalogue import Test, load_catalogue
from decussate.examination.document import Examination, Finding
from decussate.examination.wording import (
    RECORDED_TOGETHER,
    measurement_in_words,
    name_in_words,
    response_in_words,
)
from decussate.sides import Side

__all__ = ["findings_by_nerve"]


def findings_by_nerve(examination: Examination, words: Mapping[str, Any]) -> tuple[str, ...]:
    """Say every finding, one line a nerve, and what was not tested.

    Parameters
    ----------
    examination : Examination
        What was recorded.
    words : mapping
        Wording of the note: ``nerves`` in reading order, and ``phrases``.

    Returns
    -------
    tuple of str
        Lines; a nerve of which nothing was tested appears only in the line of those not tested.
    """
    phrases = words["phrases"]
    found: dict[str, list[tuple[Test, Finding]]] = {nerve: [] for nerve in words["nerves"]}
    catalogue = load_catalogue()
    order = {test.id: number for number, test in enumerate(catalogue)}
    for finding in sorted(examination.present(), key=lambda one: order[one.test]):
        test = catalogue.test(finding.test)
        found[test.nerve].append((test, finding))
    lines = [
        f"{words['nerves'][nerve]}: {_nerve(entries, phrases)}"
        for nerve, entries in found.items()
        if entries
    ]
    if not lines:
        lines = [phrases["nothing"]]
    together = [
        words["nerves"][nerve]
        for nerve, entries in found.items()
        if any(finding.technique == RECORDED_TOGETHER for _, finding in entries)
    ]
    if together:
        lines.append(f"{phrases['together']}: {'; '.join(together)}.")
    missing = [words["nerves"][nerve] for nerve, entries in found.items() if not entries]
    if missing:
        lines.append(f"{phrases['not_tested']}: {'; '.join(missing)}. {phrases['only_named']}")
    else:
        lines.append(phrases["only_named"])
    if examination.known_old:
        old = [
            (f"{side} " if side else "") + name_in_words(catalogue.test(name))
            for name, side in examination.known_old
        ]
        lines.append(f"{phrases['set_aside']}: {'; '.join(old)}.")
    if examination.unread:
        unread = [f"“{piece.text}” (line {piece.line})" for piece in examination.unread]
        lines.append(f"{phrases['unread']}: {'; '.join(unread)}.")
    return tuple(lines)


def _nerve(entries: Sequence[tuple[Test, Finding]], phrases: Mapping[str, str]) -> str:
    """Say what was abnormal or only recorded, side by side, and then what was normal."""
    normal = [pair for pair in entries if _is_normal(*pair)]
    other = [pair for pair in entries if not _is_normal(*pair)]
    sentences = [
        f"{side.capitalize()}: {'; '.join(items)}." if side else f"{_capital('; '.join(items))}."
        for side, items in _by_side(other, _with_answer, phrases).items()
    ]
    usual = [
        f"{side} {', '.join(items)}".strip()
        for side, items in _by_side(normal, _with_measurement, phrases).items()
    ]
    if usual:
        sentences.append(f"{phrases['normal']}: {'; '.join(usual)}.")
    return " ".join(sentences)


def _is_normal(test: Test, finding: Finding) -> bool:
    return finding.response == "normal" and test.sign is not None


def _by_side(
    entries: Sequence[tuple[Test, Finding]],
    say: Callable[[Test, Finding], str],
    phrases: Mapping[str, str],
) -> Mapping[str, list[str]]:
    """Gather what is said under the side it is true of; the same on both sides is said once."""
    sides: dict[str, set[Side | None]] = {}
    for test, finding in entries:
        sides.setdefault(say(test, finding), set()).add(finding.side)
    gathered: dict[str, list[str]] = {}
    for said, which in sides.items():
        both = which == set(Side)
        key = phrases["both"] if both else next(iter(which)) or ""
        gathered.setdefault(str(key), []).append(said)
    return gathered


def _with_answer(test: Test, finding: Finding) -> str:
    comment = f" ({finding.comment})" if finding.comment else ""
    return f"{name_in_words(test)} – {response_in_words(finding, test)}{comment}"


def _with_measurement(test: Test, finding: Finding) -> str:
    return f"{name_in_words(test)}{measurement_in_words(finding)}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
