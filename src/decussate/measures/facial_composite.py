"""The Sunnybrook composite score: facial movement less asymmetry at rest less synkinesis."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from decussate.errors import BadInput
from decussate.measures.published_rows import PublishedRow, read_tables, row_named
from decussate.sides import Side

__all__ = [
    "MOVEMENTS",
    "REST_SITES",
    "CompositeScore",
    "composite_score",
    "healthy_range",
]

_TABLES = read_tables("facial_function.yaml")


def _items(part: str) -> tuple[PublishedRow, ...]:
    return tuple(row for row in _TABLES["composite"] if row["part"] == part)


REST_SITES = tuple(str(row["item"]) for row in _items("rest"))
"""The three sites compared at rest."""

MOVEMENTS = tuple(str(row["item"]) for row in _items("movement"))
"""The five movements asked for; each is scored for excursion and for synkinesis."""


@dataclass(frozen=True, slots=True)
class CompositeScore:
    """The score and its three parts, weighted.

    Parameters
    ----------
    side : Side
        The patient's affected side, compared with the other.
    rest, movement, synkinesis : int
        Weighted sums: 0 to 20, 20 to 100, 0 to 15.
    total : int
        Movement less rest less synkinesis, 0 (flaccid) to 100.
    inconsistent : tuple of str
        Items that cannot go together, such as synkinesis of a movement that is absent; the total is
        given as computed and not clamped.
    """

    side: Side
    rest: int
    movement: int
    synkinesis: int
    total: int
    inconsistent: tuple[str, ...]


def composite_score(
    side: Side,
    *,
    rest: Mapping[str, int],
    movement: Mapping[str, int],
    synkinesis: Mapping[str, int] = MappingProxyType(dict.fromkeys(MOVEMENTS, 0)),
) -> CompositeScore:
    """Compute the composite score of one half of the face.

    Parameters
    ----------
    side : Side
        The patient's affected side.
    rest : mapping
        Each of `REST_SITES` to its score (eye 0 or 1, nasolabial fold 0 to 2, mouth 0 or 1).
    movement : mapping
        Each of `MOVEMENTS` to 1 (none) to 5 (complete).
    synkinesis : mapping
        Each of `MOVEMENTS` to 0 (none) to 3 (severe).

    Returns
    -------
    CompositeScore
        ``4 * sum(movement) - 5 * sum(rest) - sum(synkinesis)``.

    Raises
    ------
    BadInput
        If an item is missing, unknown or out of its range.

    References
    ----------
    Ross BG, Fradet G, Nedzelski JM. Otolaryngol Head Neck Surg 1996;114:380-386 (item scores and
    weights from memory).
    """
    parts = {"rest": rest, "movement": movement, "synkinesis": synkinesis}
    sums = {part: _weighted(part, scores) for part, scores in parts.items()}
    total = sums["movement"] - sums["rest"] - sums["synkinesis"]
    inconsistent = tuple(
        f"{item}: synkinesis {synkinesis[item]} with no movement"
        for item in MOVEMENTS
        if movement[item] == 1 and synkinesis[item] > 0
    )
    if total < 0:
        inconsistent = (*inconsistent, "the total is below 0, which no face gives")
    return CompositeScore(
        side, sums["rest"], sums["movement"], sums["synkinesis"], total, inconsistent
    )


def _weighted(part: str, scores: Mapping[str, int]) -> int:
    rows = {str(row["item"]): row for row in _items(part)}
    if set(scores) != set(rows):
        raise BadInput(f"items of {part}", tuple(scores), f"exactly {', '.join(rows)}")
    for item, row in rows.items():
        if scores[item] not in range(row["lowest"], row["highest"] + 1):
            slip = "Movement starts at 1, not at 0." if part == "movement" else ""
            raise BadInput(f"{part}, {item}", scores[item], str(row["words"]), hint=slip)
    return sum(int(row["weight"]) * scores[item] for item, row in rows.items())


def healthy_range() -> tuple[float, float]:
    """Return the lowest and highest score seen in healthy adults: below 100 is not disease."""
    rows = _TABLES["composite_limits"]
    return (
        float(row_named(rows, "healthy lowest", "limit")["value"]),
        float(row_named(rows, "healthy highest", "limit")["value"]),
    )
