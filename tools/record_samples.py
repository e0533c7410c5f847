"""Keep a sample of the present layout of the store, in SQLite and in PostgreSQL.

Run once when a layout is released; a sample that was kept is never made again.

    .venv/bin/python tools/record_samples.py
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from uuid import UUID

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from decussate.examination.record import Finding, Story, UnreadText  # noqa: E402
from decussate.records import Entry, Store  # noqa: E402
from decussate.records.attachments import attach  # noqa: E402
from decussate.records.demo import load_demo  # noqa: E402
from decussate.records.people import People  # noqa: E402
from decussate.records.read_tokens import ReadTokens  # noqa: E402
from decussate.records.roles import Role  # noqa: E402
from decussate.records.schema import REVISION, copy_sqlite  # noqa: E402
from decussate.records.second_factors import STEP_S, SecondFactors, code_at  # noqa: E402
from decussate.sides import Side  # noqa: E402
from postgres_server import PostgresServer  # noqa: E402

SAMPLES = ROOT / "tests" / "records" / "samples"
AUDIOGRAM = """ear,frequency_hz,conduction,level_db_hl,masked,no_response,transducer
right,1000,air,45,no,no,insert
"""


def fill(store: Store) -> None:
    """Put the invented patients into a store, and one with letters that are easily lost."""
    load_demo(store)
    label = "Bed 7, Zoë Åkesson-O'Hara, invented"
    patient = store.add_patient(label, invented=True, patient=str(UUID(int=7)))
    examination = store.begin(patient, examination=str(UUID(int=70)))
    light = {"test": "light_direct", "side": Side.RIGHT}
    slow = Finding(**light, response="reduced", comment="slow — “sluggish”")
    absent = Finding(**light, response="absent")
    unread = UnreadText(text="zig zag", line=1, column=4, reason="not a word it knows")
    entries = (
        Entry(id=UUID(int=701), findings=(slow,), by="an invented examiner"),
        Entry(id=UUID(int=702), findings=(absent,), story=Story(age=61, onset="sudden")),
        Entry(id=UUID(int=703), undoes=UUID(int=702)),
        Entry(id=UUID(int=704), known_old=(("light_direct", Side.RIGHT),), unread=(unread,)),
    )
    for entry in entries:
        store.append(examination, entry)
    attach(store, examination, "hörtest.csv", AUDIOGRAM.encode(), attachment=str(UUID(int=7001)))
    people = People(store)
    owner = people.add_owner("Zoë Åkesson-O'Hara, invented", "an invented owner's word")
    bert, _ = people.add("Bert Example, invented", Role.READER)
    ReadTokens(store).make(bert, "ward list, invented")
    factors = SecondFactors(store)
    factors.confirm(owner, code_at(factors.begin(owner), int(time.time()) // STEP_S))


def main() -> None:
    """Write both samples."""
    file = SAMPLES / f"schema-{int(REVISION)}.db"
    dump = file.with_suffix(".postgresql.sql")
    if file.exists() or dump.exists():
        raise SystemExit(f"{file.name} is kept already")
    with tempfile.TemporaryDirectory() as folder:
        store = Store(Path(folder) / "records.db", by="an invented owner")
        fill(store)
        copy_sqlite(Path(folder) / "records.db", file)
        store.close()
    server = PostgresServer()
    try:
        address = server.new_database()
        store = Store(address, by="an invented owner")
        fill(store)
        store.close()
        dump.write_text(server.dump(address), encoding="utf-8")
    finally:
        server.close()


if __name__ == "__main__":
    main()
