"""The timed water swallow: speed, volume and time per swallow, against what is published.

Ask the gates of `decussate.measures.swallow_screens` first; a swallow test can hurt.
"""

from __future__ import annotations

from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.measures.published_rows import PublishedRow, read_tables, row_named
from decussate.measures.sex import Sex

__all__ = [
    "SwallowSpeed",
    "WaterSwallow",
    "expected_fall_ml_s",
    "published_norms",
    "published_notes",
    "swallow_limit",
    "swallow_speed",
]

_TABLES = read_tables("swallow.yaml")


def swallow_limit(name: str) -> float:
    """Return one limit of ``swallow.yaml``, in the unit given there."""
    return float(row_named(_TABLES["limits"], name, "limit")["value"])


@dataclass(frozen=True, slots=True)
class WaterSwallow:
    """One glass of water drunk as fast as is comfortable.

    Parameters
    ----------
    given_ml : float
        Water in the glass, mL.
    seconds : float
        From the water touching the lip to the last return of the larynx, or to the stop.
    left_ml : float
        Water left in the glass, mL: speed counts only what was drunk.
    swallows : int, optional
        Returns of the larynx counted.
    coughed : bool
        During, or within a minute after.
    wet_voice : bool
        Wet or hoarse voice afterwards.
    interrupted : bool
        The patient paused or stopped.

    Raises
    ------
    BadInput
        If a value is impossible.
    """

    given_ml: float
    seconds: float
    left_ml: float = 0.0
    swallows: int | None = None
    coughed: bool = False
    wet_voice: bool = False
    interrupted: bool = False

    def __post_init__(self) -> None:
        if not 1 <= self.given_ml <= 300:
            raise BadInput(
                "water given",
                self.given_ml,
                "1 to 300 mL",
                hint="Was this in litres?" if 0 < self.given_ml < 1 else "",
            )
        if not 0 <= self.left_ml <= self.given_ml:
            raise BadInput(
                "water left",
                self.left_ml,
                f"0 to {self.given_ml:g} mL, not more than was given",
                hint="Give what is left in the glass, not what was drunk.",
            )
        if not 0 < self.seconds <= 600:
            raise BadInput("time taken", self.seconds, "above 0 and up to 600 s")
        if self.swallows is not None and not (
            0 <= self.swallows <= 200 and (self.swallows > 0 or self.drunk_ml == 0)
        ):
            raise BadInput("swallows", self.swallows, "1 or more for water that was drunk")

    @property
    def drunk_ml(self) -> float:
        """Water drunk, mL."""
        return self.given_ml - self.left_ml


@dataclass(frozen=True, slots=True)
class SwallowSpeed:
    """What the timed swallow came to.

    Parameters
    ----------
    speed_ml_s : float
        Volume drunk over time, mL/s.
    volume_per_swallow_ml : float or None
        Average volume of a swallow, mL; None when swallows were not counted.
    time_per_swallow_s : float or None
        Average time of a swallow, s.
    slow : bool
        Whether the speed is below the published limit.
    signs : tuple of str
        Cough, wet voice, interruption or water left: each matters whatever the speed.
    limit_of_full_volume : bool
        Whether the volume given was the full one to which the limit belongs; with less, healthy
        people are often below it.
    """

    speed_ml_s: float
    volume_per_swallow_ml: float | None
    time_per_swallow_s: float | None
    slow: bool
    signs: tuple[str, ...]
    limit_of_full_volume: bool


def swallow_speed(test: WaterSwallow) -> SwallowSpeed:
    """Compute the speed of swallowing and its parts.

    Parameters
    ----------
    test : WaterSwallow
        What was measured.

    Returns
    -------
    SwallowSpeed
        ``slow`` below 10 mL/s; 10.0 mL/s itself is not slow.

    References
    ----------
    Nathadwarawala KM, Nicklin J, Wiles CM. J Neurol Neurosurg Psychiatry 1992;55:822-825;
    Hughes TAT, Wiles CM. QJM 1996;89:109-116 (volume and time per swallow).
    """
    speed = test.drunk_ml / test.seconds
    count = test.swallows or None
    signs = (
        ("cough", test.coughed),
        ("wet voice", test.wet_voice),
        ("interrupted", test.interrupted),
        ("water left", test.left_ml > 0),
    )
    return SwallowSpeed(
        speed_ml_s=speed,
        volume_per_swallow_ml=test.drunk_ml / count if count else None,
        time_per_swallow_s=test.seconds / count if count else None,
        slow=speed < swallow_limit("slow below"),
        signs=tuple(name for name, present in signs if present),
        limit_of_full_volume=test.given_ml >= swallow_limit("timed volume"),
    )


def published_norms(age_years: float) -> tuple[PublishedRow, ...]:
    """List the published figures of swallowing speed that cover an age.

    Parameters
    ----------
    age_years : float
        Age in years.

    Returns
    -------
    tuple of PublishedRow
        With ``name``, ``value``, ``unit``, source and mark; those without an age range always.

    Raises
    ------
    BadInput
        If the age is impossible.
    """
    return _covering("norms", age_years)


def published_notes(age_years: float) -> tuple[str, ...]:
    """List in words what is published of healthy swallowing at an age.

    Raises
    ------
    BadInput
        If the age is impossible.
    """
    return tuple(str(row["text"]) for row in _covering("notes", age_years))


def _covering(table: str, age_years: float) -> tuple[PublishedRow, ...]:
    if not 0 <= age_years <= 120:
        raise BadInput("age", age_years, "0 to 120 years")
    return tuple(
        row
        for row in _TABLES[table]
        if (row.get("youngest") or 0) <= age_years <= (row.get("oldest") or 120)
    )


def expected_fall_ml_s(sex: Sex, from_age: float, to_age: float) -> float:
    """Give how much swallowing speed falls with age alone between two ages, in mL/s.

    Use it when a speed is compared with the same person's years earlier; it predicts no absolute
    speed.

    Parameters
    ----------
    sex : Sex
        Column of the norm.
    from_age, to_age : float
        Ages in years, within 60 to 92.

    Returns
    -------
    float
        8.8 (women) or 7.3 (men) mL/s over 60 to 92 years, in proportion.

    Raises
    ------
    BadInput
        Outside the ages studied, or when the ages are exchanged.

    References
    ----------
    The Timed Water Swallow Test: normative data on swallowing capacity for healthy people aged 60
    years and older (165 people).
    """
    row = next((r for r in _TABLES["fall_with_age"] if r["sex"] == sex), None)
    if row is None:
        raise BadInput("sex", sex, "female or male, the two columns of the norm")
    youngest, oldest = row["from_age"], row["to_age"]
    if not youngest <= from_age <= to_age <= oldest:
        raise BadInput(
            "ages",
            (from_age, to_age),
            f"{youngest} to {oldest} years, the earlier age first",
            hint="No norm is extended beyond the ages studied.",
        )
    return float(row["fall_ml_s"] * (to_age - from_age) / (oldest - youngest))
