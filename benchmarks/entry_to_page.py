"""How long the server takes from an entry on the page to the changed parts of the page.

Usage: ``.venv/bin/python benchmarks/entry_to_page.py``. Target: 100 ms of server time. Exit code 1
when the median of any invented patient is beyond it; run it before a release, on a quiet machine.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path
from uuid import uuid4

from fastapi.testclient import TestClient

from decussate.web import create_app

TARGET_MS = 100.0
OWN_PAGE = {"sec-fetch-site": "same-origin", "hx-request": "true"}
ENTRIES = [
    (test, f"record {side} {response}")
    for test in ("light_direct", "pin_cheek", "gaze_out", "show_teeth", "palate_rise")
    for side in ("right", "left")
    for response in ("reduced", "normal")
]


def main() -> int:
    """Print the median and the slowest of twenty entries for each invented patient."""
    within = True
    with tempfile.TemporaryDirectory() as folder:
        app = create_app(Path(folder) / "demo.db", demo=True)
        client = TestClient(app, base_url="http://127.0.0.1", headers=OWN_PAGE)
        client.post("/demonstration")  # the invented examiner is signed in
        for head in app.state.store.examinations():
            spent = []
            for test, choice in ENTRIES:
                form = {"entry": str(uuid4()), "test": test, "choice": choice}
                start = time.perf_counter()
                answer = client.post(f"/examinations/{head.id}/findings", data=form)
                spent.append(1000 * (time.perf_counter() - start))
                assert answer.status_code == 200
            median, slowest = statistics.median(spent), max(spent)
            within = within and median <= TARGET_MS
            print(f"{median:6.0f} ms median {slowest:6.0f} ms slowest  {head.label}")
    print(f"{'All within' if within else 'Not all within'} {TARGET_MS:.0f} ms.")
    return 0 if within else 1


if __name__ == "__main__":
    sys.exit(main())
