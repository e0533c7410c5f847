"""Scoring a cohort chunk by chunk, on one core or several, to be resumed where it stopped."""

from __future__ import annotations

import json
import multiprocessing
import os
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from decussate.cohort.scoring import Scorer
from decussate.cohort.source import Entry, chunks, fingerprint
from decussate.errors import BadInput
from decussate.examination.record import Examination

__all__ = ["Plan", "Progress", "run"]

PLAN = "plan.json"
AHEAD = 2
"""Chunks waiting for each worker, so that none is idle and memory stays bounded."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What decides the result files; a folder holds the results of one plan only.

    Attributes
    ----------
    cohort : str
        Digest of the examinations.
    model : str
        Digest of the model and the tests.
    chunk : int
        Examinations in a result file.
    top : int
        Places listed for each.
    """

    cohort: str
    model: str
    chunk: int
    top: int


@dataclass(frozen=True, slots=True)
class Progress:
    """A chunk that is finished.

    Attributes
    ----------
    file : Path
        Its result file.
    done : int
        Examinations in it.
    problems : int
        Of these, how many could not be read.
    resumed : bool
        Whether it was there already.
    """

    file: Path
    done: int
    problems: int
    resumed: bool


def run(
    source: Path, folder: Path, *, chunk: int = 500, top: int = 5, workers: int = 1
) -> Iterator[Progress]:
    """Score a cohort into result files, one a chunk, in order.

    Each line of a result file is a JSON object: where the examination came from, its id, the
    leading places with their probabilities, and the probability of each side; or the problem
    that kept it from being read. The files are the same for any number of workers. A chunk's file
    appears when it is whole; those already there are not done again.

    Parameters
    ----------
    source : Path
        A folder of examinations, or a file with one a line.
    folder : Path
        For the results; made if it is not there.
    chunk : int, default 500
        Examinations in a result file.
    top : int, default 5
        Places listed for each examination.
    workers : int, default 1
        Processes.

    Yields
    ------
    Progress
        For each chunk in turn.

    Raises
    ------
    BadInput
        If the source cannot be read, or the folder holds results of another cohort, model or
        settings.
    """
    scorer = Scorer()
    plan = Plan(fingerprint(source), scorer.digest, chunk, top)
    _begin(folder, plan)
    wanted = (
        (folder / f"results-{number:06d}.ndjson", entries)
        for number, entries in enumerate(chunks(source, chunk))
    )
    if workers == 1:
        for file, entries in wanted:
            if file.exists():
                yield _counted(file)
            else:
                yield _write(file, *results(scorer, entries, top))
        return
    # Spawned, not forked: the numerical libraries of a forked process may wait for lost threads.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context, initializer=_prepare) as pool:
        waiting: deque[tuple[Path, Future[tuple[str, int, int]] | None]] = deque()
        for file, entries in wanted:
            waiting.append((file, None if file.exists() else pool.submit(_in_worker, entries, top)))
            while len(waiting) > AHEAD * workers:
                yield _finished(*waiting.popleft())
        while waiting:
            yield _finished(*waiting.popleft())


def results(scorer: Scorer, entries: list[Entry], top: int) -> tuple[str, int, int]:
    """Score a chunk.

    Parameters
    ----------
    scorer : Scorer
    entries : list of Entry
    top : int
        Places listed for each examination.

    Returns
    -------
    str
        The lines of the result file.
    int
        How many examinations.
    int
        How many of them could not be read.
    """
    read: list[Examination | None] = []
    rows: list[dict[str, Any]] = []
    for entry in entries:
        try:
            examination = entry.read()
            read.append(examination)
            rows.append({"source": entry.name, "id": examination.id})
            if examination.unread:
                rows[-1]["passages_not_understood"] = len(examination.unread)
        except BadInput as problem:
            read.append(None)
            rows.append({"source": entry.name, "problem": problem.sentence})
    readable = [examination for examination in read if examination is not None]
    scored = (row for row in rows if "problem" not in row)
    for row, said in zip(scored, _leading(scorer, readable, top), strict=True):
        row.update(said)
    lines = "".join(json.dumps(row, ensure_ascii=False) + "\n" for row in rows)
    return lines, len(rows), len(rows) - len(readable)


def _leading(scorer: Scorer, examinations: list[Examination], top: int) -> Iterator[dict[str, Any]]:
    probability = scorer.score(examinations)
    sites = scorer.model.lesions.sites
    sides = [site.side.value if site.side else "midline" for site in sites]
    named = [
        {"place": site.place, "side": site.side.value if site.side else None} for site in sites
    ]
    by_side = {
        side: probability[:, [k for k, other in enumerate(sides) if other == side]].sum(axis=1)
        for side in ("right", "left", "midline")
    }
    order = _highest(probability, top)
    for row, best in enumerate(order):
        yield {
            "candidates": [
                {**named[site], "probability": float(probability[row, site])} for site in best
            ],
            "side_probability": {side: float(share[row]) for side, share in by_side.items()},
        }


def _highest(probability: NDArray[np.float64], top: int) -> NDArray[np.intp]:
    """Return the columns of the highest entries of each row, highest first."""
    top = min(top, probability.shape[1])
    leading = np.sort(np.argpartition(-probability, top - 1, axis=1)[:, :top], axis=1)
    their = np.take_along_axis(probability, leading, axis=1)
    return np.take_along_axis(leading, np.argsort(-their, axis=1, kind="stable"), axis=1)


_scorer: Scorer | None = None
"""Of a worker process, made once."""


def _prepare() -> None:
    global _scorer
    _scorer = Scorer()


def _in_worker(entries: list[Entry], top: int) -> tuple[str, int, int]:
    if _scorer is None:
        raise RuntimeError("the worker was not prepared")
    return results(_scorer, entries, top)


def _finished(file: Path, result: Future[tuple[str, int, int]] | None) -> Progress:
    return _counted(file) if result is None else _write(file, *result.result())


def _write(file: Path, lines: str, done: int, problems: int) -> Progress:
    _replace(file, lines)
    return Progress(file, done, problems, resumed=False)


def _counted(file: Path) -> Progress:
    rows = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    problems = sum("problem" in row for row in rows)
    return Progress(file, len(rows), problems, resumed=True)


def _begin(folder: Path, plan: Plan) -> None:
    """Write the plan into a new folder, or make sure that it is the folder's own."""
    text = json.dumps(asdict(plan), indent=2) + "\n"
    file = folder / PLAN
    try:
        folder.mkdir(parents=True, exist_ok=True)
        before = file.read_text(encoding="utf-8") if file.exists() else None
        if before is None and any(folder.iterdir()):
            raise BadInput("result folder", str(folder), "an empty folder, or one of this command")
        if before is None:
            _replace(file, text)
    except OSError as error:
        raise BadInput(
            "result folder", str(folder), "a folder that can be written", hint=f"{error.strerror}."
        ) from error
    if before is not None and before != text:
        raise BadInput(
            "result folder",
            str(folder),
            "results of the same examinations, model and settings",
            hint="Something has changed since it was begun: give a new folder.",
        )


def _replace(file: Path, text: str) -> None:
    """Write a file whole or not at all, and onto the disk before it gets its name."""
    part = file.with_suffix(".part")
    with part.open("w", encoding="utf-8") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    part.replace(file)
