"""The same network and evidence in a general-purpose library of exact inference (pgmpy).

Run by ``benchmarks/localise.py --pgmpy PYTHON`` under an interpreter that has pgmpy; needs nothing
of this project. Reads the tables from a file of arrays, prints milliseconds as JSON.
"""

from __future__ import annotations

import json
import sys
import time

import numpy as np


def main() -> None:
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

    data = np.load(sys.argv[1])
    prior, seen, runs = data["prior"], data["seen"], int(data["runs"])
    net = DiscreteBayesianNetwork()
    net.add_node("lesion")
    net.add_cpds(TabularCPD("lesion", len(prior), prior[:, None]))
    for k in range(len(seen)):
        sign, response = data[f"sign{k}"], data[f"response{k}"]
        net.add_edge("lesion", f"sign{k}")
        net.add_edge(f"sign{k}", f"response{k}")
        net.add_cpds(
            TabularCPD(f"sign{k}", sign.shape[1], sign.T, ["lesion"], [len(prior)]),
            TabularCPD(
                f"response{k}", response.shape[1], response.T, [f"sign{k}"], [sign.shape[1]]
            ),
        )
    engine = VariableElimination(net)
    spent, processor = [], []
    for run in range(runs + 1):
        evidence = {f"response{k}": int(code) for k, code in enumerate(seen[: len(seen) - run % 2])}
        start, busy = time.perf_counter(), time.process_time()
        answer = engine.query(["lesion"], evidence, show_progress=False)
        processor.append(1000 * (time.process_time() - busy))
        spent.append(1000 * (time.perf_counter() - start))
    last = {f"response{k}": int(code) for k, code in enumerate(seen)}
    answer = engine.query(["lesion"], last, show_progress=False)
    said = {"milliseconds": spent[1:], "processor": processor[1:]}
    print(json.dumps({**said, "posterior": answer.values.tolist()}))


if __name__ == "__main__":
    main()
