"""Rinne and Weber: what each kind of ear gives, and what a pair of findings may mean.

Words: Rinne *positive* is the good result, air conduction louder than bone.  The truth table is not
typed in; it follows from two rules.  Bone conduction reaches both cochleas, so the Rinne of an ear
compares its own air conduction with the better cochlea of the two (hence the false negative Rinne
of a dead ear), and the Weber is heard in the ear with the better cochlea, raised by what a
conductive loss adds.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from itertools import product

from decussate.errors import BadInput
from decussate.measures.published_rows import read_tables, row_named
from decussate.sides import Side

__all__ = [
    "EarState",
    "ExpectedForks",
    "ForkFindings",
    "ForkReading",
    "Rinne",
    "Weber",
    "expected_forks",
    "fork_limit",
    "fork_readings",
    "rinne_from_words",
    "suspected_false_negative",
    "weber_in_sudden_loss",
]

_TABLES = read_tables("tuning_forks.yaml")


def fork_limit(name: str) -> float:
    """Return one limit of ``tuning_forks.yaml``, in the unit given there."""
    return float(row_named(_TABLES["limits"], name, "limit")["value"])


class Rinne(StrEnum):
    """The Rinne test of one ear."""

    POSITIVE = "air louder than bone (positive)"
    NEGATIVE = "bone louder than air (negative)"
    EQUAL = "air and bone equal"
    NOT_HEARD = "not heard"


class Weber(StrEnum):
    """Where the fork on the midline is heard."""

    RIGHT = "right"
    LEFT = "left"
    MIDLINE = "midline"
    NOT_HEARD = "not heard"

    @property
    def mirrored(self) -> Weber:
        """The same finding with the sides exchanged."""
        return {Weber.RIGHT: Weber.LEFT, Weber.LEFT: Weber.RIGHT}.get(self, self)


class EarState(StrEnum):
    """What an ear may be, as far as forks can tell."""

    NORMAL = "normal"
    SLIGHT_CONDUCTIVE = "slight conductive"
    CONDUCTIVE = "conductive"
    SENSORINEURAL = "sensorineural"
    MIXED = "mixed"
    DEAD = "dead"


_RINNE_WORDS = {
    "positive": Rinne.POSITIVE,
    "+": Rinne.POSITIVE,
    "air louder": Rinne.POSITIVE,
    "air better": Rinne.POSITIVE,
    "ac>bc": Rinne.POSITIVE,
    "negative": Rinne.NEGATIVE,
    "-": Rinne.NEGATIVE,
    "bone louder": Rinne.NEGATIVE,
    "bone better": Rinne.NEGATIVE,
    "bc>ac": Rinne.NEGATIVE,
    "equal": Rinne.EQUAL,
    "=": Rinne.EQUAL,
    "ac=bc": Rinne.EQUAL,
    "not heard": Rinne.NOT_HEARD,
}


def rinne_from_words(words: str) -> Rinne:
    """Read a Rinne result as written in a note.

    Parameters
    ----------
    words : str
        ``air louder``, ``bone louder``, ``equal``, ``not heard``; also AC>BC, BC>AC, positive,
        negative, + and -.

    Returns
    -------
    Rinne

    Raises
    ------
    BadInput
        For any other word; ``normal`` and ``abnormal`` are refused because a positive Rinne is the
        normal one and the two are often exchanged.
    """
    key = " ".join(words.lower().split()).replace("−", "-")
    compact = key.replace(" ", "")
    for candidate in (key, compact):
        if candidate in _RINNE_WORDS:
            return _RINNE_WORDS[candidate]
    raise BadInput(
        "Rinne",
        words,
        "air louder, bone louder, equal or not heard",
        hint="A positive Rinne is the normal one; say which was louder, air or bone.",
    )


@dataclass(frozen=True, slots=True)
class ForkFindings:
    """Both Rinnes and the Weber of one patient.

    Parameters
    ----------
    right, left : Rinne
        The Rinne of each ear.
    weber : Weber
        Where the midline fork was heard.
    """

    right: Rinne
    left: Rinne
    weber: Weber

    def rinne(self, side: Side) -> Rinne:
        """Return the Rinne of one ear."""
        return self.right if side is Side.RIGHT else self.left

    def mirrored(self) -> ForkFindings:
        """Exchange the sides."""
        return ForkFindings(self.left, self.right, self.weber.mirrored)


@dataclass(frozen=True, slots=True)
class ExpectedForks:
    """What two ears give.

    Parameters
    ----------
    right, left : Rinne
        Expected Rinne of each ear.
    false_negative : tuple of Side
        Ears whose Rinne is negative only because the other cochlea hears the bone-conducted fork.
    weber : Weber or None
        Where the Weber goes when the two ears' losses, where alike in kind, are alike in size; None
        when it depends on the sizes even then.
    possible_weber : frozenset of Weber
        Every place it can go as the sizes vary.
    """

    right: Rinne
    left: Rinne
    false_negative: tuple[Side, ...]
    weber: Weber | None
    possible_weber: frozenset[Weber]


def expected_forks(right: EarState, left: EarState) -> ExpectedForks:
    """Work out the Rinnes and the Weber from the state of the two ears.

    Parameters
    ----------
    right, left : EarState
        The ears.

    Returns
    -------
    ExpectedForks

    References
    ----------
    Common practice; the sizes of loss and gain tried are in ``tuning_forks.yaml`` (judgement), the
    difference at which the Weber moves from Kelly EA et al. 2018 (2.5 to 4 dB).
    """
    dead = {side: ear is EarState.DEAD for side, ear in ((Side.RIGHT, right), (Side.LEFT, left))}
    if all(dead.values()):
        silent = frozenset({Weber.NOT_HEARD})
        return ExpectedForks(Rinne.NOT_HEARD, Rinne.NOT_HEARD, (), Weber.NOT_HEARD, silent)
    false_negative = tuple(side for side in Side if dead[side])
    if false_negative:
        weber = Weber(false_negative[0].other.value)
        possible = frozenset({weber})
        usual: Weber | None = weber
    else:
        possible = frozenset(
            _weber(r, rb, e, eb) for (r, rb), (e, eb) in product(_sizes(right), _sizes(left))
        )
        usual = _alike(right, left)
    return ExpectedForks(_rinne_of(right), _rinne_of(left), false_negative, usual, possible)


def _rinne_of(ear: EarState) -> Rinne:
    row = row_named(_TABLES["ears"], ear, "ear")
    return Rinne.POSITIVE if row["rinne"] == "positive" else Rinne.NEGATIVE


def _sizes(ear: EarState) -> list[tuple[float, float]]:
    row = row_named(_TABLES["ears"], ear, "ear")
    return list(product(row["losses_db"], row["boosts_db"]))


def _weber(loss_r: float, boost_r: float, loss_l: float, boost_l: float) -> Weber:
    difference = (boost_r - loss_r) - (boost_l - loss_l)
    if abs(difference) < fork_limit("weber moves"):
        return Weber.MIDLINE
    return Weber.RIGHT if difference > 0 else Weber.LEFT


def _alike(right: EarState, left: EarState) -> Weber | None:
    """Place the Weber when ears that share a kind of loss share its size."""
    outcomes = {
        _weber(loss_r, boost_r, loss_l, boost_l)
        for (loss_r, boost_r), (loss_l, boost_l) in product(_sizes(right), _sizes(left))
        if (not (loss_r and loss_l) or loss_r == loss_l)
        and (not (boost_r and boost_l) or boost_r == boost_l)
    }
    return outcomes.pop() if len(outcomes) == 1 else None


@dataclass(frozen=True, slots=True)
class ForkReading:
    """One explanation of a set of findings.

    Parameters
    ----------
    right, left : EarState
        The ears that would give the findings.
    false_negative : tuple of Side
        Ears whose negative Rinne would be false.
    unlikeliness : float
        Rank only: the sum over both ears, smaller first (judgement).
    """

    right: EarState
    left: EarState
    false_negative: tuple[Side, ...]
    unlikeliness: float

    def mirrored(self) -> ForkReading:
        """Exchange the sides."""
        sides = tuple(side.other for side in self.false_negative)
        return ForkReading(self.left, self.right, sides, self.unlikeliness)


def fork_readings(findings: ForkFindings) -> tuple[ForkReading, ...]:
    """List the pairs of ears that explain the findings, simplest first.

    An equal Rinne counts as negative.  An empty answer means that no pair of ears gives these
    findings: repeat the forks.

    Parameters
    ----------
    findings : ForkFindings
        What was found.

    Returns
    -------
    tuple of ForkReading
        Possibilities to settle by masking and audiometry; forks make no diagnosis.

    References
    ----------
    Equal counted as negative: Burkey JM et al. 1998.  Order: judgement.
    """
    found = []
    for right, left in product(EarState, EarState):
        expected = expected_forks(right, left)
        if (
            expected.right is _as_counted(findings.right)
            and expected.left is _as_counted(findings.left)
            and findings.weber in expected.possible_weber
        ):
            cost = sum(
                float(row_named(_TABLES["ears"], ear, "ear")["unlikeliness"])
                for ear in (right, left)
            )
            found.append(ForkReading(right, left, expected.false_negative, cost))
    return tuple(sorted(found, key=lambda reading: reading.unlikeliness))


def _as_counted(rinne: Rinne) -> Rinne:
    return Rinne.NEGATIVE if rinne is Rinne.EQUAL else rinne


def suspected_false_negative(findings: ForkFindings) -> tuple[Side, ...]:
    """Name the ears whose negative Rinne may be false: the Weber is heard away from them.

    Mask the other ear (noise box, or rub its tragus) and repeat before calling the loss
    conductive.

    Parameters
    ----------
    findings : ForkFindings
        What was found.

    Returns
    -------
    tuple of Side
        Ears with a negative or equal Rinne and the Weber in the other ear, right first.
    """
    return tuple(
        side
        for side in Side
        if _as_counted(findings.rinne(side)) is Rinne.NEGATIVE
        and findings.weber == side.other.value
    )


def weber_in_sudden_loss() -> str:
    """Say how the Weber misleads in sudden one-sided sensorineural loss.

    References
    ----------
    Shuman AG et al. 2013, 512 Hz, 250 adults (through a secondary page).
    """
    heard = ", ".join(
        f"{row['heard']} by {100 * row['fraction']:.0f}" for row in _TABLES["weber_in_sudden_loss"]
    )
    return f"of 100 people with a sudden one-sided sensorineural loss it was heard {heard}"
