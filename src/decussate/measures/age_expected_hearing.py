"""What hearing to expect at an age: ISO 7029, both editions, never mixed.

The standard describes people with no ear disease and no undue noise.  It gives the change from the
median 18-year-old, not an absolute hearing level; reading it against an audiogram takes that median
as 0 dB HL.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from scipy.stats import norm

from decussate.errors import BadInput
from decussate.measures.audiogram import Audiogram
from decussate.measures.published_rows import PublishedRow, read_tables
from decussate.measures.sex import Sex
from decussate.sides import Side

__all__ = [
    "AgeComparison",
    "Edition",
    "ExpectedThreshold",
    "compare_with_age",
    "expected_threshold",
]

Edition = Literal["2017", "2000"]

_TABLES = read_tables("age_expected_hearing.yaml")
_WORSE_2000, _BETTER_2000 = 0.445, 0.356


@dataclass(frozen=True, slots=True)
class ExpectedThreshold:
    """The distribution of thresholds expected at an age, as two half-normal curves.

    Parameters
    ----------
    frequency_hz : int
        Frequency in Hz.
    median_db : float
        Median, in dB above the median of 18-year-olds.
    worse_sd_db, better_sd_db : float
        Standard deviations of the half that hears worse and the half that hears better, in dB.
    informative : bool
        Whether the standard gives this value for information only (high tones above 70 years).
        The spread polynomials fall towards zero there, so no fraction is computed from them.
    edition : str
        Edition of ISO 7029.
    mark : str
        How far the coefficients were checked.
    """

    frequency_hz: int
    median_db: float
    worse_sd_db: float
    better_sd_db: float
    informative: bool
    edition: Edition
    mark: str

    def at_fraction_worse(self, fraction: float) -> float:
        """Give the threshold that this fraction of people exceed (hear worse than), in dB.

        Raises
        ------
        BadInput
            If the fraction is not between 0 and 1, or the value is for information only.
        """
        self._refuse_informative()
        if not 0.0 < fraction < 1.0:
            raise BadInput(
                "fraction",
                fraction,
                "between 0 and 1",
                hint="Was a percentage given for a fraction?",
            )
        z = float(norm.isf(fraction))
        return self.median_db + z * (self.worse_sd_db if z >= 0 else self.better_sd_db)

    def fraction_worse_than(self, level_db: float) -> float:
        """Give the fraction of people of this age and sex expected to hear worse than a level.

        Raises
        ------
        BadInput
            If the value is for information only.
        """
        self._refuse_informative()
        sd = self.worse_sd_db if level_db >= self.median_db else self.better_sd_db
        return float(norm.sf((level_db - self.median_db) / sd))

    def _refuse_informative(self) -> None:
        if self.informative:
            raise BadInput(
                f"spread at {self.frequency_hz} Hz",
                "age above 70 years",
                "up to 70 years for 3000 Hz and above",
                hint="Above that the standard gives the median for information only.",
            )


def expected_threshold(
    age_years: float, sex: Sex, frequency_hz: int, *, edition: Edition = "2017"
) -> ExpectedThreshold:
    """Compute the threshold expected at an age.

    Parameters
    ----------
    age_years : float
        Age in years, 18 to 80 (2017) or 18 to 70 (2000).
    sex : Sex
        Column of the standard.
    frequency_hz : int
        Audiometric frequency in Hz, 125 to 8000 (the 2000 edition has no 750 Hz).
    edition : str
        ``"2017"`` or ``"2000"``.

    Returns
    -------
    ExpectedThreshold

    Raises
    ------
    BadInput
        Outside the scope of the standard.

    References
    ----------
    ISO 7029:2017, Acoustics: statistical distribution of hearing thresholds related to age and
    gender, clauses 4.2 to 4.4; ISO 7029:2000, second edition.
    """
    scopes = {row["edition"]: row for row in _TABLES["scope"]}
    if edition not in scopes:
        raise BadInput("edition of ISO 7029", edition, f"one of {', '.join(scopes)}")
    scope = scopes[edition]
    if not scope["youngest"] <= age_years <= scope["oldest"]:
        raise BadInput(
            "age",
            age_years,
            f"{scope['youngest']} to {scope['oldest']} years, the scope of ISO 7029:{edition}",
            hint="No norm is extended beyond its scope.",
        )
    row = _row(edition, sex, frequency_hz)
    years = age_years - 18.0
    if edition == "2017":
        median = row["a"] * years ** row["b"]
        worse, better = (
            sum(c * years**power for power, c in enumerate(row[half]))
            for half in ("worse", "better")
        )
    else:
        median = row["a"] * years**2
        worse = row["b_worse"] + _WORSE_2000 * median
        better = row["b_better"] + _BETTER_2000 * median
    informative = (
        age_years > scope["informative_above"] and frequency_hz >= scope["informative_from_hz"]
    )
    return ExpectedThreshold(
        frequency_hz, float(median), float(worse), float(better), informative, edition, row.mark
    )


def _row(edition: Edition, sex: Sex, frequency_hz: int) -> PublishedRow:
    if sex not in tuple(Sex):
        raise BadInput("sex", sex, "female or male, the two columns of ISO 7029")
    rows = {row["frequency_hz"]: row for row in _TABLES[edition] if row["sex"] == sex}
    if frequency_hz not in rows:
        raise BadInput(
            "frequency",
            frequency_hz,
            f"one of {', '.join(map(str, rows))} Hz",
            hint="Frequencies are in Hz, not kHz." if frequency_hz < 20 else "",
        )
    return rows[frequency_hz]


@dataclass(frozen=True, slots=True)
class AgeComparison:
    """One threshold against what is expected at the age.

    Parameters
    ----------
    side : Side
        The ear.
    frequency_hz : int
        Frequency in Hz.
    excess_db : float
        Threshold minus expected median, in dB; positive is worse.  A lower bound when the tone was
        not heard.
    fraction_worse : float or None
        Fraction of otologically normal people of the age and sex who hear worse than this; an
        upper bound when the tone was not heard, None where the standard gives no usable spread.
    at_least : bool
        Whether the tone was not heard, so that both are bounds.
    expected : ExpectedThreshold
        What was expected.
    """

    side: Side
    frequency_hz: int
    excess_db: float
    fraction_worse: float | None
    at_least: bool
    expected: ExpectedThreshold


def compare_with_age(
    audiogram: Audiogram, side: Side, age_years: float, sex: Sex, *, edition: Edition = "2017"
) -> tuple[AgeComparison, ...]:
    """Compare each air-conduction threshold of one ear with the expectation for the age.

    The median of 18-year-olds is taken as 0 dB HL.  Frequencies the edition does not give are left
    out (750 Hz in the 2000 edition).

    Parameters
    ----------
    audiogram : Audiogram
        The thresholds.
    side : Side
        The ear.
    age_years, sex, edition
        As in `expected_threshold`.

    Returns
    -------
    tuple of AgeComparison
        One for each frequency measured, rising.
    """
    covered = {row["frequency_hz"] for row in _TABLES[edition]}
    found = []
    for frequency in audiogram.frequencies():
        threshold = audiogram.best(side, frequency)
        if threshold is None or frequency not in covered:
            continue
        expected = expected_threshold(age_years, sex, frequency, edition=edition)
        level = threshold.level_db_hl
        found.append(
            AgeComparison(
                side,
                frequency,
                level - expected.median_db,
                None if expected.informative else expected.fraction_worse_than(level),
                threshold.no_response,
                expected,
            )
        )
    return tuple(found)
