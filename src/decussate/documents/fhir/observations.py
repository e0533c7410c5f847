"""What was recorded, as FHIR Observations: findings, story, old findings, unread text."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from decussate.anatomy import load_atlas
from decussate.documents.fhir.codes import (
    Element,
    concept,
    extension_url,
    has_standard_coding,
    item,
    own_coding,
    site_of,
    site_words,
    sites,
    standard_coding,
    standard_system,
    ucum_code,
)
from decussate.documents.fhir.exact_text import put_text
from decussate.errors import BadInput
from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import Catalogue
from decussate.examination.document import (
    ABNORMAL,
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Finding,
    MeasuredValue,
    Story,
    Truth,
    UnreadText,
)
from decussate.sides import Side

__all__ = [
    "date_time",
    "finding_observation",
    "known_old_observation",
    "laterality",
    "practitioner",
    "quantity",
    "response_name",
    "story_observations",
    "truth_observation",
    "unread_observation",
]

STATUS_NAMES = {COULD_NOT_BE_TESTED: "could not be tested", NOT_TESTED: "not tested"}
FURTHEST_OFFSET = timedelta(hours=14)


def finding_observation(
    finding: Finding,
    position: int,
    catalogue: Catalogue,
    subject: Element,
    performer: Element | None,
) -> Element:
    """Return a finding as an Observation.

    Parameters
    ----------
    finding : Finding
    position : int
        Its place among the entries, from 1.
    catalogue : Catalogue
    subject : dict
        Reference to the patient.
    performer : dict or None
        Reference to who examined, where that is known.

    Returns
    -------
    dict
    """
    test = catalogue.test(finding.test)
    status = "cancelled" if finding.response == NOT_TESTED else "final"
    found = _observation(status, concept(own_coding("test", test.id, test.name)), subject, position)
    found["category"] = [concept(standard_coding("exam"))]
    if finding.side:
        found["bodySite"] = _body_site(test, finding.side)
    if finding.at:
        found["effectiveDateTime"] = date_time(finding.at)
    if performer:
        found["performer"] = [performer]
    if finding.technique is not None:
        found["method"] = put_text({}, "text", finding.technique)
    if finding.comment is not None:
        found["note"] = [put_text({}, "text", finding.comment)]
    return found | _value(finding, test)


def _value(finding: Finding, test: Test) -> Element:
    """Return the response, or why there is none, and what was measured."""
    name = response_name(test, finding.response)
    if finding.response in STATUS_NAMES:
        ours = own_coding("response", finding.response, name)
        absent = concept(ours, standard_coding(finding.response))
        if finding.reason is not None:
            put_text(absent, "text", finding.reason)
        return {"dataAbsentReason": absent}
    coding = own_coding("response", f"{test.id}.{finding.response}", name)
    value: Element = {"valueCodeableConcept": concept(coding)}
    if test.sign:
        use = "normal" if finding.response == "normal" else "abnormal"
        value["interpretation"] = [concept(standard_coding(use))]
    if finding.measurement:
        value["component"] = [_measured(test, finding.measurement)]
    return value


def response_name(test: Test, response: str) -> str:
    """Name a response as the catalogue labels it."""
    if response in STATUS_NAMES:
        return STATUS_NAMES[response]
    answer = test.responses.get(response)
    return answer.label if answer else ABNORMAL


def _measured(test: Test, measured: MeasuredValue) -> Element:
    use = f"measurement.{test.id}"
    others = [standard_coding(use)] if has_standard_coding(use) else []
    component: Element = {"code": concept(item("measurement"), *others)}
    if isinstance(measured.value, str):
        unit = put_text({"url": extension_url("unit-as-written")}, "valueString", measured.unit)
        component["extension"] = [unit]
        return put_text(component, "valueString", measured.value)
    return component | {"valueQuantity": quantity(measured.value, measured.unit)}


def quantity(value: float, unit: str) -> Element:
    """Return a number with its unit and the UCUM code of the unit."""
    return {
        "value": value,
        "unit": unit,
        "system": standard_system("ucum"),
        "code": ucum_code(unit),
    }


def _body_site(test: Test, side: Side) -> Element:
    site = site_of(test)
    return {
        "extension": [laterality(side.value)],
        **concept(own_coding("site", site, sites()[site]), text=site_words(test, side)),
    }


def laterality(side: str) -> Element:
    """Return the extension that says the side: ``right``, ``left``, ``both`` or ``midline``."""
    return {
        "url": extension_url("laterality"),
        "valueCodeableConcept": concept(standard_coding(side)),
    }


def date_time(moment: datetime) -> str:
    """Return a moment as FHIR writes it, in its own time zone where FHIR can write that zone.

    Parameters
    ----------
    moment : datetime
        With its time zone.

    Returns
    -------
    str

    Raises
    ------
    BadInput
        If the moment has no time zone, or no date that can be written in UTC.
    """
    offset = moment.utcoffset()
    if offset is None:
        raise BadInput("time", moment.isoformat(), "a time with its zone")
    if abs(offset) > FURTHEST_OFFSET or offset % timedelta(minutes=1):
        try:
            moment = moment.astimezone(UTC)
        except OverflowError as error:
            found = moment.isoformat()
            raise BadInput("time", found, "a date from year 1 to 9999 in UTC") from error
    return moment.isoformat()


def practitioner(name: str) -> Element:
    """Return who examined, known by name only."""
    return {"resourceType": "Practitioner", "name": [put_text({}, "text", name)]}


def story_observations(story: Story, subject: Element) -> Iterator[tuple[str, Element]]:
    """Yield key and Observation of each thing the patient told; sex is said by the Patient."""
    if story.age is not None:
        code = concept(item("story.age"), standard_coding("story.age"))
        age = quantity(story.age, "a") | {"unit": "years"}
        yield "age", _observation("final", code, subject) | {"valueQuantity": age}
    for field, told in (("onset", story.onset), ("course", story.course)):
        if told:
            value = concept(own_coding("item", f"{field}.{told}", told))
            code = concept(item(f"story.{field}"))
            yield field, _observation("final", code, subject) | {"valueCodeableConcept": value}
    if story.context:
        names = load_atlas().contexts
        component = [
            {
                "code": concept(item("story.context")),
                "valueCodeableConcept": concept(own_coding("item", f"context.{key}", names[key])),
            }
            for key in story.context
        ]
        code = concept(item("story.context"))
        yield "context", _observation("final", code, subject) | {"component": component}


def known_old_observation(
    test: Test, side: Side | None, position: int, subject: Element
) -> Element:
    """Return what is known from before: a test, and its side."""
    found = _observation("final", concept(item("known_old")), subject, position)
    found["valueCodeableConcept"] = concept(own_coding("test", test.id, test.name))
    return found | ({"bodySite": _body_site(test, side)} if side else {})


def unread_observation(piece: UnreadText, position: int, subject: Element) -> Element:
    """Return a passage that was not understood, word for word, with its place."""
    found = _observation("final", concept(item("unread")), subject, position)
    put_text(found, "valueString", piece.text)
    reason: Element = {"code": concept(item("unread.reason"))}
    found["component"] = [
        {"code": concept(item("unread.line")), "valueInteger": piece.line},
        {"code": concept(item("unread.column")), "valueInteger": piece.column},
        put_text(reason, "valueString", piece.reason),
    ]
    return found


def truth_observation(truth: Truth, subject: Element) -> Element:
    """Return where the lesion was shown to be, of a published case."""
    places = load_atlas().places
    found = _observation("final", concept(item("truth")), subject)
    if truth.side:
        found["bodySite"] = {"extension": [laterality(truth.side)], "text": truth.side}
    if truth.note:
        found["note"] = [put_text({}, "text", truth.note)]
    component: list[Element] = []
    for place in truth.places:
        value = (
            concept(own_coding("place", place, places[place].name))
            if place in places
            else put_text({}, "text", place)
        )
        component.append({"code": concept(item("truth.place")), "valueCodeableConcept": value})
    component.append({"code": concept(item("truth.scored")), "valueBoolean": truth.scored})
    return found | {"component": component}


def _observation(
    status: str, code: Element, subject: Element, position: int | None = None
) -> Element:
    found: Element = {"resourceType": "Observation"}
    if position is not None:
        entry = {"url": extension_url("entry"), "valuePositiveInt": position}
        found["extension"] = [entry]
    return found | {"status": status, "code": code, "subject": subject}
