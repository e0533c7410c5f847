"""An examination as an HL7 FHIR R4 document, and reading it back."""

from decussate.documents.fhir.bundle import build_bundle, write_bundle
from decussate.documents.fhir.code_systems import code_systems
from decussate.documents.fhir.reading import read_bundle

__all__ = ["build_bundle", "code_systems", "read_bundle", "write_bundle"]
