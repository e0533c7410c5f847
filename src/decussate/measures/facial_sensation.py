"""Facial sensation: does the loss follow a division of the nerve or a zone of its nucleus.

Ten areas a side are enough to tell them apart. Nine are the crossings of three divisions (V1, V2,
V3) with three zones round the mouth; the tenth, the angle of the jaw, is C2 and C3.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from decussate.errors import BadInput
from decussate.measures.published_rows import read_tables, row_named
from decussate.sides import Side

__all__ = [
    "AREAS",
    "Dissociation",
    "FaceArea",
    "FunctionalSign",
    "LossPattern",
    "PatternFit",
    "Sensation",
    "SensationReading",
    "dissociation",
    "face_areas",
    "functional_signs",
    "loss_patterns",
    "read_sensation",
]

_FILE = "facial_sensation.yaml"


class Sensation(StrEnum):
    """Response in an area, against the rest of the face; an area not tested has none."""

    NORMAL = "normal"
    REDUCED = "reduced"
    ABSENT = "absent"


@dataclass(frozen=True, slots=True)
class FaceArea:
    """An area of skin on one half of the face.

    Parameters
    ----------
    name : str
    division : str
        ``"V1"``, ``"V2"``, ``"V3"`` or ``"C2/3"``.
    zone : int
        1 round mouth and nose, 2 middle, 3 edge of the face; 0 outside the trigeminal field.
    outline : tuple of tuple of float, shape (n, 2)
        Half face drawn flat: across from the midline, down from the vertex, in drawing units.
    """

    name: str
    division: str
    zone: int
    outline: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class LossPattern:
    """A pattern of loss and the areas it takes.

    Parameters
    ----------
    name : str
    family : str
        ``"division"``, ``"zone"``, ``"whole trigeminal"``, ``"half of the head"``,
        ``"upper cervical"`` or ``"none"``.
    areas : frozenset of str
    caution : str
    """

    name: str
    family: str
    areas: frozenset[str]
    caution: str


@cache
def face_areas() -> tuple[FaceArea, ...]:
    """Give the ten areas of a half face."""
    return tuple(
        FaceArea(
            row["name"],
            row["division"],
            row["zone"],
            tuple((float(x), float(y)) for x, y in row["outline"]),
        )
        for row in read_tables(_FILE)["areas"]
    )


AREAS = tuple(area.name for area in face_areas())
"""Names of the areas."""


@cache
def loss_patterns() -> tuple[LossPattern, ...]:
    """Give every pattern that is considered: none, divisions, zones, and the half of the head."""
    cautions = {row["name"]: row["words"] for row in read_tables(_FILE)["cautions"]}
    return tuple(
        LossPattern(
            row["name"],
            row["family"],
            frozenset(
                a.name
                for a in face_areas()
                if a.division in (row.get("divisions") or []) or a.zone in (row.get("zones") or [])
            ),
            cautions.get(row["name"], ""),
        )
        for row in read_tables(_FILE)["patterns"]
    )


@dataclass(frozen=True, slots=True)
class PatternFit:
    """How a pattern agrees with what was found on one side.

    Parameters
    ----------
    pattern : LossPattern
    agree, contradict : tuple of str
        Areas tested that fit and that do not.
    """

    pattern: LossPattern
    agree: tuple[str, ...]
    contradict: tuple[str, ...]

    @property
    def agreement(self) -> float:
        """Share of the areas tested that fit, 0 to 1."""
        return len(self.agree) / (len(self.agree) + len(self.contradict))


@dataclass(frozen=True, slots=True)
class SensationReading:
    """Sensation of one half of the face.

    Parameters
    ----------
    side : Side
    ranking : tuple of PatternFit
        Every pattern, best first.
    leading : tuple of PatternFit
        Those with the fewest contradictions; more than one when the areas tested cannot tell.
    test_next : tuple of str
        Areas not yet tested in which the leading patterns differ.
    reasons : tuple of str
    """

    side: Side
    ranking: tuple[PatternFit, ...]
    leading: tuple[PatternFit, ...]
    test_next: tuple[str, ...]
    reasons: tuple[str, ...]


def read_sensation(side: Side, found: Mapping[str, Sensation]) -> SensationReading:
    """Rank the patterns that could explain the loss on one half of the face.

    Parameters
    ----------
    side : Side
    found : mapping of str to Sensation
        Response by area (see `AREAS`) to one modality; areas not tested are left out.

    Returns
    -------
    SensationReading

    Raises
    ------
    BadInput
        If no area was tested, or an area is not known.

    References
    ----------
    Divisional against segmental (zone) loss: Neurology 2011;77:e45. Sources of the map stand in
    ``data/facial_sensation.yaml``. Counting contradictions with equal weight is `judgement`.
    """
    _check(found)
    order = [a for a in AREAS if a in found]
    fits = []
    for pattern in loss_patterns():
        right = tuple(a for a in order if (a in pattern.areas) is _lost(found[a]))
        fits.append(PatternFit(pattern, right, tuple(a for a in order if a not in right)))
    fits.sort(key=lambda fit: len(fit.contradict))  # stable: ties stay in the order of the file
    fewest = len(fits[0].contradict)
    leading = tuple(fit for fit in fits if len(fit.contradict) == fewest)
    test_next = tuple(
        a for a in AREAS if a not in found and len({a in fit.pattern.areas for fit in leading}) == 2
    )
    return SensationReading(side, tuple(fits), leading, test_next, _reasons(found, leading))


def _check(found: Mapping[str, Sensation]) -> None:
    if not found:
        raise BadInput(
            "facial sensation",
            "no area",
            "at least one area tested",
            hint="Not tested is not the same as normal.",
        )
    for area in found:
        if area not in AREAS:
            raise BadInput("area of the face", area, "one of " + ", ".join(AREAS))


def _lost(response: Sensation) -> bool:
    return response is not Sensation.NORMAL


def _reasons(found: Mapping[str, Sensation], leading: tuple[PatternFit, ...]) -> tuple[str, ...]:
    lost = [a for a in AREAS if a in found and _lost(found[a])]
    kept = [a for a in AREAS if a in found and not _lost(found[a])]
    reasons = [f"lost or reduced: {', '.join(lost) or 'nowhere'}; normal: {', '.join(kept) or '-'}"]
    best = leading[0]
    if len(leading) == 1:
        reasons.append(f"fits {best.pattern.name} in {len(best.agree)} of {len(found)} areas")
        if best.contradict:
            reasons.append("against it: " + ", ".join(best.contradict))
    else:
        reasons.append("cannot tell: " + "; ".join(fit.pattern.name for fit in leading))
    if best.pattern.family == "zone":
        zones = {a.zone for a in face_areas() if a.name in best.pattern.areas}
        rows = {row["name"]: row["level"] for row in read_tables(_FILE)["zones"]}
        reasons += [f"zone {z}: {rows[z]}" for z in sorted(zones)]
    reasons += [fit.pattern.caution for fit in leading if fit.pattern.caution and lost]
    return tuple(reasons)


class Dissociation(StrEnum):
    """How pain (pin) and light touch go together on one half of the face."""

    NONE = "neither is lost"
    PIN_ONLY = "pin lost, touch kept: spinal nucleus or tract (medulla, upper cord)"
    TOUCH_ONLY = "touch lost, pin kept: principal nucleus (pons)"
    BOTH = "both lost: nerve, ganglion, or above the brainstem"
    UNKNOWN = "not both tested in the areas of loss"


def dissociation(pin: Mapping[str, Sensation], touch: Mapping[str, Sensation]) -> Dissociation:
    """Compare pin and touch over the areas where both were tested, on one half of the face.

    Parameters
    ----------
    pin, touch : mapping of str to Sensation
        Response by area; areas not tested are left out.

    Returns
    -------
    Dissociation

    References
    ----------
    Spinal nucleus for pain and temperature, principal nucleus for touch: McGee, chapter 62, for the
    lateral medulla; the pontine half of the rule is from memory.
    """
    for found in (pin, touch):
        _check(found)
    both = [a for a in AREAS if a in pin and a in touch]
    lost = [
        a
        for a in AREAS
        if _lost(pin.get(a, Sensation.NORMAL)) or _lost(touch.get(a, Sensation.NORMAL))
    ]
    if not lost:
        return Dissociation.NONE
    shared = [a for a in both if a in lost]
    if not shared:
        return Dissociation.UNKNOWN
    pin_lost = sum(_lost(pin[a]) for a in shared)
    touch_lost = sum(_lost(touch[a]) for a in shared)
    if touch_lost == 0:
        return Dissociation.PIN_ONLY
    return Dissociation.TOUCH_ONLY if pin_lost == 0 else Dissociation.BOTH


@dataclass(frozen=True, slots=True)
class FunctionalSign:
    """A sign of functional sensory loss with its published counts.

    It never closes the search for disease.

    Parameters
    ----------
    name : str
    functional, functional_of : int
        Functional cases with the sign, and all of them.
    organic, organic_of : int
        Organic cases with the sign, and all of them.
    source : str
    """

    name: str
    functional: int
    functional_of: int
    organic: int
    organic_of: int
    source: str

    @property
    def sensitivity_percent(self) -> float:
        """Share of functional loss that shows the sign, in percent."""
        return 100.0 * self.functional / self.functional_of

    @property
    def specificity_percent(self) -> float:
        """Share of organic loss that does not, in percent."""
        return 100.0 * (1.0 - self.organic / self.organic_of)

    @property
    def positive_likelihood_ratio(self) -> float:
        """Sensitivity / (1 - specificity)."""
        return (self.functional / self.functional_of) / (self.organic / self.organic_of)

    @property
    def negative_likelihood_ratio(self) -> float:
        """(1 - sensitivity) / specificity."""
        return (1.0 - self.functional / self.functional_of) / (1.0 - self.organic / self.organic_of)


def functional_signs(name: str | None = None) -> tuple[FunctionalSign, ...]:
    """Give the published signs, all or one by name.

    Parameters
    ----------
    name : str, optional

    Returns
    -------
    tuple of FunctionalSign
    """
    rows = read_tables(_FILE)["functional_signs"]
    chosen = rows if name is None else (row_named(rows, name, "functional sign"),)
    return tuple(
        FunctionalSign(
            row["name"],
            row["functional"],
            row["functional_of"],
            row["organic"],
            row["organic_of"],
            row.citation,
        )
        for row in chosen
    )
