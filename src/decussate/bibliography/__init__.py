"""The one bibliography: every number and rule names its source by a key kept here."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files
from typing import Any

import yaml
from yaml import CSafeLoader

from decussate.errors import BadInput

__all__ = ["UNSOURCED", "check_source", "cite", "load_sources"]

UNSOURCED = frozenset({"common practice", "judgement", "from memory"})
"""What a row says in place of a key when no publication stands behind it."""


@cache
def load_sources() -> dict[str, dict[str, Any]]:
    """Every source by its key, with the field names of the Citation Style Language.

    Returns
    -------
    dict of str to dict
        Key to fields (``title``, ``author``, ``container-title``, ``issued``, ``DOI``, ``note``).
    """
    text = files(__name__).joinpath("sources.yaml").read_text(encoding="utf-8")
    loaded: dict[str, dict[str, Any]] = yaml.load(text, Loader=CSafeLoader)
    return loaded


def check_source(key: object, where: str) -> str:
    """Return a source key that is known, or one of the words for an unsourced value.

    Parameters
    ----------
    key : object
        The key as read from a data row.
    where : str
        File and row, for the message.

    Returns
    -------
    str
        The key.

    Raises
    ------
    BadInput
        If the key is neither in the bibliography nor one of `UNSOURCED`.
    """
    if isinstance(key, str) and (key in UNSOURCED or key in load_sources()):
        return key
    raise BadInput(
        "source",
        key,
        f"a key of bibliography/sources.yaml, or one of {', '.join(sorted(UNSOURCED))}",
        where=where,
    )


@cache
def cite(key: str) -> str:
    """Write a source out in one line, as a reader looks it up.

    Parameters
    ----------
    key : str
        A key of the bibliography, or one of `UNSOURCED`.

    Returns
    -------
    str
        Author, title, journal, year and place in it, as far as they are known; one of
        `UNSOURCED` stands for itself.

    Raises
    ------
    BadInput
        If the key is not known.
    """
    if check_source(key, "") in UNSOURCED:
        return key
    source = load_sources()[key]
    author, title = (str(source.get(field, "")).rstrip(".") for field in ("author", "title"))
    parts = [part if part.endswith("?") else f"{part}." for part in (author, title) if part]
    place = " ".join(
        str(source[field])
        for field in ("container-title", "publisher", "issued")
        if source.get(field)
    )
    note = str(source.get("note", ""))
    in_volume = re.match(r"\d+[(:]", note) is not None
    place += (";" if place and in_volume else ". " if place and note else "") + note
    if "DOI" in source:
        place += f"{'; ' if place else ''}doi:{source['DOI']}"
    return " ".join((*parts, place)).strip()
