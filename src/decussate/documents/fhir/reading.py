"""Reading an examination back from a FHIR R4 document; nothing is dropped without a word."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn

from pydantic import ValidationError

from decussate.documents.fhir.codes import Element, examination_system, extension_url, own_system
from decussate.documents.fhir.element import Node
from decussate.documents.fhir.reading_observations import (
    entry_position,
    read_finding,
    read_known_old,
    read_story_item,
    read_truth,
    read_unread,
)
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, check_findings

__all__ = ["LARGEST_BUNDLE", "read_bundle"]

LARGEST_BUNDLE = 20_000_000
"""Longest document read, in characters."""
CONCLUSIONS = frozenset(
    {"ClinicalImpression", "DetectedIssue", "Device", "DiagnosticReport", "RiskAssessment"}
)
"""Resources that are worked out anew from the findings, and so not read."""


def read_bundle(source: Path | str | bytes) -> Examination:
    """Read an examination from a FHIR R4 document Bundle.

    Parameters
    ----------
    source : Path, str or bytes
        A file, or the Bundle itself in JSON.

    Returns
    -------
    Examination
        What was recorded; conclusions in the document are not read, as they follow from it.

    Raises
    ------
    BadInput
        For anything that an examination could not hold, with its path in the Bundle.
    """
    try:
        return _read(_parse(source))
    except BadInput as error:
        name = str(source) if isinstance(source, Path) else ""
        where = ", ".join(part for part in (name, error.where) if part)
        raise BadInput(
            error.field, error.found, error.expected, hint=error.hint, where=where
        ) from error


@dataclass
class _Found:
    """Observations of a document by what they are about, each with its node."""

    findings: list[Node] = field(default_factory=list)
    known_old: list[Node] = field(default_factory=list)
    unread: list[Node] = field(default_factory=list)
    story: dict[str, Node] = field(default_factory=dict)
    truth: list[Node] = field(default_factory=list)


def _read(document: object) -> Examination:
    bundle = Node(document, "Bundle")
    if bundle.fields.get("resourceType") != "Bundle":
        raise bundle.bad("resourceType", "Bundle, a document that holds one examination")
    bundle.only(
        "resourceType", "meta", "identifier", "type", "timestamp", "entry", "language", "link"
    )
    bundle.one_of("type", "document")
    resources = _resources(bundle)
    compositions = [node for node in resources.values() if _type(node) == "Composition"]
    if not compositions or compositions[0] is not next(iter(resources.values())):
        expected = "a Composition as the first entry, and no other"
        raise BadInput("entry", _types(resources), expected, where="Bundle.entry")
    composition = compositions[0]
    patient = _check_references(composition, resources)
    found = _sort(resources)
    people = {url: _name(one) for url, one in resources.items() if _type(one) == "Practitioner"}
    fields = _composition_fields(composition)
    fields["label"], sex = _patient_fields(patient)
    fields["invented"] = _invented(patient) or _invented(composition) or _invented(bundle)
    ordered = _in_order(found.findings)
    fields["findings"] = [read_finding(node, people) for node in ordered]
    fields["known_old"] = [read_known_old(node) for node in _in_order(found.known_old)]
    fields["unread"] = [read_unread(node) for node in _in_order(found.unread)]
    story: Element = {} if sex is None else {"sex": sex}
    for key, node in found.story.items():
        story[key] = read_story_item(key, node)
    fields["story"] = story
    for node in found.truth:
        fields["truth"] = read_truth(node)
    return _checked(fields, ordered)


def _checked(fields: Element, ordered: list[Node]) -> Examination:
    """Build the examination and hold it against the catalogue, naming the path of a problem."""
    try:
        examination = Examination.model_validate(fields)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        path = first["loc"]
        where = "Bundle"
        if path[:1] == ("findings",) and len(path) > 1:
            where = ordered[int(path[1])].path
        named = ".".join(str(step) for step in path)
        expected = str(first["msg"]).removeprefix("Value error, ")
        raise BadInput(named, first["input"], expected, where=where) from error
    for problem in check_findings(examination, load_catalogue()):
        where = "Bundle"
        if problem.path[0] == "findings":
            where = ordered[int(problem.path[1])].path
        raise problem.placed(where).error()
    return examination


def _resources(bundle: Node) -> dict[str, Node]:
    """Return the resources by the address other resources know them by."""
    resources: dict[str, Node] = {}
    for entry in bundle.parts("entry"):
        entry.only("fullUrl", "resource", "link")
        address = entry.word("fullUrl")
        if address in resources:
            raise entry.bad("fullUrl", "an address of its own for each entry")
        resource = entry.part("resource")
        resource.word("resourceType")
        resources[address] = resource
    if not resources:
        raise bundle.bad("entry", "the resources of a document")
    return resources


def _type(node: Node) -> str:
    return node.word("resourceType")


def _types(resources: Mapping[str, Node]) -> str:
    return ", ".join(_type(node) for node in resources.values())


def _check_references(composition: Node, resources: Mapping[str, Node]) -> Node:
    """Check that all the sections name is there, and return the patient."""
    patient = _resolved(composition.part("subject"), resources)
    if _type(patient) != "Patient":
        raise patient.bad("resourceType", "Patient, as the subject of the document")
    for node in resources.values():
        for key in ("subject", "patient"):
            if key in node and _resolved(node.part(key), resources) is not patient:
                raise node.bad(key, "the one patient of the document")
        if _type(node) == "Patient" and node is not patient:
            raise node.bad("resourceType", "one patient in a document")
    for section in composition.parts("section"):
        for entry in section.parts("entry"):
            _resolved(entry, resources)
    return patient


def _resolved(reference: Node, resources: Mapping[str, Node]) -> Node:
    address = reference.word("reference")
    if address not in resources:
        hint = "Is the document whole? Every part of it must be in the Bundle."
        raise reference.bad("reference", "the fullUrl of an entry of this Bundle", hint)
    return resources[address]


def _sort(resources: Mapping[str, Node]) -> _Found:
    """Sort the Observations by what they are about, and refuse what no examination holds."""
    found = _Found()
    for node in resources.values():
        kind = _type(node)
        if kind in CONCLUSIONS or kind in ("Composition", "Patient", "Practitioner"):
            continue
        if kind != "Observation":
            expected = "Observation, or another resource of an examination document"
            raise node.bad("resourceType", expected, "An examination cannot hold it.")
        system, code = node.part("code").code("test", "item")
        if system == "test":
            found.findings.append(node)
        elif code == "known_old":
            found.known_old.append(node)
        elif code == "unread":
            found.unread.append(node)
        elif code == "truth" and not found.truth:
            found.truth.append(node)
        elif code.startswith("story.") and code.removeprefix("story.") not in found.story:
            found.story[code.removeprefix("story.")] = node
        else:
            raise BadInput(
                "code", code, "an item of an examination, once", where=f"{node.path}.code"
            )
    return found


def _in_order(nodes: list[Node]) -> list[Node]:
    """Put entries in the order in which they were made."""
    by_position: dict[int, Node] = {}
    for node in nodes:
        position = entry_position(node)
        if position in by_position:
            raise BadInput("entry", position, "a place of its own for each", where=node.path)
        by_position[position] = node
    return [by_position[position] for position in sorted(by_position)]


def _composition_fields(composition: Node) -> Element:
    composition.only(
        "resourceType", "meta", "text", "extension", "identifier", "status", "type", "subject",
        "date", "author", "title", "section", "language",
    )  # fmt: skip
    composition.one_of("status", "preliminary", "final", "amended")
    version, citation = extension_url("document-version"), extension_url("citation")
    kept = composition.extensions(version, citation)
    if version not in kept:
        raise composition.bad("extension", f"the version of the examination, {version}")
    identifier = composition.part("identifier")
    identifier.one_of("system", examination_system())
    fields: Element = {
        "version": kept[version].one_of("valueCode", "1"),
        "id": identifier.text("value"),
    }
    if citation in kept:
        fields["citation"] = kept[citation].part("valueRelatedArtifact").text("citation")
    return fields


def _patient_fields(patient: Node) -> tuple[str, str | None]:
    """Return the label and the sex."""
    patient.only("resourceType", "meta", "text", "name", "gender")
    label = ""
    name = patient.single("name")
    if name is not None:
        name.only("text")
        label = name.text("text")
    sex = patient.one_of("gender", "female", "male") if "gender" in patient else None
    return label, sex


def _name(practitioner: Node) -> str:
    practitioner.only("resourceType", "meta", "text", "name")
    name = practitioner.single("name")
    if name is None:
        raise practitioner.bad("name", "the name of who examined")
    name.only("text")
    return name.text("text")


def _invented(node: Node) -> bool:
    if "meta" not in node:
        return False
    tags = node.part("meta").parts("tag")
    ours = own_system("item")
    return any(tag.fields.get("system") == ours and tag.word("code") == "invented" for tag in tags)


def _parse(source: Path | str | bytes) -> object:
    text = source if isinstance(source, str) else _decoded(source)
    if len(text) > LARGEST_BUNDLE:
        expected = f"at most {LARGEST_BUNDLE:,} characters"
        raise BadInput("size of the Bundle", "more", expected, where="Bundle")

    def once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        built = dict(pairs)
        if len(built) < len(pairs):
            keys = [key for key, _ in pairs]
            twice = next(key for key in keys if keys.count(key) > 1)
            raise BadInput("key", twice, "each key once in one object", where="Bundle")
        return built

    def no_constant(word: str) -> NoReturn:
        raise BadInput("number", word, "a finite number", where="Bundle")

    read: Callable[..., object] = json.loads
    try:
        return read(text, object_pairs_hook=once_each, parse_constant=no_constant)
    except json.JSONDecodeError as error:
        where = f"Bundle, line {error.lineno}, column {error.colno}"
        shown = text[error.pos : error.pos + 30] or "the end of the text"
        hint = "The Bundle stops early: was it cut off while being saved or copied?"
        cut = error.pos >= len(text.rstrip()) or "Unterminated" in error.msg
        raise BadInput("JSON", shown, "JSON", hint=hint if cut else "", where=where) from error
    except (RecursionError, ValueError) as error:
        if isinstance(error, BadInput):
            raise
        raise BadInput(
            "JSON", "too deep, or too long a number", "a Bundle", where="Bundle"
        ) from error


def _decoded(source: Path | bytes) -> str:
    try:
        if isinstance(source, Path) and source.stat().st_size > 4 * LARGEST_BUNDLE:
            return "x" * (LARGEST_BUNDLE + 1)
        raw = source if isinstance(source, bytes) else source.read_bytes()
        return raw.decode("utf-8-sig")
    except OSError as error:
        hint = f"{error.strerror}."
        raise BadInput("file", "nothing readable", "a Bundle in JSON", hint=hint) from error
    except UnicodeDecodeError as error:
        hint = f"Byte {error.start + 1} is not UTF-8: save the file as UTF-8."
        raise BadInput("file", "other bytes", "text in UTF-8", hint=hint, where="Bundle") from error
