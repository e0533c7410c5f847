"""What a person adds to a letter: names, salutation, and free text, always taken as plain text."""

from __future__ import annotations

from typing import Annotated, Any

import yaml
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from decussate.errors import BadInput

__all__ = ["LetterDetails", "read_details"]

Line = Annotated[str, Field(max_length=300)]
Passage = Annotated[str, Field(max_length=5000)]


class LetterDetails(BaseModel):
    """The editable parts of a letter; every one may be left empty.

    Parameters
    ----------
    patient_name, date_of_birth, patient_number, patient_address : str
        Who the letter is about, as the service writes them.
    to, sender : str
        Addressee, and service that sends.
    written : str
        Date of the letter, as it shall be read.
    salutation : str
    reason, history, plan, information : str
        Free text under their headings; a new line begins a paragraph.
    findings, place : str
        Own words in place of what the program would write under these headings. What cannot wait
        has none: it always stands as the rules give it.
    person, role, contact : str
        Who completes the letter.
    copies : tuple of str
        Distribution.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True)

    patient_name: Line = ""
    date_of_birth: Line = ""
    patient_number: Line = ""
    patient_address: Line = ""
    to: Line = ""
    sender: Line = ""
    written: Line = ""
    salutation: Line = ""
    reason: Passage = ""
    history: Passage = ""
    plan: Passage = ""
    information: Passage = ""
    findings: Passage = ""
    place: Passage = ""
    person: Line = ""
    role: Line = ""
    contact: Line = ""
    copies: tuple[Line, ...] = ()


def read_details(text: str, where: str) -> LetterDetails:
    """Read the details of a letter from YAML or JSON.

    Parameters
    ----------
    text : str
    where : str
        Name of the file, for messages.

    Returns
    -------
    LetterDetails

    Raises
    ------
    BadInput
        For text that is not YAML, an unknown field, or a value that is no text.
    """
    try:
        # Base loader: a date or a number stays the text that was written.
        loaded: Any = yaml.load(text, Loader=yaml.BaseLoader)  # noqa: S506  makes text only
    except (yaml.YAMLError, RecursionError) as error:
        raise BadInput("letter details", "something else", "YAML or JSON", where=where) from error
    try:
        return LetterDetails.model_validate(loaded or {})
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(step) for step in first["loc"]) or "letter details"
        known = ", ".join(LetterDetails.model_fields)
        expected = f"one of {known}" if first["type"] == "extra_forbidden" else first["msg"]
        raise BadInput(field, first["input"], expected, where=where) from error
