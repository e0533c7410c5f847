"""Signs: states of the patient that tests try to reveal, each computed from pathways."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib.resources.abc import Traversable

import yaml

from decussate.bibliography import check_source
from decussate.data_rows import Row
from decussate.errors import BadInput

__all__ = ["Scale", "Sign", "read_scales", "read_signs"]


@dataclass(frozen=True, slots=True)
class Scale:
    """The states of a graded sign.

    Attributes
    ----------
    states : Mapping of str to float
        State to the level it stands for (0 no loss, 1 full loss; or -1 left, 1 right), ascending.
    blur : float
        Standard deviation of level, in the same unit, over which neighbouring states are confused.
    """

    states: Mapping[str, float]
    blur: float


@dataclass(frozen=True, slots=True)
class Sign:
    """A state of the patient.

    Attributes
    ----------
    id, name : str
        Key and the clinician's name.
    paired : bool
        Whether the right and the left have one each.
    states : tuple of str
        State names.
    neutral : str
        The state of health.
    level : str
        Expression over pathway conduction; empty for a sign with categories.
    scale : Scale or None
        None for a sign with categories.
    categories : Mapping of str to str
        State to the expression of its strength; empty for a graded sign.
    background : float
        Probability of an abnormal state without a relevant lesion.
    shows : float
        Probability that full damage lets the sign be seen.
    source : str
        Key of the bibliography.
    """

    id: str
    name: str
    paired: bool
    states: tuple[str, ...]
    neutral: str
    level: str
    scale: Scale | None
    categories: Mapping[str, str]
    background: float
    shows: float
    source: str
    where: str

    def mirrored_state(self, state: str) -> str:
        """Return the state as seen in the patient's mirror image."""
        if {"right", "left"} <= set(self.states):
            return {"right": "left", "left": "right"}.get(state, state)
        return state


def read_scales(file: Traversable) -> Mapping[str, Scale]:
    """Read ``scales.yaml``."""
    rows = yaml.safe_load(file.read_text(encoding="utf-8"))
    scales = {}
    for name, row in rows.items():
        levels = list(row["states"].values())
        if 0 not in levels or levels != sorted(levels):
            raise BadInput(
                "states",
                row["states"],
                "ascending levels that include 0",
                where=f"{file.name} ({name})",
            )
        scales[name] = Scale(row["states"], float(row["blur"]))
    return scales


def _read_sign(row: Row, scales: Mapping[str, Scale]) -> Sign:
    row.only(
        "id",
        "name",
        "sides",
        "scale",
        "level",
        "categories",
        "rest",
        "background",
        "shows",
        "source",
    )
    paired = row.one_of("sides", ("each", "whole")) == "each"
    if ("categories" in row) == ("level" in row):
        raise BadInput("sign", sorted(row), "either level or categories", where=row.where)
    scale = scales[row.one_of("scale", tuple(scales))] if "level" in row else None
    if scale:
        states = tuple(scale.states)
        neutral = next(state for state, level in scale.states.items() if level == 0)
    else:
        neutral = row["rest"]
        states = (neutral, *row["categories"])
    return Sign(
        id=row["id"],
        name=row["name"],
        paired=paired,
        states=states,
        neutral=neutral,
        level=row.get("level", ""),
        scale=scale,
        categories=row.get("categories", {}),
        background=row.number("background", 0.0005, 0.5),
        shows=row.number("shows", 0.05, 1.0, 0.96),
        source=check_source(row["source"], row.where),
        where=row.where,
    )


def read_signs(rows: Iterable[Row], scales: Mapping[str, Scale]) -> Mapping[str, Sign]:
    """Read ``signs.yaml``.

    Raises
    ------
    BadInput
        For an unknown scale or source, or a number out of range.
    """
    return {row["id"]: _read_sign(row, scales) for row in rows}
