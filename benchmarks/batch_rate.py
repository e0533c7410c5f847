"""How many examinations a second are localised in a batch, on one core and on two.

Usage: ``.venv/bin/python benchmarks/batch_rate.py [--examinations 20000]``. Target: 20,000 a second
on two cores, under 500 MB.

The mix: the published cases of ``tests/published/cases`` and their mirror images, and as many
generated: a lesion drawn by incidence, 5 to 60 tests, responses by the accuracy of each test, and a
story. Rates are given for examinations already read and numbered (the posterior alone), and from
a file of JSON documents to files of results, every check and the start of the processes included.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

from decussate.anatomy.causes import COURSES, ONSETS
from decussate.cohort.scoring import BLOCK, Scorer
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import (
    ABNORMAL,
    Examination,
    Finding,
    Story,
    read_examination,
    write_examination,
)
from decussate.localisation import load_model
from decussate.localisation.observation import response_table
from decussate.sides import Side

CASES = Path(__file__).resolve().parents[1] / "tests" / "published" / "cases"


@dataclass(frozen=True)
class Rate:
    """Seconds of wall clock and of processor for some examinations, and the peak memory in MB."""

    count: int
    wall: float
    processor: float
    memory: float | None


def mix(count: int, seed: int = 1) -> list[Examination]:
    """The realistic mix: half published, half generated, in turn."""
    published = [read_examination(file) for file in sorted(CASES.glob("*.json"))]
    published += [case.mirrored() for case in published]
    chance = np.random.default_rng(seed)
    prior = np.array([load_model().atlas.places[s.place].prior for s in load_model().lesions.sites])
    by_column = prior[load_model().lesions.site_of] * load_model().lesions.weight
    columns = chance.choice(len(by_column), size=count // 2, p=by_column / by_column.sum())
    made = [generated(chance, int(column), number) for number, column in enumerate(columns)]
    return [
        published[k // 2 % len(published)] if k % 2 else made[k // 2 % len(made)]
        for k in range(count)
    ]


def generated(chance: np.random.Generator, column: int, number: int) -> Examination:
    """An examination of one lesion by a random choice of tests, with their errors."""
    model = load_model()
    tests = [test for test in load_catalogue() if test.sign and test.accuracy]
    findings = []
    for pick in chance.choice(len(tests), size=int(chance.integers(5, 61)), replace=False):
        test = tests[pick]
        for side in tuple(Side) if test.sides == "each" else (None,):
            table = model.signs[test.sign, side]
            states = table.probability[table.level_of[column]]
            responses = response_table(model.atlas.signs[test.sign], test)
            codes = [code for code in responses if code != ABNORMAL]
            odds = np.array([states @ responses[code] for code in codes])
            code = codes[int(chance.choice(len(codes), p=odds / odds.sum()))]
            findings.append(Finding(test=test.id, side=side, response=code))
    story = Story(
        age=float(chance.integers(1, 95)),
        sex=str(chance.choice(["female", "male"])),
        onset=str(chance.choice(ONSETS)) if chance.random() < 0.8 else None,
        course=str(chance.choice(COURSES)) if chance.random() < 0.4 else None,
        context=("hypertension",) if chance.random() < 0.3 else (),
    )
    return Examination(
        id=f"generated-{number}", invented=True, story=story, findings=tuple(findings)
    )


def _work(examinations: list[Examination], pipe: Connection) -> None:
    """Get ready, say so, wait for the start, work, and report."""
    scorer = Scorer()
    encoded = scorer.encoder.encode(examinations)
    scorer.score_encoded(encoded)
    pipe.send("ready")
    pipe.recv()
    wall, processor = timed(lambda: scorer.score_encoded(encoded))
    pipe.send((wall, processor))


def timed(work: Callable[[], None]) -> tuple[float, float]:
    """Wall-clock and processor seconds of a piece of work."""
    wall, processor = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - processor


def posterior_rate(examinations: list[Examination], workers: int) -> Rate:
    """Score numbered examinations in some processes at the same time, shared between them."""
    context = multiprocessing.get_context("spawn")
    pipes, processes = [], []
    for worker in range(workers):
        mine, theirs = context.Pipe()
        share = examinations[worker::workers]
        process = context.Process(target=_work, args=(share, theirs))
        process.start()
        pipes.append(mine)
        processes.append(process)
    for pipe in pipes:
        pipe.recv()
    for pipe in pipes:
        pipe.send("start")
    found = [pipe.recv() for pipe in pipes]
    for process in processes:
        process.join()
    return Rate(
        len(examinations),
        max(wall for wall, _ in found),
        sum(processor for _, processor in found),
        None,  # the examinations kept for the measurement would count
    )


REPEATED = 4
"""How often the file holds every examination, so that the start does not count for everything."""
WHOLE = """
import json, re, resource, sys, time
from pathlib import Path
from decussate.cohort import run
start = time.perf_counter()
for step in run(Path(sys.argv[1]), Path(sys.argv[2]), workers=int(sys.argv[3])):
    pass
wall = time.perf_counter() - start
own, others = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
processor = sum(use.ru_utime + use.ru_stime for use in (own, others))
workers = int(sys.argv[3]) if int(sys.argv[3]) > 1 else 0
# Not ru_maxrss: Linux lets a process begin with the peak of the one that started it.
peak = int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
print(json.dumps([wall, processor, (peak + workers * others.ru_maxrss) / 1024]))
"""


def whole_rate(examinations: list[Examination], workers: int) -> Rate:
    """What ``decussate cohort`` does, from a file to files, its start included."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "cohort.ndjson"
        lines = [json.dumps(json.loads(write_examination(one))) for one in examinations]
        file.write_text("\n".join(lines * REPEATED), encoding="utf-8")
        command = [sys.executable, "-c", WHOLE, str(file), f"{folder}/results", str(workers)]
        said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return Rate(REPEATED * len(examinations), *json.loads(said))


def copy_bandwidth() -> float:
    """Bytes a second that one core reads and writes when copying far more than its cache holds."""
    source = np.ones(25_000_000)
    target = np.empty_like(source)
    best = min(timed(lambda: np.copyto(target, source))[0] for _ in range(8))
    return 2 * source.nbytes / best


def traffic(scorer: Scorer) -> int:
    """Bytes of intermediate results that one examination reads and writes, pass by pass."""
    compact = scorer.compact
    features, groups = compact.groups.shape[1], compact.groups.shape[0]
    halves, rows = compact.halves.shape[0], compact.across.shape[0]
    passes = (
        2 * features  # written; read by the groups
        + 2 * groups  # written; read by the halves
        + 7 * halves  # written; maximum; shifted (2); exponential (2); read by the rows
        + 5 * rows  # written; first half gathered (2 with its copy); multiplied; summed
        + 4 * len(compact.model.lesions.sites)
    )
    return 8 * passes


def lines(count: int) -> list[str]:
    """The table of rates, ready to print."""
    examinations = mix(count)
    found = {}
    for task, measure in (("posterior", posterior_rate), ("file to results", whole_rate)):
        for workers in (1, 2):
            found[task, workers] = [measure(examinations, workers) for _ in range(3)]
    findings = sum(len(one.findings) for one in examinations) / len(examinations)
    bandwidth, bytes_each = copy_bandwidth(), traffic(Scorer())
    out = [
        f"{count} examinations, {findings:.0f} findings each on average, blocks of {BLOCK}",
        "",
        "| batch | processes | examinations a second: min | median | max "
        "| processor time each | at full use of the cores | peak memory |",
        "|---|---:|---:|---:|---:|---:|---:|---:|",
    ]
    for (task, workers), runs in found.items():
        rates = sorted(run.count / run.wall for run in runs)
        each = min(run.processor / run.count for run in runs)
        peak = max((run.memory for run in runs if run.memory), default=None)
        out.append(
            f"| {task} | {workers} | {rates[0]:,.0f} | {rates[1]:,.0f} | {rates[2]:,.0f} "
            f"| {1e6 * each:.0f} µs | {workers / each:,.0f} a second "
            f"| {f'{peak:.0f} MB' if peak else ''} |"
        )
    limit = bandwidth / bytes_each
    each = min(run.processor / run.count for run in found["posterior", 1])
    out += [
        "",
        f"Memory: the passes over intermediate results move {bytes_each / 1e6:.2f} MB an "
        f"examination; one core copies {bandwidth / 1e9:.0f} GB/s here, so if all of it went to "
        f"main memory the limit would be {limit:,.0f} a second a core. The batch reaches "
        f"{1 / each:,.0f} ({100 / each / limit:.0f} % of that limit); blocks of {BLOCK} keep most "
        f"of it in the caches.",
    ]
    return out


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--examinations", type=int, default=20_000)
    print("\n".join(lines(options.parse_args().examinations)))


if __name__ == "__main__":
    main()
