"""The examinations of one patient, and how one compares with the one before it."""

from __future__ import annotations

from dataclasses import dataclass

from decussate.comparison import Comparison, compare
from decussate.errors import BadInput
from decussate.records import ExaminationHead, Store
from decussate.web.conclusions import conclude

__all__ = ["Before", "compared_with_before", "examinations_of"]


@dataclass(frozen=True, slots=True)
class Before:
    """The comparison with the examination before, or why there is none.

    Attributes
    ----------
    comparison : Comparison or None
    refused : str
        Why an earlier examination could not be compared; empty where there is none, or it was.
    """

    comparison: Comparison | None = None
    refused: str = ""


def examinations_of(store: Store, patient: str) -> tuple[ExaminationHead, ...]:
    """Return the examinations of a patient in which something was entered, earliest first."""
    heads = (head for head in store.examinations() if head.patient == patient and head.entries)
    return tuple(sorted(heads, key=lambda head: (head.opened_at, head.id)))


def compared_with_before(store: Store, head: ExaminationHead) -> Before:
    """Compare an examination with the one before it of the same patient.

    Parameters
    ----------
    store : Store
        Where they are kept.
    head : ExaminationHead
        The later.

    Returns
    -------
    Before
        Without a comparison where this is the first, or either has no finding.
    """
    now = store.examination(head.id)
    earlier = [
        one for one in examinations_of(store, head.patient) if one.opened_at < head.opened_at
    ]
    for one in reversed(earlier):
        then = store.examination(one.id)
        if then.present():
            break
    else:
        return Before()
    if not now.present():
        return Before()
    places = (conclude(then).localisation, conclude(now).localisation)
    try:
        return Before(compare(then, now, places=places))
    except BadInput as problem:
        return Before(refused=f"{problem.field}: {problem.found}; expected {problem.expected}")
