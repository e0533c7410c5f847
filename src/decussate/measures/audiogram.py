"""The pure-tone audiogram: thresholds by ear, frequency and conduction, and its CSV form.

The thresholds are those of ISO 8253-1 (audiometric test methods): hearing level in dB HL, measured
by air conduction through an earphone or by bone conduction from the mastoid, with or without
masking noise in the other ear.  A tone not heard at the limit of the equipment is kept as
``no_response`` at that limit, so that it is a bound and never a threshold.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TypeVar

from decussate.errors import BadInput
from decussate.measures.csv_lines import csv_lines
from decussate.sides import Side

__all__ = [
    "AUDIOMETRIC_HZ",
    "Audiogram",
    "Conduction",
    "Threshold",
    "Transducer",
    "audiogram_from_csv",
    "audiogram_to_csv",
]

AUDIOMETRIC_HZ = (125, 250, 500, 750, 1000, 1500, 2000, 3000, 4000, 6000, 8000)
"""Audiometric frequencies in Hz (IEC 60645-1; ISO 7029:2017, Table 1)."""

AIR_LIMITS_DB_HL = (-20.0, 130.0)
BONE_LIMITS_DB_HL = (-20.0, 90.0)


class Conduction(StrEnum):
    """How the tone reached the cochlea."""

    AIR = "air"
    BONE = "bone"


class Transducer(StrEnum):
    """The earphone used for air conduction; it sets how much sound crosses the head."""

    SUPRA_AURAL = "supra-aural"
    CIRCUMAURAL = "circumaural"
    INSERT = "insert"


@dataclass(frozen=True, slots=True)
class Threshold:
    """One threshold, or the limit at which nothing was heard.

    Parameters
    ----------
    side : Side
        The ear tested; for bone conduction, the mastoid on which the vibrator sat.
    frequency_hz : int
        One of `AUDIOMETRIC_HZ`.
    conduction : Conduction
        Air or bone.
    level_db_hl : float
        Threshold in dB HL; with ``no_response``, the highest level presented.
    masked : bool
        Whether the other ear was masked.
    no_response : bool
        Whether the tone was not heard at ``level_db_hl``.

    Raises
    ------
    BadInput
        If the frequency is not audiometric or the level is impossible.

    References
    ----------
    Frequencies and the span of air levels follow IEC 60645-1; the limits of -20 dB HL (a threshold
    below -10 can occur by bone conduction in canal dehiscence) and of 90 dB HL by bone (beyond
    any vibrator) are judgement.
    """

    side: Side
    frequency_hz: int
    conduction: Conduction
    level_db_hl: float
    masked: bool = False
    no_response: bool = False

    def __post_init__(self) -> None:
        if self.frequency_hz not in AUDIOMETRIC_HZ:
            slip = "Frequencies are in Hz: write 500 for 0.5 kHz, 1000 for 1 kHz."
            raise BadInput(
                f"frequency, {self.side} ear",
                self.frequency_hz,
                f"one of {', '.join(map(str, AUDIOMETRIC_HZ))} Hz",
                hint=slip if 0 < self.frequency_hz <= 12 else "",
            )
        low, high = AIR_LIMITS_DB_HL if self.conduction is Conduction.AIR else BONE_LIMITS_DB_HL
        if not low <= self.level_db_hl <= high:
            hint = "Was the level given in dB SPL? An audiogram is in dB HL."
            if self.conduction is Conduction.BONE and self.level_db_hl > high:
                hint = "No bone vibrator reaches this level: was this the air threshold?"
            raise BadInput(
                f"{self.conduction} threshold, {self.side} ear, {self.frequency_hz} Hz",
                self.level_db_hl,
                f"{low:g} to {high:g} dB HL",
                hint=hint,
            )

    @property
    def bounds_db_hl(self) -> tuple[float, float]:
        """Where the true threshold lies; open above (infinity) when nothing was heard."""
        return (self.level_db_hl, math.inf if self.no_response else self.level_db_hl)

    def mirrored(self) -> Threshold:
        """Give the same threshold to the other ear."""
        return replace(self, side=self.side.other)

    @property
    def _order(self) -> tuple[bool, str, bool, int]:
        return (self.side is Side.LEFT, self.conduction, self.masked, self.frequency_hz)


@dataclass(frozen=True, slots=True)
class Audiogram:
    """All thresholds of one sitting, both ears.

    Parameters
    ----------
    thresholds : tuple of Threshold
        In any order; kept sorted, so that two audiograms of the same values are equal.
    transducer : Transducer
        The earphone used.

    Raises
    ------
    BadInput
        If there is no threshold, or two for the same ear, frequency, conduction and masking.
    """

    thresholds: tuple[Threshold, ...]
    transducer: Transducer = Transducer.SUPRA_AURAL
    _index: dict[tuple[Side, int, Conduction, bool], Threshold] = field(
        init=False, repr=False, compare=False
    )

    def __post_init__(self) -> None:
        if not self.thresholds:
            raise BadInput("audiogram", (), "at least one threshold")
        index: dict[tuple[Side, int, Conduction, bool], Threshold] = {}
        for t in self.thresholds:
            key = (t.side, t.frequency_hz, t.conduction, t.masked)
            if key in index:
                masking = "masked" if t.masked else "not masked"
                raise BadInput(
                    f"{t.conduction} threshold, {t.side} ear, {t.frequency_hz} Hz, {masking}",
                    (index[key].level_db_hl, t.level_db_hl),
                    "one value",
                    hint="Was one of the two the other ear, or masked?",
                )
            index[key] = t
        object.__setattr__(
            self, "thresholds", tuple(sorted(self.thresholds, key=lambda t: t._order))
        )
        object.__setattr__(self, "_index", index)

    def measured(
        self, side: Side, frequency_hz: int, conduction: Conduction, *, masked: bool
    ) -> Threshold | None:
        """Return the threshold measured in exactly this way, or None."""
        return self._index.get((side, frequency_hz, conduction, masked))

    def best(
        self, side: Side, frequency_hz: int, conduction: Conduction = Conduction.AIR
    ) -> Threshold | None:
        """Return the masked threshold where there is one, else the unmasked, else None."""
        masked = self.measured(side, frequency_hz, conduction, masked=True)
        return masked or self.measured(side, frequency_hz, conduction, masked=False)

    def unmasked_bone(self, frequency_hz: int) -> Threshold | None:
        """Return the better unmasked bone threshold of the two mastoids.

        Without masking a bone-conducted tone reaches both cochleas almost equally, so this value
        belongs to the better cochlea and to no particular ear.
        """
        found = [
            t
            for side in Side
            if (t := self.measured(side, frequency_hz, Conduction.BONE, masked=False))
        ]
        return min(found, key=lambda t: (t.level_db_hl, t.no_response), default=None)

    def frequencies(self, conduction: Conduction = Conduction.AIR) -> tuple[int, ...]:
        """Frequencies in Hz measured in either ear, rising."""
        return tuple(
            sorted({t.frequency_hz for t in self.thresholds if t.conduction is conduction})
        )

    def mirrored(self) -> Audiogram:
        """Exchange the ears."""
        return replace(self, thresholds=tuple(t.mirrored() for t in self.thresholds))


_COLUMNS = ("ear", "frequency_hz", "conduction", "level_db_hl", "masked", "no_response")
_TRANSDUCER = "transducer"
_EARS = {"right": Side.RIGHT, "r": Side.RIGHT, "left": Side.LEFT, "l": Side.LEFT}
_YES_NO = {"yes": True, "no": False, "": False}
_CONDUCTIONS = {str(c): c for c in Conduction}
_TRANSDUCERS = {str(t): t for t in Transducer}

T = TypeVar("T")


def audiogram_to_csv(audiogram: Audiogram) -> str:
    """Write the audiogram as CSV, one threshold a row, units in the heading."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow((*_COLUMNS, _TRANSDUCER))
    for t in audiogram.thresholds:
        writer.writerow(
            (
                t.side,
                t.frequency_hz,
                t.conduction,
                f"{t.level_db_hl!r}".removesuffix(".0"),
                "yes" if t.masked else "no",
                "yes" if t.no_response else "no",
                audiogram.transducer,
            )
        )
    return out.getvalue()


def audiogram_from_csv(text: str, *, where: str = "audiogram") -> Audiogram:
    """Read an audiogram from CSV.

    Parameters
    ----------
    text : str
        Columns ``ear`` (right, left), ``frequency_hz``, ``conduction`` (air, bone),
        ``level_db_hl``, ``masked`` and ``no_response`` (yes, no), and optionally ``transducer``.
    where : str
        Name of the file, for the error.

    Returns
    -------
    Audiogram

    Raises
    ------
    BadInput
        Naming the line, what was found there, what was expected, and the usual slip.
    """
    reader = csv.DictReader(csv_lines(text, where))
    _check_heading(reader.fieldnames, where)
    thresholds: list[Threshold] = []
    transducers: set[Transducer] = set()
    for row in reader:
        line = f"{where}, line {reader.line_num}"
        if None in row or None in row.values():
            raise BadInput(
                "number of cells",
                sum(v is not None and k is not None for k, v in row.items()),
                f"{len(reader.fieldnames or ())} cells as in the heading",
                where=line,
            )
        cells = {k.strip().lower(): v.strip() for k, v in row.items()}
        try:
            thresholds.append(_threshold(cells))
            if word := cells.get(_TRANSDUCER, ""):
                transducers.add(_choice(_TRANSDUCER, word, _TRANSDUCERS))
        except BadInput as error:
            raise _placed(error, line) from None
    if len(transducers) > 1:
        raise BadInput(
            _TRANSDUCER,
            tuple(sorted(transducers)),
            "one transducer for the whole audiogram",
            where=where,
        )
    try:
        return Audiogram(tuple(thresholds), *transducers)
    except BadInput as error:
        raise _placed(error, where) from None


def _placed(error: BadInput, where: str) -> BadInput:
    return BadInput(error.field, error.found, error.expected, hint=error.hint, where=where)


def _check_heading(names: object, where: str) -> None:
    found = [n.strip().lower() for n in names] if isinstance(names, (list, tuple)) else []
    missing = [c for c in _COLUMNS if c not in found]
    if missing:
        spl = any("spl" in n for n in found)
        raise BadInput(
            "columns",
            tuple(found),
            f"columns {', '.join(_COLUMNS)} (missing: {', '.join(missing)})",
            hint="The levels are in dB SPL: an audiogram is in dB HL, the level above the "
            "reference threshold of the earphone."
            if spl
            else "",
            where=where,
        )
    unknown = [n for n in found if n not in (*_COLUMNS, _TRANSDUCER)]
    if unknown:
        raise BadInput(
            "columns",
            tuple(unknown),
            f"only {', '.join((*_COLUMNS, _TRANSDUCER))}",
            hint="Nothing is dropped in silence: take the extra columns out first.",
            where=where,
        )


def _threshold(cells: dict[str, str]) -> Threshold:
    return Threshold(
        side=_choice("ear", cells["ear"], _EARS),
        frequency_hz=_frequency(cells["frequency_hz"]),
        conduction=_choice("conduction", cells["conduction"], _CONDUCTIONS),
        level_db_hl=_level(cells["level_db_hl"]),
        masked=_choice("masked", cells["masked"], _YES_NO),
        no_response=_choice("no_response", cells["no_response"], _YES_NO),
    )


def _choice(field_name: str, word: str, allowed: Mapping[str, T]) -> T:
    try:
        return allowed[word.lower()]
    except KeyError:
        words = ", ".join(w for w in allowed if w)
        raise BadInput(field_name, word, f"one of {words}") from None


def _frequency(word: str) -> int:
    try:
        number = float(word)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise BadInput("frequency_hz", word, "a frequency in Hz", hint="Write 1000 for 1k.")
    if number != int(number) and number > 12:
        raise BadInput("frequency_hz", word, "a whole number of Hz")
    return int(number) if number == int(number) else _kilohertz(word)


def _kilohertz(word: str) -> int:
    raise BadInput(
        "frequency_hz",
        word,
        f"one of {', '.join(map(str, AUDIOMETRIC_HZ))} Hz",
        hint="Frequencies are in Hz: write 500 for 0.5 kHz.",
    )


def _level(word: str) -> float:
    try:
        number = float(word)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        hint = ""
        if word.lower() in {"nr", "n/r", "no response"}:
            hint = "Write the highest level presented here and yes under no_response."
        elif "spl" in word.lower():
            hint = "An audiogram is in dB HL, not dB SPL."
        raise BadInput("level_db_hl", word, "a number of dB HL", hint=hint)
    return number
