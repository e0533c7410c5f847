"""Every field of an examination survives a FHIR document; sides, history, text and times too."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.documents.fhir import build_bundle, read_bundle, write_bundle
from decussate.documents.fhir.codes import site_of, ucum_code
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import (
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Examination,
    Finding,
    MeasuredValue,
)
from decussate.sides import Side
from fhir_strategies import full_examinations, full_findings
from strategies import examinations

CASES = sorted((Path(__file__).parent.parent / "published" / "cases").glob("*.json"))
MOMENT = datetime(2026, 1, 31, 10, 0, tzinfo=UTC)


def back(examination: Examination) -> Examination:
    return read_bundle(write_bundle(examination, at=MOMENT))


@given(examinations())
@settings(max_examples=60, deadline=None)
def test_an_examination_comes_back(examination: Examination) -> None:
    assert back(examination) == examination


@given(full_examinations)
@settings(max_examples=150, deadline=None)
def test_every_field_comes_back(examination: Examination) -> None:
    assert back(examination) == examination


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_every_published_case_comes_back(path: Path) -> None:
    examination = Examination.model_validate_json(path.read_text(encoding="utf-8"))
    assert back(examination) == examination


def test_there_are_published_cases_to_try() -> None:
    assert len(CASES) >= 100


@given(st.lists(full_findings(), min_size=1, max_size=6))
@settings(max_examples=60, deadline=None)
def test_a_mirrored_patient_is_a_mirrored_document(found: list[Finding]) -> None:
    examination = Examination(id="any", findings=tuple(found))
    sides = list(_sides(build_bundle(examination, at=MOMENT)))
    other = list(_sides(build_bundle(examination.mirrored(), at=MOMENT)))
    swapped = {"24028007": "7771000", "7771000": "24028007"}
    assert other == [swapped[code] for code in sides]
    assert len(sides) == sum(one.side is not None for one in found)
    assert back(examination.mirrored()) == examination.mirrored()


def _sides(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        if str(value.get("url", "")).endswith("/laterality"):
            yield value["valueCodeableConcept"]["coding"][0]["code"]
        for part in value.values():
            yield from _sides(part)
    elif isinstance(value, list):
        for part in value:
            yield from _sides(part)


def test_the_sides_are_the_codes_of_snomed_ct() -> None:
    """Source: HL7 laterality value set of the cancer data elements; DICOM PS3.16 CID 247."""
    right = Finding(test="light_direct", side=Side.RIGHT, response="absent")
    bundle = build_bundle(Examination(id="any", findings=(right,)), at=MOMENT)
    assert list(_sides(bundle)) == ["24028007"]
    assert "right eye" in json.dumps(bundle)


def observations(bundle: dict[str, Any], test: str) -> list[dict[str, Any]]:
    resources = [entry["resource"] for entry in bundle["entry"]]
    return [
        resource
        for resource in resources
        if resource["resourceType"] == "Observation"
        and resource["code"]["coding"][0]["code"] == test
    ]


def test_normal_absent_untested_and_untestable_are_four_different_things() -> None:
    def said(finding: Finding) -> dict[str, Any]:
        bundle = build_bundle(Examination(id="any", findings=(finding,)), at=MOMENT)
        (found,) = observations(bundle, "light_direct")
        keys = ("status", "valueCodeableConcept", "dataAbsentReason")
        return {key: found[key] for key in keys if key in found}

    def finding(response: str, reason: str | None = None) -> Finding:
        return Finding(test="light_direct", side=Side.LEFT, response=response, reason=reason)

    different = [
        said(finding("normal")),
        said(finding("absent")),
        said(finding(NOT_TESTED)),
        said(finding(COULD_NOT_BE_TESTED, "eye bandaged")),
    ]
    assert len({json.dumps(one) for one in different}) == 4
    assert "valueCodeableConcept" not in different[2]
    assert "valueCodeableConcept" not in different[3]
    assert different[3]["dataAbsentReason"]["text"] == "eye bandaged"
    assert not observations(build_bundle(Examination(id="any"), at=MOMENT), "light_direct")


def test_an_earlier_entry_is_marked_and_named_by_the_later_one() -> None:
    first = Finding(test="light_direct", side=Side.LEFT, response="absent")
    later = Finding(test="light_direct", side=Side.LEFT, response="normal")
    other = Finding(test="light_direct", side=Side.RIGHT, response="normal")
    examination = Examination(id="any", findings=(first, other, later))
    bundle = build_bundle(examination, at=MOMENT)
    old, untouched, new = observations(bundle, "light_direct")
    assert old["meta"]["tag"][0]["code"] == "superseded"
    assert "meta" not in new
    assert len(untouched["extension"]) == 1
    address = {id(entry["resource"]): entry["fullUrl"] for entry in bundle["entry"]}
    assert new["extension"][1]["valueReference"]["reference"] == address[id(old)]
    sections = bundle["entry"][0]["resource"]["section"]
    by_title = {section["title"]: json.dumps(section) for section in sections}
    assert address[id(old)] in by_title["Earlier entries"]
    assert address[id(old)] not in by_title["What was found"]
    assert address[id(new)] in by_title["What was found"]


def test_findings_are_read_in_the_order_of_entry_wherever_they_stand() -> None:
    found = tuple(
        Finding(test="light_direct", side=Side.LEFT, response=response)
        for response in ("absent", "reduced", "normal")
    )
    examination = Examination(id="any", findings=found)
    bundle = build_bundle(examination, at=MOMENT)
    bundle["entry"][1:] = reversed(bundle["entry"][1:])
    assert read_bundle(json.dumps(bundle)) == examination


@pytest.mark.parametrize(
    "measured",
    [
        ("distance_acuity", "reduced", MeasuredValue(value="6/18-2", unit="as written")),
        ("smell_identification", "normal", MeasuredValue(value="10/10", unit="1")),
        ("pupil_size_light", "large", MeasuredValue(value=8.0, unit="mm")),
    ],
    ids=lambda row: row[0],
)
def test_measurements_come_back_as_number_or_as_written(
    measured: tuple[str, str, MeasuredValue],
) -> None:
    test, response, value = measured
    finding = Finding(test=test, side=Side.RIGHT, response=response, measurement=value)
    examination = Examination(id="any", findings=(finding,))
    (found,) = observations(build_bundle(examination, at=MOMENT), test)
    (component,) = found["component"]
    if isinstance(value.value, str):
        assert component["valueString"] == value.value
    else:
        assert component["valueQuantity"]["value"] == value.value
        assert component["valueQuantity"]["code"] == ucum_code(value.unit)
    assert back(examination) == examination


def test_the_same_input_gives_the_same_document_and_another_time_another_one() -> None:
    examination = Examination(id="any")
    first = write_bundle(examination, at=MOMENT)
    assert first == write_bundle(examination, at=MOMENT)
    later = write_bundle(examination, at=MOMENT + timedelta(minutes=1))
    assert json.loads(first)["identifier"] != json.loads(later)["identifier"]


def test_typed_text_cannot_become_markup() -> None:
    hostile = "<script>alert(1)</script>"
    finding = Finding(test="light_direct", side=Side.LEFT, response="absent", comment=hostile)
    examination = Examination(id="any", label=hostile, findings=(finding,))
    sections = build_bundle(examination, at=MOMENT)["entry"][0]["resource"]["section"]
    narratives = [section["text"]["div"] for section in sections]
    assert any("&lt;script&gt;" in div for div in narratives)
    assert not any("<script" in div for div in narratives)


def test_every_unit_and_every_two_sided_test_has_its_code() -> None:
    for test in load_catalogue():
        if test.measurement:
            assert ucum_code(test.measurement.unit)
        if test.paired:
            assert site_of(test)
