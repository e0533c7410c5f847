"""Findings of a fragment of shorthand while it is read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from pydantic import ValidationError

from decussate.errors import BadInput
from decussate.examination.bedside_test import Test
from decussate.examination.checking import measured_number, measured_response
from decussate.examination.document import (
    ABNORMAL,
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Finding,
    MeasuredValue,
)
from decussate.examination.shorthand_lexicon import AWAY, TOWARDS, Claim, Head, Phrase
from decussate.examination.shorthand_numbers import Reading, measured, written_value
from decussate.examination.shorthand_remarks import joined, remarks_of
from decussate.examination.shorthand_statements import Group, Statement
from decussate.examination.shorthand_tokens import Clause, NotUnderstood, Sides, Token, own_name
from decussate.sides import Side

__all__ = ["Drafts"]

BOTH = (Side.RIGHT, Side.LEFT)
_OF_BOTH = ("normal", NOT_TESTED, COULD_NOT_BE_TESTED)  # said without a side, of both sides


@dataclass(slots=True)
class _Draft:
    response: str
    firm: bool
    measurement: MeasuredValue | None = None


class Drafts:
    """Findings of a fragment while it is read; one of a test and side, or a contradiction."""

    def __init__(self, clause: Clause) -> None:
        self.clause = clause
        self.lexicon = clause.lexicon
        self.catalogue = clause.lexicon.catalogue
        self.drafts: dict[tuple[str, Side | None], _Draft] = {}
        self.extras: dict[tuple[str, Side | None], dict[str, Any]] = {}
        self.old_pairs: list[tuple[str, Side | None]] = []
        self.group = Group(None)

    def findings(self) -> list[Finding]:
        """Build the findings in the order they were said."""
        built = []
        for (test, side), draft in self.drafts.items():
            extra = self.extras.get((test, side), {})
            if draft.response == COULD_NOT_BE_TESTED:
                extra = {"reason": self.lexicon.no_reason} | extra
            elif "reason" in extra:
                raise NotUnderstood("a reason belongs to `unable`")
            said = {"response": draft.response, "measurement": draft.measurement, **extra}
            try:
                built.append(Finding(test=test, side=side, **said))
            except ValidationError:
                raise NotUnderstood(
                    "a word or remark in it is longer than a finding holds"
                ) from None
        return built

    def add(self, statement: Statement, group: Group, old: bool) -> None:
        """Read one group of one statement."""
        head, name = statement.head, statement.name
        before = set(self.drafts)
        kinds = {token.kind for token in group.values}
        touched: set[tuple[str, Side | None]] = set()
        written = written_value(head, group.values, self.clause)
        self.group = group
        if statement.negated:
            if kinds:
                raise NotUnderstood("`no` with a further response is not clear")
            claims = self._negated(head, name)
            touched |= self._claims(claims, head, name, group.sides, firm=True)
        elif written is not None:
            words, value = written
            touched |= self._values(head, name, replace(group, values=list(words)))
            touched |= self._measures(head, name, group.sides, [value])
        elif not group.values:
            if old and not head.findings:
                self.old_pairs += self._pairs(head, name, group.sides)
                return
            self._refuse_bare_comparison(head, name, group)
            touched |= self._claims(self._alone(head, name, group.sides), head, name, group.sides)
        else:
            touched |= self._values(head, name, group)
        for key in touched:
            untested = self.drafts[key].response == COULD_NOT_BE_TESTED
            extra = remarks_of(group.remarks, self.clause.note, untested)
            self.extras[key] = joined(self.extras.get(key, {}), extra)
        if group.remarks and not touched:
            raise NotUnderstood("the remark belongs to no finding")
        self.old_pairs += [key for key in self.drafts if key not in before]

    def _values(
        self, head: Head, name: Phrase, group: Group
    ) -> set[tuple[str, Side | None]]:  # fmt: skip
        touched: set[tuple[str, Side | None]] = set()
        numbers = [token for token in group.values if token.kind == "number"]
        replaced = False
        added: list[Claim] = []
        for token in group.values:
            if token.kind == "number":
                continue
            if token.kind == "negated":
                claims = self._negated_value(head, name, token, group.sides)
                touched |= self._claims(claims, head, name, group.sides, firm=True)
                replaced = True
                continue
            if token.kind == "status":
                claims = tuple(Claim(test, token.value) for test in self._tests_of(head))
                touched |= self._claims(claims, head, name, group.sides, firm=True)
                replaced = True
                continue
            extra = head.adds.get(token.key)
            if extra is not None:
                added += extra
                continue
            claims = self._meaning(head, name, token, group.sides)
            touched |= self._claims(claims, head, name, group.sides, firm=True)
            replaced = True
        if added and not replaced:
            touched |= self._claims(head.findings, head, name, group.sides)
        touched |= self._claims(tuple(added), head, name, group.sides, firm=True)
        if numbers:
            values = [
                reading
                for token in numbers
                for reading in measured(head, token, self.clause, group.throughout)
            ]
            touched |= self._measures(head, name, group.sides, values)
        return touched

    def _refuse_bare_comparison(self, head: Head, name: Phrase, group: Group) -> None:
        """Refuse `hearing L>R`: of a test, not of a sign, the greater side may be the better."""
        compared = any(token.key == (">",) for token in group.remarks)
        if compared and not (head.findings and self.lexicon.names_what_is_wrong(name)):
            raise NotUnderstood("it is not clear which side is the worse one")

    # -------------------------------------------------------- what words mean

    def _alone(self, head: Head, name: Phrase, sides: Sides) -> tuple[Claim, ...]:
        if head.findings:
            return head.findings
        if len(head.tests) == 1 and sides and self._directed(head.tests[0]):
            return (Claim(head.tests[0].id, TOWARDS),)
        raise NotUnderstood(f"no response is given for {' '.join(name)}")

    def _negated(self, head: Head, name: Phrase) -> tuple[Claim, ...]:
        if head.findings or self.lexicon.names_what_is_wrong(name):
            if not head.normal:
                raise NotUnderstood(f"say which findings of {' '.join(name)} were absent")
            return tuple(Claim(test, "normal") for test in head.normal)
        claims = head.words.get(("absent",))
        if claims is None:
            raise NotUnderstood(f"`no` is not clear with {' '.join(name)}")
        return claims

    def _negated_value(
        self, head: Head, name: Phrase, token: Token, sides: Sides
    ) -> tuple[Claim, ...]:
        """Find what `no` and a response mean: normal, where the test has no third state."""
        claims = self._meaning(head, name, token, sides)
        loss = any(part in self.lexicon.wrong for part in token.key)
        for claim in claims:
            codes = self.catalogue.test(claim.test).responses
            graded = {"normal", "reduced", "absent"} == set(codes) and loss
            if claim.response == "normal" or not (graded or len(codes) == 2):
                raise NotUnderstood("`no` with a further response is not clear")
        return tuple(replace(claim, response="normal") for claim in claims)

    def _meaning(
        self, head: Head, name: Phrase, token: Token, sides: Sides
    ) -> tuple[Claim, ...]:  # fmt: skip
        """Find what a word after a name means."""
        states = self.lexicon.states
        wrong = bool(head.findings) and self.lexicon.names_what_is_wrong(name)
        if wrong and token.key in states["absent"] and head.normal:
            return tuple(Claim(test, "normal") for test in head.normal)
        if wrong and token.key in states["present"]:
            return self._alone(head, name, sides)
        directed = len(head.tests) == 1 and self._directed(head.tests[0])
        if sides and directed and token.key in states["present"]:
            return (Claim(head.tests[0].id, TOWARDS),)
        if token.key in head.words:
            return head.words[token.key]
        plain = self.lexicon.words.get(token.key)
        if plain is not None and plain.kind == "normal" and head.normal and len(head.tests) != 1:
            return tuple(Claim(test, "normal") for test in head.normal)
        own = [(test, own_name(test, self.lexicon).words.get(token.key)) for test in head.tests]
        fitting = [(test, claims) for test, claims in own if claims is not None]
        listed = [test for test, _ in fitting if test.id in head.normal]
        if len({test.sign for test in listed}) > 1:
            names = " or ".join(test.name.lower() for test in listed)
            raise NotUnderstood(f"of which, {names}? Name it")
        if fitting and fitting[0][1]:
            return fitting[0][1]
        if token.kind == "normal" and head.normal:
            return tuple(Claim(test, "normal") for test in head.normal)
        written = self.clause.note[token.start : token.end]
        if token.kind == "unknown":
            raise NotUnderstood(f"{written!r} is not a word it knows")
        raise NotUnderstood(f"{written!r} is not a response to {' '.join(name)}")

    def _tests_of(self, head: Head) -> Iterable[str]:
        if head.normal:
            return head.normal
        return dict.fromkeys([*(t.id for t in head.tests), *(c.test for c in head.findings)])

    # -------------------------------------------------------- whose side

    def _claims(
        self, claims: Iterable[Claim], head: Head, name: Phrase, sides: Sides, *, firm: bool = False
    ) -> set[tuple[str, Side | None]]:
        touched = set()
        for claim in claims:
            test = self.catalogue.test(claim.test)
            for side, response in self._placed(claim, test, head, name, sides):
                self._put((test.id, side), response, firm and response != ABNORMAL)
                touched.add((test.id, side))
        return touched

    def _placed(
        self, claim: Claim, test: Test, head: Head, name: Phrase, sides: Sides
    ) -> list[tuple[Side | None, str]]:
        """Say on which side a claim lies, or which direction it means."""
        if head.both and sides not in (None, BOTH):
            raise NotUnderstood(f"{' '.join(name)} is of both sides")
        if test.paired:
            meant = BOTH if claim.side == "both" or head.both else sides
            if meant is None and self._same_part(test):
                meant = self.clause.only_side
            if meant is None:
                both = self.group.throughout or self.lexicon.names_both(name)
                if claim.response not in _OF_BOTH and not both:
                    raise NotUnderstood("the side is missing: write R, L or both")
                meant = BOTH
            other = claim.side == "other"
            return [(side.other if other else side, claim.response) for side in meant]
        if claim.response not in (TOWARDS, AWAY):
            its_own = head.id == test.id and not self.group.carried
            if sides is not None and its_own and claim.response in test.codes:
                raise NotUnderstood(f"{test.name.lower()} has no side")
            return [(None, claim.response)]
        if sides is None:
            return [(None, ABNORMAL)]
        if len(sides) > 1:
            raise NotUnderstood(f"{test.name.lower()} can name one side only")
        side = sides[0] if claim.response == TOWARDS else sides[0].other
        return [(None, side.value)]

    def _same_part(self, test: Test) -> bool:
        """Whether the one side spoken of so far is meant: abduction R -2, adduction full."""
        before = self.clause.head
        same = any(other.nerve == test.nerve for other in before.tests) if before else False
        return same and len(self.clause.only_side or ()) == 1

    def _pairs(self, head: Head, name: Phrase, sides: Sides) -> list[tuple[str, Side | None]]:
        claims = [Claim(test, "normal") for test in self._tests_of(head)]
        placed = []
        for claim in claims:
            test = self.catalogue.test(claim.test)
            if test.paired and sides is None:
                raise NotUnderstood("the side is missing: write R, L or both")
            meant = sides if test.paired else (None,)
            placed += [(test.id, side) for side in meant or ()]
        return placed

    @staticmethod
    def _directed(test: Test) -> bool:
        return not test.paired and {"right", "left"} <= set(test.responses)

    def _put(
        self,
        key: tuple[str, Side | None],
        response: str,
        firm: bool,
        measurement: MeasuredValue | None = None,
    ) -> None:
        draft = self.drafts.get(key)
        if draft is None:
            self.drafts[key] = _Draft(response, firm, measurement)
            return
        if measurement is not None:
            if draft.measurement is not None and draft.measurement != measurement:
                raise NotUnderstood(f"two values of {self.catalogue.test(key[0]).name.lower()}")
            draft.measurement = measurement
        if draft.response == response:
            draft.firm = draft.firm or firm
        elif draft.response == ABNORMAL or (firm and not draft.firm):
            draft.response, draft.firm = response, firm
        elif response != ABNORMAL and firm == draft.firm:
            name = self.catalogue.test(key[0]).name.lower()
            raise NotUnderstood(f"{name} is said to be both {draft.response} and {response}")

    # -------------------------------------------------------- measurements

    def _measures(
        self,
        head: Head,
        name: Phrase,
        sides: Sides,
        values: Iterable[Reading],
    ) -> set[tuple[str, Side | None]]:
        touched = set()
        for reading in values:
            test, value = reading.test, reading.value
            try:
                meant = measured_response(test, value)
            except BadInput as error:
                raise NotUnderstood(error.sentence) from None
            claim = Claim(test.id, meant or "")
            if meant is None and self._directed(test) and sides:
                claim = Claim(test.id, TOWARDS)
            for side, response in self._placed(claim, test, head, name, sides):
                key = (test.id, side)
                firm = bool(response)
                if not response:
                    response, firm = self._unbanded(head, test, side, value), False
                self._put(key, response, firm, value)
                self.clause.measured[key] = value
                if reading.note:
                    extra = {"comment": reading.note}
                    self.extras[key] = joined(self.extras.get(key, {}), extra)
                touched.add(key)
        return touched

    def _unbanded(self, head: Head, test: Test, side: Side | None, value: MeasuredValue) -> str:
        """Find the response a value means where the catalogue gives no bands."""
        if (test.id, side) in self.drafts:
            return self.drafts[(test.id, side)].response
        rule = self.lexicon.comparisons.get(test.id)
        if rule:
            other = self.clause.measured.get((rule["against"], side))
            if other is None:
                against = self.catalogue.test(rule["against"]).name.lower()
                raise NotUnderstood(f"{test.name.lower()} needs {against} of that side before it")
            than = measured_number(self.catalogue.test(rule["against"]), other)
            better = than - measured_number(test, value) >= rule["by"]
            return str(rule["better"] if better else rule["same"])
        if test.id in self.lexicon.measured:
            return self.lexicon.measured[test.id]
        for claim in head.findings:
            if claim.test == test.id:
                return ABNORMAL if claim.response == TOWARDS else claim.response
        raise NotUnderstood("say what was found as well as its measurement")
