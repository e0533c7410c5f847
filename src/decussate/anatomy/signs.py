"""Signs: states of the patient that tests try to reveal, each computed from pathways."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from importlib.resources.abc import Traversable
from typing import Any

import yaml

from decussate.bibliography import check_source
from decussate.data_rows import Row
from decussate.errors import BadInput

__all__ = ["Scale", "Sign", "read_scales", "read_signs"]


@dataclass(frozen=True, slots=True)
class Scale:
    """The states of a sign with levels, and the grades within them.

    Attributes
    ----------
    states : Mapping of str to float
        State to the level it stands for (0 no loss, 1 full loss; or -1 left, 1 right), ascending.
    blur : float
        Standard deviation of level, in the same unit, over which neighbouring states are confused.
    grades : Mapping of str to (str, float)
        Grade to its state and level, ascending; the states themselves where they are not graded.
    grade_blur : float
        As `blur`, for neighbouring grades of one state.
    met : tuple of float
        Of abnormal states met without a relevant lesion, the share of each grade, mildest first;
        empty where nothing is known of it.
    """

    states: Mapping[str, float]
    blur: float
    grades: Mapping[str, tuple[str, float]]
    grade_blur: float
    met: tuple[float, ...] = ()

    @property
    def directed(self) -> bool:
        """Whether states lie to either side of health (left and right, in and out)."""
        return min(self.states.values()) < 0


@dataclass(frozen=True)
class Sign:
    """A state of the patient.

    Attributes
    ----------
    id, name : str
        Key and the clinician's name.
    paired : bool
        Whether the right and the left have one each.
    states : tuple of str
        State names: what an examiner can say.
    grades : Mapping of str to str
        Each grade, in order, to its state: what the model tells apart. A state without grades is
        its own grade.
    neutral : str
        The state of health; never graded.
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
    grades: Mapping[str, str]
    neutral: str
    level: str
    scale: Scale | None
    categories: Mapping[str, str]
    background: float
    shows: float
    source: str
    where: str

    def __hash__(self) -> int:
        """Return a hash by the id, so that what follows from a sign can be kept by it."""
        return hash(self.id)

    def mirrored_state(self, state: str) -> str:
        """Return a state or grade (``slight_right``) as in the patient's mirror image."""
        if {"right", "left"} <= set(self.states):
            *grade, side = state.split("_")
            return "_".join([*grade, {"right": "left", "left": "right"}.get(side, side)])
        return state

    @cached_property
    def healthy(self) -> int:
        """Position of the state of health among the grades."""
        return list(self.grades).index(self.neutral)

    @cached_property
    def severity(self) -> tuple[str, ...]:
        """Names of the abnormal grades, mildest first; those of one direction, without its name."""
        names = list(self.grades)
        if self.scale is None or not self.scale.directed:
            return tuple(names[i] for found in self.by_severity.values() for i in found)
        direction, found = list(self.by_severity.items())[-1]
        return tuple(names[i].removesuffix(f"_{direction}") for i in found)

    @cached_property
    def by_severity(self) -> Mapping[str, tuple[int, ...]]:
        """Positions of the grades of each abnormal state among all grades, mildest first."""
        at: dict[str, list[int]] = {state: [] for state in self.states if state != self.neutral}
        for position, (grade, state) in enumerate(self.grades.items()):
            if grade != self.neutral:
                at[state].append(position)
        level = self.scale.grades if self.scale else {}
        names = list(self.grades)
        return {
            state: tuple(sorted(found, key=lambda i: abs(level[names[i]][1]) if level else 0.0))
            for state, found in at.items()
        }


def read_scales(file: Traversable) -> Mapping[str, Scale]:
    """Read ``scales.yaml``.

    Raises
    ------
    BadInput
        If levels do not ascend, health is not at 0 or is graded, or a grade is named twice.
    """
    rows = yaml.safe_load(file.read_text(encoding="utf-8"))
    return {name: _read_scale(row, f"{file.name} ({name})") for name, row in rows.items()}


def _read_scale(fields: dict[str, Any], where: str) -> Scale:
    row = Row(fields, where)
    row.only("states", "blur", "grades", "grade_blur", "met")
    states: dict[str, float] = row["states"]
    levels = list(states.values())
    if 0 not in levels or levels != sorted(levels):
        raise BadInput("states", states, "ascending levels that include 0", where=where)
    within: dict[str, dict[str, float]] = row.get("grades", {})
    if any(states.get(state, 0) == 0 for state in within):
        raise BadInput("grades", list(within), "abnormal states of this scale", where=where)
    graded = [
        (grade, (state, float(level)))
        for state, at in states.items()
        for grade, level in within.get(state, {state: at}).items()
    ]
    ascending = [level for _, (_, level) in graded]
    if ascending != sorted(set(ascending)) or len(dict(graded)) < len(graded):
        raise BadInput("grades", dict(graded), "ascending levels, each name once", where=where)
    blur = row.number("blur", 0.01, 1.0)
    met: dict[str, float] = row.get("met", {})
    last = [*within.items()][-1:]
    mildest_first = [name.removesuffix(f"_{state}") for state, names in last for name in names]
    if met and (list(met) != mildest_first or abs(sum(met.values()) - 1) > 1e-9):
        raise BadInput("met", met, f"shares of {mildest_first} that add up to 1", where=where)
    return Scale(
        states, blur, dict(graded), row.number("grade_blur", 0.01, 1.0, blur), tuple(met.values())
    )


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
        grades = {grade: state for grade, (state, _) in scale.grades.items()}
        neutral = next(state for state, level in scale.states.items() if level == 0)
    else:
        neutral = row["rest"]
        states = (neutral, *row["categories"])
        grades = {state: state for state in states}
    return Sign(
        id=row["id"],
        name=row["name"],
        paired=paired,
        states=states,
        grades=grades,
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
