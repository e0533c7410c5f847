"""Finding examinations by the patient, by what was found, who wrote and what is attached.

A search is one or more parts between commas; each part is words. An examination is found when every
part is: all its words in the patient's label, in one finding that stands, in the story, in one text
that was not understood, in the name of one person who wrote, or in the name of one attached file.
``bed 4, right lid partial`` finds the partial right ptosis of bed 4, and not a partial left one
beside something right. A word may be left unfinished; a number may not.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from sqlalchemy import ColumnElement, or_, select

from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, Finding, Story
from decussate.records.answers import ExaminationHead
from decussate.records.attachments import attachments_of
from decussate.records.entries import StoredEntry, present_state
from decussate.records.store import Store
from decussate.records.tables import attachments, entries, examinations, patients

__all__ = ["Hit", "search"]

MOST_TESTS = 40
"""With more tests that a word may mean, the database is not asked to choose among entries first."""

Part = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Hit:
    """An examination that was found.

    Parameters
    ----------
    head : ExaminationHead
        Its line on the list.
    findings : tuple of Finding
        The findings that fit a part of the search.
    """

    head: ExaminationHead
    findings: tuple[Finding, ...]


def search(store: Store, words: str) -> tuple[Hit, ...]:
    """Find examinations.

    Parameters
    ----------
    store : Store
        Where to look.
    words : str
        Parts between commas, as this module says. Case does not matter.

    Returns
    -------
    tuple of Hit
        All that fit, newest first.

    Raises
    ------
    BadInput
        If there is no word to look for.
    """
    parts = tuple(found for text in words.split(",") if (found := _words(text)))
    if not parts:
        raise BadInput("search", words, "a word to look for", hint="Such as: bed 4, right lid.")
    possible = _possible(store, parts)
    hits = []
    for head in store.examinations():
        if head.id in possible:
            history = store.history(head.id)
            now = present_state(head.id, head.label, head.invented, history)
            findings = _fits(now, parts, list(_names(store, head.id, history)))
            if findings is not None:
                hits.append(Hit(head, findings))
    return tuple(hits)


def _words(text: str) -> Part:
    return tuple(re.findall(r"[^\W_]+", text.casefold()))


def _holds(text: frozenset[str], part: Part) -> bool:
    return all(
        word in text or (not word.isdigit() and any(held.startswith(word) for held in text))
        for word in part
    )


def _names(
    store: Store, examination: str, history: tuple[StoredEntry, ...]
) -> Iterator[frozenset[str]]:
    """Give the words of each name: of those who wrote, and of the files that are attached."""
    attached = attachments_of(store, examination)
    people = {stored.entry.by for stored in history} | {one.by for one in attached}
    for name in (*filter(None, people), *(one.name for one in attached)):
        yield frozenset(_words(name))


def _fits(
    examination: Examination, parts: tuple[Part, ...], names: list[frozenset[str]]
) -> tuple[Finding, ...] | None:
    """Return the findings that fit a part, or None when a part is nowhere."""
    others = [
        *names,
        frozenset(_words(examination.label)),
        _story_words(examination.story),
        *(frozenset(_words(unread.text)) for unread in examination.unread),
    ]
    found: dict[Finding, None] = {}
    for part in parts:
        fitting = [f for f in examination.present() if _holds(_finding_words(f), part)]
        if not fitting and not any(_holds(text, part) for text in others):
            return None
        found |= dict.fromkeys(fitting)
    return tuple(found)


def _story_words(story: Story) -> frozenset[str]:
    held = (story.sex, story.onset, story.course, *story.context)
    return frozenset(_words(" ".join(word for word in held if word)))


def _finding_words(finding: Finding) -> frozenset[str]:
    measured = finding.measurement
    own = (
        finding.test,
        finding.response,
        finding.side.value if finding.side else "",
        f"{measured.value} {measured.unit}" if measured else "",
        *(finding.reason or "", finding.comment or "", finding.technique or "", finding.by or ""),
    )
    return frozenset(_words(" ".join(own))) | _catalogue_words(finding.test, finding.response)


@cache
def _catalogue_words(test_id: str, response: str) -> frozenset[str]:
    """Return the words for a test, and for a response to it; none when it is not a test now."""
    catalogue = load_catalogue()
    if test_id not in catalogue:
        return frozenset()
    test = catalogue.test(test_id)
    label = test.responses[response].label if response in test.responses else ""
    return frozenset(_words(" ".join((test.name, test.nerve, *test.abbreviations, label))))


def _possible(store: Store, parts: tuple[Part, ...]) -> set[str]:
    """Return the examinations that the database cannot rule out."""
    with store.database.reading() as connection:
        labels = connection.execute(
            select(examinations.c.id, patients.c.label).join(
                patients, patients.c.id == examinations.c.patient
            )
        ).all()
        possible = {row.id for row in labels}
        attached = connection.execute(
            select(attachments.c.examination, attachments.c.name, attachments.c.by)
        ).all()
        for part in parts:
            named = {row.id for row in labels if _holds(frozenset(_words(row.label)), part)}
            named |= {
                row.examination
                for row in attached
                if any(_holds(frozenset(_words(text)), part) for text in (row.name, row.by))
            }
            query = select(entries.c.examination).distinct()
            for word in part:
                condition = _may_hold(word)
                if condition is not None:
                    with_word = select(entries.c.examination).where(condition)
                    query = query.where(entries.c.examination.in_(with_word))
            possible &= named | {row[0] for row in connection.execute(query)}
    return possible


def _may_hold(word: str) -> ColumnElement[bool] | None:
    """Return what an entry's text holds if a finding in it fits the word; None if that is no help.

    Databases differ in how they fold letters beyond ASCII, so such a word is left to `_fits`.
    """
    tests = [
        test.id
        for test in load_catalogue()
        if any(
            _holds(_catalogue_words(test.id, response), (word,)) for response in ("", *test.codes)
        )
    ]
    if not word.isascii() or len(tests) > MOST_TESTS:
        return None
    body = entries.c.body
    return or_(
        body.icontains(word, autoescape=True),
        *(body.contains(f'"test":"{test}"', autoescape=True) for test in tests),
    )
