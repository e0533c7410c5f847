"""The state of the bedside page: everything its templates need, whole or in parts."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any
from uuid import UUID

from fastapi import Request

from decussate.anatomy import load_atlas
from decussate.examination.catalogue import Test
from decussate.examination.record import Examination
from decussate.records import (
    ExaminationHead,
    Store,
    StoredEntry,
    chosen_path,
    in_force,
    present_state,
)
from decussate.records.invented import InventedOnly
from decussate.web.access import visit_of
from decussate.web.audiogram_chart import chart_view
from decussate.web.bedside import load_parts, load_paths, part_of
from decussate.web.conclusions import begin_with, conclude
from decussate.web.field_outline_chart import field_charts
from decussate.web.held_back import holding_back
from decussate.web.picture_view import PictureView, picture_view
from decussate.web.pictures import pictures_of
from decussate.web.settings import Settings
from decussate.web.view import CardView, card_view, entry_words, part_view, story_words

__all__ = ["bedside_state", "path_of", "store_of"]

STORY_CHOICES = (
    ("sex", "Sex", ("female", "male")),
    ("onset", "Onset", ("sudden", "hours", "days", "weeks", "months", "years")),
    ("course", "Course", ("improving", "steady", "worsening", "fluctuating", "attacks")),
)


def store_of(request: Request) -> Store:
    """Return the store this application was made with, as whoever asks may see it."""
    store: Store = request.app.state.store
    visit = visit_of(request)
    return InventedOnly(store) if visit and visit.person.invented_only else store


def path_of(history: Sequence[StoredEntry]) -> str:
    """Return the short path to show; one no longer offered gives the whole examination."""
    path = chosen_path(history)
    return path if path in load_paths() else ""


def bedside_state(
    store: Store,
    examination_id: str,
    settings: Settings,
    *,
    read_words: str = "",
    shown_test: str = "",
) -> dict[str, Any]:
    """Return what the templates of the bedside page need.

    Parameters
    ----------
    store : Store
        Where the examination is kept.
    examination_id : str
        The examination.
    settings : Settings
        How this browser shows things.
    read_words : str
        What the last reading of the shorthand box came to.
    shown_test : str
        A test asked for; the further tests of its part are then on the page from the start.

    Returns
    -------
    dict
        Template variables.

    Raises
    ------
    BadInput
        If there is no such examination.
    """
    head = store.head(examination_id)
    history = store.history(examination_id)
    shown = part_of().get(shown_test)
    examination = present_state(head.id, head.label, head.invented, history)
    return _parts_of_page(head, history, examination, settings) | {
        "read_words": read_words,
        "history": history,
        "examination": examination,
        "seen": history[-1].sequence if history else 0,
        "shown_part": shown.key if shown and any(t.id == shown_test for t in shown.further) else "",
    }


def _parts_of_page(
    head: ExaminationHead,
    history: tuple[StoredEntry, ...],
    examination: Examination,
    settings: Settings,
) -> dict[str, Any]:
    conclusion = conclude(examination)
    present = {(found.test, found.side): found for found in examination.present()}
    old = frozenset(examination.known_old)
    held_back = holding_back(examination)

    def card_of(test: Test) -> CardView:
        return card_view(test, present, old, settings, held_back)

    def drawn(part: str) -> tuple[PictureView, ...]:
        return tuple(picture_view(picture, present, settings) for picture in pictures_of(part))

    path = path_of(history)
    return {
        "head": head,
        "invented": "patient, invented hospital" if head.invented else "",
        "groups": tuple(part_view(part, present, held_back) for part in load_parts(path)),
        "path": path,
        "paths": tuple(load_paths().values()),
        "card_of": card_of,
        "pictures_of": drawn,
        "audiogram": chart_view(present),
        "field_charts": lambda: field_charts(present),
        "caution_first": _caution_first(path),
        "story": examination.story.model_dump(),
        "story_said": story_words(examination.story),
        "story_choices": STORY_CHOICES,
        "contexts": tuple(load_atlas().contexts.items()),
        "unread": examination.unread,
        "last": _last(history),
        "alerts": conclusion.alerts,
        "used": conclusion.used,
        "undecided": conclusion.undecided,
        "reservations": conclusion.reservations,
        "side_words": conclusion.side_words,
        "places": conclusion.places,
        "unexplained": conclusion.unexplained,
        "next_tests": conclusion.next_tests
        if conclusion.used
        else begin_with(path, present, held_back),
    }


@cache
def _caution_first(path: str) -> dict[str, frozenset[str]]:
    """Return the tests at which each caution is spelt out: the first of each part to need it."""
    first: dict[str, set[str]] = {}
    for part in load_parts(path):
        for key in {key for test in part.tests for key in test.cautions}:
            place = next(test.id for test in part.tests if key in test.cautions)
            first.setdefault(key, set()).add(place)
    return {key: frozenset(tests) for key, tests in first.items()}


def _last(history: tuple[StoredEntry, ...]) -> dict[str, str | UUID] | None:
    """Return the last entry that can be undone."""
    for stored in reversed(in_force(history)):
        if stored.entry.undoes is None:
            return {"id": stored.entry.id, "words": entry_words(stored.entry)}
    return None
