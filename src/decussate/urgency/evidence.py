"""What an examination says about each sign, arranged for rules: abnormal, normal or unknown."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

from decussate.examination.catalogue import Catalogue, Test, load_catalogue
from decussate.examination.document import COULD_NOT_BE_TESTED, Examination, Finding, Story
from decussate.sides import Side

if TYPE_CHECKING:
    from decussate.localisation import Localisation

__all__ = ["Evidence", "Seen", "Truth", "gather_evidence", "tests_of_sign"]


class Truth(Enum):
    """The three values a condition can have; what was not examined is `UNKNOWN`, never `NO`."""

    NO = 0
    UNKNOWN = 1
    YES = 2

    @property
    def negated(self) -> Truth:
        """Yes for no and no for yes; unknown stays unknown."""
        return Truth(2 - self.value)


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One finding that bears on a sign; each is made once and equal only to itself.

    Parameters
    ----------
    finding : Finding
        As recorded.
    test : Test
        The test it answers.
    """

    finding: Finding
    test: Test

    @property
    def normal(self) -> bool:
        """Whether the normal response was recorded."""
        return self.finding.response == "normal"

    @property
    def state(self) -> str | None:
        """The state of the sign, or None when the kind of abnormality was not stated."""
        return self.test.state_of(self.finding.response)


@dataclass(frozen=True, slots=True)
class Evidence:
    """Everything a rule may ask about one examination.

    Parameters
    ----------
    by_sign, by_test : mapping of (str, Side or None) to tuple of Seen
        Findings that answer; tests that could not be done and known old deficits are left out.
    could_not : frozenset of (str, Side or None)
        Signs and tests for which a test was tried and could not be done.
    set_aside : frozenset of (str, Side or None)
        Signs and tests known to be old, which are neither new nor unexamined.
    story : Story
        Age, onset, course and context.
    localisation : Localisation or None
        Without it a condition on a place is unknown.
    """

    by_sign: Mapping[tuple[str, Side | None], tuple[Seen, ...]]
    by_test: Mapping[tuple[str, Side | None], tuple[Seen, ...]]
    could_not: frozenset[tuple[str, Side | None]]
    set_aside: frozenset[tuple[str, Side | None]]
    story: Story
    localisation: Localisation | None


def gather_evidence(examination: Examination, localisation: Localisation | None) -> Evidence:
    """Arrange the present findings by sign and by test.

    Parameters
    ----------
    examination : Examination
        What was recorded.
    localisation : Localisation, optional
        Where the lesion is likely to be.

    Returns
    -------
    Evidence
        Findings by sign and test, with what could not be tested and what is old kept apart.
    """
    catalogue = load_catalogue()
    old = set(examination.known_old)
    by_sign: dict[tuple[str, Side | None], tuple[Seen, ...]] = {}
    by_test: dict[tuple[str, Side | None], tuple[Seen, ...]] = {}
    could_not: set[tuple[str, Side | None]] = set()
    set_aside: set[tuple[str, Side | None]] = set()
    for finding in examination.present():
        test = catalogue.test(finding.test)
        keys = [(test.id, finding.side)]
        if test.sign is not None:
            keys.append((test.sign, finding.side))
        if (finding.test, finding.side) in old:
            set_aside.update(keys)
        elif finding.response == COULD_NOT_BE_TESTED:
            could_not.update(keys)
        else:
            seen = (Seen(finding, test),)
            by_test[keys[0]] = by_test.get(keys[0], ()) + seen
            if test.sign is not None:
                by_sign[keys[1]] = by_sign.get(keys[1], ()) + seen
    return Evidence(
        by_sign,
        by_test,
        frozenset(could_not),
        frozenset(set_aside),
        examination.story,
        localisation,
    )


def tests_of_sign(catalogue: Catalogue, sign: str) -> Iterator[Test]:
    """Every test of the catalogue that reveals a sign, in examination order."""
    return (test for test in catalogue if test.sign == sign)
