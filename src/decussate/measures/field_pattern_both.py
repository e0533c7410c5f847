"""The fields of the two eyes together: homonymous, bitemporal, one eye only, and congruity."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from decussate.errors import BadInput
from decussate.measures.field_pattern import EyePattern, PatternKind, classify_eye
from decussate.measures.field_pattern_zones import rule
from decussate.measures.published_rows import read_tables
from decussate.measures.visual_field_map import FieldMap
from decussate.sides import Side

__all__ = [
    "BothKind",
    "CongruityBySite",
    "FieldPattern",
    "classify_fields",
    "congruity",
    "congruity_by_site",
]


class BothKind(StrEnum):
    """How the losses of the two eyes go together."""

    NORMAL = "no loss found in either eye"
    HOMONYMOUS = "homonymous"
    BITEMPORAL = "bitemporal"
    BINASAL = "binasal"
    JUNCTIONAL = "junctional: one eye central or wholly lost, the other temporal"
    BILATERAL_ALTITUDINAL = "altitudinal in both eyes"
    BILATERAL_CENTRAL = "central in both eyes"
    BILATERAL_CONSTRICTION = "constricted in both eyes"
    ONE_EYE = "one eye only"
    TWO_UNLIKE = "both eyes, in unlike patterns"


_CENTRAL = {PatternKind.CENTRAL, PatternKind.CENTROCAECAL}
_BLINDING = {*_CENTRAL, PatternKind.TOTAL, PatternKind.DIFFUSE}


@dataclass(frozen=True, slots=True)
class FieldPattern:
    """The pattern of both eyes together.

    Parameters
    ----------
    kind : BothKind
    side : Side or None
        Side of space lost in both eyes, when homonymous.
    complete : bool
        Homonymous with both halves wholly lost; congruity then says nothing.
    congruity : float or None
        Overlap of the two losses, 0 to 1, when homonymous.
    crescent_spared : bool or None
        Homonymous, with the temporal crescent seen on the lost side; None when not tested.
    right, left : EyePattern
    reasons, cautions : tuple of str
    """

    kind: BothKind
    side: Side | None
    complete: bool
    congruity: float | None
    crescent_spared: bool | None
    right: EyePattern
    left: EyePattern
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]


def congruity(right_eye: FieldMap, left_eye: FieldMap) -> float | None:
    """Overlap of the losses of the two eyes where both were tested.

    The sum of the lesser loss over the sum of the greater, direction by direction and weighted by
    solid angle (the Jaccard index for losses between 0 and 1): 1 when the two losses are the same,
    0 when they do not meet. None when neither eye has lost anything in common ground.

    Parameters
    ----------
    right_eye, left_eye : FieldMap

    Returns
    -------
    float or None
        0 to 1.

    References
    ----------
    Weighted Jaccard index (Ruzicka similarity). The index for fields is ours (`judgement`).
    """
    if right_eye.eye is not Side.RIGHT or left_eye.eye is not Side.LEFT:
        raise BadInput("eyes", (right_eye.eye, left_eye.eye), "the right eye first, then the left")
    left = {(round(s.x_deg, 3), round(s.y_deg, 3)): s.loss for s in left_eye.samples}
    least = greatest = 0.0
    for s in right_eye.samples:
        other = left.get((round(s.x_deg, 3), round(s.y_deg, 3)))
        if other is not None:
            least += min(s.loss, other) * s.weight_sr
            greatest += max(s.loss, other) * s.weight_sr
    return least / greatest if greatest > 0.0 else None


def classify_fields(right_eye: FieldMap, left_eye: FieldMap) -> FieldPattern:
    """Name the pattern of both eyes together and say why.

    Parameters
    ----------
    right_eye, left_eye : FieldMap

    Returns
    -------
    FieldPattern

    Raises
    ------
    BadInput
        If the eyes are given in the wrong order.

    References
    ----------
    AJNR 2007;28:3-8, PMC8134093 (junctional, bitemporal, homonymous). That complete homonymous
    hemianopia does not localise, and that nearly every pattern occurs at every site behind the
    chiasm: Zhang et al. 2006, Neurology 66:906.
    """
    shared = congruity(right_eye, left_eye)
    right, left = classify_eye(right_eye), classify_eye(left_eye)
    kind, reasons = _together(right, left)
    if kind is not BothKind.HOMONYMOUS:
        return FieldPattern(
            kind, None, False, None, None, right, left, reasons, _cautions(kind, False)
        )
    complete = all(
        p.kind is PatternKind.HEMIANOPIA
        and not (p.sparing and p.sparing.present)
        and min(v for q, v in p.quadrant_loss.items() if q.side(p.eye) is p.side) >= rule("total")
        for p in (right, left)
    )
    temporal = right if right.side is Side.RIGHT else left
    spared = None if temporal.crescent_loss is None else temporal.crescent_loss < rule("partly")
    more = [f"the {right.side} half is lost in both eyes"]
    if shared is not None:
        word = "congruous" if shared >= rule("congruous") else "partly congruous"
        if shared < rule("incongruous"):
            word = "grossly incongruous"
        more.append(f"overlap of the two losses {shared:.2f}: {word}")
    if spared and not complete:
        more.append("the temporal crescent is seen on the lost side")
    return FieldPattern(
        kind,
        right.side,
        complete,
        shared,
        spared,
        right,
        left,
        (*reasons, *more),
        _cautions(kind, complete),
    )


def _together(right: EyePattern, left: EyePattern) -> tuple[BothKind, tuple[str, ...]]:
    kinds = {right.kind, left.kind}
    if kinds == {PatternKind.NORMAL}:
        return BothKind.NORMAL, ("no loss found in either eye",)
    if PatternKind.NORMAL in kinds:
        seen, lost = (right, left) if right.kind is PatternKind.NORMAL else (left, right)
        return BothKind.ONE_EYE, (f"{lost.eye} eye: {lost.kind}; {seen.eye} eye: none found",)
    pair = (f"right eye: {right.kind}", f"left eye: {left.kind}")
    if right.kind.is_lateral and left.kind.is_lateral:
        vertical = "both losses stop at the vertical meridian"
        if right.side is left.side:
            return BothKind.HOMONYMOUS, (*pair, vertical)
        kind = BothKind.BITEMPORAL if right.half == "temporal" else BothKind.BINASAL
        return kind, (*pair, vertical, f"{right.half} half lost in each eye")
    for one, other in ((right, left), (left, right)):
        if one.kind in _BLINDING and other.kind.is_lateral and other.half == "temporal":
            stops = f"the {other.eye} eye's temporal loss stops at the vertical meridian"
            return BothKind.JUNCTIONAL, (*pair, stops)
    if kinds == {PatternKind.ALTITUDINAL}:
        return BothKind.BILATERAL_ALTITUDINAL, pair
    if kinds <= _CENTRAL:
        return BothKind.BILATERAL_CENTRAL, pair
    if kinds == {PatternKind.CONSTRICTION}:
        return BothKind.BILATERAL_CONSTRICTION, pair
    return BothKind.TWO_UNLIKE, pair


def _cautions(kind: BothKind, complete: bool) -> tuple[str, ...]:
    if kind is BothKind.NORMAL:
        return ("a normal bedside field does not exclude loss: see what the technique can miss",)
    if kind is not BothKind.HOMONYMOUS:
        return ()
    general = "nearly every pattern occurs at every site behind the chiasm"
    if complete:
        return ("complete loss has no shape: congruity says nothing of the site", general)
    return ("half of optic tract lesions in one series were congruous", general)


@dataclass(frozen=True, slots=True)
class CongruityBySite:
    """How often incomplete homonymous hemianopia of one site was congruent.

    Parameters
    ----------
    site : str
    congruent_percent, incongruent_percent : float
        Share of all congruent, and of all incongruent, hemianopias that came from the site.
    congruent_at_site : float
        Share of the site's hemianopias that were congruent, 0 to 1 (derived from the counts).
    source, mark : str
    """

    site: str
    congruent_percent: float
    incongruent_percent: float
    congruent_at_site: float
    source: str
    mark: str


def congruity_by_site() -> tuple[CongruityBySite, ...]:
    """Give the published congruity of each site, from ``data/field_pattern.yaml``.

    Returns
    -------
    tuple of CongruityBySite
    """
    rows = []
    for row in read_tables("field_pattern.yaml")["congruity"]:
        yes = round(row["congruent"] / 100 * row["of_congruent"])
        no = round(row["incongruent"] / 100 * row["of_incongruent"])
        rows.append(
            CongruityBySite(
                site=row["name"],
                congruent_percent=row["congruent"],
                incongruent_percent=row["incongruent"],
                congruent_at_site=yes / (yes + no),
                source=row.citation,
                mark=row.mark,
            )
        )
    return tuple(rows)
