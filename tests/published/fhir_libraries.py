"""General libraries that know FHIR R4, and the codes that R4 requires."""

import hashlib
import importlib
import json
import os
import shutil
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent / "fhir_validator"
INSTALL_SECONDS = 240

# Required bindings of the elements we write. Source: HL7 FHIR R4 (4.0.1), page of each resource.
OBSERVATION_STATUS = {
    "registered", "preliminary", "final", "amended", "corrected", "cancelled", "entered-in-error",
    "unknown",
}  # fmt: skip
REQUIRED = {
    ("Bundle", "type"): {
        "document", "message", "transaction", "transaction-response", "batch", "batch-response",
        "history", "searchset", "collection",
    },
    ("Composition", "status"): {"preliminary", "final", "amended", "entered-in-error"},
    ("Patient", "gender"): {"male", "female", "other", "unknown"},
    ("Observation", "status"): OBSERVATION_STATUS,
    ("RiskAssessment", "status"): OBSERVATION_STATUS,
    ("DetectedIssue", "status"): OBSERVATION_STATUS,
    ("DetectedIssue", "severity"): {"high", "moderate", "low"},
    ("ClinicalImpression", "status"): {"in-progress", "completed", "entered-in-error"},
    ("DiagnosticReport", "status"): {
        "registered", "partial", "preliminary", "final", "amended", "corrected", "appended",
        "cancelled", "entered-in-error", "unknown",
    },
    ("CodeSystem", "status"): {"draft", "active", "retired", "unknown"},
    ("CodeSystem", "content"): {"not-present", "example", "fragment", "complete", "supplement"},
}  # fmt: skip
NARRATIVE_STATUS = {"generated", "extensions", "additional", "empty"}
DEVICE_NAME_TYPE = {
    "udi-label-name", "user-friendly-name", "patient-reported-name", "manufacturer-name",
    "model-name", "other",
}  # fmt: skip
RELATED_ARTIFACT_TYPE = {
    "documentation", "justification", "citation", "predecessor", "successor", "derived-from",
    "depends-on", "composed-of",
}  # fmt: skip


def wrong_codes(resource: dict[str, Any]) -> Iterator[str]:
    """Codes that R4 requires and a resource, with what it holds, does not keep to."""
    kind = resource["resourceType"]
    for (name, key), allowed in REQUIRED.items():
        if name == kind and key in resource and resource[key] not in allowed:
            yield f"{kind}.{key} {resource[key]}"
    for name in resource.get("deviceName", ()):
        if name["type"] not in DEVICE_NAME_TYPE:
            yield f"{kind}.deviceName.type {name['type']}"
    for section in resource.get("section", ()):
        if section["text"]["status"] not in NARRATIVE_STATUS:
            yield f"{kind}.section.text.status {section['text']['status']}"
    for extension in resource.get("extension", ()):
        artifact = extension.get("valueRelatedArtifact", {})
        if artifact and artifact["type"] not in RELATED_ARTIFACT_TYPE:
            yield f"{kind}.extension.valueRelatedArtifact.type {artifact['type']}"
    for entry in resource.get("entry", ()):
        if isinstance(entry.get("resource"), dict):
            yield from wrong_codes(entry["resource"])


def problems_of_models(resource: dict[str, Any]) -> list[str]:
    """Problems the R4B models of fhir.resources find (they do not check value sets)."""
    name = resource["resourceType"]
    module = importlib.import_module(f"fhir.resources.R4B.{name.lower()}")
    try:
        getattr(module, name).model_validate(resource)
    except ValueError as error:
        return [str(error)]
    return []


@cache
def validator_folder() -> Path:
    """Folder outside the repository with the npm packages, filled on first use; or a loud skip."""
    if not (shutil.which("npm") and shutil.which("node")):
        pytest.skip("NOT CHECKED against the R4 definitions: npm and node are not installed")
    lock = (HERE / "package-lock.json").read_bytes()
    root = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    folder = root / "decussate-tests" / f"fhir-validator-{hashlib.sha256(lock).hexdigest()[:12]}"
    if (folder / "complete").exists():
        return folder
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("package.json", "package-lock.json"):
        shutil.copy(HERE / name, folder)
    command = ["npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund"]
    try:
        subprocess.run(
            command, cwd=folder, check=True, capture_output=True, timeout=INSTALL_SECONDS
        )
    except (subprocess.SubprocessError, OSError) as error:
        said = getattr(error, "stderr", b"") or b""
        pytest.skip(
            "NOT CHECKED against the R4 definitions: npm could not install the validator "
            f"({error}; {said.decode(errors='replace')[-300:]})"
        )
    (folder / "complete").touch()
    return folder


def problems_of_definitions(resources: list[dict[str, Any]]) -> list[list[dict[str, str]]]:
    """Problems by the R4 definitions: structure, required value sets, invariants, units."""
    lines = "".join(json.dumps(resource) + "\n" for resource in resources)
    done = subprocess.run(
        ["node", str(HERE / "validate.mjs"), str(validator_folder())],
        input=lines.encode(),
        capture_output=True,
        check=True,
    )
    found = [json.loads(line) for line in done.stdout.decode().splitlines()]
    assert len(found) == len(resources)
    return found
