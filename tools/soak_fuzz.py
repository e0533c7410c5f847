"""Throw hostile inputs at everything that reads what others wrote, and keep the figures.

    make soak                                             120,000 inputs in all
    .venv/bin/python tools/soak_fuzz.py --inputs 5000 --seed 7

Each target runs in a process of its own, so that its memory can be told. Writes its section of
docs/soak.md and ends with exit code 1 when an input was neither accepted nor refused in words, when
one took longer than the limit, or when memory grew beyond it.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import subprocess
import sys
import time
import traceback
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from hypothesis import HealthCheck, Phase, given, seed, settings  # noqa: E402
from soak_page import PAGE, write_section  # noqa: E402

from fuzz_targets import TARGETS, Target  # noqa: E402
from web.fuzz_web import WEB_TARGETS  # noqa: E402

SLOWEST_S, GROWTH_MB = 5.0, 300.0
"""Limits of one input's processor time, and of the growth of one target's memory (judgement)."""
ROUND = 2000
"""Inputs of one round; memory is looked at after the first, when everything is loaded."""

HEAD = """## Hostile inputs

Made by `{command}` on {date}.
{cores} cores, load average {load:.1f}, Python {python}.

Random text, valid inputs with one to five things broken in them, deep nesting, huge and impossible
numbers, control characters, very long lines. An input may be accepted, and is then carried on to
what follows from it, or refused with a sentence that says what was found and what was expected.
Anything else is a fault, as is a page that answers with a server error or shows the inside of the
program. Times are of the processor, for one input; memory is what the process grew by after the
first {round} inputs, the peak its whole size.

| target | inputs | accepted | refused | faults | median ms | longest s | grew by MB | peak MB |
|---|---|---|---|---|---|---|---|---|
"""

TOTAL = """| all | {inputs} | {accepted} | {refused} | {faults} | | {longest:.2f} | | |

Limits: {slowest:g} s for one input, {growth:g} MB of growth. Took {minutes:.0f} minutes.
"""


@dataclass(slots=True)
class Tally:
    """What became of the inputs of one target.

    Parameters
    ----------
    name : str
        The target.
    inputs, accepted, refused : int
        How many.
    faults : dict of str to str
        Where the program broke, to what it said and the input that did it.
    broken : int
        Inputs that did.
    median_ms, longest_s : float
        Processor time of one input.
    slowest : str
        The input that took longest.
    grew_mb, peak_mb : float
        Memory of the process.
    """

    name: str
    inputs: int = 0
    accepted: int = 0
    refused: int = 0
    faults: dict[str, str] = field(default_factory=dict)
    broken: int = 0
    median_ms: float = 0.0
    longest_s: float = 0.0
    slowest: str = ""
    grew_mb: float = 0.0
    peak_mb: float = 0.0

    def sound(self) -> bool:
        """Whether all was as it must be."""
        return not self.faults and self.longest_s < SLOWEST_S and self.grew_mb < GROWTH_MB


def main() -> int:
    """Run every target, write the figures, and return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--inputs", type=int, default=120_000, help="in all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--at-once", type=int, default=2, help="targets tried side by side")
    parser.add_argument("--only", help="one target, its tally printed as JSON")
    parser.add_argument("--write", type=Path, default=PAGE)
    asked = parser.parse_args()
    targets = (*TARGETS, *WEB_TARGETS)
    if asked.only:
        target = next(one for one in targets if one.name == asked.only)
        print(json.dumps(asdict(throw(target, asked.inputs, asked.seed))))
        return 0
    start = time.monotonic()
    whole = sum(target.share for target in targets)
    with ThreadPoolExecutor(asked.at_once) as side_by_side:
        tallies = list(
            side_by_side.map(
                lambda one: _in_process(one, round(asked.inputs * one.share / whole), asked.seed),
                targets,
            )
        )
    text = HEAD.format(
        command=f"tools/soak_fuzz.py --inputs {asked.inputs} --seed {asked.seed}",
        date=datetime.now(UTC).date(), cores=os.cpu_count(), load=os.getloadavg()[2],
        python=platform.python_version(), round=ROUND,
    )  # fmt: skip
    for tally in tallies:
        text += (
            f"| {tally.name} | {tally.inputs} | {tally.accepted} | {tally.refused} "
            f"| {tally.broken} | {tally.median_ms:.1f} | {tally.longest_s:.2f} "
            f"| {tally.grew_mb:.0f} | {tally.peak_mb:.0f} |\n"
        )
    text += TOTAL.format(
        inputs=sum(t.inputs for t in tallies), accepted=sum(t.accepted for t in tallies),
        refused=sum(t.refused for t in tallies), faults=sum(t.broken for t in tallies),
        longest=max(t.longest_s for t in tallies), slowest=SLOWEST_S, growth=GROWTH_MB,
        minutes=(time.monotonic() - start) / 60,
    )  # fmt: skip
    write_section(asked.write, text)
    print(text)
    return 0 if all(tally.sound() for tally in tallies) else 1


def _in_process(target: Target, inputs: int, number: int) -> Tally:
    words = ("--only", target.name, "--inputs", str(inputs), "--seed", str(number))
    done = subprocess.run([sys.executable, __file__, *words], stdout=subprocess.PIPE, check=True)
    tally = Tally(**json.loads(done.stdout.splitlines()[-1]))
    for place, what in tally.faults.items():
        print(f"{tally.name}: {place}: {what}", file=sys.stderr)
    if tally.longest_s >= SLOWEST_S:
        print(f"{tally.name}: {tally.longest_s:.1f} s for {tally.slowest}", file=sys.stderr)
    print(f"{tally.name}: {tally.inputs} inputs, {tally.broken} faults", file=sys.stderr)
    return tally


def throw(target: Target, inputs: int, number: int) -> Tally:
    """Give a target so many inputs.

    Parameters
    ----------
    target : Target
    inputs : int
    number : int
        Seed; the same one gives the same inputs.

    Returns
    -------
    Tally
    """
    tally = Tally(target.name)
    times: list[float] = []
    loaded_mb = 0.0
    for start in range(0, inputs, ROUND):
        count = min(ROUND, inputs - start)
        _round(target.inputs, lambda one: _try(target, one, tally, times), count, number + start)
        loaded_mb = loaded_mb or _peak_mb()
    tally.peak_mb = _peak_mb()
    tally.grew_mb = tally.peak_mb - loaded_mb
    tally.median_ms = 1000 * sorted(times)[len(times) // 2]
    return tally


def _round(
    inputs: Callable[[], Any], tried: Callable[[Any], None], count: int, number: int
) -> None:
    @seed(number)
    @settings(
        max_examples=count,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(inputs())
    def throw_one(hostile: Any) -> None:  # noqa: ANN401
        tried(hostile)

    throw_one()


def _try(target: Target, hostile: Any, tally: Tally, times: list[float]) -> None:  # noqa: ANN401
    began = time.process_time()
    try:
        accepted = target.read(hostile)
    except Exception as problem:
        frame = traceback.extract_tb(problem.__traceback__)[-1]
        place = f"{type(problem).__name__} at {Path(frame.filename).name}:{frame.lineno}"
        tally.faults.setdefault(place, f"{str(problem)[:200]!r} for {str(hostile)[:400]!r}")
        tally.broken += 1
    else:
        tally.accepted += accepted
        tally.refused += not accepted
    spent = time.process_time() - began
    tally.inputs += 1
    times.append(spent)
    if spent > tally.longest_s:
        tally.longest_s, tally.slowest = spent, f"{len(str(hostile))}: {str(hostile)[:200]!r}"


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    sys.exit(main())
