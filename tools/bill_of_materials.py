"""Write docs/safety/bill_of_materials.json (CycloneDX) from the lock file of the program.

    python tools/bill_of_materials.py [--check]

Where a library is fetched from is each machine's own affair and is left out.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "safety" / "bill_of_materials.json"


def bill() -> str:
    """Return the bill of materials of requirements.lock."""
    command = [sys.executable, "-m", "cyclonedx_py", "requirements", "requirements.lock"]
    options = ["--output-reproducible", "--of", "JSON"]
    made = subprocess.run([*command, *options], cwd=ROOT, capture_output=True, check=True)
    document = json.loads(made.stdout)
    kept = {key: document[key] for key in ("bomFormat", "specVersion", "version")}
    fields = ("type", "name", "version", "purl")
    kept["components"] = [
        {key: one[key] for key in fields if key in one} for one in document["components"]
    ]
    return json.dumps(kept, indent=1) + "\n"


if __name__ == "__main__":
    if "--check" in sys.argv:
        sys.exit(bill() != PAGE.read_text(encoding="utf-8"))
    PAGE.write_text(bill(), encoding="utf-8")
