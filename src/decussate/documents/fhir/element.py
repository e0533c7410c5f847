"""An element of a FHIR resource as it is read: it knows its path, and refuses what nobody reads."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Iterator
from typing import Any

from decussate.documents.fhir.codes import own_system
from decussate.documents.fhir.exact_text import EMPTY_TEXT, EXACT_TEXT
from decussate.errors import BadInput

__all__ = ["Node"]


class Node:
    """A JSON object of a FHIR document, with its place.

    Parameters
    ----------
    value : object
        What stands there; refused unless it is an object.
    path : str
        Where it stands (``Bundle.entry[3].resource.bodySite``).

    Raises
    ------
    BadInput
        Here and in every method: naming the path, what was found and what was expected.
    """

    def __init__(self, value: object, path: str) -> None:
        if not isinstance(value, dict):
            raise BadInput(_last(path), value, "an object { ... }", where=path)
        self.fields: dict[str, Any] = value
        self.path = path

    def __contains__(self, key: str) -> bool:
        return key in self.fields

    def bad(self, key: str, expected: str, hint: str = "") -> BadInput:
        """Return the error that a field is not as expected."""
        found = self.fields.get(key, "nothing")
        return BadInput(key, found, expected, hint=hint, where=f"{self.path}.{key}")

    def only(self, *allowed: str) -> None:
        """Refuse a field that nobody would read."""
        for key in self.fields:
            if key.removeprefix("_") not in ("id", *allowed):
                raise BadInput(
                    "element",
                    key,
                    "one of " + ", ".join(sorted(allowed)),
                    hint="An examination cannot hold it, and it would be lost.",
                    where=f"{self.path}.{key}",
                )

    def part(self, key: str) -> Node:
        """Return a field that is an object."""
        if key not in self.fields:
            raise self.bad(key, "an object { ... }")
        return Node(self.fields[key], f"{self.path}.{key}")

    def parts(self, key: str) -> Iterator[Node]:
        """Yield the objects of a list; none when the field is absent."""
        found = self.fields.get(key, [])
        if not isinstance(found, list):
            raise self.bad(key, "a list [ ... ]")
        for index, value in enumerate(found):
            yield Node(value, f"{self.path}.{key}[{index}]")

    def single(self, key: str) -> Node | None:
        """Return the one object of a list, or None when there is none."""
        found = list(self.parts(key))
        if len(found) > 1:
            raise BadInput(
                key,
                f"{len(found)} of them",
                "at most one",
                hint="An examination holds one, and the others would be lost.",
                where=f"{self.path}.{key}[1]",
            )
        return found[0] if found else None

    def word(self, key: str) -> str:
        """Return a field that is a code, an address or the like."""
        found = self.fields.get(key)
        if not isinstance(found, str):
            raise self.bad(key, "text")
        return found

    def one_of(self, key: str, *allowed: str) -> str:
        """Return a field that must be one of the allowed words."""
        found = self.word(key)
        if found not in allowed:
            raise self.bad(key, "one of " + ", ".join(allowed))
        return found

    def number(self, key: str) -> float:
        """Return a field that is a number."""
        found = self.fields.get(key)
        if isinstance(found, bool) or not isinstance(found, int | float):
            raise self.bad(key, "a number")
        return float(found)

    def integer(self, key: str) -> int:
        """Return a field that is a whole number."""
        found = self.fields.get(key)
        if isinstance(found, bool) or not isinstance(found, int):
            raise self.bad(key, "a whole number")
        return found

    def has_text(self, key: str) -> bool:
        """Whether `text` would find something."""
        return key in self.fields or f"_{key}" in self.fields

    def text(self, key: str) -> str:
        """Return a text word for word: as shown, or as the extension beside it keeps it."""
        if f"_{key}" not in self.fields:
            return self.word(key)
        beside = self.part(f"_{key}")
        beside.only("extension")
        kept = beside.extensions(EXACT_TEXT, EMPTY_TEXT)
        if EMPTY_TEXT in kept:
            return ""
        if EXACT_TEXT not in kept:
            return self.word(key)
        exact = kept[EXACT_TEXT]
        try:
            return base64.b64decode(exact.word("valueBase64Binary"), validate=True).decode("utf-8")
        except (binascii.Error, UnicodeDecodeError) as error:
            raise exact.bad("valueBase64Binary", "text in UTF-8, as base64") from error

    def extensions(self, *known: str) -> dict[str, Node]:
        """Return the extensions by address, each once; one that is not known is refused."""
        found: dict[str, Node] = {}
        for node in self.parts("extension"):
            url = node.word("url")
            if url not in known:
                raise node.bad("url", "an extension this program knows", "See docs/fhir.")
            if url in found:
                raise node.bad("url", "each extension once")
            found[url] = node
        return found

    def codings(self) -> Iterator[tuple[str, str]]:
        """Yield system and code of each coding of this concept that gives both."""
        for node in self.parts("coding"):
            if "system" in node and "code" in node:
                yield node.word("system"), node.word("code")

    def code(self, *systems: str) -> tuple[str, str]:
        """Return system and code of the one coding of this concept that is ours.

        Parameters
        ----------
        *systems : str
            Names of code systems of ours that may stand here.

        Returns
        -------
        tuple of str
            Name of the system, and the code.
        """
        by_address = {own_system(name): name for name in systems}
        pairs = self.codings()
        found = [(by_address[system], code) for system, code in pairs if system in by_address]
        if len(found) != 1:
            expected = "one code of " + " or ".join(by_address)
            raise self.bad("coding", expected, "Codes of other systems alone cannot be read.")
        return found[0]


def _last(path: str) -> str:
    return path.rsplit(".", 1)[-1]
