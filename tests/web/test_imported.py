"""Records from elsewhere that this program would not have made: shown or refused, never a fault.

An export can come from an older or a newer catalogue, or from somebody who means harm.
"""

import json
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from decussate.records import Entry, Store
from decussate.records.deidentified import export_without_identity
from decussate.records.tables import entries
from decussate.web.app import create_app
from signing_in import an_owner, signed_in

FINDING = {"test": "light_direct", "side": "left", "response": "reduced"}

ODD: dict[str, dict[str, Any]] = {
    "no such test": {"findings": [FINDING | {"test": "no_such_test"}]},
    "no such response": {"findings": [FINDING | {"response": "<b>gone</b>"}]},
    "before the calendar": {"findings": [FINDING | {"at": "0001-01-01T00:00:00+14:00"}]},
    "after the calendar": {"findings": [FINDING | {"at": "9999-12-31T23:59:59-12:00"}]},
    "a writer without end": {"by": "x" * 100_000, "findings": [FINDING]},
    "old, of no test": {"known_old": [["no_such_test", "left"]]},
}


@pytest.fixture(params=ODD)
def shown(request, tmp_path: Path):
    """A program that serves one examination with an odd entry, and a browser signed in to it."""
    store = Store(tmp_path / "records.db")
    examination = store.begin(store.add_patient("Bed 1, invented", invented=True))
    entry = Entry(id=uuid4())
    store.append(examination, entry)
    body = json.dumps(json.loads(entry.model_dump_json()) | ODD[request.param])
    with store.database.writing() as connection:
        connection.execute(entries.update().values(body=body))
    store.close()
    app = create_app(tmp_path / "records.db", demo=False)
    client = TestClient(app, base_url="http://127.0.0.1:8000")
    client.cookies.set("signed-in", signed_in(app, an_owner(app)))
    yield client, app.state.store, examination
    app.state.store.close()


def test_every_page_shows_it_or_says_what_is_wrong(shown):
    client, _, examination = shown
    place, read = f"/examinations/{examination}", f"/api/examinations/{examination}"
    for address in (
        "/", "/?q=reduced", place, f"{place}/history", f"{place}/note", f"{place}/letter",
        f"{place}/screen", "/api/patients", read, f"{read}/fhir", f"{read}/localisation",
    ):  # fmt: skip
        answer = client.get(address)
        assert answer.status_code in (200, 404, 422), address
        if "json" not in answer.headers["content-type"]:
            assert "<b>gone" not in answer.text
    assert client.get("/").status_code == 200


def test_it_is_exported_without_identity(shown, tmp_path: Path):
    _, store, _ = shown
    report = export_without_identity(store, tmp_path / "all.jsonl")
    assert report.examinations == 1
