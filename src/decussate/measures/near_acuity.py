"""Near acuity: print size and the distance it was held at, and what the reading add explains.

A print size is not an acuity until the distance is known. N sizes are point sizes of the body of
the type; how tall the letters are depends on a rule, which every conversion names.

References
----------
.. [1] Sloan LL, Habel A. Reading aids for the partially blind. Am J Ophthalmol 1956;42:863-872
   (M unit: letter height subtending 5 minutes of arc at 1 m).
.. [2] Law FW. Standardization of reading types. Br J Ophthalmol 1951;35:765-773 (N sizes).
.. [3] Colenbrander A. Measuring vision and vision loss. Duane's Clinical Ophthalmology, vol 5 ch 51
   (1/V = M x D).
.. [4] Millodot M, Millodot S. Presbyopia correction and the accommodation in reserve.
   Ophthalmic Physiol Opt 1989;9:126-132 (half of the amplitude in reserve).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import StrEnum

from decussate.errors import BadInput
from decussate.measures.acuity_chart import FOOT_M
from decussate.measures.distance_acuity import ReadAcuity
from decussate.measures.published_rows import read_tables, row_named

__all__ = [
    "DEFAULT_N_RULE",
    "M_UNIT_MM",
    "POINT_MM",
    "Focus",
    "NearAcuity",
    "NearReading",
    "m_from_n",
    "n_from_m",
    "near_impairment",
    "parse",
    "read_with_add",
    "suggested_add",
    "write",
    "x_height_mm",
]

M_UNIT_MM = 1000.0 * math.tan(math.radians(5.0 / 60.0))
"""Letter height of 1 M unit, millimetres: 5 minutes of arc at 1 m [1]_."""
POINT_MM = 25.4 / 72.0
"""One desktop point, millimetres."""
DEFAULT_N_RULE = "N8 is 1 M"


@dataclass(frozen=True, slots=True)
class NearAcuity:
    """The smallest print read, and where it was held.

    Parameters
    ----------
    m_units : float
        Size of the print: letter height over 1.454 mm [1]_.
    distance_m : float
        Distance from the eye, metres.
    n_size : float, optional
        The N size, when it was written so.
    n_rule : str
        The rule that turned N into M, when one was used.
    """

    m_units: float
    distance_m: float
    n_size: float | None = None
    n_rule: str = ""

    def __post_init__(self) -> None:
        if not 0.1 <= self.m_units <= 20.0:
            raise BadInput("print size", self.m_units, "0.1 to 20 M")
        if not 0.05 <= self.distance_m <= 1.0:
            raise BadInput(
                "reading distance",
                self.distance_m,
                "0.05 to 1 metre",
                hint="Is it in centimetres? 40 cm is 0.4.",
            )

    @property
    def logmar(self) -> float:
        """LogMAR at the distance held: log10(M / d), d in metres [3]_."""
        return math.log10(self.m_units / self.distance_m)

    @property
    def decimal(self) -> float:
        """Decimal acuity at the distance held, d / M [3]_."""
        return self.distance_m / self.m_units

    @property
    def height_mm(self) -> float:
        """Height of a small letter, millimetres."""
        return self.m_units * M_UNIT_MM

    @property
    def focus_needed_dioptres(self) -> float:
        """Focus a distance-corrected eye needs at this distance, dioptres: 1 / d."""
        return 1.0 / self.distance_m


def x_height_mm(n_size: float, *, rule: str = DEFAULT_N_RULE) -> float:
    """Height of a small letter of an N size.

    Parameters
    ----------
    n_size : float
        Point size of the body [2]_.
    rule : str
        Name of a row of ``n_rules`` in ``data/near_acuity.yaml``; the rules differ by 0.06 logMAR.

    Returns
    -------
    float
        Millimetres.

    Raises
    ------
    BadInput
        When the size is outside N3 to N96 or the rule is unknown.
    """
    if not 3.0 <= n_size <= 96.0:
        raise BadInput("N size", n_size, "N3 to N96")
    return n_size * _mm_of_n1(rule)


def _mm_of_n1(rule: str) -> float:
    row = row_named(read_tables("near_acuity.yaml")["n_rules"], rule, "rule for N sizes")
    if (m_of_n8 := row.get("m_of_n8")) is not None:
        return float(m_of_n8) * M_UNIT_MM / 8.0
    return float(row["x_height"]) * POINT_MM


def m_from_n(n_size: float, *, rule: str = DEFAULT_N_RULE) -> float:
    """M units of an N size.

    Parameters
    ----------
    n_size : float
    rule : str
        As in `x_height_mm`.

    Returns
    -------
    float
        M units.

    Raises
    ------
    BadInput
        As `x_height_mm`.
    """
    return x_height_mm(n_size, rule=rule) / M_UNIT_MM


def n_from_m(m_units: float, *, rule: str = DEFAULT_N_RULE) -> float:
    """N size of a print of so many M units.

    Parameters
    ----------
    m_units : float
    rule : str
        As in `x_height_mm`.

    Returns
    -------
    float
        N size, not rounded to a size that is printed.

    Raises
    ------
    BadInput
        When the rule is unknown or the size impossible.
    """
    if not 0.1 <= m_units <= 20.0:
        raise BadInput("print size", m_units, "0.1 to 20 M")
    return m_units * M_UNIT_MM / _mm_of_n1(rule)


_NUMBER = r"\d+(?:\.\d+)?"
_PRINT = re.compile(
    rf"(?:n ?(?P<n>{_NUMBER})|(?P<m>{_NUMBER}) ?m\b|m ?(?P<m2>{_NUMBER}))"
    rf"(?: ?(?:at|@)? ?(?P<at>{_NUMBER}) ?(?P<unit>cm|mm|m|in(?:ches)?)?)?",
    re.IGNORECASE,
)


def parse(text: str, *, n_rule: str = DEFAULT_N_RULE) -> NearAcuity:
    """Read a near acuity as clinicians write it.

    Parameters
    ----------
    text : str
        ``N8 at 40 cm``, ``0.8 M at 33 cm``, ``M1.0 at 0.4 m``.
    n_rule : str
        As in `x_height_mm`.

    Returns
    -------
    NearAcuity

    Raises
    ------
    BadInput
        When the distance or its unit is missing, or the size is a Jaeger number.
    """
    shown, text = text, " ".join(text.replace(",", ".").split())
    match = _PRINT.fullmatch(text)
    if match is None:
        jaeger = re.match(r"j(?:aeger)? ?\d", text, re.IGNORECASE)
        hint = (
            "J numbers are a printer's catalogue and differ between cards: enter the M size."
            if jaeger
            else ""
        )
        raise BadInput(
            "near acuity", shown, "a form such as N8 at 40 cm or 0.8 M at 33 cm", hint=hint
        )
    if not match["at"]:
        raise BadInput(
            "near acuity", shown, "the distance as well, as N8 at 40 cm",
            hint="A print size without its distance is not an acuity.",
        )  # fmt: skip
    unit = (match["unit"] or "").lower()
    if not unit:
        raise BadInput("reading distance", shown, "a distance with its unit, as 40 cm")
    scale = {"cm": 0.01, "mm": 0.001, "m": 1.0}.get(unit, FOOT_M / 12.0)
    distance = float(match["at"]) * scale
    if match["n"]:
        n_size = float(match["n"])
        return NearAcuity(m_from_n(n_size, rule=n_rule), distance, n_size, n_rule)
    return NearAcuity(float(match["m"] or match["m2"]), distance)


def write(acuity: NearAcuity) -> str:
    """Write a near acuity, with the distance always.

    Parameters
    ----------
    acuity : NearAcuity

    Returns
    -------
    str
        ``"N8 at 40 cm"`` or ``"0.8 M at 33 cm"``; reads back unchanged.
    """
    size = f"N{acuity.n_size:g}" if acuity.n_size is not None else f"{acuity.m_units:g} M"
    return f"{size} at {acuity.distance_m * 100:.4g} cm"


def near_impairment(acuity: NearAcuity) -> bool:
    """Tell whether presenting near acuity is worse than the limit for near vision impairment.

    Parameters
    ----------
    acuity : NearAcuity
        With the correction worn. Judged at the size written, N or M: the two limits (N6, M 0.8 at
        40 cm) are not the same size.

    Returns
    -------
    bool

    Raises
    ------
    BadInput
        When it was not measured at 40 cm.
    """
    row = read_tables("near_acuity.yaml")["near_impairment"][0]
    if abs(acuity.distance_m - row["distance_m"]) > 0.01:
        raise BadInput(
            "reading distance", acuity.distance_m, f"{row['distance_m']} m for this limit"
        )
    if acuity.n_size is not None:
        return bool(acuity.n_size > row["n"])
    return bool(acuity.m_units > row["m"] + 1e-9)


def suggested_add(distance_m: float, amplitude_dioptres: float) -> float:
    """Find the add that leaves half of the accommodation in reserve.

    Parameters
    ----------
    distance_m : float
        Reading distance, metres.
    amplitude_dioptres : float
        Measured amplitude of accommodation.

    Returns
    -------
    float
        Dioptres, 1 / d minus half the amplitude [4]_; never less than zero. A starting point for a
        trial lens.

    Raises
    ------
    BadInput
        When a value is impossible.
    """
    _check_focus(distance_m, amplitude_dioptres, 0.0)
    part = read_tables("near_acuity.yaml")["comfortable_part"][0]["fraction"]
    return float(max(0.0, 1.0 / distance_m - part * amplitude_dioptres))


class Focus(StrEnum):
    """Whether focus explains poor near acuity."""

    EXPLAINS = "focus"
    STRAINED = "strain"
    DOES_NOT_EXPLAIN = "not focus"
    NOTHING_TO_EXPLAIN = "agree"


@dataclass(frozen=True, slots=True)
class NearReading:
    """What the near acuity means with the lens worn.

    Parameters
    ----------
    focus : Focus
    short_by_dioptres : float
        Focus missing with the whole amplitude and the add in use; zero when it suffices.
    worse_than_distance_logmar : float
        Near minus distance logMAR; positive when near is worse.
    meaning : str
    """

    focus: Focus
    short_by_dioptres: float
    worse_than_distance_logmar: float
    meaning: str


def read_with_add(
    near: NearAcuity,
    distance: ReadAcuity,
    *,
    add_dioptres: float,
    amplitude_dioptres: float,
) -> NearReading:
    """Say whether the add and the accommodation left explain the near acuity.

    Parameters
    ----------
    near : NearAcuity
        With the add in place.
    distance : ReadAcuity
        The same eye, with its distance correction.
    add_dioptres : float
        Lens power added for near, over the distance correction.
    amplitude_dioptres : float
        Amplitude of accommodation, measured or expected for age; 0 for an eye without its lens.

    Returns
    -------
    NearReading
        Focus is short when 1 / d exceeds add + amplitude, strained when it exceeds add + half of
        it.

    Raises
    ------
    BadInput
        When a power is impossible.
    """
    _check_focus(near.distance_m, amplitude_dioptres, add_dioptres)
    tables = read_tables("near_acuity.yaml")
    part = tables["comfortable_part"][0]["fraction"]
    gap = tables["near_distance_gap"][0]["logmar"]
    needed = near.focus_needed_dioptres - add_dioptres
    short = max(0.0, needed - amplitude_dioptres)
    worse = near.logmar - distance.logmar
    if worse <= gap + 1e-9:
        focus = Focus.NOTHING_TO_EXPLAIN
    elif short > 0.0:
        focus = Focus.EXPLAINS
    elif needed > part * amplitude_dioptres + 1e-9:
        focus = Focus.STRAINED
    else:
        focus = Focus.DOES_NOT_EXPLAIN
    return NearReading(
        focus, short, worse, row_named(tables["focus"], focus.value, "focus")["meaning"]
    )


def _check_focus(distance_m: float, amplitude_dioptres: float, add_dioptres: float) -> None:
    if not 0.05 <= distance_m <= 1.0:
        hint = "Is it in centimetres? 40 cm is 0.4."
        raise BadInput("reading distance", distance_m, "0.05 to 1 metre", hint=hint)
    if not 0.0 <= amplitude_dioptres <= 25.0:
        raise BadInput("amplitude of accommodation", amplitude_dioptres, "0 to 25 dioptres")
    if not 0.0 <= add_dioptres <= 20.0:
        raise BadInput(
            "reading add", add_dioptres, "0 to 20 dioptres, over the distance correction"
        )
