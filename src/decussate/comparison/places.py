"""Where the lesion was likely to be then, and where now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from decussate.localisation.localise import in_100
from decussate.sides import Side

if TYPE_CHECKING:
    from decussate.localisation import Candidate, Localisation

__all__ = ["PlaceShift", "PlacesThenAndNow", "compare_places"]

WORTH_NAMING = 0.05
"""Least probability, then or now, of a place that is listed (judgement)."""
GAINED_OR_LOST = 0.10
"""Least change of probability that is called gained or lost (judgement)."""


@dataclass(frozen=True, slots=True)
class PlaceShift:
    """One place or process, then and now.

    Attributes
    ----------
    place, name : str
        Key, and the name with its side in words.
    side : Side or None
    then, now : float
        Probabilities.
    """

    place: str
    name: str
    side: Side | None
    then: float
    now: float

    @property
    def shift(self) -> float:
        """Change of probability, now less then."""
        return self.now - self.then


@dataclass(frozen=True, slots=True)
class PlacesThenAndNow:
    """The localisation of two examinations, side by side.

    Attributes
    ----------
    shifts : tuple of PlaceShift
        Every place likely enough to name at either time, the most likely now first.
    findings_then, findings_now : int
        How many findings each rests on.
    """

    shifts: tuple[PlaceShift, ...]
    findings_then: int
    findings_now: int

    @property
    def gained(self) -> tuple[PlaceShift, ...]:
        """Places that have become clearly more likely, the largest gain first."""
        risen = [shift for shift in self.shifts if shift.shift >= GAINED_OR_LOST]
        return tuple(sorted(risen, key=lambda shift: (-shift.shift, shift.name)))

    @property
    def lost(self) -> tuple[PlaceShift, ...]:
        """Places that have become clearly less likely, the largest loss first."""
        fallen = [shift for shift in self.shifts if shift.shift <= -GAINED_OR_LOST]
        return tuple(sorted(fallen, key=lambda shift: (shift.shift, shift.name)))

    @property
    def text(self) -> str:
        """The likely place then and now, without a full stop."""
        if not self.findings_now:
            return "no finding now bears on the place"
        now = max(self.shifts, key=lambda shift: (shift.now, shift.name))
        if not self.findings_then:
            return f"likely place now {now.name} ({in_100(now.now)}), not worked out before"
        then = max(self.shifts, key=lambda shift: (shift.then, shift.name))
        if (now.place, now.side) == (then.place, then.side):
            was = "" if in_100(now.now) == in_100(now.then) else f", was {in_100(now.then)}"
            return f"likely place unchanged: {now.name} ({in_100(now.now)}{was})"
        return (
            f"likely place now {now.name} ({in_100(now.now)}), "
            f"was {then.name} ({in_100(then.then)})"
        )

    @property
    def before(self) -> str:
        """The likely place then, for a reader who is told the place now; without a full stop."""
        if not self.findings_then:
            return "place not worked out before"
        then = max(self.shifts, key=lambda shift: (shift.then, shift.name))
        now = max(self.shifts, key=lambda shift: (shift.now, shift.name))
        same = self.findings_now and (now.place, now.side) == (then.place, then.side)
        return "same likely place" if same else f"likely place was {then.name}"


def compare_places(then: Localisation, now: Localisation) -> PlacesThenAndNow:
    """Set two localisations of one patient side by side.

    Parameters
    ----------
    then, now : Localisation

    Returns
    -------
    PlacesThenAndNow
        A place may gain or lose because other tests were done, not because anything changed.
    """
    before, after = _by_site(then), _by_site(now)
    leading = {(found.place, found.side) for found in (*then.candidates[:1], *now.candidates[:1])}
    shifts = []
    for key in {**after, **before}:
        found = after.get(key) or before[key]
        was, has = (sites[key].probability if key in sites else 0.0 for sites in (before, after))
        if key in leading or max(was, has) >= WORTH_NAMING:
            shifts.append(PlaceShift(found.place, found.name, found.side, was, has))
    ordered = sorted(shifts, key=lambda shift: (-shift.now, -shift.then, shift.name))
    return PlacesThenAndNow(tuple(ordered), then.findings_used, now.findings_used)


def _by_site(localisation: Localisation) -> Mapping[tuple[str, Side | None], Candidate]:
    return {(found.place, found.side): found for found in localisation.candidates}
