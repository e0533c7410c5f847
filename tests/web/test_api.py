"""The read interface: what it answers is what the library says, described by a current document.

Checked against: OpenAPI Specification 3.1.0 (its published schema, by openapi-spec-validator); JSON
Schema 2020-12 (jsonschema); RFC 9457 section 3 (members of problem details); RFC 9110 section
15.5.6 (Allow with 405).
"""

import json
from pathlib import Path

import jsonschema
import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

from decussate.bibliography import load_sources
from decussate.documents.fhir import read_bundle
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import json_schema, read_examination
from decussate.localisation import localise, two_lesions
from decussate.records.demo import load_demo
from decussate.urgency import evaluate
from decussate.web.api import router
from decussate.web.api_document import openapi_document
from decussate.web.api_problems import PROBLEM_TYPE

PUBLISHED = Path(__file__).parents[2] / "docs" / "api" / "openapi.json"


@pytest.fixture(scope="module")
def heads(app):
    """What the demonstration's examiner may read, whatever other tests have put in."""
    load_demo(app.state.store)
    return tuple(head for head in app.state.store.examinations() if head.invented)


@pytest.fixture(scope="module")
def telling(app, heads) -> str:
    """The demonstration examination with most findings."""
    return max(heads, key=lambda h: len(app.state.store.examination(h.id).findings)).id


def test_the_published_description_is_current():
    published = json.loads(PUBLISHED.read_text(encoding="utf-8"))
    assert published == openapi_document(router.routes), (
        "run: decussate openapi > docs/api/openapi.json"
    )


def test_the_description_is_openapi_3_1():
    document = openapi_document(router.routes)
    assert document["openapi"].startswith("3.1.")
    OpenAPIV31SpecValidator(document).validate()


def test_the_server_gives_its_description(client):
    assert client.get("/api/openapi.json").json() == openapi_document(router.routes)


def test_every_address_is_described_and_only_reads():
    described = openapi_document(router.routes)["paths"]
    routes = {route.path for route in router.routes if route.include_in_schema}
    assert set(described) == routes
    assert {method for path in described.values() for method in path} == {"get"}


def test_every_number_has_a_unit():
    """A number either is a count (integer), carries its unit, or stands beside a field `unit`."""
    for name, schema in openapi_document(router.routes)["components"]["schemas"].items():
        fields = schema.get("properties", {})
        for field, rule in fields.items():
            kinds = {part.get("type") for part in (rule, *rule.get("anyOf", ()))}
            if "number" in kinds and name not in ("BandAnswer", "MeasuredValue", "Story"):
                assert "x-unit" in rule or "unit" in fields, f"{name}.{field}"


def test_every_page_together_gives_the_whole_list_once(client, heads):
    seen = []
    for page in range(1, 100):
        answer = client.get("/api/examinations", params={"page": page, "size": 3}).json()
        assert answer["total"] == len(heads)
        if not answer["items"]:
            break
        seen += [line["id"] for line in answer["items"]]
    assert sorted(seen) == sorted(head.id for head in heads)


def test_patients_hold_their_examinations(client, heads):
    lines = client.get("/api/patients", params={"size": 200}).json()["items"]
    listed = {(line["id"], one) for line in lines for one in line["examinations"]}
    assert listed == {(head.patient, head.id) for head in heads}


def test_words_choose_and_a_patient_chooses(client, heads):
    one = heads[0]
    word = one.label.split()[0]
    found = client.get("/api/examinations", params={"q": word, "size": 200}).json()["items"]
    assert one.id in {line["id"] for line in found}
    assert client.get("/api/examinations", params={"q": "nowhere-to-be-found"}).json()["total"] == 0
    own = client.get("/api/examinations", params={"patient": one.patient}).json()["items"]
    assert {line["patient"] for line in own} == {one.patient}


def test_an_examination_is_a_document_of_the_published_schema(client, app, heads):
    for head in heads[:5]:
        text = client.get(f"/api/examinations/{head.id}").text
        jsonschema.validate(json.loads(text), json_schema())
        assert read_examination(text) == app.state.store.examination(head.id)


def test_the_localisation_is_that_of_the_library(client, app, telling):
    examination = app.state.store.examination(telling)
    expected = localise(examination)
    answer = client.get(f"/api/examinations/{telling}/localisation", params={"most": 7}).json()
    assert answer["text"] == expected.text
    for got, wanted in zip(answer["candidates"], expected.candidates[:7], strict=True):
        assert (got["place"], got["side"]) == (wanted.place, wanted.side)
        assert got["probability"] == pytest.approx(wanted.probability, abs=1e-12)
        assert [r["text"] for r in got["supports"]] == [r.text for r in wanted.supports]
    listed = sum(candidate["probability"] for candidate in answer["candidates"])
    assert listed + answer["left_out_probability"] == pytest.approx(1)
    assert answer["left_out"] == len(expected.candidates) - 7
    assert sum(answer["side_probability"].values()) == pytest.approx(1)
    pairs = two_lesions(examination)
    assert answer["two_lesions"]["probability"] == pytest.approx(pairs.probability)
    raised = evaluate(examination, expected)
    assert [a["rule"] for a in answer["alerts"]] == [alert.rule for alert in raised]
    assert "not a diagnosis" in answer["notice"]


def test_the_fhir_document_reads_back(client, app, heads):
    for head in heads[:3]:
        answer = client.get(f"/api/examinations/{head.id}/fhir")
        assert answer.headers["content-type"].startswith("application/fhir+json")
        assert read_bundle(answer.content) == app.state.store.examination(head.id)


def test_two_examinations_of_one_patient_are_compared(client, app, heads, telling):
    store = app.state.store
    patient = store.head(telling).patient
    later = store.begin(patient)
    answer = client.get(f"/api/examinations/{later}/comparison/{telling}").json()
    assert {change["kind"] for change in answer["changes"]} == {"not tested this time"}
    assert answer["earlier"] == telling
    assert answer["later"] == later
    other = next(head.id for head in heads if head.patient != patient)
    refused = client.get(f"/api/examinations/{other}/comparison/{telling}")
    assert refused.status_code == 422
    assert refused.json()["field"] == "earlier examination"


def test_knowledge_is_listed_whole(client):
    for address, total in (
        ("tests", len(list(load_catalogue()))),
        ("sources", len(load_sources())),
    ):
        assert client.get(f"/api/{address}").json()["total"] == total
    for test in load_catalogue():
        got = client.get(f"/api/tests/{test.id}").json()
        assert (got["name"], got["technique"]) == (test.name, test.technique)
        assert [one["code"] for one in got["responses"]] == list(test.responses)
        assert [one["id"] for one in got["cautions"]] == list(test.cautions)


@pytest.mark.parametrize(
    ("address", "status", "field"),
    [
        ("/api/examinations/none", 404, "examination"),
        ("/api/examinations/none/localisation", 404, "examination"),
        ("/api/tests/none", 404, "test"),
        ("/api/nothing/here", 404, "address"),
        ("/api/tests?size=0", 422, "size"),
        ("/api/tests?size=many", 422, "size"),
        ("/api/examinations?q=---", 422, "search"),
        ("/api/examinations?q=" + "x" * 300, 422, "q"),
    ],
)
def test_a_problem_says_what_was_found_and_what_was_expected(client, address, status, field):
    answer = client.get(address)
    assert answer.status_code == status
    assert answer.headers["content-type"] == PROBLEM_TYPE
    problem = answer.json()
    assert problem["type"] == "about:blank"
    assert problem["status"] == status
    assert problem["field"] == field
    assert problem["expected"]
    assert len(problem["found"]) <= 201


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
def test_nothing_is_changed_through_it(client, telling, method):
    answer = client.request(method, f"/api/examinations/{telling}", content=b"{}")
    assert answer.status_code == 405
    assert answer.headers["allow"] == "GET"


def test_what_was_given_away_is_in_the_trail(client, app, telling):
    before = app.state.store.verify().links
    for what in ("", "/localisation", "/fhir"):
        client.get(f"/api/examinations/{telling}{what}")
    assert app.state.store.verify().links == before + 3
