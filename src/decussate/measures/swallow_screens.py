"""Who may be given water, when to stop, and the screens that pass or fail.

A pass does not exclude silent aspiration.  Local policy and the speech and language therapist
decide.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.measures.diagnostic_accuracy import (
    likelihood_ratio_negative,
    likelihood_ratio_positive,
)
from decussate.measures.published_rows import read_tables, row_named
from decussate.measures.swallow import WaterSwallow, swallow_limit

__all__ = [
    "BEFORE_KEYS",
    "STOP_KEYS",
    "GuggingScore",
    "ScreenResult",
    "SwallowGate",
    "after_failure",
    "continuous_drinking_screen",
    "gugging_score",
    "missed_by_passing",
    "screen_likelihood_ratio",
    "stop_reasons",
    "swallow_gate",
]

_TABLES = read_tables("swallow.yaml")

BEFORE_KEYS = tuple(str(row["key"]) for row in _TABLES["before"])
"""What must be recorded as true before any water is given."""

STOP_KEYS = tuple(str(row["key"]) for row in _TABLES["stop"])
"""What stops the test, besides a fall of oxygen saturation."""


@dataclass(frozen=True, slots=True)
class SwallowGate:
    """Whether the water test may be offered.

    Parameters
    ----------
    offered : bool
        True only when every condition is recorded as met.
    not_met : tuple of str
        Conditions recorded as not met, in words.
    not_recorded : tuple of str
        Conditions not recorded, in words: unrecorded never counts as met.
    """

    offered: bool
    not_met: tuple[str, ...]
    not_recorded: tuple[str, ...]


def swallow_gate(recorded: Mapping[str, bool | None]) -> SwallowGate:
    """Decide whether the water test may be offered.

    Parameters
    ----------
    recorded : mapping
        Any of `BEFORE_KEYS` to True, False, or None when not recorded; a key left out is not
        recorded.

    Returns
    -------
    SwallowGate

    Raises
    ------
    BadInput
        For an unknown key.
    """
    _known(recorded, BEFORE_KEYS, "condition before a water test")
    texts = {str(row["key"]): str(row["text"]) for row in _TABLES["before"]}
    not_met = tuple(texts[k] for k in BEFORE_KEYS if recorded.get(k) is False)
    unrecorded = tuple(texts[k] for k in BEFORE_KEYS if recorded.get(k) is None)
    return SwallowGate(not not_met and not unrecorded, not_met, unrecorded)


def stop_reasons(
    seen: Mapping[str, bool],
    *,
    oxygen_before_percent: float | None = None,
    oxygen_now_percent: float | None = None,
) -> tuple[str, ...]:
    """List the reasons to stop the test at once; empty when there is none.

    Parameters
    ----------
    seen : mapping
        Any of `STOP_KEYS` to whether it was seen.
    oxygen_before_percent, oxygen_now_percent : float, optional
        Oxygen saturation before and during, in per cent; a fall of 3 or more stops the test.

    Returns
    -------
    tuple of str

    Raises
    ------
    BadInput
        For an unknown key or an impossible saturation.

    References
    ----------
    Common practice; the fall of 3 per cent from Rofes L et al. 2012.
    """
    _known(seen, STOP_KEYS, "reason to stop")
    reasons = [str(row["text"]) for row in _TABLES["stop"] if seen.get(str(row["key"]))]
    levels = (oxygen_before_percent, oxygen_now_percent)
    for level in levels:
        if level is not None and not 40 <= level <= 100:
            raise BadInput(
                "oxygen saturation",
                level,
                "40 to 100 per cent",
                hint="Was a fraction given?" if level <= 1 else "",
            )
    if oxygen_before_percent is not None and oxygen_now_percent is not None:
        fall = oxygen_before_percent - oxygen_now_percent
        if fall >= swallow_limit("oxygen fall"):
            reasons.append(f"oxygen saturation fell by {fall:g} per cent")
    return tuple(reasons)


def _known(given: Mapping[str, object], allowed: Sequence[str], field: str) -> None:
    unknown = [key for key in given if key not in allowed]
    if unknown:
        raise BadInput(field, tuple(unknown), f"any of {', '.join(allowed)}")


def after_failure() -> tuple[str, ...]:
    """Return what to do after a failed screen, in order."""
    return tuple(str(row["text"]) for row in _TABLES["after_failure"])


@dataclass(frozen=True, slots=True)
class ScreenResult:
    """The outcome of a pass or fail screen.

    Parameters
    ----------
    passed : bool
        Whether it was passed.
    reasons : tuple of str
        Why it was failed.
    """

    passed: bool
    reasons: tuple[str, ...]


def continuous_drinking_screen(test: WaterSwallow) -> ScreenResult:
    """Judge the 90 mL (3 ounce) screen: drink it all without stopping.

    Parameters
    ----------
    test : WaterSwallow
        With 90 mL given.

    Returns
    -------
    ScreenResult
        Failed when water is left, on a stop, on cough or choke during or within a minute after, or
        on a wet or hoarse voice.

    Raises
    ------
    BadInput
        If another volume was given: the published accuracy belongs to 90 mL.

    References
    ----------
    Suiter DM, Leder SB. Dysphagia 2008;23:244-250.
    """
    volume = swallow_limit("three ounces")
    if abs(test.given_ml - volume) > 5:
        raise BadInput("water given", test.given_ml, f"{volume:g} mL for this screen")
    reasons = (
        ("did not drink all of it", test.left_ml > 0),
        ("stopped", test.interrupted),
        ("coughed or choked", test.coughed),
        ("wet or hoarse voice", test.wet_voice),
    )
    found = tuple(text for text, present in reasons if present)
    return ScreenResult(not found, found)


def screen_likelihood_ratio(study: str, *, failed: bool) -> float:
    """Give how much a failed or passed screen multiplies the odds of what the study looked for.

    Parameters
    ----------
    study : str
        A row of the accuracy table of ``swallow.yaml``, such as ``90 mL``.
    failed : bool
        Whether the screen was failed.

    Returns
    -------
    float

    Raises
    ------
    BadInput
        If the study is unknown.
    """
    row = row_named(_TABLES["accuracy"], study, "study")
    ratio = likelihood_ratio_positive if failed else likelihood_ratio_negative
    return ratio(float(row["sensitivity"]), float(row["specificity"]))


def missed_by_passing(study: str) -> float:
    """Return the fraction of the affected that the screen lets pass in a study.

    Raises
    ------
    BadInput
        If the study is unknown.
    """
    return 1 - float(row_named(_TABLES["accuracy"], study, "study")["sensitivity"])


@dataclass(frozen=True, slots=True)
class GuggingScore:
    """The stepwise Gugging screen.

    Parameters
    ----------
    total : int
        0 to 20.
    stopped_after : str or None
        The part below full marks, after which nothing more is given; None when all were full.
    severity, risk : str
        The published band: of dysphagia, and of aspiration.
    """

    total: int
    stopped_after: str | None
    severity: str
    risk: str


def gugging_score(parts: Sequence[int]) -> GuggingScore:
    """Score the Gugging swallowing screen.

    Parameters
    ----------
    parts : sequence of int
        Scores out of 5 in the order indirect, semisolid, liquid, solid, as far as the test went.

    Returns
    -------
    GuggingScore

    Raises
    ------
    BadInput
        If a score is out of range, or the test went on after a part below 5, or stopped early after
        a full part.

    References
    ----------
    Trapl M et al. Stroke 2007. The rule to stop below a full 5 is from memory.
    """
    rows = _TABLES["gugging_parts"]
    if not 1 <= len(parts) <= len(rows):
        raise BadInput("parts", tuple(parts), f"1 to {len(rows)} scores")
    stopped: str | None = None
    for row, score in zip(rows, parts, strict=False):
        if stopped:
            raise BadInput(
                f"{row['name']} part",
                score,
                "no score",
                hint=f"The test stops after the {stopped} part, which was below full marks.",
            )
        if score not in range(int(row["most"]) + 1):
            raise BadInput(f"{row['name']} part", score, f"0 to {row['most']}")
        stopped = str(row["name"]) if score < row["most"] else None
    if stopped is None and len(parts) < len(rows):
        raise BadInput(
            "parts",
            tuple(parts),
            f"the {rows[len(parts)]['name']} part next",
            hint="If the test was broken off for another reason, there is no total.",
        )
    total = sum(parts)
    band = next(row for row in _TABLES["gugging_bands"] if total >= row["from"])
    return GuggingScore(total, stopped, str(band["severity"]), str(band["risk"]))
