"""Reactions of the pupils to light and near, and the arcs they pass through.

Light in an eye travels up that eye's afferent arc and, after a double crossing in the midbrain,
down both efferent arcs. Four arcs therefore give four reactions (light in either eye, either
pupil), and the whole truth table follows: it is not written out.

References
----------
.. [1] Loewenfeld IE. The Pupil: Anatomy, Physiology, and Clinical Applications. 1993.
.. [2] Trobe JD. Anisocoria overview. University of Utah NOVEL collection.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from itertools import product

from decussate.measures.published_rows import PublishedRow, read_tables
from decussate.sides import Side

__all__ = [
    "LightReactions",
    "NearDissociation",
    "Reaction",
    "ReflexArcs",
    "SwingingLight",
    "arcs_that_explain",
    "expected_reactions",
    "near_dissociation",
    "swinging_light",
]


class Reaction(StrEnum):
    """How a pupil reacts, or how well an arc conducts."""

    BRISK = "brisk"
    SLUGGISH = "sluggish"
    ABSENT = "absent"

    @property
    def weakness(self) -> int:
        """0 for brisk, 1 for sluggish, 2 for absent."""
        return tuple(Reaction).index(self)


def _weaker(one: Reaction, other: Reaction) -> Reaction:
    return max(one, other, key=lambda reaction: reaction.weakness)


@dataclass(frozen=True, slots=True)
class LightReactions:
    """The reactions of both pupils to light in each eye; None when not tested.

    Parameters
    ----------
    right_to_right, left_to_right : Reaction, optional
        Light in the right eye: the right pupil (direct) and the left pupil (consensual).
    left_to_left, right_to_left : Reaction, optional
        Light in the left eye: the left pupil (direct) and the right pupil (consensual).
    """

    right_to_right: Reaction | None = None
    left_to_right: Reaction | None = None
    left_to_left: Reaction | None = None
    right_to_left: Reaction | None = None

    def of(self, pupil: Side, *, light: Side) -> Reaction | None:
        """Give the reaction of one pupil to light in one eye."""
        found: Reaction | None = getattr(self, f"{pupil}_to_{light}")
        return found

    def direct(self, eye: Side) -> Reaction | None:
        """Give the direct reaction of an eye: light and pupil on the same side."""
        return self.of(eye, light=eye)

    def consensual(self, lit: Side) -> Reaction | None:
        """Give the consensual reaction to light in an eye: the other pupil."""
        return self.of(lit.other, light=lit)

    def best(self, pupil: Side) -> Reaction | None:
        """Give the better reaction of a pupil to light in either eye."""
        seen = [r for light in Side if (r := self.of(pupil, light=light)) is not None]
        return min(seen, key=lambda reaction: reaction.weakness, default=None)


@dataclass(frozen=True, slots=True)
class ReflexArcs:
    """How well each of the four arcs of the light reflex conducts.

    Parameters
    ----------
    afferent_right, afferent_left : Reaction
        Retina, optic nerve and tract to the midbrain.
    efferent_right, efferent_left : Reaction
        Third nerve, ciliary ganglion and iris sphincter.
    """

    afferent_right: Reaction = Reaction.BRISK
    afferent_left: Reaction = Reaction.BRISK
    efferent_right: Reaction = Reaction.BRISK
    efferent_left: Reaction = Reaction.BRISK

    def afferent(self, side: Side) -> Reaction:
        """Give the afferent arc of one eye."""
        return self.afferent_right if side is Side.RIGHT else self.afferent_left

    def efferent(self, side: Side) -> Reaction:
        """Give the efferent arc of one eye."""
        return self.efferent_right if side is Side.RIGHT else self.efferent_left

    @property
    def damaged(self) -> tuple[str, ...]:
        """The arcs that do not conduct fully, in words."""
        arcs = (
            ("afferent, right", self.afferent_right),
            ("afferent, left", self.afferent_left),
            ("efferent, right", self.efferent_right),
            ("efferent, left", self.efferent_left),
        )
        return tuple(f"{name}: {r.value}" for name, r in arcs if r is not Reaction.BRISK)

    @property
    def damage(self) -> tuple[int, int]:
        """Number of damaged arcs, then their summed weakness: the order of simplicity."""
        arcs = (self.afferent_right, self.afferent_left, self.efferent_right, self.efferent_left)
        weakness = [arc.weakness for arc in arcs]
        return sum(w > 0 for w in weakness), sum(weakness)


def expected_reactions(arcs: ReflexArcs) -> LightReactions:
    """Work out the four reactions from the four arcs.

    Parameters
    ----------
    arcs : ReflexArcs

    Returns
    -------
    LightReactions
        Each reaction is as weak as the weaker arc it passes: the afferent of the lit eye, the
        efferent of the watched pupil [1]_.
    """
    return LightReactions(
        right_to_right=_weaker(arcs.afferent_right, arcs.efferent_right),
        left_to_right=_weaker(arcs.afferent_right, arcs.efferent_left),
        left_to_left=_weaker(arcs.afferent_left, arcs.efferent_left),
        right_to_left=_weaker(arcs.afferent_left, arcs.efferent_right),
    )


def arcs_that_explain(seen: LightReactions) -> tuple[ReflexArcs, ...]:
    """Work back from the reactions to the arcs that are damaged.

    Parameters
    ----------
    seen : LightReactions
        Reactions not tested are left open.

    Returns
    -------
    tuple of ReflexArcs
        Every combination with the fewest damaged arcs that gives exactly what was seen; several
        when the reactions cannot tell them apart, none when no combination does (repeat the
        test).
    """
    fitting = []
    for levels in product(Reaction, repeat=4):
        arcs = ReflexArcs(*levels)
        expected = expected_reactions(arcs)
        if all(
            seen.of(pupil, light=light) in (None, expected.of(pupil, light=light))
            for pupil in Side
            for light in Side
        ):
            fitting.append(arcs)
    if not fitting:
        return ()
    fewest = min(arcs.damage for arcs in fitting)
    return tuple(arcs for arcs in fitting if arcs.damage == fewest)


@dataclass(frozen=True, slots=True)
class SwingingLight:
    """What the swinging light showed in one pupil.

    Parameters
    ----------
    defect : Side or None
        The eye with the relative afferent defect.
    reverse : bool
        Seen as better constriction in the pupil of the sound side, as when the other pupil is
        fixed.
    """

    defect: Side | None
    reverse: bool


def swinging_light(watched: Side, *, smaller_with_light_in: Side | None) -> SwingingLight:
    """Tell which eye has the relative afferent defect from one working pupil.

    Parameters
    ----------
    watched : Side
        The pupil watched. It must be able to react; when the other is fixed, watch this one
        throughout.
    smaller_with_light_in : Side or None
        The eye in which the light makes the watched pupil smaller; None when there is no
        difference.

    Returns
    -------
    SwingingLight
        The other eye has the defect, whichever pupil was watched: both pupils are driven together.
    """
    if smaller_with_light_in is None:
        return SwingingLight(None, reverse=False)
    return SwingingLight(smaller_with_light_in.other, reverse=watched is smaller_with_light_in)


@dataclass(frozen=True, slots=True)
class NearDissociation:
    """Pupils that react better to near than to light.

    Parameters
    ----------
    sides : tuple of Side
        The pupils that do; empty when none.
    consider : tuple of PublishedRow
        What to look for, as rows of ``near_dissociation`` in ``data/pupils.yaml``.
    """

    sides: tuple[Side, ...]
    consider: tuple[PublishedRow, ...]


def near_dissociation(
    light: LightReactions, *, near_right: Reaction | None, near_left: Reaction | None
) -> NearDissociation:
    """Find pupils that react better to near than to light in either eye.

    Parameters
    ----------
    light : LightReactions
    near_right, near_left : Reaction or None
        Reaction of each pupil to looking at a target at about 15 cm; None when not tested.

    Returns
    -------
    NearDissociation
        A pupil that reacts briskly to light in the other eye is not dissociated: the lit eye does
        not see the light.
    """
    sides = []
    for side, near in ((Side.RIGHT, near_right), (Side.LEFT, near_left)):
        best = light.best(side)
        if near is not None and best is not None and near.weakness < best.weakness:
            sides.append(side)
    rows = read_tables("pupils.yaml")["near_dissociation"]
    extent = {0: None, 1: "one", 2: "both"}[len(sides)]
    return NearDissociation(tuple(sides), tuple(row for row in rows if row["sides"] == extent))
