"""What cannot wait: guideline rules, read from data and checked."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from enum import StrEnum
from functools import cache, cached_property
from importlib.resources import files
from typing import Any, Literal

import yaml
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from decussate.anatomy import load_atlas
from decussate.bibliography import check_source
from decussate.errors import BadInput
from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.examination.document import CONTEXT_KEYS
from decussate.sides import Side
from decussate.urgency.condition import Condition, walk
from decussate.urgency.conditions import AnyCondition
from decussate.urgency.evidence import tests_of_sign
from decussate.urgency.finding_conditions import (
    NormalCondition,
    ResponseCondition,
    SetAsideCondition,
    SignCondition,
    UntestedCondition,
)
from decussate.urgency.story_conditions import (
    ContextCondition,
    NotRecordedCondition,
    OnsetCondition,
    PlaceCondition,
)

__all__ = ["Level", "Rule", "load_rules", "read_rules"]

RULES_FILE = "urgency/data/rules.yaml"


class Level(StrEnum):
    """How soon, most urgent first."""

    EMERGENCY = "emergency"
    SAME_DAY = "same day"
    URGENT = "urgent"
    SOON = "soon"

    @property
    def order(self) -> int:
        """0 for the most urgent."""
        return list(Level).index(self)


class Rule(BaseModel):
    """One row of the rules.

    Parameters
    ----------
    id : str
        Neutral name.
    title : str
        The signs, in a few words.
    advice : str
        What they can mean and what to arrange; never a diagnosis.
    time_frame : str
        By when.
    level : Level
        How soon, for sorting.
    when : condition
        Raises the alert when it is true for a side.
    unless : condition, optional
        Silences the alert only when it is known to be true.
    would_change : tuple of str
        Signs that bear on the rule; those not examined are listed with the alert.
    includes : tuple of str
        Rules of the same or lesser urgency that need not be repeated beside this one.
    asks : str, optional
        ``onset``: the rule holds when the onset was not recorded and some onset would raise another
        rule. It names those rules and takes the level of the most urgent.
    source : str
        Key of the bibliography, or ``common practice``, ``judgement``, ``from memory``.
    mark : str
        How far the source was seen; empty when its text was seen.
    note : str
        What a corrector should know.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    title: str = Field(min_length=1)
    advice: str = Field(min_length=1)
    time_frame: str = Field(min_length=1)
    level: Level
    when: AnyCondition
    unless: AnyCondition | None = None
    would_change: tuple[str, ...] = ()
    includes: tuple[str, ...] = ()
    asks: Literal["onset"] | None = None
    source: str
    mark: Literal["", "secondary", "from memory"] = ""
    note: str = ""

    @cached_property
    def conditions(self) -> tuple[Condition, ...]:
        """Every condition of the rule, and those inside them."""
        return tuple(c for top in (self.when, self.unless) if top for c in walk(top))

    @cached_property
    def sides_tried(self) -> tuple[Side, ...]:
        """The sides it is tried for; one is enough when both give the same answer."""
        sided = self.when.sided or (self.unless is not None and self.unless.sided)
        return tuple(Side) if sided else (Side.RIGHT,)

    @cached_property
    def asks_onset(self) -> bool:
        """Whether the onset of the illness counts."""
        return any(isinstance(condition, OnsetCondition) for condition in self.conditions)

    @cached_property
    def no_stays_no(self) -> bool:
        """Whether an answer of no is final: it is, unless the rule asks what is missing."""
        return not any(isinstance(one, NotRecordedCondition) for one in self.conditions)


@cache
def load_rules() -> tuple[Rule, ...]:
    """Every rule, in the order of the data file.

    Returns
    -------
    tuple of Rule
        Checked against the catalogue of tests and the bibliography.

    Raises
    ------
    BadInput
        Naming file, row and field of a row that cannot be used.
    """
    return read_rules(
        files("decussate").joinpath(RULES_FILE).read_text(encoding="utf-8"), RULES_FILE
    )


def read_rules(text: str, where: str) -> tuple[Rule, ...]:
    """Read and check rules.

    Parameters
    ----------
    text : str
        YAML with a list ``rules``; other entries may hold anchors the rules refer to.
    where : str
        Name of the file, for messages.

    Returns
    -------
    tuple of Rule
        In the order written.

    Raises
    ------
    BadInput
        For a row with an unknown field, sign, test, state, source or rule.
    """
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    loaded: dict[str, Any] = yaml.load(text, Loader=loader)  # noqa: S506  a safe loader
    rules = tuple(_rule(row, where) for row in loaded["rules"])
    catalogue = load_catalogue()
    by_id: dict[str, Rule] = {}
    for rule in rules:
        place = f"{where}, rule {rule.id}"
        if rule.id in by_id:
            raise BadInput("id", rule.id, "a name used by one rule only", where=place)
        by_id[rule.id] = rule
        check_source(rule.source, place)
        for condition in rule.conditions:
            _check_names(condition, catalogue, place)
        _check_among("would_change", rule.would_change, load_atlas().signs, place)
    for rule in rules:
        for included in rule.includes:
            if included not in by_id or by_id[included].level.order < rule.level.order:
                raise BadInput(
                    "includes",
                    included,
                    "a rule of this file that is no more urgent",
                    where=f"{where}, rule {rule.id}",
                )
    return rules


def _rule(row: object, where: str) -> Rule:
    try:
        return Rule.model_validate(row)
    except ValidationError as error:
        first = error.errors()[0]
        name = row.get("id", "?") if isinstance(row, dict) else "?"
        steps = [str(step) for step in first["loc"] if not str(step).endswith("Condition")]
        unknown = first["type"] == "union_tag_not_found"
        raise BadInput(
            ".".join(steps) or "rule",
            first["input"],
            "a condition that begins with one of the words listed at the head of the file"
            if unknown
            else first["msg"],
            where=f"{where}, rule {name}",
        ) from error


def _check_names(condition: object, catalogue: Catalogue, where: str) -> None:
    match condition:
        case SignCondition():
            states = _check_sign(condition.sign, condition.side, where)
            _check_among("states", condition.states, states, where)
            if condition.towards is not None:
                _check_among("towards", (Side.RIGHT, Side.LEFT), states, where)
        case NormalCondition():
            _check_sign(condition.normal, condition.side, where)
        case UntestedCondition():
            _check_sign(condition.untested, condition.side, where)
        case SetAsideCondition():
            _check_sign(condition.set_aside, condition.side, where)
        case ResponseCondition():
            codes = catalogue.test(condition.test).codes
            _check_among("responses", condition.responses, codes, where)
        case ContextCondition():
            _check_among("context", condition.context, CONTEXT_KEYS, where)
        case PlaceCondition():
            places = load_atlas().places
            _check_among("places", condition.places, places, where)
            regions = {place.region for place in places.values()}
            _check_among("regions", condition.regions, regions, where)


def _check_sign(name: str, side: str | None, where: str) -> tuple[str, ...]:
    """Check that a sign exists, that a test reveals it, and that a side is given if needed."""
    _check_among("sign", (name,), load_atlas().signs, where)
    sign = load_atlas().signs[name]
    if not any(tests_of_sign(load_catalogue(), name)):
        raise BadInput("sign", name, "a sign that a test of the catalogue reveals", where=where)
    if sign.paired != (side is not None):
        expected = "same, other, either or both" if sign.paired else "no side for this sign"
        raise BadInput(f"side of {name}", side, expected, where=where)
    return sign.states


def _check_among(field: str, names: Iterable[str], known: Iterable[str], where: str) -> None:
    allowed = tuple(known)
    for name in names:
        if name not in allowed:
            near = difflib.get_close_matches(name, allowed, 3)
            hint = f"Did you mean {' or '.join(near)}?" if near else ""
            raise BadInput(field, name, "a name that exists", hint=hint, where=where)
