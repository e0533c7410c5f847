"""Say what a change of the medical data does to the reference cases, before a second one signs.

    .venv/bin/python tools/data_change.py               the working copy against the last commit
    .venv/bin/python tools/data_change.py main~5        against an earlier commit

Every published and every invented case is answered with the data as they were and as they are. Each
whose leading place, side or alerts differ is printed, with what was stated as true where the case
says so. Exit code 1 when there is any: a second clinician reads the list, and the commit names who.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tarfile
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SOURCE = ROOT / "src"
FOLDERS = ("src/decussate", "tests/published/cases")
INVENTED = "src/decussate/records/data/demo"

Answers = dict[str, dict[str, str]]
"""Name of a case to its place (with the chance), alerts and accepted places, in words."""

ANSWER = """
import json, sys
from pathlib import Path
from decussate.errors import BadInput
from decussate.examination.record import read_examination
from decussate.localisation import localise
from decussate.urgency import evaluate

answers = {}
for name in json.load(sys.stdin):
    file = Path(name)
    try:
        case = read_examination(file.read_text(encoding="utf-8"))
        found = localise(case)
        first = found.candidates[0]
        alerts = [f"{one.rule}{''.join(' ' + side for side in one.sides)}"
                  for one in evaluate(case, found)]
        answers[file.stem] = {
            "place": first.name,
            "chance": f"{100 * first.probability:.0f} in 100",
            "alerts": "; ".join(sorted(alerts)) or "none",
            "true": ", ".join(case.truth.places) if case.truth else "",
        }
    except BadInput as problem:
        answers[file.stem] = {"place": f"not answered: {problem.sentence}"}
print(json.dumps(answers))
"""


def answers(source: Path, cases: Iterable[Path]) -> Answers:
    """Answer cases with the program and the data in a folder.

    Parameters
    ----------
    source : Path
        Folder that holds the package ``decussate``.
    cases : iterable of Path
        Examination documents.

    Returns
    -------
    dict
        Name of the case to its answer.
    """
    done = subprocess.run(
        [sys.executable, "-c", ANSWER],
        input=json.dumps([str(case) for case in cases]),
        env=os.environ | {"PYTHONPATH": str(source)},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    found: Answers = json.loads(done.stdout)
    return found


def differences(before: Answers, after: Answers) -> Iterator[str]:
    """Give a line for each case that is answered otherwise than before.

    Parameters
    ----------
    before, after : dict
        From `answers`.

    Yields
    ------
    str
    """
    for name in sorted(before.keys() | after.keys()):
        old, new = before.get(name, {}), after.get(name, {})
        changed = [
            f"{what}: {_said(old, what)} -> {_said(new, what)}"
            for what in ("place", "alerts")
            if old.get(what) != new.get(what)
        ]
        if changed:
            true = f" [true: {new['true']}]" if new.get("true") else ""
            yield f"{name}{true}\n    " + "\n    ".join(changed)


def _cases(root: Path) -> list[Path]:
    return sorted((*(root / FOLDERS[1]).glob("*.json"), *(root / INVENTED).glob("*.json")))


def _said(answer: dict[str, str], what: str) -> str:
    words = answer.get(what, "nothing")
    return f"{words} ({answer['chance']})" if what == "place" and "chance" in answer else words


def main() -> int:
    """Print what differs, and return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("revision", nargs="?", default="HEAD")
    asked = parser.parse_args()
    cases = _cases(ROOT)
    with tempfile.TemporaryDirectory() as folder:
        packed = Path(folder) / "before.tar"
        archive = ["git", "archive", "-o", str(packed), asked.revision, *FOLDERS]
        subprocess.run(archive, cwd=ROOT, check=True)
        with tarfile.open(packed) as tar:
            tar.extractall(folder, filter="data")
        # Each version answers the cases as they were encoded for its own catalogue.
        before = answers(Path(folder) / "src", _cases(Path(folder)))
    found = list(differences(before, answers(SOURCE, cases)))
    for line in found:
        print(line)
    print(f"{len(found)} of {len(cases)} reference cases are answered otherwise.")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
