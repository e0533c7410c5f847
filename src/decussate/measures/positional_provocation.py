"""How much of a positional test is lost in a stiff neck, and which position regains it.

References
----------
Geometry: `canal_geometry`. Side-lying test: Cohen HS. Otol Neurotol 2004;25:130. Cautions:
Humphriss RL et al. Int J Audiol 2003;42:166; Bhattacharyya N et al. Otolaryngol Head Neck Surg
2017;156(3S):S1.
"""

from __future__ import annotations

from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.measures.canal_geometry import (
    CANALS,
    Canal,
    CanalKind,
    HeadPosition,
    Provocation,
    head_hanging,
    provocation,
    side_lying,
    turned,
    upright,
)
from decussate.measures.published_rows import read_tables, row_named
from decussate.sides import Side

__all__ = [
    "Caution",
    "NeckRange",
    "PositionOption",
    "Shortfall",
    "cautions",
    "position_options",
    "provoked_canals",
    "shortfall",
    "smallest_pull",
]


@dataclass(frozen=True, slots=True)
class NeckRange:
    """What the neck allows without pain, degrees.

    Parameters
    ----------
    turn_right_deg, turn_left_deg : float
        0 to 90.
    extension_deg : float
        Backward from lying flat, 0 to 60.
    """

    turn_right_deg: float = 70.0
    turn_left_deg: float = 70.0
    extension_deg: float = 45.0

    def __post_init__(self) -> None:
        for field, value, most in (
            ("turn of the neck to the right", self.turn_right_deg, 90.0),
            ("turn of the neck to the left", self.turn_left_deg, 90.0),
            ("extension of the neck", self.extension_deg, 60.0),
        ):
            if not 0.0 <= value <= most:
                raise BadInput(field, value, f"0 to {most:g} degrees")

    def turn_deg(self, side: Side) -> float:
        """Give the turn the neck allows to one side."""
        return self.turn_right_deg if side is Side.RIGHT else self.turn_left_deg

    @property
    def mirrored(self) -> NeckRange:
        """The neck of the mirrored patient."""
        return NeckRange(self.turn_left_deg, self.turn_right_deg, self.extension_deg)


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution to read before the test; with ``stop`` the neck is not to be moved."""

    text: str
    stop: bool
    source: str


def cautions() -> tuple[Caution, ...]:
    """List the cautions before any positional test, those that stop it first.

    Local codes and licensed practice decide.

    Returns
    -------
    tuple of Caution
    """
    rows = read_tables("positional_provocation.yaml")["cautions"]
    found = [Caution(r["text"], bool(r["stop"]), r.citation) for r in rows]
    return tuple(sorted(found, key=lambda c: not c.stop))


def _setting(name: str) -> float:
    rows = read_tables("positional_provocation.yaml")["settings"]
    return float(row_named(rows, name, "setting")["value"])


def smallest_pull() -> float:
    """Give the share of gravity along a canal below which debris may stay where it is."""
    return _setting("smallest pull")


def provoked_canals(
    start: HeadPosition, end: HeadPosition, *, planes: str = "DellaSantina2005"
) -> tuple[Provocation, ...]:
    """List the canals whose debris a movement sets falling, the farthest fall first.

    Parameters
    ----------
    start, end : HeadPosition
    planes : str

    Returns
    -------
    tuple of Provocation
        Canals with enough of gravity along them for debris to leave its place.
    """
    found = [provocation(start, end, c, planes=planes) for c in CANALS]
    moving = [p for p in found if p.pull >= smallest_pull()]
    return tuple(sorted(moving, key=lambda p: -abs(p.fall)))


@dataclass(frozen=True, slots=True)
class Shortfall:
    """What is left of the test of one posterior canal.

    Parameters
    ----------
    reached, intended : Provocation
        With the angles reached and with the usual angles.
    other_ear : Provocation
        The posterior canal of the other ear with the angles reached: when it falls nearly as far,
        the test no longer says which ear.
    """

    reached: Provocation
    intended: Provocation
    other_ear: Provocation

    @property
    def share_kept(self) -> float:
        """Fall of the debris as a share of the intended one."""
        return max(0.0, self.reached.fall / self.intended.fall)

    @property
    def side_uncertain(self) -> bool:
        """True when the other ear's canal is provoked at least half as much."""
        enough = self.other_ear.pull >= smallest_pull()
        return enough and self.other_ear.fall >= 0.5 * self.reached.fall


def shortfall(
    side: Side,
    turn_deg: float,
    below_horizontal_deg: float,
    *,
    planes: str = "DellaSantina2005",
) -> Shortfall:
    """Compare the head-hanging test as done with the test as meant.

    Parameters
    ----------
    side : Side
        The ear tested.
    turn_deg, below_horizontal_deg : float
        What was reached, degrees.
    planes : str

    Returns
    -------
    Shortfall

    Raises
    ------
    BadInput
        When an angle is impossible.
    """
    usual = head_hanging(
        side,
        turn_deg=_setting("usual turn"),
        below_horizontal_deg=_setting("usual hang"),
    )
    done = head_hanging(side, turn_deg=turn_deg, below_horizontal_deg=below_horizontal_deg)
    tested = Canal(side, CanalKind.POSTERIOR)
    return Shortfall(
        provocation(upright(), done, tested, planes=planes),
        provocation(upright(), usual, tested, planes=planes),
        provocation(upright(), done, tested.mirrored, planes=planes),
    )


@dataclass(frozen=True, slots=True)
class PositionOption:
    """One way to test a posterior canal within what the neck allows.

    Parameters
    ----------
    name, needs : str
    position : HeadPosition
    share_kept : float
        Fall of the debris as a share of the usual test's.
    side_uncertain : bool
        The other ear's posterior canal is provoked nearly as much.
    """

    name: str
    needs: str
    position: HeadPosition
    share_kept: float
    side_uncertain: bool


def position_options(side: Side, neck: NeckRange) -> tuple[PositionOption, ...]:
    """Order the positions for the posterior canal by what they keep in this neck.

    Parameters
    ----------
    side : Side
        The ear to test.
    neck : NeckRange

    Returns
    -------
    tuple of PositionOption
        Those that leave no doubt about the ear first, then the most provocation.
    """
    found = []
    turn = _setting("usual turn")
    for row in read_tables("positional_provocation.yaml")["positions"]:
        angle = turn if row["turn"] == "body" else min(turn, neck.turn_deg(side))
        if row["hang"] == "body_on_side":
            away = min(turn, neck.turn_deg(side.other))
            end = side_lying(side, turn_away_deg=away)
        else:
            hang = {
                "neck": min(_setting("usual hang"), neck.extension_deg),
                "couch": _setting("couch tilt"),
                "none": 0.0,
            }[row["hang"]]
            end = turned(str(row["name"]), side, angle, hang)
        left = _compared(side, end)
        found.append(
            PositionOption(row["name"], row["needs"], end, left.share_kept, left.side_uncertain)
        )
    return tuple(sorted(found, key=lambda o: (o.side_uncertain, -round(o.share_kept, 6))))


def _compared(side: Side, end: HeadPosition) -> Shortfall:
    tested = Canal(side, CanalKind.POSTERIOR)
    usual = shortfall(side, _setting("usual turn"), _setting("usual hang")).intended
    return Shortfall(
        provocation(upright(), end, tested),
        usual,
        provocation(upright(), end, tested.mirrored),
    )
