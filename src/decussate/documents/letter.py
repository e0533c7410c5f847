"""The referral letter: what was found, where the lesion may be, what cannot wait, what is asked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import yaml

from decussate.anatomy import load_atlas
from decussate.bibliography import cite
from decussate.documents.document import (
    Block,
    Document,
    Figure,
    Items,
    Part,
    Table,
    Text,
    paragraphs,
)
from decussate.documents.drawn_findings import drawn_findings
from decussate.documents.findings import findings_by_nerve
from decussate.documents.formal_tests import request_blocks
from decussate.documents.letter_details import LetterDetails
from decussate.documents.note import made_with, note_words, proposed_tests
from decussate.drawings.places import draw_places
from decussate.examination.catalogue import load_catalogue
from decussate.examination.wording import name_in_words
from decussate.localisation.localise import in_100, posterior_of
from decussate.urgency import Alert
from decussate.urgency.reservations import reservations

if TYPE_CHECKING:
    from decussate.comparison import Comparison
    from decussate.examination.document import Examination
    from decussate.localisation import Localisation, NextTest, Reason, TwoLesions
    from decussate.measures.audiogram import Audiogram

__all__ = ["letter_words", "referral_letter", "request_sheet", "subject_of"]

PLACES_NAMED, LIKELY = 3, 0.05
REASONS_NAMED, TESTS_NAMED = 4, 3


@cache
def letter_words() -> Mapping[str, Any]:
    """Return the wording of the letter, from ``documents/data/letter.yaml``."""
    text = files("decussate.documents").joinpath("data/letter.yaml").read_text("utf-8")
    words: dict[str, Any] = yaml.safe_load(text)
    return words


def referral_letter(
    examination: Examination,
    localisation: Localisation | None,
    alerts: Sequence[Alert],
    details: LetterDetails | None = None,
    *,
    audiogram: Audiogram | None = None,
    comparison: Comparison | None = None,
    second: TwoLesions | None = None,
) -> Document:
    """Write a referral letter about one examination.

    Parameters
    ----------
    examination : Examination
        What was recorded.
    localisation : Localisation or None
        Where the lesion is likely to be.
    alerts : sequence of Alert
        What cannot wait, the most urgent first.
    details : LetterDetails, optional
        Names and free text; a heading without its text says that it is to be completed.
    audiogram : Audiogram, optional
        Thresholds to draw.
    comparison : Comparison, optional
        With the examination before, of the same patient.
    second : TwoLesions, optional
        Whether one lesion is enough; said when it is not.

    Returns
    -------
    Document
        To be set by `decussate.documents.typesetting`.
    """
    words, given = letter_words(), details or LetterDetails()
    headings, phrases = words["headings"], words["phrases"]
    parts = (
        _patient(examination, given, words),
        Part(headings["reason"], paragraphs(given.reason) or (Text(phrases["reason_default"]),)),
        _urgent(alerts, words),
        _history(examination, given, words),
        _own_words(given.findings, _findings(examination, words)),
        _changed(comparison),
        _own_words(given.place, _place(examination, localisation, second, words)),
        Part(headings["investigations"], request_blocks(examination, localisation)),
        _plan(localisation, given, words),
        _information(given, words),
        _completing(examination, given, words),
    )
    salutation = given.salutation or words["salutation"]
    letter = _document(words["title"], examination, alerts, given, (salutation,), parts)
    drawings = _drawings(examination, localisation, audiogram, words)
    return replace(letter, annex=(drawings,)) if drawings.blocks else letter


def request_sheet(
    examination: Examination,
    localisation: Localisation | None,
    alerts: Sequence[Alert],
    details: LetterDetails | None = None,
) -> Document:
    """Write the formal tests to request, on a sheet of their own.

    Parameters
    ----------
    examination : Examination
    localisation : Localisation or None
    alerts : sequence of Alert
    details : LetterDetails, optional

    Returns
    -------
    Document
    """
    words, given = letter_words(), details or LetterDetails()
    parts = (
        _patient(examination, given, words),
        _urgent(alerts, words),
        Part(words["headings"]["investigations"], request_blocks(examination, localisation)),
        _completing(examination, given, words),
    )
    return _document(words["requests_title"], examination, alerts, given, (), parts)


def subject_of(examination: Examination, details: LetterDetails) -> str:
    """Say whom a document is about: the name, else the label of the record, else its id."""
    name = details.patient_name or examination.label or examination.id
    return f"{name}, {details.patient_number}" if details.patient_number else name


def _document(
    title: str,
    examination: Examination,
    alerts: Sequence[Alert],
    details: LetterDetails,
    opening: tuple[str, ...],
    parts: Iterable[Part],
) -> Document:
    words = letter_words()
    sources = "; ".join(dict.fromkeys(_source(alert) for alert in alerts))
    cited = (f"{words['phrases']['sources']}: {sources}.",) if sources else ()
    return Document(
        title=title,
        subject=subject_of(examination, details),
        mark=note_words()["invented"] if examination.invented else "",
        opening=opening,
        parts=tuple(part for part in parts if part.blocks),
        closing=(*words["closing"], *cited, made_with()),
        foot=words["foot"],
    )


def _source(alert: Alert) -> str:
    mark = f" ({alert.mark})" if alert.mark else ""
    return cite(alert.source).rstrip(".") + mark


def _patient(examination: Examination, given: LetterDetails, words: Mapping[str, Any]) -> Part:
    labels, missing = words["labels"], words["phrases"]["not_stated"]
    story = examination.story
    age = f"{story.age:g} years" if story.age is not None else ""
    rows = (
        ("name", given.patient_name or examination.label or examination.id),
        ("date_of_birth", given.date_of_birth),
        ("patient_number", given.patient_number),
        ("patient_address", given.patient_address),
        ("age", age),
        ("sex", story.sex or ""),
        ("examined", _examined(examination)),
        ("written", given.written),
        ("to", given.to),
        ("from", given.sender),
    )
    # Who is meant must never be left open silently; the rest is shown where it was given.
    needed = ("date_of_birth", "patient_number", "age", "sex", "examined")
    shown = tuple((labels[key], said or missing) for key, said in rows if said or key in needed)
    columns = tuple(words["columns"]["patient"])
    heading = words["headings"]["patient"]
    return Part(heading, (Table(heading, columns, shown),))


def _examined(examination: Examination) -> str:
    """Return the day or days of the findings, as recorded, with their time zone's date."""
    days = sorted({f"{one.at:%Y-%m-%d}" for one in examination.present() if one.at is not None})
    return " to ".join(days[:: max(len(days) - 1, 1)])


def _urgent(alerts: Sequence[Alert], words: Mapping[str, Any]) -> Part:
    phrases = words["phrases"]
    if not alerts:
        return Part(words["headings"]["urgent"], (Text(note_words()["phrases"]["no_alert"]),))
    blocks: list[Block] = []
    for alert in alerts:
        side = f" ({' and '.join(alert.sides)})" if alert.sides else ""
        blocks.append(
            Text(f"{alert.level.value.upper()}, {alert.time_frame}: {alert.title}{side}.", True)
        )
        because = _listed(phrases["because"], alert.because)
        missing = _listed(phrases["not_examined"], alert.not_examined)
        blocks.append(Text(" ".join(part for part in (alert.advice, because, missing) if part)))
    return Part(words["headings"]["urgent"], tuple(blocks))


def _history(examination: Examination, given: LetterDetails, words: Mapping[str, Any]) -> Part:
    story, contexts = examination.story, load_atlas().contexts
    parts = (
        f"onset {story.onset}" if story.onset else "",
        f"course {story.course}" if story.course else "",
        "; ".join(contexts[key] for key in story.context),
    )
    told = "; ".join(part for part in parts if part)
    blocks = (*((Text(_sentence(told)),) if told else ()), *paragraphs(given.history))
    return Part(words["headings"]["history"], blocks or (Text(words["phrases"]["no_history"]),))


def _findings(examination: Examination, words: Mapping[str, Any]) -> Part:
    """Lay the findings out nerve by nerve; what is said of the whole stands below."""
    rows, below = [], []
    nerves = set(note_words()["nerves"].values())
    for line in findings_by_nerve(examination, note_words()):
        name, _, said = line.partition(": ")
        if name in nerves:
            rows.append((name, said))
        else:
            below.append(Text(line))
    table = (
        (Table(words["headings"]["findings"], tuple(words["columns"]["findings"]), tuple(rows)),)
        if rows
        else ()
    )
    note = Text(words["phrases"]["not_tested_note"])
    return Part(words["headings"]["findings"], (*table, *below, note))


def _own_words(typed: str, part: Part) -> Part:
    """Return a part in the sender's own words where there are any."""
    return Part(part.heading, paragraphs(typed)) if typed else part


def _changed(comparison: Comparison | None) -> Part:
    """Say what changed since the examination before; nothing where there was none."""
    heading = note_words()["headings"]["changed"]
    if comparison is None:
        return Part(heading, ())
    return Part(heading, (Text(comparison.sentence), *map(Text, comparison.warnings)))


def _place(
    examination: Examination,
    localisation: Localisation | None,
    second: TwoLesions | None,
    words: Mapping[str, Any],
) -> Part:
    phrases = words["phrases"]
    reserved = tuple(map(Text, reservations(examination)))
    if localisation is None or not localisation.findings_used:
        said = localisation.text if localisation else note_words()["phrases"]["no_place"]
        return Part(words["headings"]["place"], (*reserved, Text(said)))
    likely = [c for c in localisation.candidates[:PLACES_NAMED] if c.probability >= LIKELY]
    rows = tuple(
        (
            f"{_capital(c.name)}: {in_100(c.probability)}",
            _reasons(c.supports, phrases),
            _reasons(c.against, phrases),
        )
        for c in likely or localisation.candidates[:1]
    )
    open_findings = [reason.text for reason in localisation.unexplained]
    return Part(
        words["headings"]["place"],
        (
            Text(localisation.text, strong=True),
            *((Text(second.text, strong=True),) if second and second.needed else ()),
            *reserved,
            Table(words["headings"]["place"], tuple(words["columns"]["place"]), rows),
            Text(
                _listed(phrases["unfitting"], open_findings)
                or note_words()["phrases"]["all_explained"]
            ),
            Text(phrases["model"]),
        ),
    )


def _reasons(reasons: Sequence[Reason], phrases: Mapping[str, str]) -> str:
    said = "; ".join(reason.text for reason in reasons[:REASONS_NAMED])
    return _sentence(said or phrases["no_reason_strong"])


def _plan(
    localisation: Localisation | None, given: LetterDetails, words: Mapping[str, Any]
) -> Part:
    typed = paragraphs(given.plan) or (Text(words["phrases"]["to_complete"]),)
    proposed = proposed_tests(localisation.next_tests, TESTS_NAMED) if localisation else ()
    if not proposed:
        return Part(words["headings"]["plan"], typed)
    tests = Items(tuple(_proposed(wanted) for wanted in proposed))
    lead = Text(f"{words['phrases']['next_tests']}:")
    return Part(words["headings"]["plan"], (*typed, lead, tests))


def _proposed(wanted: Sequence[NextTest]) -> str:
    catalogue = load_catalogue()
    sides = " and ".join(one.side for one in wanted if one.side)
    cautions = ", ".join(catalogue.cautions[key].name for key in wanted[0].cautions)
    caution = f" Caution: {cautions}." if cautions else ""
    named = f"{sides} {name_in_words(catalogue.test(wanted[0].test))}".strip()
    return f"{_capital(named)}.{caution}"


def _information(given: LetterDetails, words: Mapping[str, Any]) -> Part:
    phrases = words["phrases"]
    typed = paragraphs(given.information) or (Text(phrases["to_complete"]),)
    return Part(words["headings"]["information"], (*typed, Text(phrases["summary_offered"])))


def _completing(examination: Examination, given: LetterDetails, words: Mapping[str, Any]) -> Part:
    labels, missing = words["labels"], words["phrases"]["not_stated"]
    examiners = "; ".join(dict.fromkeys(one.by for one in examination.present() if one.by))
    rows = (
        (labels["name"], given.person or missing),
        (labels["role"], given.role or missing),
        (labels["contact"], given.contact or missing),
        (labels["examined_by"], examiners or missing),
        (words["headings"]["copies"], "; ".join(given.copies) or missing),
    )
    heading = words["headings"]["completing"]
    return Part(heading, (Table(heading, tuple(words["columns"]["patient"]), rows),))


def _drawings(
    examination: Examination,
    localisation: Localisation | None,
    audiogram: Audiogram | None,
    words: Mapping[str, Any],
) -> Part:
    """Draw the likely place, then the findings."""
    blocks: list[Block] = []
    if localisation is not None and localisation.findings_used:
        places = draw_places(localisation, posterior_of(examination))
        blocks += [Figure(one.title, one.svg, one.words) for one in places]
        if not places:
            blocks.append(Text(words["phrases"]["no_drawing"]))
    blocks += drawn_findings(examination, audiogram=audiogram)
    return Part(words["headings"]["drawings"], tuple(blocks))


def _listed(name: str, items: Sequence[str]) -> str:
    return f"{name}: {'; '.join(items)}." if items else ""


def _sentence(text: str) -> str:
    return _capital(text) + ("" if text.endswith(".") else ".")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
