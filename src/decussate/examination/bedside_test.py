"""A bedside test: what is done and said, what may be found, and how far that can be trusted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.sides import Side

__all__ = [
    "GENERIC_ABNORMAL",
    "Accuracy",
    "Band",
    "Caution",
    "Grading",
    "Measurement",
    "Response",
    "Test",
]

GENERIC_ABNORMAL = "abnormal"
"""Response that any test with a sign accepts: abnormal, grade or direction not stated."""


@dataclass(frozen=True, slots=True)
class Response:
    """One answer a test can give: its code, the examiner's word, the sign state it stands for."""

    code: str
    label: str
    state: str | None


@dataclass(frozen=True, slots=True)
class Band:
    """Values from `low` up to but not including `high` that mean one response."""

    low: float
    high: float
    response: str


@dataclass(frozen=True, slots=True)
class Grading:
    """How far a measured value tells the grades of a sign apart.

    Attributes
    ----------
    begins : tuple of float
        The first reading that means each grade, the mildest grade first.
    ends : float
        The worst reading of all; together with `begins` ascending or descending.
    error : float
        Standard deviation of one measurement.
    step : float
        Difference between neighbouring readings.
    logarithmic : bool
        Whether `error` and `step` are of the decadic logarithm of the value.
    source, basis : str
        Key of the bibliography, and how the error follows from it.
    """

    begins: tuple[float, ...]
    ends: float
    error: float
    step: float
    logarithmic: bool
    source: str
    basis: str


@dataclass(frozen=True, slots=True)
class Measurement:
    """How a measured value becomes a response.

    Attributes
    ----------
    unit : str
        Unit of `low`, `high` and the bands; ``1`` for a fraction.
    kind : str
        ``number``, ``fraction`` (k of n, as k / n) or ``text`` (read by `reader`).
    low, high : float
        Least and greatest value accepted, in `unit`.
    bands : tuple of Band
        Covering `low` to `high` without a gap; empty where the examiner states the response.
    reader : str
        Module of ``decussate.measures`` that reads a value given as text; empty otherwise.
    words : Mapping of str to str
        Values that are words (``CF``, counting fingers) to the response they mean.
    grading : Grading or None
        None where the value says no more than its response.
    source : str
        Where the limits come from.
    """

    unit: str
    kind: str
    low: float
    high: float
    bands: tuple[Band, ...]
    reader: str
    words: Mapping[str, str]
    grading: Grading | None
    source: str

    def response_for(self, value: float | str) -> str | None:
        """Return the response that a value means; None where no bands are given.

        Parameters
        ----------
        value : float or str
            In `unit` (text such as ``6/9`` first read by `reader`), or one of `words`.

        Raises
        ------
        BadInput
            If the value lies outside `low` to `high`, or is a word that is not known.
        """
        if isinstance(value, str):
            if value not in self.words:
                known = ", ".join(self.words) or f"a number, {self.low:g} to {self.high:g}"
                raise BadInput("measured value", value, known)
            return self.words[value]
        if not self.low <= value <= self.high:
            unit = "" if self.unit == "1" else f" {self.unit}"
            raise BadInput("measured value", value, f"{self.low:g} to {self.high:g}{unit}")
        for band in self.bands:
            if value < band.high:
                return band.response
        return self.bands[-1].response if self.bands else None


@dataclass(frozen=True, slots=True)
class Accuracy:
    """How far a response can be trusted.

    Attributes
    ----------
    specificity : float
        Probability of a normal response when the state is normal.
    partial, complete : float or None
        Probability of an abnormal response in partial and in complete loss (loss scales).
    present : float or None
        Probability of an abnormal response when the sign is there (every other scale).
    wrong_side : float
        Probability, given an abnormal response, that it names the wrong side, direction or kind.
    source, specificity_source : str
        Keys of the bibliography, or ``judgement``.
    mark : str
        How far the figures were checked: empty when seen in the source.
    basis : str
        What the published figure measured, in words.
    """

    specificity: float
    partial: float | None
    complete: float | None
    present: float | None
    wrong_side: float
    source: str
    specificity_source: str
    mark: str
    basis: str

    def abnormal_given(self, state: str) -> float:
        """Probability of an abnormal response given an abnormal state of the sign."""
        by_state = {"partial": self.partial, "complete": self.complete}
        found = by_state.get(state) if self.present is None else self.present
        if found is None:
            raise BadInput("state", state, "an abnormal state of the sign")
        return found


@dataclass(frozen=True, slots=True)
class Caution:
    """A warning shown before the tests it concerns."""

    id: str
    name: str
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class Test:
    """One thing the examiner does.

    Attributes
    ----------
    id, name, nerve : str
        Key, the clinician's name, and the group it is shown in.
    sides : str
        ``each`` (asked of the right and of the left) or ``whole``.
    sign : str or None
        The sign it tries to reveal; None for what is only recorded.
    story : str or None
        Field of the story that holds the answer, for what the patient tells.
    technique, say, normal, formal : str
        What to do, what to say, what counts as normal, what to ask for afterwards.
    kit, cautions, abbreviations : tuple of str
        Things needed; keys of the cautions; short forms clinicians write.
    seconds : float
        Usual time for both sides together.
    responses : Mapping of str to Response
    measurement : Measurement or None
    accuracy : Accuracy or None
        None where there is no sign.
    sums_up : tuple of (str, str)
        Tests whose findings this one only puts together, each with its side: ``same``, ``other``,
        ``right``, ``left`` or ``whole``. Once all of them are recorded it says nothing more.
    source : str
        Of the technique and of the normal response.
    """

    __test__ = False  # pytest collects classes of this name otherwise

    id: str
    name: str
    nerve: str
    sides: str
    sign: str | None
    story: str | None
    technique: str
    say: str
    kit: tuple[str, ...]
    cautions: tuple[str, ...]
    seconds: float
    responses: Mapping[str, Response]
    measurement: Measurement | None
    normal: str
    accuracy: Accuracy | None
    formal: str
    abbreviations: tuple[str, ...]
    sums_up: tuple[tuple[str, str], ...]
    source: str

    def __hash__(self) -> int:
        """Return a hash by the id, so that what follows from a test can be kept by it."""
        return hash(self.id)

    def parts(self, side: Side | None) -> tuple[tuple[str, Side | None], ...]:
        """Return the tests of `sums_up` with their sides, when this one is done on `side`."""
        sides = {"same": side, "other": side.other if side else None, "whole": None}
        return tuple(
            (test, Side(relation) if relation in ("right", "left") else sides[relation])
            for test, relation in self.sums_up
        )

    @property
    def paired(self) -> bool:
        """Whether the right and the left have one each."""
        return self.sides == "each"

    @property
    def codes(self) -> tuple[str, ...]:
        """Codes a finding may hold, `GENERIC_ABNORMAL` last where the test reveals a sign."""
        return (*self.responses, GENERIC_ABNORMAL) if self.sign else tuple(self.responses)

    def state_of(self, code: str) -> str | None:
        """Return the sign state a code stands for; None if it stands for no single state."""
        response = self.responses.get(code)
        if response is None and code not in self.codes:
            raise BadInput(f"response to {self.id}", code, "one of " + ", ".join(self.codes))
        return response.state if response else None
