"""Kill writers and servers at random moments, let many examiners write at once, keep the figures.

    make soak                                   500 kills on SQLite, encrypted too, and PostgreSQL
    .venv/bin/python tools/soak_crash.py --kills 50 --seed 7

Writes docs/soak.md and ends with exit code 1 when an acknowledged entry was lost, when anything
stored is wrong, or when the slowest twentieth of entries took 150 ms or more.
"""

from __future__ import annotations

import argparse
import os
import platform
import random
import shutil
import sqlite3
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from soak_page import PAGE, write_section  # noqa: E402

import crash  # noqa: E402
from decussate.records import Store  # noqa: E402
from decussate.records.encryption import Key, unlocking  # noqa: E402
from postgres_server import PostgresServer  # noqa: E402

EXAMINERS, ENTRIES, LIMIT_MS = 20, 200, 150.0
ENCRYPTED = "SQLite, encrypted"

HEAD = """## Killed at random moments, and written by many at once

Made by `{command}` on {date}; `make soak` remakes it.
{cores} cores, load average {load:.1f}, Python {python}, SQLite {sqlite}, {postgres};
files on a disk, not in memory.

Every round forks a program whose {threads} threads add entries to one examination without a pause,
each acknowledged once the store has said it is saved, and ends it by SIGKILL at a random moment;
with PostgreSQL the program, the server with all its processes, or both. The first rounds of each
new database are killed while it is being made. Then everything acknowledged must be there, nothing
twice, the present state derivable, every row fit its link in the audit trail, and the database's
own check find its pages sound. SIGKILL is not a power cut: what survives that rests on the settings
asked for at every connection (`synchronous=FULL`; `fsync`, `full_page_writes`,
`synchronous_commit`).

| database | kills | before a first entry | acknowledged entries | lost | faults | minutes |
|---|---|---|---|---|---|---|
"""

RUSH = """
{examiners} examiners add {entries} entries each without a pause, half of them to one shared
examination; the time is that of `Store.append`, in milliseconds, in one program as the bedside
server runs it.

| database | entries | kept | median | p95 | longest | entries a second |
|---|---|---|---|---|---|---|
"""

CONTROL = """
So that the check is known to be able to fail: a careless program that acknowledges before it saves
lost {lost} entries in {kills} kills.
"""


def main() -> int:
    """Run all of it, write the figures, and return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=500, help="on each database")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", type=Path, default=PAGE)
    asked = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="decussate-soak-"))
    server = PostgresServer(None)
    try:
        version = server.version()
        text, sound = _measure(asked.kills, asked.seed, folder, server)
    finally:
        server.close()
        shutil.rmtree(folder)
    command = "tools/soak_crash.py" + "".join(
        f" --{name} {value}" for name, value in (("kills", asked.kills), ("seed", asked.seed))
    )
    head = HEAD.format(
        command=command, date=datetime.now(UTC).date(), cores=os.cpu_count(),
        load=os.getloadavg()[2], python=platform.python_version(),
        sqlite=sqlite3.sqlite_version, postgres=version, threads=crash.THREADS,
    )  # fmt: skip
    write_section(asked.write, head + text)
    print(head + text)
    return 0 if sound else 1


def _measure(kills: int, seed: int, folder: Path, server: PostgresServer) -> tuple[str, bool]:
    """Return the rows of the tables, and whether all is as it must be."""
    rows, sound = "", True
    start = time.monotonic()
    key = Key(os.urandom(32), stretched=False)
    for name in ("SQLite", ENCRYPTED, "PostgreSQL"):
        chance = random.Random(seed)  # noqa: S311
        if name != "PostgreSQL":
            (folder / name).mkdir()
            with unlocking(key if name == ENCRYPTED else None):
                tally = crash.crash_sqlite(folder / name, kills, chance)
        else:
            tally = crash.crash_postgres(server, kills, chance)
        shown = ", ".join(f"{count} {victim}" for victim, count in tally.kills.items())
        spent = (time.monotonic() - start) / 60
        start = time.monotonic()
        rows += (
            f"| {name} | {sum(tally.kills.values())} ({shown}) | {tally.before_first} "
            f"| {tally.acknowledged} | {len(tally.lost)} | {len(tally.faults)} | {spent:.1f} |\n"
        )
        for fault in (*tally.lost, *tally.faults):
            print(f"{name}: {fault}", file=sys.stderr)
        sound = sound and tally.sound()
    rows += RUSH.format(examiners=EXAMINERS, entries=ENTRIES)
    for name, database in (
        ("SQLite", folder / "rush.db"),
        (ENCRYPTED, folder / "encrypted.db"),
        ("PostgreSQL", server.new_database()),
    ):
        with unlocking(key if name == ENCRYPTED else None):
            store = Store(database)
        rush = crash.rush(lambda opened=store: opened, EXAMINERS, ENTRIES)  # type: ignore[misc]
        rows += (
            f"| {name} | {rush.entries} | {rush.kept} | {rush.median:.0f} | {rush.p95:.0f} "
            f"| {rush.longest:.0f} | {rush.entries / rush.seconds:.0f} |\n"
        )
        whole = rush.entries == rush.kept == EXAMINERS * ENTRIES and not rush.problems
        sound = sound and whole and rush.p95 < LIMIT_MS
    control = min(kills, 25)
    chance = random.Random(seed)  # noqa: S311
    (folder / "careless").mkdir()
    careless = crash.crash_sqlite(folder / "careless", control, chance, careless=True)
    rows += CONTROL.format(lost=len(set(careless.lost)), kills=control)
    return rows, sound and bool(careless.lost)


if __name__ == "__main__":
    sys.exit(main())
