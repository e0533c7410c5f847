"""A summary for the patient, in plain words and short sentences; it names no illness."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import yaml

from decussate.documents.document import Block, Document, Items, Part, Text
from decussate.documents.formal_tests import formal_tests
from decussate.documents.letter import subject_of
from decussate.documents.letter_details import LetterDetails
from decussate.documents.note import note_words
from decussate.examination.catalogue import Test, load_catalogue
from decussate.examination.document import COULD_NOT_BE_TESTED, Examination, Finding
from decussate.urgency import Alert

if TYPE_CHECKING:
    from decussate.localisation import Localisation

__all__ = ["patient_summary", "plain_finding", "summary_words"]

LIKELY = 0.5
"""A region is named to the patient only from this probability (judgement)."""


@cache
def summary_words() -> Mapping[str, Any]:
    """Return the wording of the summary, from ``documents/data/patient_summary.yaml``."""
    text = files("decussate.documents").joinpath("data/patient_summary.yaml").read_text("utf-8")
    words: dict[str, Any] = yaml.safe_load(text)
    return words


def patient_summary(
    examination: Examination,
    localisation: Localisation | None,
    alerts: Sequence[Alert],
    details: LetterDetails | None = None,
) -> Document:
    """Write the summary for the patient.

    Parameters
    ----------
    examination : Examination
    localisation : Localisation or None
    alerts : sequence of Alert
        The most urgent first.
    details : LetterDetails, optional
        Name, date, person to ask, and what was told (`information`).

    Returns
    -------
    Document
        Right and left are the patient's, in words; what was not checked is said to be unknown.
    """
    words, given = summary_words(), details or LetterDetails()
    headings, phrases = words["headings"], words["phrases"]
    told = tuple(Text(line) for line in given.information.splitlines() if line.strip())
    parts = (
        Part(headings["about"], tuple(Text(line) for line in phrases["about"])),
        Part(headings["urgent"], (Text(words["urgency"][_level(alerts)], strong=True),)),
        _found(examination, words),
        _place(localisation, words),
        Part(headings["next"], (*told, *_next(examination, phrases))),
        _care(examination, words),
        Part(headings["help"], (Text(words["help"]["lead"]), Items(tuple(words["help"]["items"])))),
        _contact(given, words),
    )
    return Document(
        title=words["title"],
        subject=subject_of(examination, given),
        mark=note_words()["invented"] if examination.invented else "",
        opening=tuple(line for line in (subject_of(examination, given), given.written) if line),
        parts=tuple(part for part in parts if part.blocks),
        closing=(),
        foot=phrases["foot"],
    )


def plain_finding(finding: Finding, test: Test) -> str | None:
    """Say a finding to the patient.

    Parameters
    ----------
    finding : Finding
    test : Test
        The test it answers.

    Returns
    -------
    str or None
        None for what is normal, was not tested, or reveals no sign.
    """
    if test.sign is None or finding.response in ("normal", COULD_NOT_BE_TESTED):
        return None
    words = summary_words()
    said = words["signs"].get(test.sign)
    if isinstance(said, dict):
        said = said.get(test.state_of(finding.response))
    if said is None:
        # Abnormal without a direction, or a sign without words of its own: the part is named.
        said = words["phrases"]["something"].format(part=words["nerves"][test.nerve])
    return str(said).format(side=finding.side or "")


def _level(alerts: Sequence[Alert]) -> str:
    return min(alerts, key=lambda one: one.level.order).level.value if alerts else "none"


def _standing(examination: Examination) -> list[tuple[Test, Finding]]:
    """Return the findings that count, in the order of the catalogue, old ones set aside."""
    catalogue = load_catalogue()
    order = {test.id: number for number, test in enumerate(catalogue)}
    old = set(examination.known_old)
    kept = [one for one in examination.present() if (one.test, one.side) not in old]
    return [(catalogue.test(one.test), one) for one in sorted(kept, key=lambda f: order[f.test])]


def _found(examination: Examination, words: Mapping[str, Any]) -> Part:
    phrases, nerves = words["phrases"], words["nerves"]
    standing = [(test, one) for test, one in _standing(examination) if test.sign]
    done = [(test, one) for test, one in standing if one.response != COULD_NOT_BE_TESTED]
    abnormal = [(test, one) for test, one in done if one.response != "normal"]
    blocks: list[Block] = []
    if abnormal:
        blocks += [Text(phrases["found_lead"]), Items(_said(abnormal))]
    elif done:
        blocks.append(Text(phrases["nothing_found"]))
    else:
        blocks.append(Text(phrases["nothing_checked"]))
    failed = [
        f"{nerves[test.nerve]}, {one.side} side" if one.side else nerves[test.nerve]
        for test, one in standing
        if one.response == COULD_NOT_BE_TESTED
    ]
    tested = {test.nerve for test, _ in done}
    normal = (
        tested
        - {test.nerve for test, _ in abnormal}
        - {test.nerve for test, one in standing if one.response == COULD_NOT_BE_TESTED}
    )
    missing = [
        name for nerve, name in nerves.items() if nerve not in {t.nerve for t, _ in standing}
    ]
    expected = [name for nerve, name in nerves.items() if nerve in normal]
    for lead, items in (
        ("expected_lead", expected),
        ("not_done_lead", list(dict.fromkeys(failed))),
        ("not_checked_lead", missing),
    ):
        if items:
            blocks += [Text(phrases[lead]), Items(tuple(items))]
    if expected:
        blocks.append(Text(phrases["part_only"]))
    old = _old(examination)
    if old:
        blocks.append(Text(phrases["old"].format(items="; ".join(old))))
    return Part(words["headings"]["found"], tuple(blocks))


def _said(abnormal: Sequence[tuple[Test, Finding]]) -> tuple[str, ...]:
    """Say each finding once, each side on a line of its own."""
    said = (plain_finding(finding, test) or "" for test, finding in abnormal)
    return tuple(dict.fromkeys(f"{line[:1].upper()}{line[1:]}." for line in said if line))


def _old(examination: Examination) -> list[str]:
    catalogue = load_catalogue()
    standing = {(one.test, one.side): one for one in examination.present()}
    found = (standing.get(key) for key in examination.known_old)
    said = (plain_finding(one, catalogue.test(one.test)) for one in found if one is not None)
    return [line for line in said if line]


def _place(localisation: Localisation | None, words: Mapping[str, Any]) -> Part:
    phrases = words["phrases"]
    heading = words["headings"]["place"]
    if localisation is None or not localisation.findings_used:
        return Part(heading, (Text(phrases["place_none"]),))
    region, side, chance = localisation.regions[0]
    named = words["regions"][region]
    if chance < LIKELY:
        return Part(heading, (Text(phrases["place_none"]),))
    if not named:
        key = "place_normal" if localisation.candidates[0].place == "normal" else "place_none"
        return Part(heading, (Text(phrases[key]),))
    sided = side is not None and region not in words["sideless"]
    first = phrases["place_side" if sided else "place"].format(place=named, side=side)
    count = round(100 * chance)
    how = phrases["place_sure"] if count >= 99 else phrases["place_chance"].format(count=count)
    return Part(heading, (Text(first), Text(how), Text(phrases["place_computer"])))


def _next(examination: Examination, phrases: Mapping[str, str]) -> tuple[Block, ...]:
    tests = tuple(dict.fromkeys(one.kind.plain for one in formal_tests(examination)))
    if not tests:
        return (Text(phrases["no_tests"]),)
    return (Text(phrases["tests_lead"]), Items(tests), Text(phrases["when"]))


def _care(examination: Examination, words: Mapping[str, Any]) -> Part:
    signs = (test.sign for test, one in _standing(examination) if plain_finding(one, test))
    advice = dict.fromkeys(words["care"][sign] for sign in signs if sign in words["care"])
    return Part(words["headings"]["care"], (Items(tuple(advice)),) if advice else ())


def _contact(given: LetterDetails, words: Mapping[str, Any]) -> Part:
    phrases = words["phrases"]
    person = ", ".join(part for part in (given.person, given.role) if part)
    lines = (
        phrases["contact"].format(person=person) if person else phrases["contact_none"],
        phrases["contact_how"].format(contact=given.contact) if given.contact else "",
        phrases["bring"],
    )
    return Part(words["headings"]["contact"], tuple(Text(line) for line in lines if line))
