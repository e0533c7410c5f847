"""What this browser was told about how to show things: kept in a cookie, nothing personal in it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from urllib.parse import parse_qsl, urlencode

from fastapi import Request

from decussate.drawings.convention import Convention
from decussate.errors import BadInput

__all__ = ["COOKIE", "OPTIONS", "Settings", "settings_from", "settings_of"]

COOKIE = "display"

OPTIONS: dict[str, tuple[str, tuple[tuple[str, str], ...]]] = {
    "scheme": (
        "Light or dark",
        (("system", "as this device"), ("light", "light"), ("dark", "dark")),
    ),
    "acuity": (
        "Acuity shown as",
        (
            ("written", "as it was written"),
            ("metres", "Snellen, 6 m"),
            ("feet", "Snellen, 20 ft"),
            ("decimal", "decimal"),
            ("logmar", "logMAR"),
        ),
    ),
    "faces": (
        "Pictures (visual fields are always as the patient sees them)",
        (
            ("facing", "as you face the patient, or as on a scan: patient’s right on the left"),
            ("own", "from the patient’s own side: patient’s right on the right"),
        ),
    ),
}
"""What can be chosen: a heading, and the choices with their words; the first is the default."""


@dataclass(frozen=True, slots=True)
class Settings:
    """How this browser shows things; every value is one of `OPTIONS`."""

    scheme: str = "system"
    acuity: str = "written"
    faces: str = "facing"

    @property
    def convention(self) -> Convention:
        """Which way pictures face; those of visual fields are always as the patient sees."""
        return Convention(self.faces)

    def text(self) -> str:
        """Return the settings as the cookie keeps them."""
        return urlencode(asdict(self))


def settings_of(request: Request) -> Settings:
    """Return the settings of the browser that asks; what is unknown is left at its default."""
    kept = dict(parse_qsl(request.cookies.get(COOKIE, "").strip('"')))
    known = {
        name: kept[name]
        for name, (_, choices) in OPTIONS.items()
        if kept.get(name) in dict(choices)
    }
    return Settings(**known)


def settings_from(form: dict[str, str]) -> Settings:
    """Return the settings chosen in a form.

    Raises
    ------
    BadInput
        For a value that is not offered.
    """
    chosen = {}
    for field in fields(Settings):
        heading, choices = OPTIONS[field.name]
        value = form.get(field.name, choices[0][0])
        if value not in dict(choices):
            raise BadInput(heading.lower(), value, "one of " + ", ".join(dict(choices)))
        chosen[field.name] = value
    return Settings(**chosen)
