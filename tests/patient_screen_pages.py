"""What the tests of the patient's screen share: its pages, its state, and true sizes."""

import io
import math
import time

import numpy as np
from PIL import Image

CARD_MM = (85.60, 53.98)


def size_mm(logmar: float, metres: float) -> float:
    """The height of an optotype, from the definition of ISO 8596."""
    return 1000 * metres * 2 * math.tan(math.radians(5 / 60) * 10**logmar / 2)


def send(client, examination, where, fields):
    return client.post(f"/examinations/{examination}/screen/{where}", json=fields)


def state(client, examination) -> dict:
    return client.get(f"/examinations/{examination}/screen/state").json()


READ = {
    "optotypes": "ten letters",
    "chart_version": 1,
    "distance_m": 4.0,
    "rows": {"3": "11111", "2": "11011", "1": "00010"},
}


def until(truth, seconds: float = 8) -> None:
    deadline = time.monotonic() + seconds
    while not truth():
        assert time.monotonic() < deadline
        time.sleep(0.05)


def calibrate(page, px_per_mm: float) -> None:
    """Make the outline as large as a card is on a screen of this density."""
    page.locator("#open-controls").click()
    page.locator("#calibrate").click()
    # The nearest step of the slider; the test below measures what remains.
    wanted = round(CARD_MM[0] * px_per_mm * 2) / 2
    page.locator("#card-width").fill(f"{wanted:g}")
    page.locator("#keep-calibration").click()


def picture(page) -> np.ndarray:
    """A screenshot as darkness from 0 to 1."""
    grey = Image.open(io.BytesIO(page.screenshot())).convert("L")
    return 1.0 - np.asarray(grey, dtype=float) / 255.0


def patients_page(open_page, examination, **more):
    page = open_page(f"/examinations/{examination}/screen/patient", **more)
    page.locator(".sheet").wait_for()
    return page


def show(client, page, examination, fields, selector) -> None:
    assert send(client, examination, "state", fields).status_code == 200
    page.locator(selector).first.wait_for(state="attached")
    # Until the page has drawn this very state.
    version = state(client, examination)["version"]
    until(lambda: page.evaluate("link.state.version") >= version)
