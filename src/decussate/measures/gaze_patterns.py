"""Which movements of the two eyes fail together: internuclear and gaze patterns.

References
----------
Patterns: common practice; each row of ``data/gaze_patterns.yaml`` says where the fault lies.
Causes: Keane JR. Arch Neurol 2005;62:714.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.measures.eye_excursion import Excursion
from decussate.measures.published_rows import PublishedRow, read_tables
from decussate.sides import Side

__all__ = [
    "EyeMovement",
    "GazePattern",
    "HorizontalSigns",
    "gaze_patterns",
    "internuclear_cause_shares",
]


@dataclass(frozen=True, slots=True, order=True)
class EyeMovement:
    """One direction of movement of one eye."""

    side: Side
    excursion: Excursion

    def __str__(self) -> str:
        return f"{self.side} {self.excursion}"

    @property
    def mirrored(self) -> EyeMovement:
        """The same movement of the other eye."""
        return EyeMovement(self.side.other, self.excursion)


@dataclass(frozen=True, slots=True)
class HorizontalSigns:
    """Signs that help to tell the patterns apart; None when not looked for.

    Parameters
    ----------
    abducting_eye_beats : bool, optional
        Nystagmus of the abducting eye.
    convergence_spared : bool, optional
        The eye that does not adduct on side gaze does so on near effort.
    reflex_movement_kept : bool, optional
        Doll's-head movement or upward roll on lid closure goes farther than looking.
    near_reaction_without_light_reaction : bool, optional
        Pupils react to near but not to light.
    """

    abducting_eye_beats: bool | None = None
    convergence_spared: bool | None = None
    reflex_movement_kept: bool | None = None
    near_reaction_without_light_reaction: bool | None = None


_SIGN_FIELDS = {
    "abducting eye beats": "abducting_eye_beats",
    "convergence spared": "convergence_spared",
    "reflex movement kept": "reflex_movement_kept",
    "pupils react to near but not to light": "near_reaction_without_light_reaction",
}


@dataclass(frozen=True, slots=True)
class GazePattern:
    """A pattern and what speaks for and against it.

    Parameters
    ----------
    name : str
    side : Side, optional
        The side it is named for; None when it has none.
    where : str
    explains, leaves : tuple of EyeMovement
        Weak movements the pattern covers, and weak movements it does not.
    unexpected : tuple of EyeMovement
        Movements that should be weak but are full.
    supported_by, weakened_by : tuple of str
    also_consider : str
    """

    name: str
    side: Side | None
    where: str
    explains: tuple[EyeMovement, ...]
    leaves: tuple[EyeMovement, ...]
    unexpected: tuple[EyeMovement, ...]
    supported_by: tuple[str, ...]
    weakened_by: tuple[str, ...]
    also_consider: str

    @property
    def fits_exactly(self) -> bool:
        """True when nothing is left over and nothing is missing."""
        return not self.leaves and not self.unexpected


def gaze_patterns(
    weak: Iterable[EyeMovement],
    tested: Iterable[EyeMovement] | None = None,
    signs: HorizontalSigns | None = None,
) -> tuple[GazePattern, ...]:
    """Order the patterns by how exactly they account for the weak movements.

    Parameters
    ----------
    weak : iterable of EyeMovement
        Movements that fall short, voluntarily and in both eyes' own range.
    tested : iterable of EyeMovement, optional
        All movements examined; all eight when left out. A movement not tested counts neither way.
    signs : HorizontalSigns, optional

    Returns
    -------
    tuple of GazePattern
        Patterns that explain at least one weak movement, best first; empty when nothing is weak.

    Raises
    ------
    BadInput
        When a weak movement is not among those tested.
    """
    weak = frozenset(weak)
    every = frozenset(EyeMovement(s, e) for s in Side for e in Excursion)
    tested = every if tested is None else frozenset(tested)
    if not weak <= tested:
        raise BadInput(
            "weak movements",
            ", ".join(sorted(map(str, weak - tested))),
            "movements that are also listed as tested",
        )
    found = [
        _pattern(row, side, weak, tested, signs or HorizontalSigns())
        for row in read_tables("gaze_patterns.yaml")["patterns"]
        for side in ((Side.RIGHT,) if row.get("symmetric") else tuple(Side))
    ]
    explaining = [p for p in found if p.explains]
    return tuple(
        sorted(
            explaining,
            key=lambda p: (
                len(p.leaves) + len(p.unexpected),
                len(p.weakened_by) - len(p.supported_by),
                -len(p.explains),
            ),
        )
    )


def _pattern(
    row: PublishedRow,
    side: Side,
    weak: frozenset[EyeMovement],
    tested: frozenset[EyeMovement],
    signs: HorizontalSigns,
) -> GazePattern:
    expected = set()
    for text in row["weak"]:
        which, excursion = text.split()
        eye = side if which == "same" else side.other
        expected.add(EyeMovement(eye, Excursion(excursion)))
    seen = {name: getattr(signs, _SIGN_FIELDS[name]) for name in row["helped_by"]}
    return GazePattern(
        row["name"],
        None if row.get("symmetric") else side,
        row["where"].format(same=side, other=side.other),
        tuple(sorted(expected & weak)),
        tuple(sorted(weak - expected)),
        tuple(sorted((expected & tested) - weak)),
        tuple(name for name, present in seen.items() if present is True),
        tuple(f"no sign of: {name}" for name, present in seen.items() if present is False),
        row["also_consider"],
    )


def internuclear_cause_shares(*, both_sides: bool) -> dict[str, float]:
    """Give the shares of causes in hospital patients with an internuclear ophthalmoplegia.

    Parameters
    ----------
    both_sides : bool
        Whether it affects both sides.

    Returns
    -------
    dict of str to float
        Infarct, multiple sclerosis and other, adding to 1.

    References
    ----------
    Keane JR. Arch Neurol 2005;62:714: 410 inpatients.
    """
    column = "both_sides" if both_sides else "one_side"
    rows = read_tables("gaze_patterns.yaml")["internuclear_causes"]
    total = sum(int(r[column]) for r in rows)
    return {str(r["name"]): int(r[column]) / total for r in rows}
