"""An examination as an HL7 FHIR R4 document: one Bundle that another system can read."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from uuid import NAMESPACE_URL, UUID, uuid5

from decussate.documents.fhir.codes import (
    Element,
    concept,
    examination_system,
    extension_url,
    has_standard_coding,
    item,
    items,
    standard_coding,
    words,
)
from decussate.documents.fhir.conclusions import (
    clinical_impression,
    detected_issue,
    device,
    diagnostic_report,
    risk_assessment,
)
from decussate.documents.fhir.exact_text import put_text, shown_text
from decussate.documents.fhir.narrative import narrative, observation_line
from decussate.documents.fhir.observations import (
    date_time,
    finding_observation,
    known_old_observation,
    practitioner,
    story_observations,
    truth_observation,
    unread_observation,
)
from decussate.documents.note import note_sections, note_words
from decussate.examination.catalogue import load_catalogue
from decussate.examination.document import NOT_TESTED, Examination
from decussate.examination.record import check_findings, write_examination
from decussate.urgency import Alert

if TYPE_CHECKING:
    from decussate.localisation import Localisation

__all__ = ["REPLACES", "build_bundle", "write_bundle"]

REPLACES = "http://hl7.org/fhir/StructureDefinition/observation-replaces"
"""Extension of FHIR R4: the earlier finding that a later one takes the place of."""


def write_bundle(
    examination: Examination,
    localisation: Localisation | None = None,
    alerts: Sequence[Alert] | None = None,
    *,
    at: datetime | None = None,
) -> str:
    """Write an examination as a FHIR R4 document, in JSON.

    Parameters
    ----------
    examination, localisation, alerts, at
        As for `build_bundle`.

    Returns
    -------
    str
        `read_bundle` reads it back to an equal examination.

    Raises
    ------
    BadInput
        As for `build_bundle`.
    """
    bundle = build_bundle(examination, localisation, alerts, at=at)
    return json.dumps(bundle, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def build_bundle(
    examination: Examination,
    localisation: Localisation | None = None,
    alerts: Sequence[Alert] | None = None,
    *,
    at: datetime | None = None,
) -> Element:
    """Return an examination as a FHIR R4 document Bundle.

    Parameters
    ----------
    examination : Examination
        What was recorded.
    localisation : Localisation, optional
        Where the lesion may be; without it the document says nothing of a place.
    alerts : sequence of Alert, optional
        What cannot wait; None when the rules were not asked, which the document does not hide
        behind an empty list.
    at : datetime, optional
        When the document is put together, with its time zone; now by default.

    Returns
    -------
    dict
        The Bundle. The same input and the same `at` give the same Bundle.

    Raises
    ------
    BadInput
        If a finding is not one the catalogue knows, or `at` has no time zone.

    References
    ----------
    HL7 FHIR R4 (4.0.1), Documents, https://hl7.org/fhir/R4/documents.html
    """
    problems = check_findings(examination, load_catalogue())
    if problems:
        raise problems[0].error()
    return _Assembly(examination, localisation, alerts, date_time(at or datetime.now(UTC))).bundle()


class _Assembly:
    """The resources of one document, and how they refer to each other."""

    def __init__(
        self,
        examination: Examination,
        localisation: Localisation | None,
        alerts: Sequence[Alert] | None,
        moment: str,
    ) -> None:
        self.examination = examination
        self.localisation = localisation
        self.alerts = alerts
        self.moment = moment
        rules = [alert.rule for alert in alerts or ()]
        said = [write_examination(examination), moment, *rules]
        said += [localisation.text] if localisation else []
        self.document = uuid5(NAMESPACE_URL, "\n".join((examination_system(), *said)))
        self.entries: list[Element] = []
        self.people: dict[str, Element] = {}

    def bundle(self) -> Element:
        """Put the document together; the Composition comes first, as FHIR wants it."""
        sections = list(self._sections())
        about = [self._entry("patient", self._patient()), self._entry("device", device())]
        composition = self._entry("composition", self._composition(sections))
        return {
            "resourceType": "Bundle",
            **self._meta(),
            "identifier": {"system": "urn:ietf:rfc:3986", "value": self.document.urn},
            "type": "document",
            "timestamp": self.moment,
            "entry": [composition, *about, *self.entries],
        }

    def _id(self, name: str) -> UUID:
        return uuid5(self.document, name)

    def _reference(self, name: str) -> Element:
        return {"reference": self._id(name).urn}

    def _entry(self, name: str, resource: Element) -> Element:
        return {"fullUrl": self._id(name).urn, "resource": resource}

    def _add(self, name: str, resource: Element) -> Element:
        self.entries.append(self._entry(name, resource))
        return self._reference(name)

    def _person(self, name: str) -> Element:
        """Return the reference to a person known by name, who is added when first named."""
        if name not in self.people:
            self.people[name] = self._add(f"person/{len(self.people)}", practitioner(name))
        return self.people[name]

    def _meta(self) -> Element:
        if not self.examination.invented:
            return {}
        return {"meta": {"security": [standard_coding("invented")], "tag": [item("invented")]}}

    def _patient(self) -> Element:
        patient: Element = {"resourceType": "Patient", **self._meta()}
        if self.examination.label:
            patient["name"] = [put_text({}, "text", self.examination.label)]
        if self.examination.story.sex:
            patient["gender"] = self.examination.story.sex
        return patient

    def _composition(self, sections: list[Element]) -> Element:
        examined = self.examination
        title = items()["examination"]
        label = shown_text(examined.label)
        extension: list[Element] = [
            {"url": extension_url("document-version"), "valueCode": examined.version}
        ]
        if examined.citation is not None:
            cited = put_text({"type": "derived-from"}, "citation", examined.citation)
            extension.append({"url": extension_url("citation"), "valueRelatedArtifact": cited})
        return {
            "resourceType": "Composition",
            **self._meta(),
            "extension": extension,
            "identifier": put_text({"system": examination_system()}, "value", examined.id),
            "status": "preliminary",
            "type": concept(standard_coding("document")),
            "subject": self._reference("patient"),
            "date": self.moment,
            "author": [*self.people.values(), self._reference("device")],
            "title": f"{title}: {label}" if label else title,
            "section": sections,
        }

    def _sections(self) -> Iterator[Element]:
        """Yield the sections in reading order; one with nothing to say is left out."""
        subject, author = self._reference("patient"), self._reference("device")
        headings = {**words()["headings"], **note_words()["headings"]}
        urgent, found, place, next_steps = note_sections(
            self.examination, self.localisation, self.alerts or ()
        )
        standing, earlier = self._findings(subject)
        if self.alerts is not None:
            issues = [
                self._add(
                    f"alert/{alert.rule}", detected_issue(alert, subject, author, self.moment)
                )
                for alert in self.alerts
            ]
            yield _section("urgent", headings, urgent.lines, issues)
        told = [
            self._add(f"story/{name}", resource)
            for name, resource in story_observations(self.examination.story, subject)
        ]
        yield from self._list("story", headings, told)
        report = diagnostic_report(self.localisation, standing, subject, self.moment)
        yield _section("findings", headings, found.lines, [self._add("report", report), *standing])
        if self.localisation:
            reached = self._conclusions(self.localisation, standing, subject, author)
            yield _section("place", headings, place.lines, reached)
            yield _section("next", headings, next_steps.lines, [])
        yield from self._list("earlier", headings, earlier)
        yield from self._list("known_old", headings, self._known_old(subject))
        yield from self._list("unread", headings, self._unread(subject))
        if self.examination.truth:
            shown = self._add("truth", truth_observation(self.examination.truth, subject))
            yield from self._list("truth", headings, [shown])

    def _list(
        self, name: str, headings: Mapping[str, str], entries: list[Element]
    ) -> Iterator[Element]:
        """Yield a section that says its Observations line by line, if there are any."""
        if entries:
            by_address = {entry["fullUrl"]: entry["resource"] for entry in self.entries}
            lines = [observation_line(by_address[entry["reference"]]) for entry in entries]
            yield _section(name, headings, lines, entries)

    def _findings(self, subject: Element) -> tuple[list[Element], list[Element]]:
        """Return references to the findings that stand, and to all earlier entries."""
        catalogue = load_catalogue()
        findings = self.examination.findings
        last = {(found.test, found.side): index for index, found in enumerate(findings)}
        before: dict[tuple[str, str | None], str] = {}
        standing: list[Element] = []
        earlier: list[Element] = []
        for index, found in enumerate(findings):
            key, name = (found.test, found.side), f"finding/{index}"
            person = self._person(found.by) if found.by is not None else None
            resource = finding_observation(found, index + 1, catalogue, subject, person)
            if key in before:
                replaced = {"url": REPLACES, "valueReference": self._reference(before[key])}
                resource["extension"].append(replaced)
            before[key] = name
            superseded = last[key] != index
            if superseded:
                resource["meta"] = {"tag": [item("superseded")]}
            stands = not superseded and found.response != NOT_TESTED
            (standing if stands else earlier).append(self._add(name, resource))
        return standing, earlier

    def _conclusions(
        self,
        localisation: Localisation,
        standing: list[Element],
        subject: Element,
        author: Element,
    ) -> list[Element]:
        """Return references to the place in probabilities and in words, if anything bears on it."""
        if not localisation.findings_used:
            return []
        assessment = self._add(
            "assessment", risk_assessment(localisation, standing, subject, author, self.moment)
        )
        impression = clinical_impression(localisation, standing, subject, assessment)
        return [assessment, self._add("impression", impression)]

    def _known_old(self, subject: Element) -> list[Element]:
        catalogue = load_catalogue()
        return [
            self._add(
                f"known_old/{index}",
                known_old_observation(catalogue.test(test), side, index + 1, subject),
            )
            for index, (test, side) in enumerate(self.examination.known_old)
        ]

    def _unread(self, subject: Element) -> list[Element]:
        return [
            self._add(f"unread/{index}", unread_observation(piece, index + 1, subject))
            for index, piece in enumerate(self.examination.unread)
        ]


def _section(
    name: str, headings: Mapping[str, str], lines: Sequence[str], entries: list[Element]
) -> Element:
    """Return a section: its lines for people, its entries for programs."""
    section: Element = {"title": headings[name]}
    use = f"section.{name}"
    if has_standard_coding(use):
        section["code"] = concept(standard_coding(use), text=headings[name])
    section["text"] = narrative(lines)
    return section | ({"entry": entries} if entries else {})
