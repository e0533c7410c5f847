"""Lids and orbit: margin distances, levator excursion and protrusion of the eyes.

Every limit is a row of ``data/lids_and_orbit.yaml`` with its source and the people it was
measured in. There is no one limit for everyone: 21 mm of protrusion is normal in some groups and
not in others.
"""

from __future__ import annotations

from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.measures.published_rows import PublishedRow, read_tables, row_named
from decussate.measures.sex import Sex
from decussate.sides import Side

__all__ = [
    "LidReading",
    "Lids",
    "MarginComparison",
    "Protrusion",
    "ProtrusionReading",
    "compare_margin",
    "fissure_mm",
    "levator_grade",
    "protrusion_groups",
    "read_lids",
    "read_protrusion",
]

_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Lids:
    """Lid measurements of both eyes, looking straight ahead with the brows relaxed.

    Parameters
    ----------
    right_margin_mm, left_margin_mm : float
        From the light reflex to the upper lid margin (MRD1), millimetres; negative when the lid
        covers the reflex.
    right_levator_mm, left_levator_mm : float, optional
        Excursion of the upper lid from full downgaze to full upgaze with the brow held,
        millimetres.
    """

    right_margin_mm: float
    left_margin_mm: float
    right_levator_mm: float | None = None
    left_levator_mm: float | None = None

    def __post_init__(self) -> None:
        for side in Side:
            margin = self.margin(side)
            if not -6.0 <= margin <= 10.0:
                hint = "The margin reflex distance is not the height of the whole fissure."
                raise BadInput(f"margin reflex distance, {side}", margin, "-6 to 10 mm", hint=hint)
            levator = self.levator(side)
            if levator is not None:
                _check_levator(levator, f"levator excursion, {side}")

    def margin(self, side: Side) -> float:
        """Margin reflex distance of one eye, millimetres."""
        return self.right_margin_mm if side is Side.RIGHT else self.left_margin_mm

    def levator(self, side: Side) -> float | None:
        """Levator excursion of one eye, millimetres."""
        return self.right_levator_mm if side is Side.RIGHT else self.left_levator_mm


def _check_levator(levator_mm: float, field: str) -> None:
    if not 0.0 <= levator_mm <= 25.0:
        raise BadInput(field, levator_mm, "0 to 25 mm", hint="Is it in centimetres or degrees?")


def fissure_mm(upper_margin_mm: float, lower_margin_mm: float) -> float:
    """Height of the palpebral fissure: the sum of both margin reflex distances.

    Parameters
    ----------
    upper_margin_mm, lower_margin_mm : float
        From the light reflex to the upper (MRD1) and the lower lid margin (MRD2), millimetres.

    Returns
    -------
    float
        Millimetres.

    Raises
    ------
    BadInput
        When the lids would cross.
    """
    height = upper_margin_mm + lower_margin_mm
    if not 0.0 <= height <= 20.0:
        found = (upper_margin_mm, lower_margin_mm)
        raise BadInput("margin reflex distances", found, "a fissure of 0 to 20 mm")
    return height


@dataclass(frozen=True, slots=True)
class MarginComparison:
    """One upper margin reflex distance beside a published population.

    Parameters
    ----------
    mean_mm, sd_mm : float
    deviations : float
        Standard deviations from the mean; negative when the lid is lower.
    below_limit : bool
        Lower than the mean less two standard deviations.
    group, citation : str
    """

    mean_mm: float
    sd_mm: float
    deviations: float
    below_limit: bool
    group: str
    citation: str


def compare_margin(margin_mm: float, *, group: str) -> MarginComparison:
    """Compare an upper margin reflex distance with a published population.

    Parameters
    ----------
    margin_mm : float
        MRD1, millimetres.
    group : str
        Name of a row of ``margin_distance``; measured means run from 2.4 to 3.5 mm, well below
        the 4 to 5 mm often taught.

    Returns
    -------
    MarginComparison

    Raises
    ------
    BadInput
        When the group is unknown or was published without a standard deviation.
    """
    row = row_named(read_tables("lids_and_orbit.yaml")["margin_distance"], group, "population")
    if row.get("sd_mm") is None:
        raise BadInput("population", group, "one published with a standard deviation")
    mean, deviation = float(row["mean_mm"]), float(row["sd_mm"])
    deviations = (margin_mm - mean) / deviation
    return MarginComparison(mean, deviation, deviations, deviations < -2.0, group, row.citation)


def levator_grade(levator_mm: float) -> PublishedRow:
    """Grade the excursion of the upper lid.

    Parameters
    ----------
    levator_mm : float

    Returns
    -------
    PublishedRow
        Its ``name`` is poor, fair, good or normal. Published bounds differ by a millimetre or two.

    Raises
    ------
    BadInput
        When it is not 0 to 25 mm.
    """
    _check_levator(levator_mm, "levator excursion")
    return _grade("levator_grades", levator_mm)


def _grade(table: str, value: float) -> PublishedRow:
    rows = read_tables("lids_and_orbit.yaml")[table]
    return max(
        (row for row in rows if value >= row["from_mm"] - _ROUNDING), key=lambda r: r["from_mm"]
    )


@dataclass(frozen=True, slots=True)
class LidReading:
    """What the lid measurements show.

    Parameters
    ----------
    droop_side : Side or None
        The lower upper lid, when the difference is large enough to remark on.
    low_sides : tuple of Side
        Lids lower than the limit on their own.
    difference_mm : float
        Right minus left margin reflex distance.
    grade : str
        Of the droop beside the other lid: none, mild, moderate or severe.
    levator : str
        Grade of the levator on the drooping side, or empty when not measured.
    meaning : str
    caution : str
    """

    droop_side: Side | None
    low_sides: tuple[Side, ...]
    difference_mm: float
    grade: str
    levator: str
    meaning: str
    caution: str


def read_lids(lids: Lids) -> LidReading:
    """Read both upper lids against each other and against the limit for one lid.

    Parameters
    ----------
    lids : Lids

    Returns
    -------
    LidReading
        A lower lid on one side may be the normal one beside a raised lid: the higher lid is then
        to be looked at, and the caution says so.
    """
    tables = read_tables("lids_and_orbit.yaml")
    low = float(row_named(tables["ptosis"], "low", "limit")["below_mm"])
    remark = float(
        row_named(tables["ptosis"], "unequal enough to remark", "limit")["difference_mm"]
    )
    difference = lids.right_margin_mm - lids.left_margin_mm
    droop = None
    if abs(difference) >= remark - _ROUNDING:
        droop = Side.LEFT if difference > 0 else Side.RIGHT
    low_sides = tuple(side for side in Side if lids.margin(side) < low - _ROUNDING)
    grade = str(_grade("droop_grades", abs(difference))["name"])
    lower = droop or (low_sides[0] if len(low_sides) == 1 else None)
    excursion = None if lower is None else lids.levator(lower)
    levator = "" if excursion is None else str(levator_grade(excursion)["name"])
    row = row_named(
        tables["ptosis_readings"], _reading(droop, low_sides, grade, levator), "reading"
    )
    caution = "Measured with the brows relaxed and the other lid held, if it changes the droop."
    if droop is not None and lids.margin(droop) >= low - _ROUNDING:
        caution = (
            "The lower lid is not low on its own: is the other lid raised or its eye prominent?"
        )
    return LidReading(droop, low_sides, difference, grade, levator, row["meaning"], caution)


def _reading(droop: Side | None, low: tuple[Side, ...], grade: str, levator: str) -> str:
    if droop is None and not low:
        return "none"
    if levator == "":
        return "levator not measured"
    if levator in ("poor", "fair"):
        return "levator weak"
    return "mild with good levator" if grade in ("none", "mild") else "larger with good levator"


@dataclass(frozen=True, slots=True)
class Protrusion:
    """Protrusion of both eyes by exophthalmometer.

    Parameters
    ----------
    right_mm, left_mm : float
        From the outer rim of the orbit to the front of the cornea, millimetres.
    base_mm : float, optional
        Setting of the base, to be used again at the next visit.
    """

    right_mm: float
    left_mm: float
    base_mm: float | None = None

    def __post_init__(self) -> None:
        for side, value in ((Side.RIGHT, self.right_mm), (Side.LEFT, self.left_mm)):
            if not 3.0 <= value <= 40.0:
                hint = "Is it in centimetres?" if value < 3.0 else ""
                raise BadInput(f"protrusion, {side}", value, "3 to 40 mm", hint=hint)
        if self.base_mm is not None and not 60.0 <= self.base_mm <= 130.0:
            raise BadInput("base of the exophthalmometer", self.base_mm, "60 to 130 mm")

    def of(self, side: Side) -> float:
        """Protrusion of one eye, millimetres."""
        return self.right_mm if side is Side.RIGHT else self.left_mm


@dataclass(frozen=True, slots=True)
class ProtrusionReading:
    """Protrusion against the limit of a population.

    Parameters
    ----------
    beyond_limit : tuple of Side
        Eyes beyond the upper limit.
    upper_limit_mm : float
    difference_mm : float
        Right minus left.
    unequal : Side or None
        The more prominent eye when the difference exceeds 2 mm.
    people, citation, mark : str
        Who was measured, where it was published, and how far the figure was checked.
    remarks : tuple of str
    """

    beyond_limit: tuple[Side, ...]
    upper_limit_mm: float
    difference_mm: float
    unequal: Side | None
    people: str
    citation: str
    mark: str
    remarks: tuple[str, ...]


def protrusion_groups() -> tuple[str, ...]:
    """Names of the populations with published limits, in the order of the table."""
    rows = read_tables("lids_and_orbit.yaml")["protrusion"]
    return tuple(dict.fromkeys(str(row["name"]) for row in rows))


def read_protrusion(
    protrusion: Protrusion, *, group: str, sex: Sex | None = None
) -> ProtrusionReading:
    """Read the protrusion of both eyes against a published limit.

    Parameters
    ----------
    protrusion : Protrusion
    group : str
        One of `protrusion_groups`; chosen by the examiner, since there is no one limit.
    sex : Sex, optional
        Needed where the limits were published by sex.

    Returns
    -------
    ProtrusionReading
        Where no limit was printed it is the mean plus two standard deviations.

    Raises
    ------
    BadInput
        When the group is unknown, or its limits depend on sex and none was given.
    """
    tables = read_tables("lids_and_orbit.yaml")
    rows = [row for row in tables["protrusion"] if row["name"] == group]
    if not rows:
        raise BadInput("population", group, "one of " + "; ".join(protrusion_groups()))
    fitting = [row for row in rows if row["sex"] in ("either", sex)]
    if not fitting:
        raise BadInput("sex", sex, f"male or female: the limits of '{group}' were published by sex")
    row = fitting[0]
    upper = row.get("upper_mm")
    remarks: tuple[str, ...] = ()
    if upper is None:
        upper = row["mean_mm"] + 2.0 * row["sd_mm"]
        remarks = ("The limit is the mean plus two standard deviations; none was printed.",)
    difference = protrusion.right_mm - protrusion.left_mm
    allowed = float(tables["protrusion_difference"][0]["mm"])
    unequal = None
    if abs(difference) > allowed + _ROUNDING:
        unequal = Side.RIGHT if difference > 0 else Side.LEFT
    beyond = tuple(side for side in Side if protrusion.of(side) > upper + _ROUNDING)
    people = f"{group}, {row['sex']}" + (f", {row.get('people')}" if row.get("people") else "")
    return ProtrusionReading(
        beyond, float(upper), difference, unequal, people, row.citation, row.mark, remarks
    )
