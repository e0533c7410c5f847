"""How much bedside field testing can miss, and red compared between quadrants."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.measures.published_rows import read_tables, row_named
from decussate.measures.visual_field_directions import Quadrant
from decussate.sides import Side

__all__ = [
    "ConfrontationAccuracy",
    "RedDesaturation",
    "confrontation_accuracy",
    "half_detection_loss_db",
    "red_desaturation",
]

_RED_LIMIT_PERCENT = 75.0


@dataclass(frozen=True, slots=True)
class ConfrontationAccuracy:
    """Published accuracy of one bedside technique for one kind of defect.

    Parameters
    ----------
    technique, defect : str
    sensitivity_percent, specificity_percent : float or None
        None when the source gives only a range, or nothing.
    low_percent, high_percent : float or None
        Confidence limits or range of the sensitivity.
    population, source, mark : str
    """

    technique: str
    defect: str
    sensitivity_percent: float | None
    specificity_percent: float | None
    low_percent: float | None
    high_percent: float | None
    population: str
    source: str
    mark: str

    @property
    def missed_percent(self) -> tuple[float, float]:
        """Least and greatest share of such defects that the technique missed, in percent."""
        if self.low_percent is not None and self.high_percent is not None:
            return 100.0 - self.high_percent, 100.0 - self.low_percent
        if self.sensitivity_percent is None:
            raise BadInput("sensitivity", None, "a figure or a range", where=self.source)
        return 100.0 - self.sensitivity_percent, 100.0 - self.sensitivity_percent

    @property
    def positive_likelihood_ratio(self) -> float | None:
        """Sensitivity / (1 - specificity); None when either is unknown, infinite at 100 %."""
        if self.sensitivity_percent is None or self.specificity_percent is None:
            return None
        false_positive = 100.0 - self.specificity_percent
        return self.sensitivity_percent / false_positive if false_positive > 0.0 else math.inf

    @property
    def negative_likelihood_ratio(self) -> float | None:
        """(1 - sensitivity) / specificity; None when either is unknown."""
        if self.sensitivity_percent is None or self.specificity_percent is None:
            return None
        return (100.0 - self.sensitivity_percent) / self.specificity_percent


def _accuracy_rows() -> tuple[ConfrontationAccuracy, ...]:
    return tuple(
        ConfrontationAccuracy(
            technique=row["technique"],
            defect=row["defect"],
            sensitivity_percent=row.get("sensitivity"),
            specificity_percent=row.get("specificity"),
            low_percent=row.get("low"),
            high_percent=row.get("high"),
            population=row["population"],
            source=row.citation,
            mark=row.mark,
        )
        for row in read_tables("visual_field.yaml")["confrontation_accuracy"]
    )


def confrontation_accuracy(
    technique: str | None = None, defect: str | None = None
) -> tuple[ConfrontationAccuracy, ...]:
    """Give the published accuracy of bedside techniques, by technique, by defect, or all.

    Parameters
    ----------
    technique, defect : str, optional
        As named in ``data/visual_field.yaml``; all when left out.

    Returns
    -------
    tuple of ConfrontationAccuracy

    Raises
    ------
    BadInput
        If nothing is published here for that technique or defect.
    """
    rows = _accuracy_rows()
    techniques, defects = {r.technique for r in rows}, {r.defect for r in rows}
    if technique is not None and technique not in techniques:
        raise BadInput("technique", technique, "one of " + ", ".join(sorted(techniques)))
    if defect is not None and defect not in defects:
        raise BadInput("defect", defect, "one of " + ", ".join(sorted(defects)))
    return tuple(r for r in rows if technique in (None, r.technique) and defect in (None, r.defect))


def half_detection_loss_db(*, upper: bool) -> float:
    """Depth of loss, in dB, that confrontation finds half the time.

    Parameters
    ----------
    upper : bool
        Upper or lower quadrant.

    Returns
    -------
    float
        In dB, negative.

    References
    ----------
    Shahinfar et al. 1995, Ophthalmology 102: -26 dB in an upper, -19 dB in a lower quadrant.
    """
    rows = read_tables("visual_field.yaml")["half_detection"]
    return float(row_named(rows, "upper" if upper else "lower", "half of the field")["loss_db"])


@dataclass(frozen=True, slots=True)
class RedDesaturation:
    """Red in the four quadrants of one eye, as percent of the reddest.

    Parameters
    ----------
    eye : Side
    percent : dict of Quadrant to float
    duller : tuple of Quadrant
        Quadrants at or below 75 percent of the reddest (the limit is `judgement`).
    meridian : str
        ``"vertical"`` when exactly one lateral half is duller, ``"horizontal"`` when exactly the
        upper or lower half is, else ``""``.
    caution : str
    """

    eye: Side
    percent: dict[Quadrant, float]
    duller: tuple[Quadrant, ...]
    meridian: str
    caution: str = (
        "Red acts as a dimmer target; its ratio to white differs between people (3.0 to 7.5). "
        "A duller quadrant asks for formal perimetry."
    )

    @property
    def duller_side(self) -> Side | None:
        """Side of space, the patient's right or left, of a duller lateral half."""
        return self.duller[0].side(self.eye) if self.meridian == "vertical" else None


def red_desaturation(eye: Side, percent: Mapping[Quadrant, float]) -> RedDesaturation:
    """Compare red between the quadrants of one eye.

    Parameters
    ----------
    eye : Side
    percent : mapping of Quadrant to float
        How red the same target looks in each of the four quadrants, in percent of the reddest
        (0 no colour or not seen, 100 the reddest).

    Returns
    -------
    RedDesaturation

    Raises
    ------
    BadInput
        If a quadrant is missing, a value is outside 0 to 100, or all are 0.

    References
    ----------
    Mindel, Safir, Schare 1983, Arch Ophthalmol 101:927: red behaves as white dimmed 3.0 to 7.5
    times (mean 5.7).
    """
    missing = [q.value for q in Quadrant if q not in percent]
    if missing:
        raise BadInput("quadrants", "not tested: " + ", ".join(missing), "all four quadrants")
    for q, value in percent.items():
        if not 0.0 <= value <= 100.0:
            raise BadInput(
                f"red, {q.value.replace('_', ' ')}", value, "0 to 100 percent of the reddest"
            )
    reddest = max(percent.values())
    if reddest == 0.0:
        raise BadInput(
            "red",
            "0 in every quadrant",
            "at least one quadrant where red is seen",
            hint="Record this as colour not seen; there is nothing to compare.",
        )
    relative = {q: 100.0 * percent[q] / reddest for q in Quadrant}
    duller = tuple(q for q in Quadrant if relative[q] <= _RED_LIMIT_PERCENT)
    meridian = ""
    if len(duller) == 2:
        if duller[0].side(eye) is duller[1].side(eye):
            meridian = "vertical"
        elif duller[0].is_upper is duller[1].is_upper:
            meridian = "horizontal"
    return RedDesaturation(eye, relative, duller, meridian)
