"""A FHIR document that cannot be read says where in it, what was found and what was expected."""

import copy
import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.cli import main
from decussate.documents.fhir import build_bundle, code_systems, read_bundle
from decussate.errors import BadInput
from decussate.examination.record import (
    Examination,
    Finding,
    MeasuredValue,
    Story,
    read_examination,
)
from decussate.sides import Side

MOMENT = datetime(2026, 1, 31, 10, 0, tzinfo=UTC)
EXAMINATION = Examination(
    id="pupil",
    label="An invented patient",
    invented=True,
    story=Story(age=58.0, sex="female", onset="sudden"),
    findings=(
        Finding(
            test="pupil_size_light",
            side=Side.RIGHT,
            response="large",
            measurement=MeasuredValue(value=8.0, unit="mm"),
            at=MOMENT,
            by="Dr Invented",
        ),
        Finding(test="gag", side=Side.LEFT, response="could_not_be_tested", reason="asleep"),
        Finding(test="ask_headache", response="present"),
    ),
    known_old=(("raise_brows", Side.LEFT),),
)
BUNDLE = build_bundle(EXAMINATION, at=MOMENT)


def at(bundle: dict[str, Any], code: str) -> tuple[int, dict[str, Any]]:
    """Place and resource of the Observation with this code."""
    for index, entry in enumerate(bundle["entry"]):
        resource = entry["resource"]
        coding = resource.get("code", {}).get("coding", [{}])[0]
        if resource["resourceType"] == "Observation" and coding["code"] == code:
            return index, resource
    raise AssertionError(code)


def pupil(bundle: dict[str, Any]) -> dict[str, Any]:
    return at(bundle, "pupil_size_light")[1]


def refusal(spoil: Callable[[dict[str, Any]], Any]) -> BadInput:
    bundle = copy.deepcopy(BUNDLE)
    spoil(bundle)
    with pytest.raises(BadInput) as caught:
        read_bundle(json.dumps(bundle))
    return caught.value


PUPIL = f"Bundle.entry[{at(BUNDLE, 'pupil_size_light')[0]}].resource"
HEADACHE = f"Bundle.entry[{at(BUNDLE, 'ask_headache')[0]}].resource"
GAG = f"Bundle.entry[{at(BUNDLE, 'gag')[0]}].resource"


def test_the_bundle_to_be_spoiled_is_good() -> None:
    assert read_bundle(json.dumps(BUNDLE)) == EXAMINATION
    assert read_bundle(json.dumps(BUNDLE).encode()) == EXAMINATION


SPOILED: dict[str, tuple[Callable[[dict[str, Any]], Any], str, str]] = {
    "another resource": (
        lambda b: b.update(resourceType="Patient"),
        "Bundle.resourceType",
        "expected Bundle",
    ),
    "another kind of Bundle": (
        lambda b: b.update(type="searchset"),
        "Bundle.type",
        "expected one of document",
    ),
    "no Composition first": (
        lambda b: b["entry"].pop(0),
        "Bundle.entry",
        "a Composition as the first entry",
    ),
    "no entry": (lambda b: b.update(entry=[]), "Bundle.entry", "the resources of a document"),
    "unknown test": (
        lambda b: pupil(b)["code"]["coding"][0].update(code="pupil_size_lihgt"),
        f"{PUPIL}.code",
        "Did you mean 'pupil_size_light'?",
    ),
    "codes of others alone": (
        lambda b: pupil(b)["code"]["coding"][0].update(system="http://loinc.org"),
        f"{PUPIL}.code.coding",
        "Codes of other systems alone cannot be read",
    ),
    "missing body site": (
        lambda b: pupil(b).pop("bodySite"),
        f"{PUPIL}.bodySite",
        "found 'nothing'",
    ),
    "missing laterality": (
        lambda b: pupil(b)["bodySite"].pop("extension"),
        f"{PUPIL}.bodySite.extension",
        "the patient's side",
    ),
    "laterality that is no side": (
        lambda b: pupil(b)["bodySite"]["extension"][0]["valueCodeableConcept"]["coding"][0].update(
            code="51440002"
        ),
        f"{PUPIL}.bodySite.extension[0].valueCodeableConcept.coding",
        "24028007 (right), 7771000 (left)",
    ),
    "another part of the body": (
        lambda b: pupil(b)["bodySite"]["coding"][0].update(code="ear"),
        f"{PUPIL}.bodySite.coding",
        "expected eye",
    ),
    "a side where there is none": (
        lambda b: at(b, "ask_headache")[1].update(bodySite=pupil(b)["bodySite"]),
        f"{HEADACHE}.bodySite",
        "no side",
    ),
    "unknown response": (
        lambda b: pupil(b)["valueCodeableConcept"]["coding"][0].update(
            code="pupil_size_light.huge"
        ),
        PUPIL,
        "found 'huge'",
    ),
    "response to another test": (
        lambda b: pupil(b)["valueCodeableConcept"]["coding"][0].update(code="light_direct.absent"),
        f"{PUPIL}.valueCodeableConcept.coding",
        "a response to pupil_size_light",
    ),
    "interpretation that contradicts": (
        lambda b: pupil(b)["interpretation"][0]["coding"][0].update(code="N"),
        f"{PUPIL}.interpretation[0].coding",
        "expected A, which large means",
    ),
    "measurement that contradicts": (
        lambda b: pupil(b)["component"][0]["valueQuantity"].update(value=1.0),
        PUPIL,
        "Correct the value or the response",
    ),
    "another unit": (
        lambda b: pupil(b)["component"][0]["valueQuantity"].update(code="cm"),
        f"{PUPIL}.component[0].valueQuantity.code",
        "one of mm",
    ),
    "number as text": (
        lambda b: pupil(b)["component"][0]["valueQuantity"].update(value="8"),
        f"{PUPIL}.component[0].valueQuantity.value",
        "a number",
    ),
    "no response": (
        lambda b: pupil(b).pop("valueCodeableConcept"),
        f"{PUPIL}.valueCodeableConcept",
        "an object",
    ),
    "could not be tested without a reason": (
        lambda b: at(b, "gag")[1]["dataAbsentReason"].pop("text"),
        f"{GAG}.dataAbsentReason.text",
        "expected text",
    ),
    "entered in error": (
        lambda b: pupil(b).update(status="entered-in-error"),
        f"{PUPIL}.status",
        "one of final",
    ),
    "element that would be lost": (
        lambda b: pupil(b).update(derivedFrom=[]),
        f"{PUPIL}.derivedFrom",
        "it would be lost",
    ),
    "extension nobody knows": (
        lambda b: pupil(b)["extension"].append({"url": "http://example.org/x", "valueCode": "x"}),
        f"{PUPIL}.extension[1].url",
        "an extension this program knows",
    ),
    "two notes": (
        lambda b: pupil(b).update(note=[{"text": "one"}, {"text": "two"}]),
        f"{PUPIL}.note[1]",
        "at most one",
    ),
    "no order of entry": (
        lambda b: pupil(b).pop("extension"),
        f"{PUPIL}.extension",
        "the order of entry",
    ),
    "time without a zone": (
        lambda b: pupil(b).update(effectiveDateTime="2026-01-31"),
        f"{PUPIL}.effectiveDateTime",
        "a time with its zone",
    ),
    "resource an examination cannot hold": (
        lambda b: b["entry"].append(
            {"fullUrl": "urn:x", "resource": {"resourceType": "MedicationRequest"}}
        ),
        f"Bundle.entry[{len(BUNDLE['entry'])}].resource.resourceType",
        "An examination cannot hold it",
    ),
    "an entry left out": (
        lambda b: b["entry"].pop(),
        "Bundle.entry[0].resource.section",
        "Is the document whole?",
    ),
    "two patients": (
        lambda b: b["entry"].append(
            {"fullUrl": "urn:x", "resource": {"resourceType": "Patient"}},
        ),
        f"Bundle.entry[{len(BUNDLE['entry'])}].resource.resourceType",
        "one patient in a document",
    ),
    "sex the story cannot hold": (
        lambda b: b["entry"][1]["resource"].update(gender="unknown"),
        "Bundle.entry[1].resource.gender",
        "one of female, male",
    ),
    "age beyond what the story can hold": (
        lambda b: at(b, "story.age")[1]["valueQuantity"].update(value=158),
        "Bundle",
        "less than or equal to 120",
    ),
}


@pytest.mark.parametrize("name", SPOILED)
def test_a_bad_document_is_refused_with_its_path(name: str) -> None:
    spoil, where, said = SPOILED[name]
    error = refusal(spoil)
    assert error.where.startswith(where), error.sentence
    assert said in error.sentence


def test_a_truncated_document_is_refused_at_every_length() -> None:
    text = json.dumps(BUNDLE, indent=1)
    for length in range(0, len(text) - 1, 97):
        with pytest.raises(BadInput, match="Bundle"):
            read_bundle(text[:length])


def test_a_document_cut_off_says_so() -> None:
    with pytest.raises(BadInput, match="cut off"):
        read_bundle(json.dumps(BUNDLE)[:4000])


@pytest.mark.parametrize(
    "text",
    [
        "",
        "null",
        "[]",
        '"Bundle"',
        "{}",
        "[" * 100_000,
        '{"a": 1, "a": 2}',
        '{"a": NaN}',
        "9" * 9999,
    ],
    ids=lambda text: text[:12],
)
def test_what_is_no_bundle_is_refused(text: str) -> None:
    with pytest.raises(BadInput):
        read_bundle(text)


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"missing\.json"):
        read_bundle(tmp_path / "missing.json")
    other = tmp_path / "other.json"
    other.write_bytes(b"\xff\xfe")
    with pytest.raises(BadInput, match="UTF-8"):
        read_bundle(other)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=5,
)


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value)
    found = [path] if path else []
    for key, part in inner:
        if isinstance(part, dict | list):
            found += places(part, (*path, key))
        else:
            found.append((*path, key))
    return found


PLACES = places(BUNDLE)


@given(st.sampled_from(PLACES), json_values | st.just("left out"))
@settings(max_examples=300, deadline=None)
def test_any_change_anywhere_is_read_or_refused_and_never_crashes(
    place: tuple[Any, ...], value: Any
) -> None:
    bundle = copy.deepcopy(BUNDLE)
    target: Any = bundle
    for step in place[:-1]:
        target = target[step]
    if value == "left out":
        del target[place[-1]]
    else:
        target[place[-1]] = value
    found, refused = None, ""
    try:
        found = read_bundle(json.dumps(bundle))
    except BadInput as error:
        refused = error.sentence
    if found is None:
        assert "Bundle" in refused
    else:
        assert said(found) == said(EXAMINATION)


def said(examination: Examination) -> set[tuple[str, Side | None, str]]:
    return {(one.test, one.side, one.response) for one in examination.findings}


def test_what_the_catalogue_does_not_know_is_not_written() -> None:
    unknown = Examination(id="any", findings=(Finding(test="nonsense", response="normal"),))
    with pytest.raises(BadInput, match="nonsense"):
        build_bundle(unknown)


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(BadInput, match="zone"):
        build_bundle(EXAMINATION, at=datetime(2026, 1, 31))


def run(*arguments: str, stdin: str | None = None) -> Result:
    return CliRunner().invoke(main, arguments, input=stdin)


def test_the_command_writes_and_reads_back(tmp_path: Path) -> None:
    source = tmp_path / "pupil.json"
    source.write_text(EXAMINATION.model_dump_json(), encoding="utf-8")
    written = run("fhir", str(source))
    assert written.exit_code == 0
    kinds = {entry["resource"]["resourceType"] for entry in json.loads(written.output)["entry"]}
    assert {"RiskAssessment", "ClinicalImpression", "DetectedIssue"} <= kinds
    again = run("fhir", "--read", "-", stdin=written.output)
    assert again.exit_code == 0
    assert read_examination(again.output) == EXAMINATION


def test_the_command_refuses_with_one_message(tmp_path: Path) -> None:
    result = run("fhir", "--read", "-", stdin="{}")
    assert result.exit_code == 1
    assert "Bundle.resourceType" in result.output
    assert "Traceback" not in result.output
    assert run("fhir", "--read", "--publish", str(tmp_path)).exit_code == 2


def test_the_command_publishes_the_code_systems(tmp_path: Path) -> None:
    assert run("fhir", "--publish", str(tmp_path)).exit_code == 0
    written = {json.loads(path.read_text("utf-8"))["id"] for path in tmp_path.iterdir()}
    assert written == {system["id"] for system in code_systems()}
