"""The read interface: what the pages show, as JSON, for the hospital's own programs.

Nothing can be changed through it. Every answer about a patient is put into the audit trail under
the account that asked. It is described by the OpenAPI document of `decussate.web.api_document`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Annotated, Any, TypeVar

from fastapi import APIRouter, Query, Request
from starlette.responses import JSONResponse, Response

from decussate.anatomy import load_atlas
from decussate.bibliography import cite, load_sources
from decussate.comparison import Comparison, compare
from decussate.documents.fhir import write_bundle
from decussate.documents.note import made_with
from decussate.errors import BadInput
from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, write_examination
from decussate.localisation import two_lesions
from decussate.records import ExaminationHead, Store
from decussate.records.roles import Permission
from decussate.records.search import search
from decussate.web.access import needs
from decussate.web.api_catalogue_models import PlacePage, SourcePage, TestAnswer, TestPage
from decussate.web.api_document import openapi_document
from decussate.web.api_models import (
    ComparisonAnswer,
    ExaminationPage,
    LocalisationAnswer,
    NextTestAnswer,
    Page,
    PatientPage,
)
from decussate.web.api_problems import PROBLEMS, ProblemRoute, problem_details
from decussate.web.conclusions import Conclusion, conclude
from decussate.web.state import store_of

__all__ = ["router"]

router = APIRouter(
    prefix="/api",
    route_class=ProblemRoute,
    responses=PROBLEMS,
    generate_unique_id_function=lambda route: route.name,
)

LARGEST_PAGE = 200
MOST_CANDIDATES = 1000
LONGEST_SEARCH = 200

P = TypeVar("P", bound=Page[Any])
PageNumber = Annotated[int, Query(ge=1, le=1_000_000, description="Which page, from 1.")]
PageSize = Annotated[int, Query(ge=1, le=LARGEST_PAGE, description="Most items on a page.")]
Words = Annotated[
    str,
    Query(
        alias="q",
        max_length=LONGEST_SEARCH,
        description="Parts between commas; each is found whole in the patient's label, one finding"
        " that stands, the story, or one text that was not understood. Empty for all.",
    ),
]
CatalogueWords = Annotated[
    str, Query(alias="q", max_length=LONGEST_SEARCH, description="Words that all must occur.")
]


@router.get("/patients", tags=["records"])
@needs(Permission.READ, shows="list of patients by the read interface")
def list_patients(
    request: Request, words: Words = "", page: PageNumber = 1, size: PageSize = 50
) -> PatientPage:
    """List patients, by label; with words, those of whom an examination is found."""
    grouped: dict[str, list[ExaminationHead]] = {}
    for head in _heads(store_of(request), words):
        grouped.setdefault(head.patient, []).append(head)
    lines = [
        {
            "id": patient,
            "label": visits[0].label,
            "invented": visits[0].invented,
            "examinations": [visit.id for visit in visits],
        }
        for patient, visits in sorted(grouped.items(), key=lambda item: (item[1][0].label, item[0]))
    ]
    return _page(PatientPage, lines, page, size)


@router.get("/examinations", tags=["records"])
@needs(Permission.READ, shows="list of examinations by the read interface")
def list_examinations(
    request: Request,
    words: Words = "",
    patient: Annotated[str, Query(max_length=200, description="Of this patient only.")] = "",
    page: PageNumber = 1,
    size: PageSize = 50,
) -> ExaminationPage:
    """List examinations, newest first."""
    heads = _heads(store_of(request), words)
    return _page(
        ExaminationPage, [h for h in heads if not patient or h.patient == patient], page, size
    )


@router.get("/examinations/{examination_id}", tags=["records"], response_model=Examination)
@needs(Permission.READ, shows="document by the read interface")
def read_one(request: Request, examination_id: str) -> Response:
    """Give an examination as it now stands, as a document of the published schema."""
    document = write_examination(store_of(request).examination(examination_id))
    return Response(document, media_type="application/json")


@router.get("/examinations/{examination_id}/localisation", tags=["conclusions"])
@needs(Permission.READ, shows="localisation by the read interface")
def read_localisation(
    request: Request,
    examination_id: str,
    most: Annotated[
        int, Query(ge=1, le=MOST_CANDIDATES, description="Most candidates listed.")
    ] = 20,
) -> LocalisationAnswer:
    """Say where the lesion may be and why, what cannot wait, and what to test next."""
    examination = store_of(request).examination(examination_id)
    return _localisation(examination, conclude(examination), most)


@router.get(
    "/examinations/{examination_id}/fhir",
    tags=["records"],
    response_class=Response,
    responses={
        200: {
            "description": "An HL7 FHIR R4 document Bundle",
            "content": {"application/fhir+json": {"schema": {"type": "object"}}},
        }
    },
)
@needs(Permission.READ, shows="FHIR document by the read interface")
def read_fhir(request: Request, examination_id: str) -> Response:
    """Give an examination and what follows from it as an HL7 FHIR R4 document."""
    examination = store_of(request).examination(examination_id)
    found = conclude(examination)
    bundle = write_bundle(examination, found.localisation, list(found.alerts))
    return Response(bundle, media_type="application/fhir+json")


@router.get("/examinations/{examination_id}/comparison/{earlier_id}", tags=["conclusions"])
@needs(Permission.READ, shows="comparison by the read interface")
def read_comparison(request: Request, examination_id: str, earlier_id: str) -> ComparisonAnswer:
    """Say what changed since an earlier examination of the same patient."""
    store = store_of(request)
    now, then = store.head(examination_id), store.head(earlier_id)
    if now.patient != then.patient:
        hint = "Take both from the list of one patient."
        expected = f"an examination of patient {now.patient}"
        raise BadInput("earlier examination", f"one of {then.patient}", expected, hint=hint)
    store_of(request).saw(earlier_id, "comparison by the read interface")
    later, earlier = (store_of(request).examination(one) for one in (examination_id, earlier_id))
    places = (conclude(earlier).localisation, conclude(later).localisation)
    return _comparison(compare(earlier, later, places=places))


@router.get("/tests", tags=["knowledge"])
@needs(Permission.LEARN)
def list_tests(words: CatalogueWords = "", page: PageNumber = 1, size: PageSize = 50) -> TestPage:
    """List the tests of the catalogue, in the order of the examination."""
    tests = _holding(load_catalogue(), words, lambda t: (t.id, t.name, t.nerve, *t.abbreviations))
    return _page(TestPage, tests, page, size)


@router.get("/tests/{test_id}", tags=["knowledge"])
@needs(Permission.LEARN)
def read_test(test_id: str) -> TestAnswer:
    """Give one test with its technique, cautions, responses, accuracy and sources."""
    catalogue = load_catalogue()
    if test_id not in catalogue:
        raise BadInput("test", test_id, "a test of the catalogue", hint="See /api/tests.")
    test = catalogue.test(test_id)
    return TestAnswer.model_validate(_whole(test, [catalogue.cautions[k] for k in test.cautions]))


@router.get("/places", tags=["knowledge"])
@needs(Permission.LEARN)
def list_places(words: CatalogueWords = "", page: PageNumber = 1, size: PageSize = 50) -> PlacePage:
    """List the places and processes that the localisation weighs."""
    places = _holding(
        sorted(load_atlas().places.values(), key=lambda p: p.id),
        words,
        lambda p: (p.id, p.name, p.region),
    )
    return _page(PlacePage, places, page, size)


@router.get("/sources", tags=["knowledge"])
@needs(Permission.LEARN)
def list_sources(
    words: CatalogueWords = "", page: PageNumber = 1, size: PageSize = 50
) -> SourcePage:
    """List the publications that the numbers rest on."""
    lines = [
        {"key": key, "citation": cite(key), "doi": source.get("DOI")}
        for key, source in sorted(load_sources().items())
    ]
    kept = _holding(lines, words, lambda line: (line["key"], line["citation"]))
    return _page(SourcePage, kept, page, size)


@router.get("/openapi.json", include_in_schema=False)
@needs(Permission.LEARN)
def read_description() -> Response:
    """Give the OpenAPI description of this interface."""
    return JSONResponse(openapi_document(router.routes))


@router.api_route(
    "/{rest:path}",
    methods=["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"],
    include_in_schema=False,
)
@needs(Permission.LEARN)
def nothing_here(request: Request, rest: str) -> Response:
    """Answer an address or a method that the interface does not have."""
    if request.method not in ("GET", "HEAD"):
        problem = BadInput("method", request.method, "GET", hint="Nothing is changed here.")
        return problem_details(request, problem, 405, {"Allow": "GET"})
    problem = BadInput("address", f"/api/{rest}", "one of /api/openapi.json")
    return problem_details(request, problem, 404)


def _heads(store: Store, words: str) -> Sequence[ExaminationHead]:
    """Return the list lines that the account may see, newest first."""
    return [hit.head for hit in search(store, words)] if words else store.examinations()


def _page(model: type[P], lines: Sequence[object], page: int, size: int) -> P:
    start = (page - 1) * size
    items = lines[start : start + size]
    return model.model_validate({"items": items, "total": len(lines), "page": page, "size": size})


def _holding(things: Any, words: str, text_of: Callable[[Any], tuple[str, ...]]) -> list[Any]:  # noqa: ANN401
    """Return the things whose text holds every word."""
    wanted = words.casefold().split()
    return [
        thing
        for thing in things
        if all(word in " ".join(text_of(thing)).casefold() for word in wanted)
    ]


def _whole(test: Test, cautions: list[Any]) -> dict[str, Any]:
    fields = {name: getattr(test, name) for name in TestAnswer.model_fields}
    return fields | {"cautions": cautions, "responses": list(test.responses.values())}


def _localisation(examination: Examination, found: Conclusion, most: int) -> LocalisationAnswer:
    located = found.localisation
    listed, rest = located.candidates[:most], located.candidates[most:]
    cautions = load_catalogue().cautions
    return LocalisationAnswer.model_validate(
        {
            "examination": examination.id,
            "program": made_with().rstrip("."),
            "text": located.text,
            "findings_used": located.findings_used,
            "entropy_bits": located.entropy_bits,
            "no_lesion_leads": located.no_lesion_leads,
            "side_probability": dict(located.side_probability),
            "regions": [
                {"region": region, "side": side, "probability": probability}
                for region, side, probability in located.regions
            ],
            "candidates": listed,
            "left_out": len(rest),
            "left_out_probability": sum(candidate.probability for candidate in rest),
            "unexplained": located.unexplained,
            "two_lesions": two_lesions(examination) if located.findings_used else None,
            "next_tests": [
                NextTestAnswer(
                    test=wanted.test,
                    side=wanted.side,
                    name=wanted.name,
                    bits=wanted.bits,
                    seconds=wanted.seconds,
                    cautions=tuple(cautions[key].name for key in wanted.cautions),
                )
                for wanted in located.next_tests
            ],
            "alerts": found.alerts,
        }
    )


def _comparison(found: Comparison) -> ComparisonAnswer:
    places = found.places
    return ComparisonAnswer.model_validate(
        {
            "earlier": found.earlier.examination.id,
            "later": found.later.examination.id,
            "interval_seconds": found.interval.total_seconds() if found.interval else None,
            "sentence": found.sentence,
            "warnings": found.warnings,
            "changes": found.changes,
            "places": places.text if places else "",
            "gained": places.gained if places else (),
            "lost": places.lost if places else (),
        }
    )
