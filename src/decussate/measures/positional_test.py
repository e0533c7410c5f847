"""From the nystagmus of a positional test to the canal and side, or to a central cause.

What each canal would do is worked out from its plane (`canal_geometry`); the time limits and the
standing of each class are those of the Barany Society.

References
----------
von Brevern M et al. J Vestib Res 2015;25:105 (criteria; clause wording from memory);
Bhattacharyya N et al. Otolaryngol Head Neck Surg 2017;156(3S):S1 (side of a horizontal canal);
Macdonald NK et al. Front Neurol 2017;8:141 (central positional nystagmus).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.measures.canal_geometry import (
    CANALS,
    Canal,
    CanalKind,
    HeadPosition,
    fast_phase_when_excited,
    head_hanging,
    provocation,
    supine,
    supine_roll,
    turned,
    upright,
)
from decussate.measures.nystagmus import FastPhase
from decussate.measures.positional_observation import (
    CentralClues,
    Manoeuvre,
    Mechanism,
    PositionalObservation,
)
from decussate.measures.positional_provocation import smallest_pull
from decussate.measures.published_rows import read_tables, row_named
from decussate.sides import Side

__all__ = [
    "CanalCandidate",
    "CentralClues",
    "Manoeuvre",
    "Mechanism",
    "PositionalObservation",
    "PositionalReading",
    "predicted_beat",
    "predicted_roll",
    "read_positional_test",
]


@dataclass(frozen=True, slots=True)
class CanalCandidate:
    """A canal that the nystagmus fits.

    Parameters
    ----------
    canal : Canal
    mechanism : Mechanism
    status : str
        Standing of the class: established, emerging or controversial.
    supports, against : tuple of str
    """

    canal: Canal
    mechanism: Mechanism
    status: str
    supports: tuple[str, ...]
    against: tuple[str, ...]

    @property
    def mirrored(self) -> CanalCandidate:
        """The candidate in the mirrored patient."""
        return CanalCandidate(
            self.canal.mirrored, self.mechanism, self.status, self.supports, self.against
        )


@dataclass(frozen=True, slots=True)
class PositionalReading:
    """Canals that fit, reasons for a central cause, and remarks.

    Parameters
    ----------
    candidates : tuple of CanalCandidate
    central : tuple of str
        Each is a reason to look for a central cause; none excludes one when absent.
    remarks : tuple of str
        What to repeat or do next.
    """

    candidates: tuple[CanalCandidate, ...]
    central: tuple[str, ...]
    remarks: tuple[str, ...]


def _limit(name: str, column: str = "seconds") -> float:
    return float(row_named(read_tables("positional_test.yaml")["limits"], name, "limit")[column])


def _positions(manoeuvre: Manoeuvre, side: Side | None) -> tuple[HeadPosition, HeadPosition]:
    if manoeuvre is Manoeuvre.ROLL and side is not None:
        return supine(), supine_roll(side)
    if side is not None:
        return upright(), head_hanging(side)
    return upright(), turned("head hanging straight back", Side.RIGHT, 0.0, 30.0)


def predicted_beat(canal: Canal, *, excited: bool = True) -> FastPhase:
    """Name the fast phase of a canal by its large parts, from the canal's plane.

    Parameters
    ----------
    canal : Canal
    excited : bool
        False for an inhibited canal: everything reverses.

    Returns
    -------
    FastPhase
    """
    beat, sign = fast_phase_when_excited(canal), 1.0 if excited else -1.0

    def side(part: float) -> Side | None:
        # A part under half of the turn is not what the examiner names.
        if abs(part) < 0.5:
            return None
        return Side.RIGHT if sign * part > 0.0 else Side.LEFT

    up = 0 if abs(beat.up) < 0.5 else int(sign * (1 if beat.up > 0.0 else -1))
    return FastPhase(side(beat.right), up, side(beat.upper_pole_right))


def predicted_roll(canal: Canal, *, free: bool) -> dict[Side, tuple[Side, bool]]:
    """Predict the roll test of a horizontal canal: the beat with each ear down, and the stronger.

    Free debris falls and pulls the fluid with it; a heavy cupula bends the other way. The beat
    that comes from excitation is the stronger one (Ewald's second law).

    Parameters
    ----------
    canal : Canal
        A horizontal canal.
    free : bool
        Free debris rather than debris on the cupula.

    Returns
    -------
    dict of Side to (Side, bool)
        Ear down to (side beaten towards, whether this is the stronger of the two).

    Raises
    ------
    BadInput
        For a vertical canal.
    """
    if canal.kind is not CanalKind.HORIZONTAL:
        raise BadInput("canal", str(canal), "a horizontal canal")
    found = {}
    for ear_down in Side:
        start, end = _positions(Manoeuvre.ROLL, ear_down)
        excited = (provocation(start, end, canal).fall > 0.0) is free
        beat = predicted_beat(canal, excited=excited).horizontal
        if beat is None:  # pragma: no cover - a horizontal canal always beats sideways
            raise BadInput("canal plane", str(canal), "a horizontal canal that lies nearly level")
        found[ear_down] = (beat, excited)
    return found


def read_positional_test(
    observations: Sequence[PositionalObservation], clues: CentralClues | None = None
) -> PositionalReading:
    """Name the canals that fit what was seen, and what argues for a central cause.

    This informs a licensed examiner and is not a diagnosis: every class also needs positional
    vertigo in the history and no better explanation.

    Parameters
    ----------
    observations : sequence of PositionalObservation
    clues : CentralClues, optional

    Returns
    -------
    PositionalReading

    Raises
    ------
    BadInput
        When nothing was observed or one position is given twice.
    """
    if not observations:
        raise BadInput("positional test", "no observation", "at least one position observed")
    seen = [(o.manoeuvre, o.side) for o in observations]
    if len(set(seen)) < len(seen):
        raise BadInput("positional test", "one position twice", "each position once")
    candidates: list[CanalCandidate] = []
    central: list[str] = []
    remarks: list[str] = []
    for observation in observations:
        _read_vertical(observation, candidates, central, remarks)
    _read_roll(observations, candidates, central, remarks)
    _read_clues(observations, clues or CentralClues(), central)
    if not any(o.beat for o in observations):
        remarks.append("no nystagmus seen: not excluded; repeat both sides and the roll test")
    vertical = {c.canal for c in candidates if c.canal.kind is CanalKind.POSTERIOR}
    if len({c.side for c in vertical}) == 2:
        remarks.append("both posterior canals fit: often one canal and a head turned too little")
    if candidates:
        reminder = read_tables("positional_test.yaml")["reminders"][0]
        remarks.append(str(reminder["text"]))
    # A canal met in two positions is one candidate.
    unique = {(c.canal, c.mechanism): c for c in candidates}
    return PositionalReading(
        tuple(unique.values()), tuple(dict.fromkeys(central)), tuple(dict.fromkeys(remarks))
    )


def _central(name: str) -> str:
    return str(row_named(read_tables("positional_test.yaml")["central"], name, "reason")["text"])


def _mechanism(duration_s: float | None) -> Mechanism:
    if duration_s is None:
        return Mechanism.NOT_TIMED
    longest = _limit("longest free-debris nystagmus")
    return Mechanism.FREE if duration_s < longest else Mechanism.ON_CUPULA


def _status(canal: Canal, mechanism: Mechanism) -> str:
    wanted = Mechanism.FREE if mechanism is Mechanism.NOT_TIMED else mechanism
    for row in read_tables("positional_test.yaml")["classes"]:
        if (row["canal"], row["mechanism"]) == (canal.kind, wanted):
            return str(row["status"])
    return "controversial"


def _candidate(canal: Canal, mechanism: Mechanism, seen: PositionalObservation) -> CanalCandidate:
    supports, against = [], []
    longest = _limit("longest latency")
    if seen.latency_s is not None:
        if seen.latency_s <= longest:
            supports.append(f"began after {seen.latency_s:g} s")
        else:
            against.append(f"began only after {seen.latency_s:g} s")
    if seen.duration_s is not None:
        supports.append(
            "went on" if seen.duration_s == float("inf") else f"lasted {seen.duration_s:g} s"
        )
    for value, yes, no in (
        (seen.reverses_on_sitting, "reversed on sitting", "did not reverse on sitting"),
        (seen.fatigues, "faded on repetition", "did not fade on repetition"),
        (seen.vertigo, "with vertigo", "without vertigo"),
    ):
        if value is not None:
            (supports if value else against).append(yes if value else no)
    return CanalCandidate(
        canal, mechanism, _status(canal, mechanism), tuple(supports), tuple(against)
    )


def _read_vertical(
    seen: PositionalObservation,
    candidates: list[CanalCandidate],
    central: list[str],
    remarks: list[str],
) -> None:
    if seen.manoeuvre not in (Manoeuvre.HEAD_HANGING, Manoeuvre.STRAIGHT_HANGING):
        return
    beat = seen.beat
    if beat is None:
        short = seen.watched_s is not None and seen.watched_s < _limit("shortest watch")
        if short:
            remarks.append(
                f"{seen.manoeuvre}: watched under {_limit('shortest watch'):g} s, repeat"
            )
        return
    if not beat.upward and beat.torsion is None:
        remarks.append(f"{seen.manoeuvre}: horizontal nystagmus, do the supine roll")
        return
    if not beat.upward:
        central.append(_central("purely torsional"))
        return
    if beat.torsion is None:
        central.append(_central("purely downbeat" if beat.upward < 0 else "purely upbeat"))
    fitting = _vertical_fits(seen, beat)
    candidates.extend(fitting)
    if not fitting:
        central.append(_central("wrong direction"))


def _vertical_fits(seen: PositionalObservation, beat: FastPhase) -> list[CanalCandidate]:
    start, end = _positions(seen.manoeuvre, seen.side)
    found = []
    for canal in CANALS:
        if canal.kind is CanalKind.HORIZONTAL:
            continue
        for excited in (True, False):
            expected = predicted_beat(canal, excited=excited)
            same_torsion = beat.torsion in (None, expected.torsion)
            if expected.upward != beat.upward or not same_torsion:
                continue
            if canal.kind is CanalKind.ANTERIOR:
                # Debris there falls away from the cupula in any hanging position, and excites.
                fits, mechanism = excited, _mechanism(seen.duration_s)
            else:
                moved = provocation(start, end, canal)
                fits = moved.fall > 0.0 and moved.pull >= smallest_pull()
                # Beating against the provoked direction needs debris beyond the ampulla's arm,
                # and a torsion that names the ear.
                fits = fits and (excited or (beat.torsion is not None and seen.side is canal.side))
                mechanism = _mechanism(seen.duration_s) if excited else Mechanism.SHORT_ARM
                if excited and beat.torsion is None:
                    fits = False
            if fits:
                found.append(_candidate(canal, mechanism, seen))
    return found


def _read_roll(
    observations: Sequence[PositionalObservation],
    candidates: list[CanalCandidate],
    central: list[str],
    remarks: list[str],
) -> None:
    roll = {o.side: o for o in observations if o.manoeuvre is Manoeuvre.ROLL and o.side}
    beats = {s: o.beat.horizontal for s, o in roll.items() if o.beat and o.beat.horizontal}
    if len(roll) < 2:
        if beats:
            remarks.append("supine roll: examine the other side too")
        return
    if len(beats) == 1:
        (down,) = beats
        remarks.append(
            f"supine roll: nystagmus only with the {down} ear down; think of debris in the far arm "
            f"of the {down.other} horizontal canal, and repeat"
        )
        return
    if len(beats) < 2:
        return
    if beats[Side.RIGHT] is beats[Side.LEFT]:
        central.append(_central("fixed direction on both sides"))
        return
    geotropic = beats[Side.RIGHT] is Side.RIGHT
    side, reasons = _horizontal_side(observations, roll, geotropic)
    longer = max((o.duration_s for o in roll.values() if o.duration_s is not None), default=None)
    mechanism = Mechanism.FREE if geotropic else Mechanism.ON_CUPULA
    if geotropic and _mechanism(longer) is Mechanism.ON_CUPULA:
        central.append(_central("lasts without fit"))
    if not geotropic and _mechanism(longer) is Mechanism.FREE:
        mechanism = Mechanism.FREE
        remarks.append(
            "short-lived and towards the upper ear: debris in the front arm of the canal"
        )
    if side is None:
        remarks.append("supine roll: side undecided; use bow, lean and sitting to lying")
    for each in (side,) if side else tuple(Side):
        seen = roll[each]
        found = _candidate(Canal(each, CanalKind.HORIZONTAL), mechanism, seen)
        candidates.append(
            CanalCandidate(
                found.canal, mechanism, found.status, found.supports + reasons, found.against
            )
        )


def _horizontal_side(
    observations: Sequence[PositionalObservation],
    roll: dict[Side, PositionalObservation],
    geotropic: bool,
) -> tuple[Side | None, tuple[str, ...]]:
    right, left = roll[Side.RIGHT].strength, roll[Side.LEFT].strength
    ratio = _limit("difference that makes one side stronger", "ratio")
    if right is not None and left is not None and max(right, left) > ratio * min(right, left):
        stronger = Side.RIGHT if right > left else Side.LEFT
        for side in Side:
            expected = predicted_roll(Canal(side, CanalKind.HORIZONTAL), free=geotropic)
            if expected[stronger][1]:
                return side, (f"stronger with the {stronger} ear down",)
    rules = read_tables("positional_test.yaml")["horizontal_side"]
    votes: dict[Side, list[str]] = {side: [] for side in Side}
    for seen in observations:
        rule = next((r for r in rules if r["test"] == seen.manoeuvre), None)
        beat = seen.beat.horizontal if seen.beat else None
        if rule is None or beat is None:
            continue
        towards = rule["geotropic" if geotropic else "apogeotropic"] == "toward affected"
        votes[beat if towards else beat.other].append(f"{seen.manoeuvre}: beats to the {beat}")
    if bool(votes[Side.RIGHT]) is bool(votes[Side.LEFT]):
        return None, ()
    side = Side.RIGHT if votes[Side.RIGHT] else Side.LEFT
    return side, tuple(votes[side])


def _read_clues(
    observations: Sequence[PositionalObservation], clues: CentralClues, central: list[str]
) -> None:
    silent = any(o.beat is not None and o.vertigo is False for o in observations)
    for name, present in (
        ("no vertigo", silent),
        ("other signs", clues.other_neurological_signs),
        ("new headache", clues.new_headache_or_neck_pain),
        ("fixation does not suppress", clues.fixation_suppresses is False),
        ("no response to treatment", clues.no_response_to_repositioning),
    ):
        if present:
            central.append(_central(name))
