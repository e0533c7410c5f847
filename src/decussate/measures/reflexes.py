"""The corneal reflex and the jaw jerk as arcs: what each lesion shows, and what a finding allows.

The corneal reflex runs in through the ophthalmic division of the touched side and out through the
facial nerve to both lids. Four responses follow from four paths; nothing is listed by lesion.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import product

from decussate.errors import BadInput
from decussate.sides import Side

__all__ = [
    "CORNEAL_PAIRS",
    "CornealArcs",
    "CornealPair",
    "CornealReading",
    "JawJerk",
    "JawJerkReading",
    "LimbReflexes",
    "corneal_response",
    "expected_jaw_jerk",
    "explain_corneal",
    "explain_jaw_jerk",
]


@dataclass(frozen=True, slots=True, order=True)
class CornealPair:
    """One response of the corneal reflex: the side touched and the lid watched.

    Parameters
    ----------
    touched, lid : Side
        The patient's sides. The response is filed under this pair, never under one side alone.
    """

    touched: Side
    lid: Side

    @property
    def is_direct(self) -> bool:
        """Whether the lid is on the touched side."""
        return self.touched is self.lid

    def mirrored(self) -> CornealPair:
        """Give the pair with right and left exchanged."""
        return CornealPair(self.touched.other, self.lid.other)


CORNEAL_PAIRS = tuple(CornealPair(touched, lid) for touched in Side for lid in Side)
"""The four responses: each side touched, each lid watched."""


@dataclass(frozen=True, slots=True)
class CornealArcs:
    """Which paths of the reflex conduct.

    Parameters
    ----------
    afferent : frozenset of Side
        Sides whose ophthalmic division (and its brainstem path) fails.
    efferent : frozenset of Side
        Sides whose facial nerve (and orbicularis oculi) fails.
    """

    afferent: frozenset[Side] = frozenset()
    efferent: frozenset[Side] = frozenset()

    @property
    def failures(self) -> int:
        """Number of failing paths, 0 to 4."""
        return len(self.afferent) + len(self.efferent)

    @property
    def words(self) -> str:
        """The failing paths in words."""
        parts = [f"{s} ophthalmic division (V1)" for s in Side if s in self.afferent]
        parts += [f"{s} facial nerve (VII)" for s in Side if s in self.efferent]
        return " and ".join(parts) if parts else "both arcs conduct"

    def mirrored(self) -> CornealArcs:
        """Give the arcs with right and left exchanged."""
        return CornealArcs(
            frozenset(s.other for s in self.afferent), frozenset(s.other for s in self.efferent)
        )


def corneal_response(arcs: CornealArcs) -> dict[CornealPair, bool]:
    """Predict the four responses: a lid blinks when the touched side conducts in and it out.

    Parameters
    ----------
    arcs : CornealArcs

    Returns
    -------
    dict of CornealPair to bool
        Whether the lid blinks.

    References
    ----------
    Arc: neuroanatomy course, University of Wisconsin (corneal reflex); Dictionary of Neurological
    Signs, "Corneal Reflex". The maxillary and mandibular divisions take no part; a hemisphere
    lesion leaves this arc whole, though a large acute one may depress the reflex from the opposite
    cornea (from memory).
    """
    return {p: p.touched not in arcs.afferent and p.lid not in arcs.efferent for p in CORNEAL_PAIRS}


@dataclass(frozen=True, slots=True)
class CornealReading:
    """What a set of corneal responses allows.

    Parameters
    ----------
    explanations : tuple of CornealArcs
        Every set of failing paths that gives the responses, fewest failures first.
    simplest : tuple of CornealArcs
        Those with the fewest failures.
    reasons : tuple of str
    to_ask : tuple of str
        What would tell the remaining explanations apart.
    """

    explanations: tuple[CornealArcs, ...]
    simplest: tuple[CornealArcs, ...]
    reasons: tuple[str, ...]
    to_ask: tuple[str, ...]


def explain_corneal(
    blinked: Mapping[CornealPair, bool], felt: Mapping[Side, bool] | None = None
) -> CornealReading:
    """List every set of failing paths that fits the responses.

    Parameters
    ----------
    blinked : mapping of CornealPair to bool
        Responses seen; a pair not tested is left out.
    felt : mapping of Side to bool, optional
        Whether the touch was felt on each side; a side not asked is left out. Needed to tell loss
        on the way in on both sides from loss on the way out on both.

    Returns
    -------
    CornealReading

    Raises
    ------
    BadInput
        If nothing was tested, or no set of failing paths fits (a response was then misread or filed
        under the wrong side).
    """
    felt = felt or {}
    if not blinked and not felt:
        raise BadInput("corneal reflex", "nothing tested", "at least one response")
    fitting = [arcs for arcs in _every_arcs() if _fits(arcs, blinked, felt)]
    if not fitting:
        raise BadInput(
            "corneal reflex",
            {f"touch {p.touched}, {p.lid} lid": b for p, b in sorted(blinked.items())},
            "responses that failure of V1 or VII on either side can give",
            hint="Check that the consensual response is filed under the lid that was watched.",
        )
    fitting.sort(key=lambda a: (a.failures, a.words))
    simplest = tuple(a for a in fitting if a.failures == fitting[0].failures)
    return CornealReading(
        tuple(fitting), simplest, _reasons(blinked, felt), _to_ask(fitting, blinked, felt)
    )


def _every_arcs() -> tuple[CornealArcs, ...]:
    sets = [frozenset(s for s, out in zip(Side, o, strict=True) if out) for o in _TWO_BITS]
    return tuple(CornealArcs(a, e) for a, e in product(sets, sets))


_TWO_BITS = tuple(product((False, True), repeat=2))


def _fits(
    arcs: CornealArcs, blinked: Mapping[CornealPair, bool], felt: Mapping[Side, bool]
) -> bool:
    predicted = corneal_response(arcs)
    return all(predicted[p] is b for p, b in blinked.items()) and all(
        (side not in arcs.afferent) is f for side, f in felt.items()
    )


def _reasons(blinked: Mapping[CornealPair, bool], felt: Mapping[Side, bool]) -> tuple[str, ...]:
    reasons = []
    for side in Side:
        from_touch = [b for p, b in blinked.items() if p.touched is side]
        of_lid = [b for p, b in blinked.items() if p.lid is side]
        if len(from_touch) == 2 and not any(from_touch):
            reasons.append(f"touching the {side} cornea moves neither lid")
        if len(of_lid) == 2 and not any(of_lid):
            reasons.append(f"the {side} lid moves from neither side")
        if any(from_touch):
            reasons.append(f"a blink from the {side} cornea: its way in is whole")
        if any(of_lid):
            reasons.append(f"the {side} lid blinks: its way out is whole")
        if side in felt:
            reasons.append(f"touch {'felt' if felt[side] else 'not felt'} on the {side} cornea")
    return tuple(reasons)


def _to_ask(
    fitting: list[CornealArcs], blinked: Mapping[CornealPair, bool], felt: Mapping[Side, bool]
) -> tuple[str, ...]:
    if len(fitting) == 1:
        return ()
    asked = [
        f"touch the {p.touched} cornea and watch the {p.lid} lid"
        for p in CORNEAL_PAIRS
        if p not in blinked and len({corneal_response(a)[p] for a in fitting}) == 2
    ]
    asked += [
        f"ask whether the touch is felt on the {side} cornea"
        for side in Side
        if side not in felt and len({side in a.afferent for a in fitting}) == 2
    ]
    return tuple(asked) or ("look at eye closure on command: it shows the way out alone",)


class JawJerk(StrEnum):
    """The jaw jerk as seen."""

    ABSENT = "absent"
    SLIGHT = "slight"
    BRISK = "brisk"
    CLONIC = "clonic"


class LimbReflexes(StrEnum):
    """Tendon reflexes of the limbs, taken together."""

    REDUCED = "reduced"
    NORMAL = "normal"
    BRISK = "brisk"


def expected_jaw_jerk(
    failing_v3: frozenset[Side] = frozenset(), *, released: bool = False
) -> frozenset[JawJerk]:
    """Predict the jaw jerk from the state of its arc.

    Parameters
    ----------
    failing_v3 : frozenset of Side
        Sides whose mandibular division fails; it is both the way in and the way out.
    released : bool
        Whether the corticobulbar paths to both motor nuclei are cut off (above the mid-pons).

    Returns
    -------
    frozenset of JawJerk
        What may then be seen. With one side whole the jerk stays; with neither it is absent even
        when released.
    """
    if failing_v3 == frozenset(Side):
        return frozenset({JawJerk.ABSENT})
    if released:
        return frozenset({JawJerk.BRISK, JawJerk.CLONIC})
    return frozenset({JawJerk.ABSENT, JawJerk.SLIGHT})


@dataclass(frozen=True, slots=True)
class JawJerkReading:
    """What a jaw jerk allows.

    Parameters
    ----------
    abnormal : bool
        Only a brisk or clonic jerk is abnormal by itself.
    level : str
        Where, on both sides, an upper motor neurone lesion would lie.
    reasons : tuple of str
    mark : str
        ``"from memory"`` where the rule rests on memory.
    """

    abnormal: bool
    level: str
    reasons: tuple[str, ...]
    mark: str = ""


def explain_jaw_jerk(jaw: JawJerk, limbs: LimbReflexes | None = None) -> JawJerkReading:
    """Read the jaw jerk with the limb reflexes.

    Parameters
    ----------
    jaw : JawJerk
    limbs : LimbReflexes, optional
        None when not tested.

    Returns
    -------
    JawJerkReading

    References
    ----------
    Arc through the mandibular division both ways, mesencephalic nucleus to motor nucleus in the
    pons; slight or absent is normal, brisk points to an upper motor neurone lesion: medschool.co,
    jaw jerk; Blumenfeld, Neuroanatomy through Clinical Cases, 12.4. That a normal jaw jerk with
    brisk limbs puts the lesion below the pons is from memory.
    """
    if jaw in (JawJerk.BRISK, JawJerk.CLONIC):
        reasons = [f"{jaw} jaw jerk: release from the corticobulbar path, usually of both sides"]
        if limbs is LimbReflexes.BRISK:
            reasons.append("limb reflexes are brisk too")
        return JawJerkReading(True, "above the mid-pons", tuple(reasons))
    reasons = [f"a jaw jerk that is {jaw} is normal by itself"]
    if jaw is JawJerk.ABSENT:
        reasons.append("it is also lost with both mandibular divisions, so look at the jaw's power")
    if limbs is LimbReflexes.BRISK:
        reasons.append("brisk limb reflexes without a brisk jaw jerk")
        return JawJerkReading(False, "below the pons", tuple(reasons), "from memory")
    return JawJerkReading(False, "none shown", tuple(reasons))
