"""Gathering the words of the shorthand from the catalogue and ``data/shorthand_*.yaml``."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from importlib.resources import files
from typing import Any

import yaml

from decussate.bibliography import check_source
from decussate.data_rows import Row, read_rows
from decussate.errors import BadInput
from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import Catalogue
from decussate.examination.document import ABNORMAL
from decussate.examination.shorthand_lexicon import (
    AWAY,
    TOWARDS,
    Claim,
    Head,
    Lexicon,
    Phrase,
    Rest,
    Word,
    phrase,
)
from decussate.sides import Side

__all__ = ["lexicon_of"]

_KEPT: dict[int, Lexicon] = {}  # by identity: a catalogue cannot be hashed


def lexicon_of(catalogue: Catalogue) -> Lexicon:
    """Gather the words for a catalogue; kept, as every note needs them.

    Raises
    ------
    BadInput
        If a data row names an unknown test, response, source or unit, or repeats a name.
    """
    kept = _KEPT.get(id(catalogue))
    if kept is None or kept.catalogue is not catalogue:
        kept = _KEPT[id(catalogue)] = _Builder(catalogue).lexicon()
    return kept


class _Builder:
    """Reads the data files once and checks every row against the catalogue."""

    def __init__(self, catalogue: Catalogue) -> None:
        self.catalogue = catalogue
        self.plain: dict[str, Any] = _mapping("shorthand_words.yaml")
        self.told: dict[str, Any] = _mapping("shorthand_story.yaml")
        self.states = {
            state: frozenset(phrase(word) for word in words)
            for state, words in self.plain["states"].items()
        }
        self.abnormal = frozenset(phrase(word) for word in self.plain["abnormal"])
        self.wrong = frozenset(self.plain["names_of_what_is_wrong"])
        self.by_catalogue: dict[Phrase, list[Head]] = {}
        self.by_names: dict[Phrase, list[Head]] = {}
        self.by_terms: dict[Phrase, list[Head]] = {}
        self.by_id: dict[Phrase, list[Head]] = {}
        self.names: dict[str, list[str]] = {}
        self.rests: dict[str, tuple[Rest, ...]] = {}
        self.bare: set[str] = set()
        self.measured: dict[str, str] = {}

    def lexicon(self) -> Lexicon:
        special = {row["id"]: row for row in read_rows(_data("shorthand_names.yaml"))}
        for name, row in special.items():
            row.only("id", "names", "words", "measured", "bare", "value_unclear", "holds")
            if name not in self.catalogue:
                raise BadInput("id", name, "the id of a test in the catalogue", where=row.where)
        for test in self.catalogue:
            if not test.story:
                self._add_test(test, special.get(test.id))
        self._add_terms()
        # A later layer has the name: the catalogue, then words kept here, terms, and ids.
        all_heads = self.by_catalogue | self.by_names | self.by_terms | self.by_id
        heads = {name: tuple(found) for name, found in all_heads.items()}
        by_head_id = {head.id: head for found in heads.values() for head in found}
        words = dict(self._plain_words())
        units = self._units()
        story = dict(self._story())
        known: list[Iterable[Phrase]] = [heads, words, units, story]
        # A head stands under many names; its words are looked through once.
        every = (head for found in heads.values() for head in found)
        once = {id(words): words for head in every for words in (head.words, head.adds)}
        known += once.values()
        longest: dict[str, int] = {}
        for phrases in known:
            for parts in phrases:
                if len(parts) > longest.get(parts[0], 0):
                    longest[parts[0]] = len(parts)
        scales = self.plain["units"]
        return Lexicon(
            catalogue=self.catalogue,
            heads=heads,
            topics=tuple(
                {
                    found[0].id: found[0]
                    for found in self.by_terms.values()
                    if len(found[0].tests) > 1
                }.values()
            ),
            names={test: tuple(dict.fromkeys(names)) for test, names in self.names.items()},
            words=words,
            units=units,
            story=story,
            wrong=self.wrong,
            plural=frozenset(self.plain["plural"]),
            states=self.states,
            durations=dict(self._durations()),
            spelled_out={
                tuple(run.split()): tuple(words.split())
                for run, words in self.plain["spelled_out"].items()
            },
            value_unclear={
                name: row["value_unclear"]
                for name, row in special.items()
                if "value_unclear" in row
            },
            holds={name: row["holds"] for name, row in special.items() if "holds" in row},
            modality_of={
                target: modality
                for head in by_head_id.values()
                for modality, target in head.modalities.items()
            },
            open_heads=tuple(head for head in by_head_id.values() if head.modalities),
            listed=frozenset(
                name[0] for name, found in heads.items() if len(name) == 1 and found[0].modalities
            ),
            by_head_id=by_head_id,
            conversions={
                (other, unit): (float(rule["times"]), float(rule.get("plus", 0)))
                for unit, row in scales.items()
                for other, rule in row.get("from", {}).items()
            },
            sums={unit: row["sum_of"] for unit, row in scales.items() if "sum_of" in row},
            bare=frozenset(self.bare),
            signed=frozenset(unit for unit, row in scales.items() if row.get("signed")),
            out_of={unit: row["out_of"] for unit, row in scales.items() if "out_of" in row},
            unit_written={unit: (row["read"] or [""])[0] for unit, row in scales.items()},
            measured=self.measured,
            comparisons=self.plain["comparisons"],
            longest=longest,
            no_reason=self.plain["no_reason"],
        )

    # ------------------------------------------------------------ tests

    def _add_test(self, test: Test, row: Row | None) -> None:
        own = dict(row.get("words", {})) if row else {}
        for code in own:
            if row and code not in test.codes:
                raise BadInput("words", code, "one of " + ", ".join(test.codes), where=row.where)
        claims = {code: (Claim(test.id, code),) for code in test.codes}
        words = {key: claims[code] for key, code in self._words_of(test, own).items()}
        head = Head(test.id, (test,), words, normal=(test.id,))
        special = list(row.get("names", ())) if row else []
        # A bare number (512, for the fork) would be taken for a measurement.
        shorts = [name for name in test.abbreviations if not name.isdigit()]
        listed = [test.name, *shorts]
        self.names[test.id] = [test.name, *special, *shorts, test.id]
        for layer, written in ((self.by_catalogue, listed), (self.by_names, special)):
            for name in dict.fromkeys(map(phrase, written)):
                wrong = any(part in self.wrong for part in name)
                named = replace(head, findings=self._bare(test)) if wrong else head
                layer.setdefault(name, []).append(named)
        self.by_id[phrase(test.id)] = [head]
        scale = test.measurement
        if scale:
            if scale.unit not in self.plain["units"]:
                where = f"shorthand_words.yaml, units ({test.id})"
                raise BadInput("unit", scale.unit, "how this unit is written", where=where)
            if (row and row.get("bare")) or self.plain["units"][scale.unit].get("bare"):
                self.bare.add(test.id)
            if row and "measured" in row:
                self.measured[test.id] = row.one_of("measured", test.codes)

    def _words_of(self, test: Test, own: Mapping[str, list[str]]) -> dict[Phrase, str]:
        """Words of one test, the particular before the general."""
        found: dict[Phrase, str] = {}

        def add(words: Iterable[str] | Iterable[Phrase], code: str) -> None:
            for word in words:
                found.setdefault(phrase(word) if isinstance(word, str) else word, code)

        for code, words in own.items():
            add(words, code)
        for code in test.responses:
            add([code], code)
        for code, response in test.responses.items():
            add([response.label], code)
        if ABNORMAL in test.codes:
            add(self.abnormal, ABNORMAL)
        by_state: dict[str, str] = {}
        for code, response in test.responses.items():
            by_state.setdefault(response.state or code, code)
        for state in ("partial", "complete", "present", "absent", "midline"):
            general = self._code_for(state, by_state, test)
            if general:
                add(self.states[state], general)
        return found

    @staticmethod
    def _code_for(state: str, by_state: Mapping[str, str], test: Test) -> str | None:
        """Return the code a general word means for a test, judged by the states of its scale."""
        graded = {"partial", "complete"} <= set(by_state) or {"reduced", "absent"} <= set(by_state)
        if graded:
            named = {"partial": "reduced", "complete": "absent", "present": "normal"}
            return by_state.get(state) or by_state.get(named.get(state, ""))
        if "present" in by_state and len(test.responses) == 2:
            return "normal" if state in ("absent", "midline") else by_state["present"]
        if state in ("absent", "midline") and "absent" not in by_state:
            return "normal"
        return by_state.get(state)

    def _bare(self, test: Test) -> tuple[Claim, ...]:
        """Return what a name that says what is wrong records by itself."""
        if test.paired is False and {"right", "left"} <= set(test.responses):
            return (Claim(test.id, TOWARDS),)
        others = [code for code in test.responses if code != "normal"]
        if len(others) == 1:
            return (Claim(test.id, others[0]),)
        return (Claim(test.id, ABNORMAL),) if ABNORMAL in test.codes else ()

    # ------------------------------------------------------------ terms and topics

    def _add_terms(self) -> None:
        rows = read_rows(_data("shorthand_terms.yaml"))
        taken: dict[Phrase, str] = {}
        for row in rows:
            row.only(
                "id", "names", "findings", "words", "adds", "tests", "normal", "both", "rest",
                "modalities", "source",
            )  # fmt: skip
            check_source(row["source"], row.where)
            tests = tuple(self._test(name, row) for name in row.get("tests", ()))
            head = Head(
                id=row["id"],
                tests=tests,
                words=self._claims_by_word(row, "words"),
                adds=self._claims_by_word(row, "adds"),
                findings=tuple(self._claim(text, row) for text in row.get("findings", ())),
                normal=tuple(self._test(name, row).id for name in row.get("normal", ())),
                both=bool(row.get("both", False)),
                rest=tuple(self._rest(row)),
                modalities=row.get("modalities", {}),
            )
            self.rests[head.id] = head.rest
            for name in row["names"]:
                key = phrase(name)
                if key in taken and taken[key] != head.id:
                    expected = f"a name not used by {taken[key]}"
                    raise BadInput("names", name, expected, where=row.where)
                taken[key] = head.id
                self.by_terms[key] = [head]

    def _rest(self, row: Row) -> Iterator[Rest]:
        """Read the groups of the rest; a word among them stands for those of an earlier row."""
        for group in row.get("rest", ()):
            if isinstance(group, str):
                if group not in self.rests:
                    raise BadInput("rest", group, "the id of an earlier row", where=row.where)
                yield from self.rests[group]
                continue
            tests = tuple(self._test(name, row).id for name in group["tests"])
            for nerve in group.get("unless", ()):
                if nerve not in self.catalogue.groups:
                    expected = "one of " + ", ".join(self.catalogue.groups)
                    raise BadInput("unless", nerve, expected, where=row.where)
            yield Rest(tests, tuple(group.get("unless", ())))

    def _claims_by_word(self, row: Row, key: str) -> dict[Phrase, tuple[Claim, ...]]:
        found = {}
        for words, claims in row.get(key, {}).items():
            for word in str(words).split("|"):
                found[phrase(word)] = tuple(self._claim(text, row) for text in claims)
        return found

    def _claim(self, text: str, row: Row) -> Claim:
        parts = text.split()
        side = parts.pop(0) if parts and parts[0] in ("other", "both") else "same"
        if len(parts) != 2:
            raise BadInput("finding", text, "[other|both] test response", where=row.where)
        test = self._test(parts[0], row)
        directed = parts[1] in (TOWARDS, AWAY) and {"right", "left"} <= set(test.responses)
        if parts[1] not in test.codes and not directed:
            raise BadInput(
                f"response to {test.id}",
                parts[1],
                "one of " + ", ".join(test.codes),
                where=row.where,
            )
        return Claim(test.id, parts[1], side)

    def _test(self, name: str, row: Row) -> Test:
        if name not in self.catalogue:
            raise BadInput("test", name, "the id of a test in the catalogue", where=row.where)
        return self.catalogue.test(name)

    # ------------------------------------------------------------ words of no test

    def _plain_words(self) -> Iterator[tuple[Phrase, Word]]:
        """Plain words; where two kinds claim one, the later kind below has it."""
        for kind in (
            "empty", "slash", "joins", "either", "because", "old", "negations", "normal",
            "throughout", "technique",
        ):  # fmt: skip
            for text in self.plain[kind]:
                yield phrase(text), Word(kind)
        for text in self.plain["detail"]:
            yield phrase(text), Word("note")
        for modality, texts in self.plain["modalities"].items():
            for text in texts:
                yield phrase(text), Word("modality", modality)
        for text in self.plain["headings"]:
            yield phrase(text), Word("heading")
        for status in ("not_tested", "could_not_be_tested"):
            for text in (*self.plain[status], status):
                yield phrase(text), Word("status", status)
        for reason, texts in self.plain["refused"].items():
            for text in texts:
                yield phrase(text), Word("refused", reason)
        for name, texts in self.plain["sides"].items():
            sides = tuple(Side) if name == "both" else (Side(name),)
            for text in texts:
                yield phrase(text), Word("side", sides)

    def _units(self) -> dict[Phrase, frozenset[str]]:
        found: dict[Phrase, frozenset[str]] = {}
        for unit, row in self.plain["units"].items():
            other = {name: rule["read"] for name, rule in row.get("from", {}).items()}
            for name, texts in {unit: row["read"], **other}.items():
                for text in texts:
                    key = phrase(text)
                    found[key] = found.get(key, frozenset()) | {name}
        return found

    def _durations(self) -> Iterator[tuple[Phrase, str]]:
        """Lengths of time; ``#/7`` is one word of the note, so they are divided at spaces."""
        rules = self.told["lasting"]
        for onset, units in rules["units"].items():
            written = [form.replace("~", unit) for form in rules["forms"] for unit in units]
            written += [unit for unit in units if unit in rules["bare"]]
            written += rules["sayings"].get(onset, ())
            for text in written:
                yield tuple(text.replace("/o", " / o").split()), "" if onset == "none" else onset

    def _story(self) -> Iterator[tuple[Phrase, tuple[tuple[str, object], ...]]]:
        story = self.told
        fields: dict[Phrase, dict[str, object]] = {}
        for text in story["age"]:
            fields.setdefault(phrase(text), {})["age"] = None
        for name in ("sex", "onset", "course", "context"):
            for value, texts in story[name].items():
                for text in texts:
                    setting = fields.setdefault(phrase(text), {})
                    setting[name] = value
                    if "#" in text and name == "sex":
                        setting["age"] = None
        for text in story["empty"]:
            fields.setdefault(phrase(text), {})
        yield from ((key, tuple(setting.items())) for key, setting in fields.items())


def _data(name: str) -> Any:  # noqa: ANN401 (a Traversable of the package)
    return files("decussate.examination") / "data" / name


def _mapping(name: str) -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.load(
        _data(name).read_text(encoding="utf-8"), Loader=yaml.CSafeLoader
    )
    return loaded
