"""One row of the table of checks against the outside world.

Each ``tests/published/test_<subject>.py`` defines ``CHECKS: list[PublishedCheck]``, all run by::

    @pytest.mark.parametrize("check", CHECKS, ids=str)
    def test_published(check: PublishedCheck) -> None:
        check.assert_holds()

so that the same rows can be printed as a table (source, expected, obtained).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from numbers import Real

__all__ = ["MARKS", "PublishedCheck", "agrees"]

MARKS = ("", "unconfirmed", "from memory", "common practice", "secondary")
"""How far the expected value can be trusted; empty when it was seen in the source."""


@dataclass(frozen=True, slots=True)
class PublishedCheck:
    """An expected value from a named source, and the computation that must give it.

    Parameters
    ----------
    subject : str
        The measurement concerned (``"distance acuity"``).
    what : str
        What is checked, in words a clinician reads.
    source : str
        The published source of ``expected``.
    expected : float, str, bool or tuple
        The published value.
    obtained : callable
        Computes the same value with Decussate; called only when the check is run.
    tolerance : float
        Largest permitted absolute difference between numbers (also inside tuples).
    mark : str
        One of `MARKS`.
    """

    subject: str
    what: str
    source: str
    expected: float | str | bool | tuple[object, ...]
    obtained: Callable[[], object]
    tolerance: float = 0.0
    mark: str = ""

    def __post_init__(self) -> None:
        for name in ("subject", "what", "source"):
            if not getattr(self, name).strip():
                raise ValueError(f"a published check needs its {name}")
        if self.mark not in MARKS:
            raise ValueError(f"mark {self.mark!r} is not one of {MARKS}")
        if not self.tolerance >= 0.0:
            raise ValueError(f"tolerance {self.tolerance!r} must be zero or more")

    def __str__(self) -> str:
        return f"{self.subject}: {self.what}"

    def assert_holds(self) -> None:
        """Compare numbers within the tolerance and everything else for equality."""
        obtained = self.obtained()
        assert agrees(self.expected, obtained, self.tolerance), (
            f"{self}: {self.source} gives {self.expected!r}"
            f" (within {self.tolerance:g}), obtained {obtained!r}"
        )


def agrees(expected: object, obtained: object, tolerance: float) -> bool:
    """Whether what was obtained is the published value, within the tolerance."""
    if isinstance(expected, bool) or isinstance(obtained, bool):
        return isinstance(expected, bool) and isinstance(obtained, bool) and expected is obtained
    if isinstance(expected, Real) and isinstance(obtained, Real):
        # Half a unit in the twelfth place, so that a tolerance of exactly 0.5 admits 0.5;
        # equality first, because infinity less infinity is not a number.
        difference = abs(float(expected) - float(obtained))
        return bool(expected == obtained) or difference <= tolerance + 1e-12
    if isinstance(expected, tuple):
        return (
            isinstance(obtained, Sequence)
            and not isinstance(obtained, str)
            and len(expected) == len(obtained)
            and all(agrees(e, o, tolerance) for e, o in zip(expected, obtained, strict=True))
        )
    return bool(expected == obtained)
