"""The OpenAPI description of the read interface, made from its routes.

References
----------
OpenAPI Specification 3.1.0.
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib.metadata import version
from typing import Any

from fastapi.openapi.utils import get_openapi
from starlette.routing import BaseRoute

from decussate.web.api_problems import Problem

__all__ = ["openapi_document"]

DESCRIPTION = """Reads what a Decussate server keeps: patients, examinations, what follows from
them, and the knowledge it rests on. Nothing can be changed through it.

Probabilities and advice inform a licensed clinician's judgement; they are not a diagnosis. Sides
are the patient's. Numbers carry their UCUM unit in `x-unit`. A test that was not done is absent or
`not_tested`, and never `normal`. Errors are problem details (RFC 9457) that name what was found and
what was expected. Every answer about a patient is put into the audit trail under the account whose
token was sent."""

TAGS = (
    ("records", "Patients and examinations"),
    ("conclusions", "What follows from the findings"),
    ("knowledge", "Tests, places and sources"),
)


def openapi_document(routes: Sequence[BaseRoute]) -> dict[str, Any]:
    """Return the description, as published in ``docs/api``.

    Parameters
    ----------
    routes : sequence of BaseRoute
        Of the interface.

    Returns
    -------
    dict
    """
    document = get_openapi(
        title="Decussate read interface",
        version=version("decussate"),
        description=DESCRIPTION,
        routes=routes,
        tags=[{"name": name, "description": words} for name, words in TAGS],
        license_info={"name": "Apache-2.0", "identifier": "Apache-2.0"},
    )
    schemas = document["components"]["schemas"]
    schemas["Problem"] = Problem.model_json_schema()
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    document["components"]["securitySchemes"] = {
        "token": {
            "type": "http",
            "scheme": "bearer",
            "description": "A read token of an account, made on the account's page.",
        }
    }
    document["security"] = [{"token": []}]
    return document
