"""How long the server takes from an entry on the page to the changed parts of the page.

Usage: ``.venv/bin/python benchmarks/entry_to_page.py``. Target: 100 ms of server time.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from pathlib import Path
from uuid import uuid4

from fastapi.testclient import TestClient

from decussate.web import create_app

OWN_PAGE = {"sec-fetch-site": "same-origin", "hx-request": "true"}
ENTRIES = [
    (test, f"record {side} {response}")
    for test in ("light_direct", "pin_cheek", "gaze_out", "show_teeth", "palate_rise")
    for side in ("right", "left")
    for response in ("reduced", "normal")
]


def main() -> None:
    """Print the median and the slowest of twenty entries for each invented patient."""
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
            print(f"{median:6.0f} ms median {slowest:6.0f} ms slowest  {head.label}")


if __name__ == "__main__":
    main()
