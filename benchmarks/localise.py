"""How fast the localisation is, in one run, beside general-purpose exact inference libraries.

Usage: ``.venv/bin/python benchmarks/localise.py [--pgmpy PYTHON] [--write]``.

``--pgmpy`` names a Python interpreter that has pgmpy; without it that library is left out.
``--write`` writes ``docs/benchmarks.md``. Every figure is measured in this run: minimum, median
and maximum. A machine that does other work at the same time shows in the distance between them.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from uuid import uuid4

import numpy as np
import pyagrum as gum
from entry_to_page import ENTRIES, OWN_PAGE
from fastapi.testclient import TestClient

from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import ABNORMAL, Examination, Finding, read_examination
from decussate.localisation import load_model, localise, two_lesions
from decussate.localisation.cache import load_pairs
from decussate.localisation.localise import posterior_of
from decussate.localisation.next_test import next_tests
from decussate.localisation.observation import Observation, observations, response_table
from decussate.localisation.pair_posterior import LEFT_OUT, PairPosterior
from decussate.localisation.posterior import Posterior
from decussate.localisation.sensitivity import sensitivity
from decussate.sides import Side
from decussate.web import create_app

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "benchmarks.md"
CASE = ROOT / "tests" / "published" / "cases" / "A02.json"
COLD = "import sys; from decussate.cli import main; main()"
PAIRS_COLD = """
import sys
from pathlib import Path
from decussate.examination.record import read_examination
from decussate.localisation import two_lesions
print(two_lesions(read_examination(Path(sys.argv[1]))).text)
"""
FINDINGS = 20
"""Findings of the example: enough for a real examination, few enough for every library."""


def example() -> tuple[Observation, ...]:
    """One finding for each of twenty signs, drawn from a lateral medullary lesion."""
    model, chance = load_model(), np.random.default_rng(1)
    site = next(k for k, s in enumerate(model.lesions.sites) if s.place == "medulla_lateral")
    column = int(model.starts[site])
    found, signs = [], set()
    tests = [test for test in load_catalogue() if test.sign and test.accuracy]
    for pick in chance.permutation(len(tests)):
        test = tests[pick]
        side = Side.RIGHT if test.sides == "each" else None
        if test.sign in signs or len(found) == FINDINGS:
            continue
        signs.add(test.sign)
        table = model.signs[test.sign, side]
        states = table.probability[table.level_of[column]]
        responses = response_table(model.atlas.signs[test.sign], test)
        codes = [code for code in responses if code != ABNORMAL]
        odds = np.array([states @ responses[code] for code in codes])
        code = codes[int(chance.choice(len(codes), p=odds / odds.sum()))]
        found.append(Finding(test=test.id, side=side, response=code))
    return observations(found, load_catalogue(), model.atlas.signs)


@dataclass(frozen=True)
class Spent:
    """Milliseconds of some runs: by the clock, and of the processor (median, where it is known)."""

    clock: list[float]
    processor: float | None


def repeated(work: Callable[[int], object], runs: int) -> Spent:
    """Time the runs after one that does not count; the work is told which run it is."""
    work(0)
    clock, processor = [], []
    for run in range(1, runs + 1):
        start, busy = time.perf_counter(), time.process_time()
        work(run)
        processor.append(1000 * (time.process_time() - busy))
        clock.append(1000 * (time.perf_counter() - start))
    return Spent(clock, median(processor))


def tables(seen: tuple[Observation, ...]) -> dict[str, np.ndarray]:
    """The network of the example as plain tables: lesions, then each sign and its response."""
    model = load_model()
    prior = np.exp(Posterior(model, Examination(id="x").story).log_joint)
    arrays = {"prior": prior / prior.sum()}
    codes = []
    for k, one in enumerate(seen):
        table = model.signs[one.sign]
        test = load_catalogue().test(one.finding.test)
        responses = response_table(model.atlas.signs[one.sign[0]], test)
        names = [code for code in responses if code != ABNORMAL]
        states = table.probability[table.level_of]
        arrays[f"sign{k}"] = states / states.sum(axis=1, keepdims=True)
        arrays[f"response{k}"] = np.stack([responses[code] for code in names], axis=1)
        codes.append(names.index(one.finding.response))
    return {**arrays, "seen": np.array(codes)}


def updates(seen: tuple[Observation, ...], runs: int) -> tuple[Spent, np.ndarray]:
    """One finding entered or withdrawn, then the probability of every lesion."""
    posterior = Posterior(load_model(), Examination(id="x").story, seen)

    def work(run: int) -> None:
        (posterior.remove if run % 2 else posterior.add)(seen[-1])
        _ = posterior.lesions

    spent = repeated(work, runs)
    return spent, Posterior(load_model(), Examination(id="x").story, seen).lesions


PEERS = (gum.VariableElimination, gum.LazyPropagation, gum.ShaferShenoyInference)


def pyagrum_updates(
    arrays: dict[str, np.ndarray], runs: int
) -> tuple[dict[str, Spent], np.ndarray]:
    """The same with the exact engines of pyAgrum, the lesion as the only target.

    One thread: with two, every engine was slower on this network.
    """
    gum.setNumberOfThreads(1)
    net = gum.BayesNet()
    net.add(gum.LabelizedVariable("lesion", "", len(arrays["prior"])))
    net.cpt("lesion")[:] = arrays["prior"]
    for k in range(len(arrays["seen"])):
        sign, response = arrays[f"sign{k}"], arrays[f"response{k}"]
        net.add(gum.LabelizedVariable(f"sign{k}", "", sign.shape[1]))
        net.add(gum.LabelizedVariable(f"response{k}", "", response.shape[1]))
        net.addArc("lesion", f"sign{k}")
        net.addArc(f"sign{k}", f"response{k}")
        net.cpt(f"sign{k}")[:] = sign
        net.cpt(f"response{k}")[:] = response
    evidence = {f"response{k}": int(code) for k, code in enumerate(arrays["seen"])}
    last = f"response{len(evidence) - 1}"
    spent = {}
    for peer in PEERS:
        engine = peer(net)
        engine.setTargets({"lesion"})
        engine.setEvidence(evidence)

        def update(run: int, engine: gum.VariableElimination = engine) -> None:
            if run % 2:
                engine.eraseEvidence(last)
            elif run:
                engine.addEvidence(last, evidence[last])
            engine.makeInference()
            engine.posterior("lesion").toarray()

        spent[f"pyAgrum, {peer.__name__}"] = repeated(update, runs)
    engine.setEvidence(evidence)
    engine.makeInference()
    return spent, engine.posterior("lesion").toarray()


def pgmpy_updates(
    python: str, arrays: dict[str, np.ndarray], runs: int
) -> tuple[Spent, np.ndarray]:
    """The same with pgmpy, variable elimination, in its own interpreter."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "network.npz"
        np.savez(file, runs=runs, **arrays)
        command = [python, str(Path(__file__).with_name("library_peer.py")), str(file)]
        said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    answer = json.loads(said.splitlines()[-1])
    spent = Spent(answer["milliseconds"], median(answer["processor"]))
    return spent, np.array(answer["posterior"])


def pair_updates(seen: tuple[Observation, ...], runs: int) -> tuple[Spent, Spent]:
    """One finding entered or withdrawn, then every site's probability over all pairs."""
    posterior = Posterior(load_model(), Examination(id="x").story, seen)
    pairs = PairPosterior(load_pairs(), posterior)
    each = posterior.sign_likelihoods()
    signs = list(each)

    def work(run: int) -> None:
        sign = signs[run // 2 % len(signs)]
        pairs.set(sign, None if run % 2 == 0 else each[sign])
        pairs.site_probability()

    return repeated(work, runs), repeated(lambda run: pairs.best(3), runs // 2)


def cold_starts(arguments: list[str], runs: int) -> Spent:
    """A program in a fresh process each time, the compiled model and sums on disk."""

    def work(run: int) -> None:
        subprocess.run([sys.executable, "-c", *arguments], stdout=subprocess.DEVNULL, check=True)

    return Spent(repeated(work, runs).clock, None)


def entries_on_page() -> Spent:
    """An entry on the page: server time until the changed parts of the page are sent."""
    clock, processor = [], []
    with tempfile.TemporaryDirectory() as folder:
        app = create_app(Path(folder) / "demo.db", demo=True)
        client = TestClient(app, base_url="http://127.0.0.1", headers=OWN_PAGE)
        client.post("/demonstration")  # the invented examiner is signed in
        for head in app.state.store.examinations():
            for test, choice in ENTRIES:
                form = {"entry": str(uuid4()), "test": test, "choice": choice}
                start, busy = time.perf_counter(), time.process_time()
                answer = client.post(f"/examinations/{head.id}/findings", data=form)
                processor.append(1000 * (time.process_time() - busy))
                clock.append(1000 * (time.perf_counter() - start))
                assert answer.status_code == 200
    return Spent(clock[1:], median(processor[1:]))


def batch(examinations: int) -> str:
    """The table of ``batch_rate.py``, in a process of its own so that its memory is its own."""
    script = str(Path(__file__).with_name("batch_rate.py"))
    command = [sys.executable, script, "--examinations", str(examinations)]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


HEAD = (
    "| | runs | min ms | median ms | max ms | processor, median ms | target |\n"
    "|---|---:|---:|---:|---:|---:|---|"
)


def figure(milliseconds: float) -> str:
    """Enough digits to compare, no more."""
    return f"{milliseconds:.{3 if milliseconds < 1 else 1}f}"


def row(name: str, spent: Spent, target: str = "") -> str:
    low, middle, high = min(spent.clock), median(spent.clock), max(spent.clock)
    busy = figure(spent.processor) if spent.processor is not None else ""
    times = " | ".join(figure(one) for one in (low, middle, high))
    return f"| {name} | {len(spent.clock)} | {times} | {busy} | {target} |"


def report(pgmpy: str | None, examinations: int) -> str:
    """Measure everything and write it down."""
    seen = example()
    arrays = tables(seen)
    own, own_answer = updates(seen, 200)
    peers, theirs = pyagrum_updates(arrays, 20)
    assert np.abs(theirs - own_answer).max() < 1e-6, "the libraries must agree before they race"
    if pgmpy:
        peers["pgmpy, VariableElimination"], answer = pgmpy_updates(pgmpy, arrays, 6)
        assert np.abs(answer - own_answer).max() < 1e-6
    pairs, best = pair_updates(seen, 200)
    case = read_examination(CASE)
    posterior = posterior_of(case)
    ratios = [
        f"| {name} | {min(spent.clock) / min(own.clock):,.0f} "
        f"| {spent.processor / own.processor:,.0f} |"
        for name, spent in peers.items()
    ]
    network = [row("this project: finding to posterior", own, "100 times faster")]
    network += [row(name, spent) for name, spent in peers.items()]
    command = [COLD, "localise", str(CASE)]
    others = [
        row("finding to posterior, single lesions", own),
        row("finding to posterior, every pair of lesions", pairs, "5 ms median"),
        row("the three best pairs", best),
        row("two lesions or one, from the record of a case", repeated(
            lambda run: two_lesions(case), 20)),
        row("next test, all of the catalogue", repeated(
            lambda run: next_tests(posterior, case, load_catalogue()), 20)),
        row("the whole localisation of a case", repeated(lambda run: localise(case), 20)),
        row("bands (256 draws)", repeated(lambda run: sensitivity(case), 10), "500 ms"),
        row("entry on the page, server time", entries_on_page(), "100 ms"),
        row("`decussate localise`, cold", cold_starts(command, 7), "1,000 ms"),
        row("`decussate localise --band`, cold", cold_starts([*command, "--band"], 7), "1,000 ms"),
        row("two lesions or one, cold", cold_starts([PAIRS_COLD, str(CASE)], 7)),
    ]  # fmt: skip
    columns = load_model().lesions.columns
    command = "python benchmarks/localise.py --write" + (" --pgmpy PYTHON" if pgmpy else "")
    busy = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    left_out = "" if pgmpy else " pgmpy was not asked for in this run."
    return "\n".join([
        "# Benchmarks",
        "",
        f"Written by `{command}` on {datetime.now(UTC).date().isoformat()}. Machine: "
        f"{os.cpu_count()} cores of a virtual {platform.machine()} server shared with other work; "
        f"load average {busy:.1f} during the run (above {os.cpu_count()} means that processes "
        f"waited for each other, and times are too long). Python {platform.python_version()}, "
        f"numpy {np.__version__}, pyAgrum {gum.__version__}. Compare ratios; on a "
        "machine this busy the processor time is the better measure.",
        "",
        "## Against general-purpose exact inference",
        "",
        f"The same network and evidence: {columns:,} lesions, {len(seen)} signs with one response "
        "each; one finding is entered or withdrawn and the probability of every lesion is worked "
        "out. Only the signs with evidence are in the libraries' networks, and only the lesion is "
        f"a target, which favours them. All answers agreed to 1e-6.{left_out}",
        "",
        HEAD,
        *network,
        "",
        "| times slower than this project | shortest runs by the clock | processor time |",
        "|---|---:|---:|",
        *ratios,
        "",
        "## From a finding to the answer",
        "",
        f"{columns:,} single lesions, so {columns * (columns - 1) / 2e6:,.0f} million pairs of "
        f"lesions, all of them summed; the share left out is bounded by {LEFT_OUT:g}.",
        "",
        HEAD,
        *others,
        "",
        "## Many at once",
        "",
        "Target: 20,000 a second on two cores, under 500 MB. *Posterior*: from examinations "
        "already read and numbered to the probability of every site. *File to results*: from "
        "JSON documents through every check to files, the start included. *At full use of the "
        "cores* divides the processes by the processor time of an examination: what two "
        "undisturbed cores would do.",
        "",
        batch(examinations),
        "",
    ])  # fmt: skip


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--pgmpy", help="A Python interpreter that has pgmpy.")
    options.add_argument("--examinations", type=int, default=10_000, help="In the batch.")
    options.add_argument("--write", action="store_true", help="Write docs/benchmarks.md.")
    asked = options.parse_args()
    text = report(asked.pgmpy, asked.examinations)
    print(text)
    if asked.write:
        PAGE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
