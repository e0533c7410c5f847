"""Reading back what a FHIR Observation of an examination document says."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from decussate.documents.fhir.bundle import REPLACES
from decussate.documents.fhir.codes import (
    Element,
    extension_url,
    site_of,
    standard_coding,
    ucum_code,
)
from decussate.documents.fhir.element import Node
from decussate.errors import BadInput
from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import load_catalogue
from decussate.examination.checking import STATUSES, nearest_test
from decussate.examination.document import COULD_NOT_BE_TESTED, NOT_TESTED

__all__ = [
    "entry_position",
    "read_finding",
    "read_known_old",
    "read_story_item",
    "read_truth",
    "read_unread",
]

ALWAYS = ("resourceType", "meta", "text", "language", "extension", "status", "code", "subject")
ENTRY = extension_url("entry")
LATERALITY = extension_url("laterality")
UNIT_AS_WRITTEN = extension_url("unit-as-written")


def entry_position(node: Node) -> int:
    """Return the place of an Observation among the entries of its kind.

    Parameters
    ----------
    node : Node

    Returns
    -------
    int

    Raises
    ------
    BadInput
        If it does not say, or not as a whole number.
    """
    kept = node.extensions(ENTRY, REPLACES)
    if ENTRY not in kept:
        raise node.bad("extension", f"the order of entry, {ENTRY}")
    return kept[ENTRY].integer("valuePositiveInt")


def read_finding(node: Node, people: Mapping[str, str]) -> Element:
    """Return the fields of a finding.

    Parameters
    ----------
    node : Node
        An Observation whose code is a test of the catalogue.
    people : Mapping of str to str
        Address and name of each person in the document.

    Returns
    -------
    dict

    Raises
    ------
    BadInput
        For an unknown test, a missing or contradictory side, or anything a finding cannot hold.
    """
    node.only(
        *ALWAYS, "category", "bodySite", "effectiveDateTime", "performer", "method", "note",
        "valueCodeableConcept", "interpretation", "dataAbsentReason", "component",
    )  # fmt: skip
    test = _test(node, "code")
    fields: Element = {"test": test.id, "side": _side_of(node, test)}
    fields |= _response(node, test)
    if (measured := node.single("component")) is not None:
        fields["measurement"] = _measurement(measured, test)
    if (performer := node.single("performer")) is not None:
        performer.only("reference")
        fields["by"] = people.get(performer.word("reference"))
        if fields["by"] is None:
            raise performer.bad("reference", "the fullUrl of a Practitioner of this Bundle")
    if "method" in node:
        method = node.part("method")
        method.only("text")
        fields["technique"] = method.text("text")
    if (note := node.single("note")) is not None:
        note.only("text")
        fields["comment"] = note.text("text")
    if "effectiveDateTime" in node:
        fields["at"] = _moment(node, "effectiveDateTime")
    return fields


def _test(node: Node, key: str) -> Test:
    catalogue = load_catalogue()
    _, code = node.part(key).code("test")
    if code not in catalogue:
        raise BadInput(
            "test",
            code,
            "the id of a test in the catalogue",
            hint=nearest_test(code, catalogue),
            where=f"{node.path}.{key}",
        )
    return catalogue.test(code)


def _side_of(node: Node, test: Test) -> str | None:
    """Return the side; the part it is said of must be the part the test concerns."""
    if not test.paired:
        if "bodySite" in node:
            expected = f"no side: {test.name.lower()} is one response for the whole patient"
            raise node.bad("bodySite", expected)
        return None
    site = node.part("bodySite")
    site.only("extension", "coding", "text")
    _, code = site.code("site")
    if code != site_of(test):
        raise site.bad("coding", f"{site_of(test)}, which {test.name.lower()} concerns")
    return _laterality(site, "right", "left")


def _laterality(site: Node, *sides: str) -> str:
    kept = site.extensions(LATERALITY)
    if LATERALITY not in kept:
        raise site.bad("extension", f"the patient's side, {LATERALITY}")
    said = kept[LATERALITY].part("valueCodeableConcept")
    pairs = set(said.codings())
    codes = {side: standard_coding(side) for side in sides}
    found = [side for side, c in codes.items() if (c["system"], c["code"]) in pairs]
    if len(found) != 1:
        known = ", ".join(f"{c['code']} ({side})" for side, c in codes.items())
        raise said.bad("coding", f"one side, as SNOMED CT has it: {known}")
    return found[0]


def _response(node: Node, test: Test) -> Element:
    """Return response and reason; the status and the interpretation must not contradict them."""
    if "dataAbsentReason" in node:
        if "valueCodeableConcept" in node:
            raise node.bad("valueCodeableConcept", "no value beside a reason for having none")
        absent = node.part("dataAbsentReason")
        _, status = absent.code("response")
        if status not in STATUSES:
            raise absent.bad("coding", "one of " + ", ".join(STATUSES))
        node.one_of("status", "cancelled" if status == NOT_TESTED else "final")
        return {
            "response": status,
            **({"reason": absent.text("text")} if status == COULD_NOT_BE_TESTED else {}),
        }
    node.one_of("status", "final")
    value = node.part("valueCodeableConcept")
    _, code = value.code("response")
    name, dot, response = code.partition(".")
    if not dot or name != test.id:
        raise value.bad("coding", f"a response to {test.id}, as {test.id}.normal")
    for said in node.parts("interpretation"):
        expected = standard_coding("normal" if response == "normal" else "abnormal")["code"]
        if any(code != expected for _, code in said.codings()):
            raise said.bad("coding", f"{expected}, which {response} means")
    return {"response": response}


def _measurement(node: Node, test: Test) -> Element:
    node.only("code", "extension", "valueQuantity", "valueString")
    _expect_item(node, "measurement")
    if node.has_text("valueString"):
        kept = node.extensions(UNIT_AS_WRITTEN)
        if UNIT_AS_WRITTEN not in kept:
            raise node.bad("extension", f"the unit of the text, {UNIT_AS_WRITTEN}")
        unit = kept[UNIT_AS_WRITTEN].text("valueString")
        return {"value": node.text("valueString"), "unit": unit}
    if test.measurement is None:
        raise node.bad("valueQuantity", f"no measurement, as {test.name.lower()} has none")
    return {"value": _quantity(node, test.measurement.unit), "unit": test.measurement.unit}


def _quantity(node: Node, unit: str) -> float:
    """Return the number of a Quantity in a unit of ours; another unit is refused."""
    found = node.part("valueQuantity")
    found.only("value", "unit", "system", "code")
    found.one_of("code", ucum_code(unit))
    return found.number("value")


def _expect_item(node: Node, *codes: str) -> str:
    code = node.part("code")
    _, found = code.code("item")
    if found not in codes:
        raise code.bad("coding", "one of " + ", ".join(codes))
    return found


def _moment(node: Node, key: str) -> datetime:
    try:
        moment = datetime.fromisoformat(node.word(key))
    except ValueError:
        moment = datetime.min
    if moment.tzinfo is None:
        raise node.bad(key, "a time with its zone, as 2026-01-31T10:00:00+00:00")
    return moment


def read_story_item(key: str, node: Node) -> object:
    """Return a field of the story: age, onset, course or context.

    Raises
    ------
    BadInput
        For another field, or a value the story cannot hold.
    """
    node.only(*ALWAYS, "valueQuantity", "valueCodeableConcept", "component")
    node.one_of("status", "final")
    if key == "age":
        return _quantity(node, "a")
    if key == "context":
        return [_prefixed(part, "context") for part in node.parts("component")]
    if key in ("onset", "course"):
        return _prefixed(node, key)
    raise node.bad("code", "story.age, story.onset, story.course or story.context")


def _prefixed(node: Node, prefix: str) -> str:
    value = node.part("valueCodeableConcept")
    _, code = value.code("item")
    if not code.startswith(f"{prefix}."):
        raise value.bad("coding", f"a code that begins with {prefix}.")
    return code.removeprefix(f"{prefix}.")


def read_known_old(node: Node) -> tuple[str, str | None]:
    """Return test and side of what is known from before.

    Raises
    ------
    BadInput
        For an unknown test, or a missing side.
    """
    node.only(*ALWAYS, "valueCodeableConcept", "bodySite")
    node.one_of("status", "final")
    test = _test(node, "valueCodeableConcept")
    return test.id, _side_of(node, test)


def read_unread(node: Node) -> Element:
    """Return a passage that was not understood, with its place.

    Raises
    ------
    BadInput
        If the passage, its line or its column is missing.
    """
    node.only(*ALWAYS, "valueString", "component")
    node.one_of("status", "final")
    fields: Element = {"text": node.text("valueString")}
    for part in node.parts("component"):
        about = _expect_item(part, "unread.line", "unread.column", "unread.reason")
        name = about.removeprefix("unread.")
        fields[name] = (
            part.text("valueString") if name == "reason" else part.integer("valueInteger")
        )
    for name in ("line", "column", "reason"):
        if name not in fields:
            raise node.bad("component", f"one for unread.{name}")
    return fields


def read_truth(node: Node) -> Element:
    """Return where the lesion was shown to be.

    Raises
    ------
    BadInput
        For anything that cannot be held.
    """
    node.only(*ALWAYS, "bodySite", "note", "component")
    node.one_of("status", "final")
    places = []
    fields: Element = {}
    if "bodySite" in node:
        site = node.part("bodySite")
        site.only("extension", "text")
        fields["side"] = _laterality(site, "right", "left", "midline", "both")
    if (note := node.single("note")) is not None:
        note.only("text")
        fields["note"] = note.text("text")
    for part in node.parts("component"):
        if _expect_item(part, "truth.place", "truth.scored") == "truth.scored":
            if not isinstance(part.fields.get("valueBoolean"), bool):
                raise part.bad("valueBoolean", "true or false")
            fields["scored"] = part.fields["valueBoolean"]
            continue
        value = part.part("valueCodeableConcept")
        places.append(value.code("place")[1] if "coding" in value else value.text("text"))
    return fields | {"places": places}
