"""The alerts an examination raises: every rule held against findings, story and place."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

from decussate.examination.catalogue import load_catalogue
from decussate.examination.document import ONSETS, Examination
from decussate.examination.wording import finding_in_words, name_in_words
from decussate.sides import Side
from decussate.urgency.condition import Outcome
from decussate.urgency.evidence import Evidence, Seen, Truth, gather_evidence, tests_of_sign
from decussate.urgency.rules import Level, Rule, load_rules

if TYPE_CHECKING:
    from decussate.localisation import Localisation

__all__ = ["Alert", "evaluate"]


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
    return tuple(rule for rule in load_rules() if rule.asks_onset)


def _could_hold(rule: Rule, evidence: Evidence) -> bool:
    """Whether a rule could hold if the onset were known: what is unknown may become yes or no."""
    tried = (rule.when.weigh(evidence, side, assume=True).truth for side in rule.sides_tried)
    return not rule.no_stays_no or any(truth is not Truth.NO for truth in tried)


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
    rules = [rule for rule in _rules_on_onset() if _could_hold(rule, evidence)]
    for onset in ONSETS:
        story = evidence.story.model_copy(update={"onset": onset})
        supposed = _raised(rules, replace(evidence, story=story))
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
    for side in rule.sides_tried:
        outcome = rule.when.weigh(evidence, side, assume=True)
        if outcome.truth is not Truth.YES:
            continue
        if rule.unless and rule.unless.weigh(evidence, side, assume=False).truth is Truth.YES:
            continue
        held[side] = outcome
        if len(rule.sides_tried) == 1:
            return dict.fromkeys(Side, outcome)
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
