"""Invented patients of an invented hospital, loaded on request and then treated as any other."""

from __future__ import annotations

from importlib.resources import files
from uuid import UUID, uuid5

from sqlalchemy import select

from decussate.examination.record import Examination, read_examination
from decussate.records.chain import acting_as
from decussate.records.entries import Entry
from decussate.records.people import DEMONSTRATOR
from decussate.records.store import Store
from decussate.records.tables import patients

__all__ = ["DEMO_FAMILY", "demo_examinations", "load_demo"]

DEMO_FAMILY = UUID("6f0f8a52-8a53-4b8e-9d0c-5d1f4a7c2e10")
"""Identities of the invented records are made from this one, so that a second start finds them."""


def demo_examinations() -> tuple[Examination, ...]:
    """Return the invented examinations.

    Returns
    -------
    tuple of Examination
        In the order of their files.

    Raises
    ------
    BadInput
        For a file with a problem.
    """
    folder = files("decussate.records") / "data" / "demo"
    names = sorted(entry.name for entry in folder.iterdir() if entry.name.endswith(".json"))
    return tuple(read_examination((folder / name).read_text(encoding="utf-8")) for name in names)


def load_demo(store: Store) -> int:
    """Add the invented patients that the store does not hold yet.

    Examinations under one label are of one patient. One whose findings say when they were made was
    begun at the first of them, any other is begun now. All of it is the work of the invented
    examiner, so that nobody's name stands beside what nobody saw.

    Parameters
    ----------
    store : Store
        Where to put them. What was entered for them before is left as it is, and what an
        interrupted start left out is put in.

    Returns
    -------
    int
        How many examinations were added.
    """
    with acting_as(DEMONSTRATOR):
        return _load(store)


def _load(store: Store) -> int:
    held = {head.id for head in store.examinations() if head.entries}
    with store.database.reading() as connection:
        known = set(connection.scalars(select(patients.c.id)))
    first_of: dict[str, str] = {}
    added = 0
    for examination in demo_examinations():
        first = first_of.setdefault(examination.label, examination.id)
        identity = str(uuid5(DEMO_FAMILY, f"examination {examination.id}"))
        if identity in held:
            continue
        patient = str(uuid5(DEMO_FAMILY, f"patient {first}"))
        if patient not in known:
            known.add(store.add_patient(examination.label, invented=True, patient=patient))
        times = [finding.at for finding in examination.findings if finding.at]
        store.begin(patient, examination=identity, at=min(times, default=None))
        entry = uuid5(DEMO_FAMILY, f"first entry {examination.id}")
        store.append(
            identity,
            Entry(
                id=entry,
                story=examination.story,
                findings=examination.findings,
                known_old=examination.known_old,
            ),
        )
        added += 1
    return added
