"""What cannot wait: guideline rules read from data, and the alerts an examination raises."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

import yaml
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from decussate.anatomy import load_atlas
from decussate.bibliography import check_source
from decussate.errors import BadInput
from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.examination.document import CONTEXT_KEYS, ONSETS, Examination
from decussate.examination.wording import finding_in_words, name_in_words
from decussate.sides import Side
from decussate.urgency.condition import Outcome, walk
from decussate.urgency.conditions import AnyCondition
from decussate.urgency.evidence import Evidence, Seen, Truth, gather_evidence, tests_of_sign
from decussate.urgency.finding_conditions import (
    NormalCondition,
    ResponseCondition,
    SetAsideCondition,
    SignCondition,
    UntestedCondition,
)
from decussate.urgency.story_conditions import ContextCondition, OnsetCondition, PlaceCondition

if TYPE_CHECKING:
    from decussate.localisation import Localisation

__all__ = ["Alert", "Level", "Rule", "evaluate", "load_rules", "read_rules"]

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


@dataclass(frozen=True, slots=True)
class Alert:
    """One thing that cannot wait, for a licensed clinician to judge.

    Parameters
    ----------
    rule : str
        Id of the rule.
    title, advice, time_frame : str
        From the rule.
    source : str
        Key of the bibliography, or ``common practice``, ``judgement``, ``from memory``.
    because : tuple of str
        The findings that raised it, in words.
    level : Level
        How soon.
    sides : tuple of Side
        The side or sides concerned; empty when the rule has none.
    not_examined : tuple of str
        Tests not yet done that would change it.
    mark : str
        How far the source was seen; empty when its text was seen.
    """

    rule: str
    title: str
    advice: str
    time_frame: str
    source: str
    because: tuple[str, ...]
    level: Level
    sides: tuple[Side, ...] = ()
    not_examined: tuple[str, ...] = ()
    mark: str = ""


_Raised = list[tuple[Rule, dict[Side, Outcome]]]
"""Rules that hold, and for which sides."""


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
        for condition in (c for top in (rule.when, rule.unless) if top for c in walk(top)):
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


def evaluate(
    examination: Examination, localisation: Localisation | None = None
) -> tuple[Alert, ...]:
    """Raise every alert the examination calls for, the most urgent first.

    A rule on findings and story holds whatever the localisation says.  What was not tested never
    silences a rule: it is listed with the alert as not yet examined.

    Parameters
    ----------
    examination : Examination
        What was recorded; known old deficits are set aside.
    localisation : Localisation, optional
        Where the lesion is likely to be, for the few rules that ask.

    Returns
    -------
    tuple of Alert
        Sorted by urgency, then in the order of the rules.
    """
    evidence = gather_evidence(examination, localisation)
    raised = _raised(load_rules(), evidence)
    alerts = [_alert(rule, held, evidence) for rule, held in _uncovered(raised, raised)]
    if evidence.story.onset is None:
        alerts += _asking_for_onset(evidence, raised)
    return tuple(sorted(alerts, key=lambda alert: alert.level.order))


def _raised(rules: Iterable[Rule], evidence: Evidence) -> _Raised:
    return [(rule, held) for rule in rules if rule.asks is None and (held := _held(rule, evidence))]


@cache
def _rules_on_onset() -> tuple[Rule, ...]:
    return tuple(
        rule
        for rule in load_rules()
        if any(
            isinstance(condition, OnsetCondition)
            for top in (rule.when, rule.unless)
            if top
            for condition in walk(top)
        )
    )


def _uncovered(wanted: _Raised, raised: _Raised) -> _Raised:
    """Leave out what rules that were raised include, on the sides they were raised for."""
    covered: dict[str, set[Side]] = {}
    for rule, held in raised:
        sides = held if rule.when.sided else Side
        for name in rule.includes:
            covered.setdefault(name, set()).update(sides)
    left: _Raised = []
    for rule, held in wanted:
        hidden = covered.get(rule.id, set())
        rest = {side: outcome for side, outcome in held.items() if side not in hidden}
        if rest and (rule.when.sided or not hidden):
            left.append((rule, rest))
    return left


def _asking_for_onset(evidence: Evidence, raised: _Raised) -> list[Alert]:
    """Raise the rule that asks for the onset, naming the rules some onset would raise."""
    known = {(rule.id, side) for rule, held in raised for side in held}
    would: dict[str, tuple[Rule, dict[Side, Outcome]]] = {}
    for onset in ONSETS:
        story = evidence.story.model_copy(update={"onset": onset})
        supposed = _raised(_rules_on_onset(), replace(evidence, story=story))
        for rule, held in _uncovered(_uncovered(supposed, supposed), raised):
            new = {side: held[side] for side in held if (rule.id, side) not in known}
            if new:
                would.setdefault(rule.id, (rule, {}))[1].update(new)
    if not would:
        return []
    first = sorted(would.values(), key=lambda one: one[0].level.order)
    titles = "; ".join(rule.title for rule, _ in first)
    reasons = tuple(reason for _, held in first for o in held.values() for reason in o.because)
    sides = {side for rule, held in first if rule.when.sided for side in held}
    return [
        Alert(
            rule=rule.id,
            title=rule.title,
            advice=f"{rule.advice} {titles}.",
            time_frame=rule.time_frame,
            source=rule.source,
            because=_in_words(reason for reason in reasons if not str(reason).startswith("onset:")),
            level=first[0][0].level,
            sides=tuple(side for side in Side if side in sides),
            mark=rule.mark,
        )
        for rule in load_rules()
        if rule.asks == "onset"
    ]


def _held(rule: Rule, evidence: Evidence) -> dict[Side, Outcome]:
    """Return the sides for which the rule holds; both when it does not depend on side."""
    held = {}
    for side in Side:
        outcome = rule.when.weigh(evidence, side, assume=True)
        if outcome.truth is not Truth.YES:
            continue
        if rule.unless and rule.unless.weigh(evidence, side, assume=False).truth is Truth.YES:
            continue
        held[side] = outcome
    return held


def _alert(rule: Rule, held: dict[Side, Outcome], evidence: Evidence) -> Alert:
    reasons = (reason for outcome in held.values() for reason in outcome.because)
    return Alert(
        rule=rule.id,
        title=rule.title,
        advice=rule.advice,
        time_frame=rule.time_frame,
        source=rule.source,
        because=_in_words(reasons),
        level=rule.level,
        sides=tuple(held) if rule.when.sided else (),
        not_examined=_not_examined(rule, tuple(held), evidence),
        mark=rule.mark,
    )


def _in_words(reasons: Iterable[Seen | str]) -> tuple[str, ...]:
    return tuple(
        finding_in_words(reason.finding, reason.test) if isinstance(reason, Seen) else reason
        for reason in dict.fromkeys(reasons)
    )


def _not_examined(rule: Rule, sides: tuple[Side, ...], evidence: Evidence) -> tuple[str, ...]:
    """Names of the tests, first of the catalogue for each sign, that nobody has done."""
    catalogue = load_catalogue()
    missing = []
    for sign in rule.would_change:
        keys = {(sign, None), *((sign, side) for side in sides)}
        if not keys & (evidence.by_sign.keys() | evidence.set_aside):
            missing += [name_in_words(test) for test in tests_of_sign(catalogue, sign)][:1]
    return tuple(missing)
