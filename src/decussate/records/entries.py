"""What is added to an examination, and the present state that follows from all of it.

An entry is one act of the clinician (one touch, one reading of the shorthand box, one change of the
story). Entries are only ever added. A correction is a later entry; an undo is an entry that names
the one it takes back, and can itself be taken back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from pydantic import BaseModel, ConfigDict

from decussate.examination.record import Examination, Finding, Story, UnreadText
from decussate.records.written import WrittenText
from decussate.sides import Side

__all__ = [
    "Entry",
    "StoredEntry",
    "TestSide",
    "chosen_path",
    "in_force",
    "kept_texts",
    "present_state",
]

TestSide = tuple[str, Side | None]
"""A test and the side it was done on; None for a test without sides."""


class Entry(BaseModel):
    """One act of the clinician: what it adds to the record of an examination.

    Parameters
    ----------
    id : UUID
        Made where the act happens, so that a resend is recognised and not doubled.
    findings : tuple of Finding
        Findings recorded; each supersedes an earlier one of the same test and side. The response
        ``not_tested`` withdraws.
    story : Story, optional
        The whole story as it now stands; None leaves it as it was.
    known_old, not_old : tuple of TestSide
        Findings set aside as long known, and findings no longer set aside. A later finding of the
        same test and side with another response, or another measurement, ends the setting aside:
        the old deficit explains only what was old.
    unread : tuple of UnreadText
        Shorthand that was not understood, kept word for word.
    settled : tuple of UnreadText
        Unread text that the clinician has dealt with.
    path : str, optional
        The short path chosen for the page, by its key; empty for the whole examination.
    undoes : UUID, optional
        The entry that this one takes back.
    written : WrittenText, optional
        A note or letter that was kept.
    by : str, optional
        Who made the entry.
    device : str, optional
        With what: the browser and the system it ran on.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: UUID
    findings: tuple[Finding, ...] = ()
    story: Story | None = None
    known_old: tuple[TestSide, ...] = ()
    not_old: tuple[TestSide, ...] = ()
    unread: tuple[UnreadText, ...] = ()
    settled: tuple[UnreadText, ...] = ()
    path: str | None = None
    undoes: UUID | None = None
    written: WrittenText | None = None
    by: str | None = None
    device: str | None = None

    @property
    def tests(self) -> frozenset[str]:
        """The tests that this entry touches, by id."""
        pairs = (*self.known_old, *self.not_old)
        return frozenset(f.test for f in self.findings) | frozenset(test for test, _ in pairs)


@dataclass(frozen=True, slots=True)
class StoredEntry:
    """An entry as the store keeps it.

    Parameters
    ----------
    sequence : int
        Its place in the order of all entries.
    at : datetime
        When it was committed, in UTC.
    entry : Entry
        What was added.
    """

    sequence: int
    at: datetime
    entry: Entry


def in_force(history: Sequence[StoredEntry]) -> tuple[StoredEntry, ...]:
    """Return the entries that have not been taken back, oldest first.

    Parameters
    ----------
    history : sequence of StoredEntry
        Every entry of one examination, oldest first.

    Returns
    -------
    tuple of StoredEntry
        Entries that count. An undo that was itself undone no longer counts.
    """
    undone: set[UUID] = set()
    kept: list[StoredEntry] = []
    for stored in reversed(history):
        if stored.entry.id in undone:
            continue
        if stored.entry.undoes is not None:
            undone.add(stored.entry.undoes)
        kept.append(stored)
    return tuple(reversed(kept))


def chosen_path(history: Sequence[StoredEntry]) -> str:
    """Return the short path the examiner chose last; empty for the whole examination.

    Parameters
    ----------
    history : sequence of StoredEntry
        Every entry of one examination, oldest first.

    Returns
    -------
    str
        Key of the path.
    """
    chosen = [s.entry.path for s in in_force(history) if s.entry.path is not None]
    return chosen[-1] if chosen else ""


def kept_texts(history: Sequence[StoredEntry], document: str) -> tuple[StoredEntry, ...]:
    """Return the entries that kept a note or a letter, oldest first; the last is the one in force.

    Parameters
    ----------
    history : sequence of StoredEntry
        Every entry of one examination, oldest first.
    document : str
        ``note`` or ``letter``.

    Returns
    -------
    tuple of StoredEntry
        Those that have not been taken back.
    """
    return tuple(
        stored
        for stored in in_force(history)
        if stored.entry.written is not None and stored.entry.written.document == document
    )


def present_state(
    examination_id: str, label: str, invented: bool, history: Sequence[StoredEntry]
) -> Examination:
    """Return the examination as it now stands.

    Parameters
    ----------
    examination_id, label : str
        The examination's identity and the words that name it on a list.
    invented : bool
        Whether the patient is invented.
    history : sequence of StoredEntry
        Every entry, oldest first.

    Returns
    -------
    Examination
        With superseded findings kept in their order, and undone ones left out.
    """
    findings: list[Finding] = []
    standing: dict[TestSide, Finding] = {}
    old: dict[TestSide, None] = {}
    unread: list[UnreadText] = []
    story = Story()
    for stored in in_force(history):
        entry = stored.entry
        for finding in entry.findings:
            pair = (finding.test, finding.side)
            if pair in standing and _changed(standing[pair], finding):
                old.pop(pair, None)
            standing[pair] = finding
        findings += [
            f.model_copy(update={"at": f.at or stored.at, "by": f.by or entry.by})
            for f in entry.findings
        ]
        if entry.story is not None:
            story = entry.story
        old |= dict.fromkeys(entry.known_old)
        for pair in entry.not_old:
            old.pop(pair, None)
        unread += entry.unread
        settled = set(entry.settled)
        unread = [text for text in unread if text not in settled]
    return Examination(
        id=examination_id,
        label=label,
        invented=invented,
        story=story,
        findings=tuple(findings),
        known_old=tuple(old),
        unread=tuple(unread),
    )


def _changed(before: Finding, now: Finding) -> bool:
    """Tell whether a later finding says something else; a measurement left out is no change."""
    measured = now.measurement is not None and now.measurement != before.measurement
    return now.response != before.response or measured
