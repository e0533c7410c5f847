"""Findings of a fragment of shorthand while it is read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from decussate.errors import BadInput
from decussate.examination.bedside_test import Test
from decussate.examination.checking import AS_WRITTEN, measured_number, measured_response
from decussate.examination.document import (
    ABNORMAL,
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Finding,
    MeasuredValue,
)
from decussate.examination.shorthand_lexicon import AWAY, TOWARDS, Claim, Head, Phrase
from decussate.examination.shorthand_remarks import remarks_of
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

    def findings(self) -> list[Finding]:
        """Build the findings in the order they were said."""
        built = []
        for (test, side), draft in self.drafts.items():
            extra = self.extras.get((test, side), {})
            if draft.response == COULD_NOT_BE_TESTED:
                extra = {"reason": self.lexicon.no_reason} | extra
            elif "reason" in extra:
                raise NotUnderstood("a reason belongs to `unable`")
            built.append(
                Finding(
                    test=test,
                    side=side,
                    response=draft.response,
                    measurement=draft.measurement,
                    **extra,
                )
            )
        return built

    def add(self, statement: Statement, group: Group, old: bool) -> None:
        """Read one group of one statement."""
        head, name = statement.head, statement.name
        before = set(self.drafts)
        kinds = {token.kind for token in group.values}
        touched: set[tuple[str, Side | None]] = set()
        written = self._text_value(head, group)
        if statement.negated:
            if kinds:
                raise NotUnderstood("`no` with a further response is not clear")
            claims = self._negated(head, name)
            touched |= self._claims(claims, head, name, group.sides, firm=True)
        elif written is not None:
            words, value = written
            touched |= self._values(head, name, Group(group.sides, words))
            touched |= self._measures(head, name, group.sides, [value])
        elif not group.values:
            if old and not head.findings:
                self.old_pairs += self._pairs(head, name, group.sides)
                return
            touched |= self._claims(self._alone(head, name, group.sides), head, name, group.sides)
        else:
            touched |= self._values(head, name, group)
        for key in touched:
            extra = remarks_of(group.remarks, self.drafts[key].response == COULD_NOT_BE_TESTED)
            self.extras.setdefault(key, {}).update(extra)
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
            values = [self._number(head, token) for token in numbers]
            touched |= self._measures(head, name, group.sides, values)
        return touched

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
        if token.key in head.words:
            return head.words[token.key]
        plain = self.lexicon.words.get(token.key)
        if plain is not None and plain.kind == "normal" and head.normal and len(head.tests) != 1:
            return tuple(Claim(test, "normal") for test in head.normal)
        for test in head.tests:
            claims = own_name(test, self.lexicon).words.get(token.key)
            if claims is not None:
                return claims
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
            if meant is None:
                if claim.response not in _OF_BOTH and not self.lexicon.names_both(name):
                    raise NotUnderstood("the side is missing: write R, L or both")
                meant = BOTH
            other = claim.side == "other"
            return [(side.other if other else side, claim.response) for side in meant]
        if claim.response not in (TOWARDS, AWAY):
            its_own = head.id == test.id
            if sides is not None and its_own and claim.response in test.codes:
                raise NotUnderstood(f"{test.name.lower()} has no side")
            return [(None, claim.response)]
        if sides is None:
            return [(None, ABNORMAL)]
        if len(sides) > 1:
            raise NotUnderstood(f"{test.name.lower()} can name one side only")
        side = sides[0] if claim.response == TOWARDS else sides[0].other
        return [(None, side.value)]

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

    def _text_value(
        self, head: Head, group: Group
    ) -> tuple[list[Token], tuple[Test, MeasuredValue]] | None:
        """Read a value such as ``6/9-2``, ``CF 1 m`` or ``N8 at 40 cm`` as it stands.

        Returns
        -------
        tuple or None
            Words before the value, and the test with the value; None where there is no such value.
        """
        scale = head.tests[0].measurement if len(head.tests) == 1 else None
        if scale is None or scale.kind != "text":
            return None
        of_value = {tuple(word.split()) for word in scale.words}
        at = 0
        while at < len(group.values) and group.values[at].kind in ("value", "normal"):
            if group.values[at].key in of_value:
                break
            at += 1
        if at == len(group.values):
            return None
        text = self.clause.note[group.values[at].start : group.values[-1].end]
        measured = MeasuredValue(value=" ".join(text.split())[:200], unit=AS_WRITTEN)
        try:
            measured_response(head.tests[0], measured)
        except BadInput as error:
            if any(token.kind == "number" for token in group.values):
                raise NotUnderstood(error.sentence) from None
            return None
        return group.values[:at], (head.tests[0], measured)

    def _number(self, head: Head, token: Token) -> tuple[Test, MeasuredValue]:
        """Find the test a number belongs to by its unit."""
        text, units = token.value
        written = self.clause.note[token.start : token.end]
        scaled = [test for test in self._measurable(head) if test.measurement]
        if not scaled:
            raise NotUnderstood(f"{written!r}: no measurement belongs to this name")
        for test in scaled:
            scale = test.measurement
            if scale is None:
                continue
            fits = scale.unit in units if units else test.id in self.lexicon.bare
            if not fits:
                continue
            measured = self._value(text, scale.kind, scale.unit)
            if measured is not None:
                return test, measured
        expected = " or ".join(dict.fromkeys(t.measurement.unit for t in scaled if t.measurement))
        what = "the unit is missing" if units is None else "this unit does not belong here"
        raise NotUnderstood(f"{written!r}: {what}, expected {expected}")

    def _measurable(self, head: Head) -> list[Test]:
        if head.tests:
            return list(head.tests)
        claimed = {claim.test: self.catalogue.test(claim.test) for claim in head.findings}
        return list(claimed.values()) if len(claimed) == 1 else []

    def _value(self, text: str, kind: str, unit: str) -> MeasuredValue | None:
        """Turn the digits into a value of this kind of scale."""
        if "/" not in text:
            return MeasuredValue(value=float(text), unit=unit)
        share, _, of = text.replace(" ", "").partition("/")
        if kind == "fraction":
            return MeasuredValue(value=f"{share}/{of}", unit=unit)
        top = self.lexicon.out_of.get(unit)
        if top is None or not of.isdigit() or float(of) != top:
            return None
        if share[-1] in "+-":
            raise NotUnderstood(f"{text!r}: write the whole grade, and the sign as a remark")
        return MeasuredValue(value=float(share), unit=unit)

    def _measures(
        self,
        head: Head,
        name: Phrase,
        sides: Sides,
        values: Iterable[tuple[Test, MeasuredValue]],
    ) -> set[tuple[str, Side | None]]:
        touched = set()
        for test, measured in values:
            try:
                meant = measured_response(test, measured)
            except BadInput as error:
                raise NotUnderstood(error.sentence) from None
            claim = Claim(test.id, meant or "")
            if meant is None and self._directed(test) and sides:
                claim = Claim(test.id, TOWARDS)
            for side, response in self._placed(claim, test, head, name, sides):
                key = (test.id, side)
                firm = bool(response)
                if not response:
                    response, firm = self._unbanded(head, test, side, measured), False
                self._put(key, response, firm, measured)
                self.clause.measured[key] = measured
                touched.add(key)
        return touched

    def _unbanded(
        self, head: Head, test: Test, side: Side | None, measured: MeasuredValue
    ) -> str:  # fmt: skip
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
            better = than - measured_number(test, measured) >= rule["by"]
            return str(rule["better"] if better else rule["same"])
        if test.id in self.lexicon.measured:
            return self.lexicon.measured[test.id]
        for claim in head.findings:
            if claim.test == test.id:
                return ABNORMAL if claim.response == TOWARDS else claim.response
        raise NotUnderstood("say what was found as well as its measurement")
