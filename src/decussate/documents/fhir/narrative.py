"""What a section of the document says, for people: lines of text as XHTML."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from decussate.documents.fhir.codes import Element
from decussate.documents.fhir.exact_text import shown_text

__all__ = ["narrative", "observation_line"]


def narrative(lines: Sequence[str]) -> Element:
    """Return lines as the text of a section.

    Parameters
    ----------
    lines : sequence of str
        Whatever was typed into them is shown, never run.

    Returns
    -------
    dict
    """
    said = "".join(f"<li>{escape(shown_text(line), quote=False)}</li>" for line in lines)
    div = f'<div xmlns="http://www.w3.org/1999/xhtml"><ul>{said}</ul></div>'
    return {"status": "generated", "div": div}


def observation_line(resource: Element) -> str:
    """Say an Observation in a line: what, where, when, and what was found.

    Parameters
    ----------
    resource : dict

    Returns
    -------
    str
    """
    about = [resource["code"]["text"], resource.get("bodySite", {}).get("text", "")]
    named = ", ".join((*filter(None, about), *filter(None, [resource.get("effectiveDateTime")])))
    notes = [note.get("text", "") for note in resource.get("note", ())]
    return f"{named}: {'; '.join(filter(None, (*_values(resource), *notes)))}"


def _values(element: Element) -> Iterator[str]:
    for key in ("valueCodeableConcept", "dataAbsentReason"):
        if key in element:
            codings = element[key].get("coding", ())
            named = [coding["display"] for coding in codings][:1] if key.startswith("d") else []
            yield ": ".join(dict.fromkeys((*named, element[key].get("text", ""))))
    if "valueQuantity" in element:
        yield f"{element['valueQuantity']['value']:g} {element['valueQuantity']['unit']}"
    for key in ("valueString", "valueInteger"):
        if key in element:
            yield str(element[key])
    if "valueBoolean" in element:
        yield "yes" if element["valueBoolean"] else "no"
    for part in element.get("component", ()):
        yield f"{part['code']['text'].lower()} {'; '.join(_values(part))}"
