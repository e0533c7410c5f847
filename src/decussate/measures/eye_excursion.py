"""How far one eye turns, against healthy people and as a grade."""

from __future__ import annotations

from enum import StrEnum

from decussate.errors import BadInput
from decussate.measures.published_rows import read_tables, row_named

__all__ = ["Excursion", "excursion_grade", "excursion_z_score"]


class Excursion(StrEnum):
    """The four directions one eye can be taken from straight ahead."""

    ADDUCTION = "adduction"
    ABDUCTION = "abduction"
    ELEVATION = "elevation"
    DEPRESSION = "depression"


def _range(excursion: Excursion, reached_deg: float) -> tuple[float, float]:
    if not -30.0 <= reached_deg <= 75.0:
        raise BadInput(
            str(excursion),
            reached_deg,
            "-30 (short of the midline) to 75 degrees",
            hint="Were these prism dioptres?",
        )
    row = row_named(read_tables("eye_alignment.yaml")["range"], excursion, "excursion")
    return float(row["mean_deg"]), float(row["sd_deg"])


def excursion_z_score(excursion: Excursion, reached_deg: float) -> float:
    """Compare the reach of one eye with healthy people, in standard deviations.

    Parameters
    ----------
    excursion : Excursion
    reached_deg : float
        Degrees from straight ahead; negative when the eye stays short of the midline.

    Returns
    -------
    float

    Raises
    ------
    BadInput
        When no eye turns so far.

    References
    ----------
    261 healthy people aged 5 to 91 years: Lim et al. Eye (Lond) 2019.
    """
    mean, sd = _range(excursion, reached_deg)
    return (reached_deg - mean) / sd


def excursion_grade(excursion: Excursion, reached_deg: float) -> int:
    """Turn a measured reach into the graded limitation, 0 to -4, or -5 short of the midline.

    Parameters
    ----------
    excursion : Excursion
    reached_deg : float
        Degrees from straight ahead.

    Returns
    -------
    int

    Raises
    ------
    BadInput
        When no eye turns so far.

    References
    ----------
    Each grade a quarter of the normal excursion: common practice.
    """
    mean, _ = _range(excursion, reached_deg)
    if reached_deg < 0.0:
        return -5
    share = min(reached_deg / mean, 1.0)
    rows = read_tables("eye_alignment.yaml")["grades"]
    return int(min(rows, key=lambda row: abs(float(row["share_left"]) - share))["grade"])
