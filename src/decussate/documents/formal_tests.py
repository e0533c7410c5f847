"""The formal tests to request after the bedside, and what to ask of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import yaml

from decussate.documents.document import Block, Items, Table, Text
from decussate.examination.catalogue import load_catalogue
from decussate.examination.document import COULD_NOT_BE_TESTED, Examination, Finding
from decussate.examination.wording import finding_in_words

if TYPE_CHECKING:
    from decussate.localisation import Localisation

__all__ = ["FormalTest", "Kind", "formal_tests", "kind_of", "request_blocks", "request_words"]

LIKELY = 0.05
"""Places and causes of at least this probability are named on a request (judgement)."""
SITES_NAMED, CAUSES_NAMED = 3, 4


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of formal test.

    Attributes
    ----------
    id, name : str
    ask : str
        What to ask of it.
    plain : str
        For the patient.
    """

    id: str
    name: str
    ask: str
    plain: str


@dataclass(frozen=True, slots=True)
class FormalTest:
    """One request.

    Attributes
    ----------
    kind : Kind
    requests : tuple of str
        What the catalogue asks for, in its words.
    because : tuple of str
        The findings, with their side, that ask for it.
    """

    kind: Kind
    requests: tuple[str, ...]
    because: tuple[str, ...]


@cache
def request_words() -> Mapping[str, Any]:
    """Return the wording of requests, from ``documents/data/formal_tests.yaml``."""
    text = files("decussate.documents").joinpath("data/formal_tests.yaml").read_text("utf-8")
    words: dict[str, Any] = yaml.safe_load(text)
    return words


def kind_of(request: str) -> Kind | None:
    """Return the kind of a request; None for one that asks for nothing.

    Parameters
    ----------
    request : str
        A phrase of the ``formal`` field of the catalogue.

    Returns
    -------
    Kind or None
    """
    words = request_words()
    lower = request.lower()
    if lower in words["nothing"]:
        return None
    row = next(row for row in words["kinds"] if any(word in lower for word in row["words"]))
    return Kind(row["id"], row["name"], row["ask"], row["plain"])


def formal_tests(examination: Examination) -> tuple[FormalTest, ...]:
    """Return the formal tests that abnormal findings ask for, one entry a kind.

    Parameters
    ----------
    examination : Examination
        Known old deficits are set aside; what could not be tested asks for its formal test too.

    Returns
    -------
    tuple of FormalTest
        Those that settle what cannot wait first, then in the order of the kinds in the data.
    """
    words = request_words()
    catalogue = load_catalogue()
    old = set(examination.known_old)
    requests: dict[str, dict[str, None]] = {}
    because: dict[str, dict[str, None]] = {}
    kinds: dict[str, Kind] = {}
    for finding in examination.present():
        test = catalogue.test(finding.test)
        if not _asks(finding) or (finding.test, finding.side) in old:
            continue
        for request in filter(None, (part.strip() for part in test.formal.rstrip(".").split(";"))):
            kind = kind_of(request)
            if kind is None:
                continue
            kinds[kind.id] = kind
            requests.setdefault(kind.id, {})[request[:1].upper() + request[1:]] = None
            because.setdefault(kind.id, {})[finding_in_words(finding, test)] = None
    order = dict.fromkeys((*words["first"], *(row["id"] for row in words["kinds"])))
    return tuple(
        FormalTest(kinds[kind], tuple(requests[kind]), tuple(because[kind]))
        for kind in order
        if kind in kinds
    )


def _asks(finding: Finding) -> bool:
    test = load_catalogue().test(finding.test)
    if finding.response == COULD_NOT_BE_TESTED:
        return test.sign is not None
    return finding.response != "normal"


def request_blocks(
    examination: Examination, localisation: Localisation | None
) -> tuple[Block, ...]:
    """Say what to request: the likely site, each test with its question, the causes to settle."""
    words = request_words()
    phrases = words["phrases"]
    tests = formal_tests(examination)
    blocks: list[Block] = [Text(_site(localisation, phrases))]
    if tests:
        blocks.append(
            Table(
                words["heading"],
                tuple(words["columns"]),
                tuple(
                    (
                        _requested(test),
                        test.kind.ask,
                        _sentences(test.because),
                    )
                    for test in tests
                ),
            )
        )
    else:
        blocks.append(Text(phrases["none"]))
    settled = settling(localisation)
    if settled:
        blocks += [Text(f"{phrases['settle']}:"), Items(settled)]
    blocks.append(Text(phrases["caution"]))
    return tuple(blocks)


def _requested(test: FormalTest) -> str:
    if [request.lower() for request in test.requests] == [test.kind.name.lower()]:
        return f"{test.kind.name}."
    # Under "Imaging", "imaging of the brain; imaging of the neck" need not say it again.
    said = f"{test.kind.name.lower()} "
    requests = [one[len(said) :] if one.lower().startswith(said) else one for one in test.requests]
    # "As the rest suggests" is for the catalogue: who reads the request sees the rest beside it.
    asked = "; ".join(one for one in requests if not one.startswith("as "))
    return f"{test.kind.name}: {asked}." if asked else f"{test.kind.name}."


def settling(localisation: Localisation | None) -> tuple[str, ...]:
    """Name the causes of a lesion in the likeliest place, with what settles each."""
    phrases = request_words()["phrases"]
    if localisation is None or not localisation.findings_used:
        return ()
    causes = localisation.candidates[0].causes
    return tuple(
        f"{one.name} ({round(100 * one.share)} {phrases['share']}): {one.settle}."
        for one in causes[:CAUSES_NAMED]
        if one.share >= LIKELY
    )


def _site(localisation: Localisation | None, phrases: Mapping[str, str]) -> str:
    from decussate.localisation.localise import in_100

    if localisation is None or not localisation.findings_used:
        return phrases["no_site"]
    likely = [c for c in localisation.candidates[:SITES_NAMED] if c.probability >= LIKELY]
    named = "; ".join(f"{c.name} ({in_100(c.probability)})" for c in likely)
    return f"{phrases['likely_site']}: {named}."


def _sentences(findings: Sequence[str]) -> str:
    return " ".join(f"{one[:1].upper()}{one[1:]}." for one in findings)
