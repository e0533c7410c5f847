"""What makes places, alerts and limits less sure for one patient: data, said beside them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from decussate.bibliography import check_source
from decussate.data_rows import Row, read_rows
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.document import ABNORMAL, Examination

__all__ = ["reservations"]


@dataclass(frozen=True, slots=True)
class _Reservation:
    test: str
    responses: tuple[str, ...]
    younger_than: float
    words: str


def reservations(examination: Examination) -> tuple[str, ...]:
    """Say what makes the conclusions about an examination less sure.

    Parameters
    ----------
    examination : Examination
        What was recorded.

    Returns
    -------
    tuple of str
        Sentences; empty when nothing does. None of them changes a number or silences an alert.
    """
    said = []
    for row in _rows():
        sides = {
            found.side
            for found in examination.present()
            if found.test == row.test and found.response in row.responses
        }
        named = " and ".join(str(side) for side in ("right", "left") if side in sides)
        young = examination.story.age is not None and examination.story.age < row.younger_than
        if sides or young:
            said.append(row.words.format(sides=named or "side not stated"))
    return tuple(said)


@cache
def _rows() -> tuple[_Reservation, ...]:
    return tuple(_row(row) for row in read_rows(files(__package__) / "data" / "reservations.yaml"))


def _row(row: Row) -> _Reservation:
    row.only("id", "test", "responses", "younger_than", "words", "source")
    check_source(row["source"], row.where)
    test, responses = row.get("test", ""), tuple(row.get("responses", ()))
    if bool(test) == ("younger_than" in row):
        raise BadInput("row", row["id"], "a test with responses, or an age", where=row.where)
    known = (*load_catalogue().test(test).codes, ABNORMAL) if test else ()
    for code in responses:
        if code not in known:
            raise BadInput("responses", code, "one of " + ", ".join(known), where=row.where)
    return _Reservation(test, responses, float(row.get("younger_than", 0.0)), row["words"])
