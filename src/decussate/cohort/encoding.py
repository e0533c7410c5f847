"""Examinations as numbers: for each sign, which evidence was recorded."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decussate.examination.catalogue import Catalogue
from decussate.examination.record import Examination, Finding, Story
from decussate.localisation.localise import posterior_of
from decussate.localisation.model import Model
from decussate.localisation.observation import counted, finding_likelihood
from decussate.sides import Side

__all__ = ["Encoded", "Encoder"]

Array = NDArray[np.float64]

Said = tuple[str, str, str]
"""What a finding says of its sign: test, response, and value where it says more."""

NOTHING = 0
"""Evidence number of a sign of which nothing was recorded."""


@dataclass(frozen=True, slots=True)
class Encoded:
    """Some examinations as numbers.

    Attributes
    ----------
    evidence : ndarray of int, shape (n_signs, n)
        Number of the evidence about each sign (in the order of ``model.signs``).
    stories : tuple of Story
        One for each examination.
    """

    evidence: NDArray[np.uint16]
    stories: tuple[Story, ...]

    def __len__(self) -> int:
        return len(self.stories)


class Encoder:
    """Numbers the evidence about each sign as it is met.

    Parameters
    ----------
    model : Model
        The compiled model.
    catalogue : Catalogue
        The tests.
    """

    def __init__(self, model: Model, catalogue: Catalogue) -> None:
        self.catalogue = catalogue
        self._model = model
        self._row = {key: row for row, key in enumerate(model.signs)}
        self._states = [len(table.states) for table in model.signs.values()]
        self._likelihood: list[list[Array]] = [[np.ones(states)] for states in self._states]
        self._known: dict[tuple[int, tuple[Said, ...]], int] = {}
        self._sign: dict[tuple[str, Side | None], int | None] = {}
        self._said: dict[Said, Array | None] = {}

    def likelihoods(self, row: int) -> Sequence[Array]:
        """Return, for each evidence number of a sign, the probability of the recorded responses.

        Parameters
        ----------
        row : int
            The sign.

        Returns
        -------
        sequence of ndarray of shape (n_states,)
            Given each state; for `NOTHING`, 1.
        """
        return self._likelihood[row]

    def encode(self, examinations: Iterable[Examination]) -> Encoded:
        """Return the evidence of some examinations as numbers.

        Raises
        ------
        BadInput
            If a finding names a test that the catalogue does not have.
        """
        stories: list[Story] = []
        sign_rows: list[int] = []
        columns: list[int] = []
        numbers: list[int] = []
        for column, examination in enumerate(examinations):
            stories.append(examination.story)
            for row, number in self._evidence(examination):
                sign_rows.append(row)
                columns.append(column)
                numbers.append(number)
        evidence = np.full((len(self._row), len(stories)), NOTHING, dtype=np.uint16)
        evidence[sign_rows, columns] = numbers
        return Encoded(evidence, tuple(stories))

    def _evidence(self, examination: Examination) -> Iterable[tuple[int, int]]:
        """Return the row of each sign of which something was recorded, and its evidence number."""
        if examination.known_old:
            for key, likelihood in (
                posterior_of(examination, self._model, self.catalogue).sign_likelihoods().items()
            ):
                # Conditioned on what was there before: hardly ever met twice.
                row = self._row[key]
                self._likelihood[row].append(likelihood)
                yield row, len(self._likelihood[row]) - 1
            return
        for row, said in self._by_sign(examination).items():
            yield row, self._number(row, said)

    def _by_sign(self, examination: Examination) -> Mapping[int, tuple[Said, ...]]:
        found: dict[int, tuple[Said, ...]] = {}
        for finding in counted(examination.present(), self.catalogue):
            place = (finding.test, finding.side)
            row = self._sign[place] if place in self._sign else self._learn(place)
            if row is None:
                continue
            said = self._read(finding)
            if self._said[said] is not None:
                found[row] = (*found.get(row, ()), said)
        return found

    def _learn(self, place: tuple[str, Side | None]) -> int | None:
        """Look up the sign of a test; None for a test that is only recorded."""
        test = self.catalogue.test(place[0])
        bears = test.sign is not None and test.accuracy is not None
        self._sign[place] = self._row.get((test.sign, place[1])) if test.sign and bears else None
        return self._sign[place]

    def _read(self, finding: Finding) -> Said:
        """Return what a finding that bears on a sign says, and keep what it means."""
        value = finding.measurement
        said = (finding.test, finding.response, f"{value.value} {value.unit}" if value else "")
        if said not in self._said:
            test = self.catalogue.test(finding.test)
            if test.sign is None:
                raise ValueError(f"{test.id} bears on no sign")
            sign = self._model.atlas.signs[test.sign]
            self._said[said] = finding_likelihood(sign, test, finding)
        return said

    def _number(self, row: int, said: tuple[Said, ...]) -> int:
        # The order of entry must not matter, not even in the last digit.
        key = (row, tuple(sorted(said)) if len(said) > 1 else said)
        number = self._known.get(key)
        if number is None:
            likelihood = np.ones(self._states[row])
            for one in key[1]:
                of_one = self._said[one]
                if of_one is not None:
                    likelihood = likelihood * of_one
            number = len(self._likelihood[row])
            self._likelihood[row].append(likelihood)
            self._known[key] = number
        return number
