"""Codes used in FHIR documents: code systems, units and parts of the patient, read from data."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

import yaml

from decussate.bibliography import check_source
from decussate.data_rows import Row, read_rows
from decussate.errors import BadInput
from decussate.examination.bedside_test import Test
from decussate.sides import Side

__all__ = [
    "Element",
    "concept",
    "examination_system",
    "extension_url",
    "has_standard_coding",
    "item",
    "items",
    "own_coding",
    "own_system",
    "own_systems",
    "site_of",
    "site_words",
    "sites",
    "standard_coding",
    "standard_system",
    "ucum_code",
    "units",
    "words",
]

Element = dict[str, Any]
"""A FHIR element or resource as JSON has it."""

DATA = files("decussate.documents.fhir") / "data"


@cache
def words() -> Mapping[str, Any]:
    """Return the wording of the document, from ``data/words.yaml``."""
    return _mapping("words.yaml")


@cache
def own_systems() -> Mapping[str, Mapping[str, str]]:
    """Return name and purpose of each code system of our own."""
    found: Mapping[str, Mapping[str, str]] = _mapping("systems.yaml")["own"]
    return found


def own_system(name: str) -> str:
    """Return the address of a code system of our own."""
    if name not in own_systems():
        raise BadInput("code system", name, "one of " + ", ".join(own_systems()))
    return f"{_mapping('systems.yaml')['base']}/CodeSystem/{name}"


def examination_system() -> str:
    """Return the address that makes the id of an examination unique."""
    return f"{_mapping('systems.yaml')['base']}/examination"


def standard_system(name: str) -> str:
    """Return the address of a code system of others."""
    found: str = _mapping("systems.yaml")["standard"][name]
    return found


def extension_url(name: str) -> str:
    """Return the address of an extension of our own."""
    return f"{_mapping('systems.yaml')['base']}/StructureDefinition/{name}"


def own_coding(system: str, code: str, display: str) -> Element:
    """Return a code of ours with its name."""
    return {"system": own_system(system), "code": code, "display": display}


@cache
def items() -> Mapping[str, str]:
    """Return code and name of what ``data/items.yaml`` lists."""
    return {row["id"]: str(row["name"]) for row in _rows("items.yaml", "name")}


def item(code: str) -> Element:
    """Return a code of the code system ``item``."""
    return own_coding("item", code, items()[code])


def standard_coding(use: str) -> Element:
    """Return the code of others for a use that ``data/standard_codes.yaml`` names."""
    row = _standard_rows()[use]
    coding = {"system": standard_system(row["system"]), "code": row["code"]}
    return coding | ({"display": row["display"]} if "display" in row else {})


def has_standard_coding(use: str) -> bool:
    """Whether a code of others is known for a use."""
    return use in _standard_rows()


def concept(*codings: Element, text: str = "") -> Element:
    """Return a CodeableConcept; its text is the name of the first code unless given."""
    shown = text or codings[0].get("display", "")
    return {"coding": list(codings)} | ({"text": shown} if shown else {})


@cache
def units() -> Mapping[str, str]:
    """Return the UCUM code of each unit."""
    return {row["id"]: str(row["code"]) for row in _rows("units.yaml", "code", "source")}


def ucum_code(unit: str) -> str:
    """Return the UCUM code of a unit.

    Raises
    ------
    BadInput
        If ``data/units.yaml`` has no row for the unit.
    """
    if unit not in units():
        raise BadInput("unit", unit, "a unit of units.yaml, which gives its UCUM code")
    return units()[unit]


@cache
def sites() -> Mapping[str, str]:
    """Return code and name of each part of the patient."""
    return {row["id"]: str(row["name"]) for row in _site_rows()}


def site_of(test: Test) -> str:
    """Return the part of the patient that a test with two sides concerns.

    Raises
    ------
    BadInput
        If ``data/sites.yaml`` names neither the test nor its nerve.
    """
    rows = _site_rows()
    named = (row["id"] for row in rows if test.id in row.get("tests", ()))
    grouped = (row["id"] for row in rows if test.nerve in row.get("nerves", ()))
    for site in (*named, *grouped):
        return str(site)
    raise BadInput("part examined", test.id, "a row of sites.yaml that names it, or its nerve")


def site_words(test: Test, side: Side) -> str:
    """Name the part of the patient with its side (``right eye``)."""
    return f"{side.value} {sites()[site_of(test)]}"


@cache
def _site_rows() -> tuple[Row, ...]:
    return _rows("sites.yaml", "name", "nerves", "tests", "source")


@cache
def _standard_rows() -> Mapping[str, Row]:
    rows = _rows("standard_codes.yaml", "system", "code", "display", "source")
    return {row["id"]: row for row in rows}


def _rows(name: str, *fields: str) -> tuple[Row, ...]:
    rows = read_rows(DATA / name)
    for row in rows:
        row.only("id", *fields)
        if "source" in fields:
            source = check_source(row["source"], row.where)
            if source == "from memory":
                raise BadInput("source", source, "a source that was seen", where=row.where)
    return tuple(rows)


@cache
def _mapping(name: str) -> Mapping[str, Any]:
    found: Mapping[str, Any] = yaml.safe_load((DATA / name).read_text(encoding="utf-8"))
    return found
