"""The one bibliography: every number and rule names its source by a key kept here."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

import yaml
from yaml import CSafeLoader

from decussate.errors import BadInput

__all__ = ["UNSOURCED", "check_source", "load_sources"]

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
    loaded: dict[str, dict[str, Any]] = yaml.load(text, Loader=CSafeLoader)  # noqa: S506 (safe)
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
