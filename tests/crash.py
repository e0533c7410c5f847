"""Killing what writes, and what keeps, at random moments; and many examiners writing at once.

A writer is forked from this program, opens the store and lets several threads add entries to one
examination. An entry is acknowledged on a pipe once `append` has returned. The writer, the database
server or both are ended by SIGKILL at a random moment, which may be while the store is first made.
Then the store is opened again and asked for everything that was acknowledged.
"""

import contextlib
import os
import random
import select
import signal
import statistics
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from uuid import UUID, uuid4

from decussate.examination.record import Finding
from decussate.records import Entry, NotSaved, Store
from postgres_server import PostgresServer

THREADS = 3
EXAMINATION = str(UUID(int=1))
PATIENT = str(UUID(int=2))
ENTRY = 16
"""Bytes of an acknowledgement: the identity of the entry. A pipe takes so few all or not at all."""


@dataclass
class Tally:
    """What was done and what was found."""

    kills: dict[str, int] = field(default_factory=dict)
    acknowledged: int = 0
    kept: int = 0
    before_first: int = 0
    lost: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    def sound(self) -> bool:
        """Whether nothing was lost and nothing is wrong."""
        return not self.lost and not self.faults


def _write(database: Path | str, pipe: int, careless: bool) -> None:
    """Add entries until killed; acknowledge each once it is saved, or carelessly before."""
    store = Store(database, by="a writer to be killed")
    if EXAMINATION not in {head.id for head in store.examinations()}:
        if not any(head.patient == PATIENT for head in store.examinations()):
            with contextlib.suppress(ValueError):  # a writer before added it and was killed
                store.add_patient("Bed 1, invented", invented=True, patient=PATIENT)
        store.begin(PATIENT, examination=EXAMINATION)

    def examine() -> None:
        while True:
            identity = uuid4()
            finding = Finding(test="weber", response="normal")
            if careless:
                os.write(pipe, identity.bytes)
            try:
                store.append(EXAMINATION, Entry(id=identity, findings=(finding,)))
            except NotSaved:
                return  # the server was killed
            if not careless:
                os.write(pipe, identity.bytes)

    threads = [threading.Thread(target=examine, daemon=True) for _ in range(THREADS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def _fork_writer(database: Path | str, careless: bool) -> tuple[int, int]:
    reading, writing = os.pipe()
    process = os.fork()
    if process == 0:
        os.close(reading)
        with contextlib.suppress(BaseException):
            _write(database, writing, careless)
        os._exit(0)
    os.close(writing)
    return process, reading


def kill_once(
    database: Path | str,
    acknowledged: set[UUID],
    tally: Tally,
    chance: random.Random,
    *,
    fresh: bool,
    server: PostgresServer | None = None,
    victim: str = "client",
    careless: bool = False,
) -> None:
    """Let a writer write, kill at a random moment, and check what is left.

    `acknowledged` holds what was said to be saved in this database so far, and grows. A careless
    writer says so too early: with it, this check must find entries lost.
    """
    process, pipe = _fork_writer(database, careless)
    if fresh:
        time.sleep(chance.uniform(0, 0.6))  # from before the file is there until it is written to
    else:
        select.select([pipe], [], [], 20)  # the first acknowledgement
        time.sleep(chance.uniform(0, 0.06))
    if victim in ("server", "both"):
        assert server is not None
        server.kill()
    if victim in ("client", "both"):
        os.kill(process, signal.SIGKILL)
    said = b""
    while block := os.read(pipe, 1 << 16):
        said += block
    os.close(pipe)
    os.waitpid(process, 0)
    if victim in ("server", "both"):
        assert server is not None
        server.start()
    new = {UUID(bytes=said[at : at + ENTRY]) for at in range(0, len(said) - ENTRY + 1, ENTRY)}
    tally.kills[victim] = tally.kills.get(victim, 0) + 1
    tally.acknowledged += len(new)
    tally.before_first += not new
    _check(database, acknowledged, new, tally)


def _check(database: Path | str, acknowledged: set[UUID], new: set[UUID], tally: Tally) -> None:
    store = Store(database)
    there = {head.id for head in store.examinations()}
    history = store.history(EXAMINATION) if EXAMINATION in there else ()
    kept = [stored.entry.id for stored in history]
    lost = (acknowledged | new) - set(kept)
    tally.lost += map(str, lost)
    extra = len(set(kept) - acknowledged - new)
    if extra > THREADS:  # each thread may have one saved and not yet said
        tally.faults.append(f"{extra} entries that nobody was told of")
    if len(kept) != len(set(kept)):
        tally.faults.append("an entry twice")
    tally.faults += store.verify().problems
    if history:
        store.examination(EXAMINATION)  # the present state can be derived
    store.close()
    tally.kept += len(set(kept) - acknowledged)
    acknowledged |= set(kept)


def crash_sqlite(
    folder: Path, kills: int, chance: random.Random, each: int = 25, *, careless: bool = False
) -> Tally:
    """Kill writers of SQLite files, a new file after every `each` kills."""
    tally = Tally()
    acknowledged: set[UUID] = set()
    for number in range(kills):
        file = folder / f"records-{number // each}.db"
        if number % each == 0:
            acknowledged = set()
        kill_once(file, acknowledged, tally, chance, fresh=number % each < 2, careless=careless)
    return tally


def crash_postgres(
    server: PostgresServer, kills: int, chance: random.Random, each: int = 25
) -> Tally:
    """Kill writers, the server, and both at once, in turn; new tables after every `each` kills."""
    tally = Tally()
    acknowledged: set[UUID] = set()
    address = ""
    for number in range(kills):
        if number % each == 0:
            address = server.new_database()
            acknowledged = set()
        victim = ("client", "server", "both")[number % 3]
        kill_once(
            address, acknowledged, tally, chance,
            fresh=number % each < 2, server=server, victim=victim,
        )  # fmt: skip
    return tally


@dataclass(frozen=True)
class Rush:
    """Many examiners at once: how long an entry took, in milliseconds, and what was kept."""

    entries: int
    kept: int
    median: float
    p95: float
    longest: float
    seconds: float
    problems: tuple[str, ...]


def rush(open_store: Callable[[], Store], examiners: int, entries: int) -> Rush:
    """Let examiners add entries as fast as they can, half of them in one shared examination."""
    store = open_store()
    patient = store.add_patient("Bed 1, invented", invented=True)
    shared = store.begin(patient)
    own = [store.begin(patient) for _ in range(examiners)]
    took: list[float] = []
    sent: dict[str, list[UUID]] = {examination: [] for examination in (shared, *own)}
    ready = threading.Barrier(examiners + 1)

    def examine(number: int) -> None:
        examination = shared if number % 2 else own[number]
        ready.wait()
        for _ in range(entries):
            identity = uuid4()
            finding = Finding(test="weber", response="normal")
            start = time.perf_counter()
            store.append(examination, Entry(id=identity, findings=(finding,)))
            took.append((time.perf_counter() - start) * 1000)
            sent[examination].append(identity)

    threads = [threading.Thread(target=examine, args=(n,)) for n in range(examiners)]
    for thread in threads:
        thread.start()
    ready.wait()
    start = time.perf_counter()
    for thread in threads:
        thread.join()
    seconds = time.perf_counter() - start
    kept = sum(
        len(set(identities) & {stored.entry.id for stored in store.history(examination)})
        for examination, identities in sent.items()
    )
    problems = store.verify().problems
    store.close()
    p95 = statistics.quantiles(took, n=20)[-1]
    return Rush(len(took), kept, statistics.median(took), p95, max(took), seconds, problems)
