"""The clinical note: what cannot wait, what was found, where the lesion may be, what next."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from itertools import islice
from typing import TYPE_CHECKING, Any

import yaml

from decussate.documents.findings import findings_by_nerve
from decussate.examination.catalogue import load_catalogue
from decussate.examination.document import Examination
from decussate.examination.wording import name_in_words
from decussate.sides import Side
from decussate.urgency import Alert, Level
from decussate.urgency.reservations import reservations

if TYPE_CHECKING:
    from decussate.comparison import Comparison
    from decussate.localisation import Localisation, NextTest, Reason, TwoLesions

__all__ = [
    "Section",
    "made_with",
    "note_sections",
    "note_words",
    "proposed_in_words",
    "proposed_tests",
    "spoken_words",
    "write_note",
]


@dataclass(frozen=True, slots=True)
class Detail:
    """How much of each kind the note names, so that it can be read aloud in a minute."""

    reasons: int = 2
    tests: int = 2
    missing: int = 2
    causes: int = 2
    changes: int = 3
    places: int = 3


DETAILS = (
    Detail(),
    Detail(changes=2, reasons=1),
    Detail(changes=2, reasons=1, missing=1, places=2),
    Detail(changes=1, reasons=1, missing=1, places=1, tests=1),
    Detail(changes=1, reasons=1, missing=1, places=1, tests=1, causes=1),
    Detail(changes=1, reasons=0, missing=1, places=1, tests=1, causes=1),
)
"""From the fullest to the shortest; what cannot wait is never shortened (judgement)."""


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and its lines.

    Attributes
    ----------
    heading : str
        What the section is about.
    lines : tuple of str
        One statement each.
    """

    heading: str
    lines: tuple[str, ...]


@cache
def note_words() -> Mapping[str, Any]:
    """Return the wording of the note, from ``documents/data/note.yaml``."""
    text = files("decussate.documents").joinpath("data/note.yaml").read_text(encoding="utf-8")
    words: dict[str, Any] = yaml.safe_load(text)
    return words


def write_note(
    examination: Examination,
    localisation: Localisation | None,
    alerts: Sequence[Alert],
    *,
    markdown: bool = False,
    comparison: Comparison | None = None,
    second: TwoLesions | None = None,
) -> str:
    """Write the note of one examination.

    Parameters
    ----------
    examination : Examination
        What was recorded.
    localisation : Localisation or None
        Where the lesion is likely to be.
    alerts : sequence of Alert
        What cannot wait, the most urgent first.
    markdown : bool
        Markdown instead of plain text.
    comparison : Comparison, optional
        With the examination before, of the same patient.
    second : TwoLesions, optional
        Whether one lesion is enough; said when it is not.

    Returns
    -------
    str
        The note.  Right and left are the patient's and always written out; what was not tested is
        named as such or covered by the sentence that only the tests named were done.
    """
    words = note_words()
    name = examination.label or examination.id
    read = (words["title"], name, *_story(examination, words), words["closing"])
    room = words["words"] - sum(spoken_words(line) for line in read)
    for detail in DETAILS:
        sections = note_sections(examination, localisation, alerts, comparison, detail, second)
        if _read_aloud(sections, words) <= room:
            break
    opening = (name, *_examined(examination, words), *_story(examination, words))
    render = _markdown if markdown else _plain
    body = render(words["title"], opening, sections, words["closing"])
    return f"{body}\n{made_with()}\n"


def made_with() -> str:
    """Name the program's version and the data that a document rests on.

    Returns
    -------
    str
        ``"Decussate 0.1.0, data 1f0c22ab."``.
    """
    from decussate.localisation.cache import data_digest  # heavy; wanted only when writing

    sentence: str = note_words()["phrases"]["made_with"]
    return sentence.format(version=version("decussate"), digest=data_digest())


def note_sections(
    examination: Examination,
    localisation: Localisation | None,
    alerts: Sequence[Alert],
    comparison: Comparison | None = None,
    detail: Detail = DETAILS[0],
    second: TwoLesions | None = None,
) -> tuple[Section, ...]:
    """Return the body of the note: urgency, findings, change, place and what does not fit, next."""
    words = note_words()
    headings = words["headings"]
    changed = (comparison.brief_sentence(detail.changes),) if comparison else ()
    sections = (
        Section(headings["urgent"], _urgent(alerts, words, detail)),
        Section(headings["findings"], findings_by_nerve(examination, words)),
        Section(headings["changed"], changed),
        Section(
            headings["place"],
            (*reservations(examination), *_place(localisation, second, words, detail)),
        ),
        Section(headings["next"], _next(localisation, words, detail)),
    )
    return tuple(section for section in sections if section.lines)


def spoken_words(text: str) -> int:
    """Count the words of a text as they are read aloud; marks are not."""
    return sum(any(letter.isalnum() for letter in word) for word in text.split())


def _read_aloud(sections: Sequence[Section], words: Mapping[str, Any]) -> int:
    """Count what is read aloud of the body: all of it but the list of findings."""
    findings = words["headings"]["findings"]
    lines = (line for one in sections if one.heading != findings for line in one.lines)
    return sum(spoken_words(text) for text in (*lines, *(one.heading for one in sections)))


def _examined(examination: Examination, words: Mapping[str, Any]) -> tuple[str, ...]:
    """Say when the findings that stand were recorded and by whom, as far as is known."""
    present = examination.present()
    times = sorted(found.at for found in present if found.at is not None)
    names = dict.fromkeys(found.by for found in present if found.by)
    when = _span(times[0], times[-1]) if times else ""
    said = " ".join(part for part in (when, f"by {', '.join(names)}" if names else "") if part)
    return (f"{words['phrases']['examined']} {said}.",) if said else ()


def _span(first: datetime, last: datetime) -> str:
    """Say from when to when, a day and a time zone that are the same only once."""
    start, end = f"{first:%Y-%m-%d %H:%M}", f"{last:%Y-%m-%d %H:%M}"
    zone = f"{last:%Z}"
    if f"{first:%Z}" != zone:
        return f"{start} {first:%Z} to {end} {zone}"
    if start == end:
        return f"{start} {zone}"
    return f"{start} to {f'{last:%H:%M}' if first.date() == last.date() else end} {zone}"


def _story(examination: Examination, words: Mapping[str, Any]) -> tuple[str, ...]:
    story = examination.story
    age = f"aged {story.age:g}" if story.age is not None else ""
    parts = (
        " ".join(part for part in (story.sex or "", age) if part),
        f"onset {story.onset}" if story.onset else "",
        story.course or "",
        ", ".join(key.replace("_", " ") for key in story.context),
    )
    told = "; ".join(part for part in parts if part)
    invented = words["invented"] if examination.invented else ""
    return tuple(line for line in (_sentence(told), invented) if line)


def _urgent(alerts: Sequence[Alert], words: Mapping[str, Any], detail: Detail) -> tuple[str, ...]:
    if not alerts:
        return (words["phrases"]["no_alert"],)
    return tuple(_alert(alert, words["phrases"], detail) for alert in alerts)


def _alert(alert: Alert, phrases: Mapping[str, str], detail: Detail) -> str:
    """Print an alert: in full when it is for today, otherwise its title and time frame."""
    side = f" ({' and '.join(alert.sides)})" if alert.sides else ""
    line = f"{alert.level.value.upper()}, {alert.time_frame}: {alert.title}{side}."
    if alert.level not in (Level.EMERGENCY, Level.SAME_DAY):
        return line
    missing = ", ".join(alert.not_examined[: detail.missing])
    examine = f" {phrases['not_examined']}: {missing}." if missing else ""
    return f"{line} {alert.advice}{examine}"


def _place(
    localisation: Localisation | None,
    second: TwoLesions | None,
    words: Mapping[str, Any],
    detail: Detail,
) -> tuple[str, ...]:
    phrases = words["phrases"]
    if localisation is None or not localisation.candidates:
        return (phrases["no_place"],)
    best = localisation.candidates[0]
    return tuple(
        line
        for line in (
            localisation.text_with(detail.places - 1),
            second.text if second and second.needed else "",
            _listed(phrases["supports"], _strongest(best.supports, detail)),
            _listed(phrases["against"], _strongest(best.against, detail)),
            _listed(phrases["unfitting"], [reason.text for reason in localisation.unexplained])
            or (phrases["all_explained"] if not localisation.no_lesion_leads else ""),
        )
        if line
    )


def _next(
    localisation: Localisation | None, words: Mapping[str, Any], detail: Detail
) -> tuple[str, ...]:
    phrases = words["phrases"]
    if localisation is None:
        return (phrases["nothing_next"],)
    proposed = proposed_tests(localisation.next_tests, detail.tests)
    tests = [proposed_in_words(wanted) for wanted in proposed]
    causes = localisation.candidates[0].causes if localisation.candidates else ()
    settle = [share.name for share in causes[: detail.causes]]
    first = f" {phrases['first']}: {_sentence(causes[0].settle)}" if causes else ""
    return tuple(
        line
        for line in (
            _listed(phrases["next_test"], tests) or phrases["nothing_next"],
            _listed(phrases["causes"], settle) + first,
        )
        if line
    )


def proposed_tests(next_tests: Sequence[NextTest], most: int) -> tuple[tuple[NextTest, ...], ...]:
    """Return the tests worth doing next; one that is wanted on both sides stands once.

    Parameters
    ----------
    next_tests : sequence of NextTest
        The most useful first.
    most : int
        How many tests.

    Returns
    -------
    tuple of tuple of NextTest
        Of each test, the right side before the left.
    """
    by_test: dict[str, list[NextTest]] = {}
    for wanted in next_tests:
        by_test.setdefault(wanted.test, []).append(wanted)
    right_first = (sorted(one, key=lambda n: n.side is not Side.RIGHT) for one in by_test.values())
    return tuple(map(tuple, islice(right_first, most)))


def proposed_in_words(wanted: Sequence[NextTest]) -> str:
    """Name a proposed test with its sides and its cautions.

    Parameters
    ----------
    wanted : sequence of NextTest
        One test worth doing next, on one side or both.

    Returns
    -------
    str
        ``"corneal touch (right; caution: Touching the cornea)"``.
    """
    catalogue = load_catalogue()
    words = name_in_words(catalogue.test(wanted[0].test))
    sides = " and ".join(one.side for one in wanted if one.side)
    cautions = ", ".join(catalogue.cautions[key].name for key in wanted[0].cautions)
    bracketed = "; ".join(
        part for part in (sides, f"caution: {cautions}" if cautions else "") if part
    )
    return f"{words} ({bracketed})" if bracketed else words


def _strongest(reasons: Iterable[Reason], detail: Detail) -> list[str]:
    ordered = sorted(reasons, key=lambda reason: -abs(reason.log10))
    return [reason.text for reason in ordered[: detail.reasons]]


def _listed(name: str, items: Sequence[str]) -> str:
    return f"{name}: {_sentence('; '.join(items))}" if items else ""


def _sentence(text: str) -> str:
    """Close a text with a full stop and begin it with a capital."""
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text.endswith(".") else ".")


def _plain(title: str, opening: Sequence[str], sections: Sequence[Section], closing: str) -> str:
    blocks = ["\n".join((title, *(_flat(line) for line in opening)))]
    blocks += [
        "\n".join((section.heading.upper(), *(f"- {_flat(line)}" for line in section.lines)))
        for section in sections
    ]
    return "\n\n".join((*blocks, closing)) + "\n"


def _markdown(title: str, opening: Sequence[str], sections: Sequence[Section], closing: str) -> str:
    blocks = [f"# {title}", *(_escaped(line) for line in opening)]
    blocks += [
        f"## {section.heading}\n\n" + "\n".join(f"- {_escaped(line)}" for line in section.lines)
        for section in sections
    ]
    return "\n\n".join((*blocks, f"*{closing}*")) + "\n"


def _escaped(text: str) -> str:
    """Keep what people wrote from being read as Markdown or HTML."""
    return re.sub(r"([\\`*_\[\]<>#|~])", r"\\\1", _flat(text))


def _flat(text: str) -> str:
    """Keep a statement on its line, whatever was typed into it."""
    return " ".join(text.split())
