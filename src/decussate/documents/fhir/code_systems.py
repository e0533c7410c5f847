"""Our own code systems as FHIR CodeSystem resources, as published in ``docs/fhir``."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.metadata import version
from typing import get_args

from decussate.anatomy import load_atlas
from decussate.documents.fhir.codes import Element, items, own_system, own_systems, sites
from decussate.documents.fhir.observations import STATUS_NAMES, response_name
from decussate.examination.catalogue import load_catalogue
from decussate.examination.document import CONTEXT_KEYS, Story
from decussate.urgency import load_rules

__all__ = ["code_systems"]


def code_systems() -> tuple[Element, ...]:
    """Return every code system of ours.

    Returns
    -------
    tuple of dict
        FHIR R4 CodeSystem resources; each code that `build_bundle` may write is in one of them.

    References
    ----------
    HL7 FHIR R4 (4.0.1), CodeSystem.
    """
    concepts = {
        "test": _tests,
        "response": _responses,
        "site": _sites,
        "place": _places,
        "alert": _alerts,
        "item": _items,
    }
    return tuple(_code_system(name, list(concepts[name]())) for name in own_systems())


def _code_system(name: str, concepts: list[Element]) -> Element:
    about = own_systems()[name]
    return {
        "resourceType": "CodeSystem",
        "id": name,
        "url": own_system(name),
        "version": version("decussate"),
        "name": "Decussate" + name.capitalize(),
        "title": about["name"],
        "status": "draft",
        "experimental": True,
        "description": about["about"],
        "caseSensitive": True,
        "content": "complete",
        "count": len(concepts),
        "concept": concepts,
    }


def _concept(code: str, display: str, definition: str = "") -> Element:
    return {"code": code, "display": display} | ({"definition": definition} if definition else {})


def _tests() -> Iterator[Element]:
    for test in load_catalogue():
        sides = "on each side" if test.paired else "one response for the whole patient"
        yield _concept(test.id, test.name, f"{test.technique} Asked {sides}.")


def _responses() -> Iterator[Element]:
    for status, name in STATUS_NAMES.items():
        yield _concept(status, name)
    for test in load_catalogue():
        for code in test.codes:
            yield _concept(f"{test.id}.{code}", response_name(test, code))


def _sites() -> Iterator[Element]:
    for code, name in sites().items():
        yield _concept(code, name)


def _places() -> Iterator[Element]:
    for place in load_atlas().places.values():
        kind = "Process without one place" if place.kind == "process" else place.region
        yield _concept(place.id, place.name, kind)


def _alerts() -> Iterator[Element]:
    for rule in load_rules():
        yield _concept(rule.id, rule.title, rule.advice)


def _items() -> Iterator[Element]:
    for code, name in items().items():
        yield _concept(code, name)
    for field in ("onset", "course"):
        for told in get_args(get_args(Story.model_fields[field].annotation)[0]):
            yield _concept(f"{field}.{told}", told)
    names = load_atlas().contexts
    for key in CONTEXT_KEYS:
        yield _concept(f"context.{key}", names[key])
