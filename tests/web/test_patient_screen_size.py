"""What the patient's screen shows has its true size after calibration, measured by its picture.

Checked against: ISO/IEC 7810 ID-1 (a card is 85.60 mm by 53.98 mm); ISO 8596 (an optotype subtends
five minutes of arc times the angle of resolution, its stroke a fifth of that); Sloan LL, Habel A.
Am J Ophthalmol 1956;42:863-872 (1 M is 5 minutes of arc at 1 m; N8 taken as 1 M).
"""

import math
import re

import numpy as np
import pytest

from decussate.measures.near_acuity import M_UNIT_MM
from decussate.web.patient_shown import chart_rows
from patient_screen_pages import CARD_MM, calibrate, patients_page, picture, show, size_mm

pytestmark = pytest.mark.browser

UPRIGHT, LEVEL = set("DEFHKNPR"), set("EZ")
"""Letters with a stroke as long as they are tall, and with one as long as they are wide."""


@pytest.mark.parametrize("ratio", [1, 2])
def test_the_outline_has_the_shape_and_size_of_the_card(open_page, examination, ratio):
    page = patients_page(open_page, examination, device_scale_factor=ratio)
    page.locator("#open-controls").click()
    page.locator("#calibrate").click()
    slider = page.locator("#card-width")
    slider.fill("428")
    slider.press("ArrowRight")
    slider.press("ArrowLeft")
    assert page.locator("#card-says").inner_text() == "5.00 pixels per mm"
    box = page.locator("#card").bounding_box()
    dark = picture(page)
    top, left = (int(box[k] * ratio) for k in ("y", "x"))
    card = dark[top : top + int(box["height"] * ratio), left : left + int(box["width"] * ratio)]
    rows = np.flatnonzero(card[:, card.shape[1] // 2] > 0.3)
    columns = np.flatnonzero(card[card.shape[0] // 2] > 0.3)
    # From middle to middle of the outline, in mm of a screen of 5 pixels a mm.
    high, wide = (np.ptp(line) / (5 * ratio) for line in (rows, columns))
    assert wide == pytest.approx(CARD_MM[0], rel=0.01)
    assert high == pytest.approx(CARD_MM[1], rel=0.01)


@pytest.mark.parametrize(("ratio", "px_per_mm"), [(1, 5.0), (2, 5.0), (1, 3.7795), (2, 6.2)])
def test_letters_are_within_one_percent_of_their_true_size(
    open_page, client, examination, ratio, px_per_mm
):
    page = patients_page(open_page, examination, device_scale_factor=ratio)
    calibrate(page, px_per_mm)
    measured = 0
    for row in (5, 3, 0):
        fields = {"view": "chart", "distance_m": 3.0, "row": row}
        show(client, page, examination, fields, ".optotype")
        dark = picture(page)[: -70 * ratio]  # without the button in the corner
        symbols = next(r for r in chart_rows("ten letters", 1) if r["tenths"] == row)["symbols"]
        expected = size_mm(row / 10, 3.0)
        pitch = expected * px_per_mm * ratio * 2
        first = (dark.shape[1] - pitch * 4.5) / 2
        for n, symbol in enumerate(symbols):
            start = int(first + pitch * n - pitch / 4)
            letter = dark[:, start : start + int(pitch * 0.98)]
            for letters, axis in ((UPRIGHT, 0), (LEVEL, 1)):
                if symbol["name"] not in letters:
                    continue
                # Darkness adds up to the length of the stroke, even if it ends within a pixel.
                length_mm = letter.sum(axis=axis).max() / (px_per_mm * ratio)
                assert length_mm == pytest.approx(expected, rel=0.01), (row, symbol["name"])
                measured += 1
    assert measured >= 6


@pytest.mark.parametrize("ratio", [1, 2])
def test_rings_are_within_one_percent_of_their_true_size_and_gap(
    open_page, client, examination, ratio
):
    page = patients_page(open_page, examination, device_scale_factor=ratio)
    calibrate(page, 5.0)
    fields = {"view": "chart", "optotypes": "rings", "distance_m": 3.0, "row": 4}
    show(client, page, examination, fields, ".optotype")
    dark = picture(page)[: -70 * ratio]
    # ISO 8596: diameter 5, stroke 1, gap 1; the gap has parallel sides.
    ring = math.pi * (2.5**2 - 1.5**2)

    def half_width(radius):  # area of a strip of half width 0.5 within a circle, one side
        return 0.5 * math.sqrt(radius**2 - 0.25) + radius**2 * math.asin(0.5 / radius)

    units = ring - (half_width(2.5) - half_width(1.5))
    expected = size_mm(0.4, 3.0)
    height_mm = math.sqrt(dark.sum() / 5 / units) * 5 / (5.0 * ratio)
    assert height_mm == pytest.approx(expected, rel=0.01)


def test_browser_zoom_keeps_the_true_size_and_another_screen_asks_again(
    open_page, client, examination
):
    page = patients_page(open_page, examination)
    calibrate(page, 5.0)
    kept = page.evaluate("localStorage.getItem('patient-screen-calibration')")
    assert '"device_px_per_mm":5' in kept
    # Twice as many pixels of the screen to a CSS pixel, as after zooming in to 200 percent.
    zoomed = patients_page(open_page, examination, device_scale_factor=2)
    zoomed.evaluate("kept => localStorage.setItem('patient-screen-calibration', kept)", kept)
    assert zoomed.evaluate("calibration()") == pytest.approx(2.5)
    zoomed.evaluate(
        "kept => localStorage.setItem('patient-screen-calibration', kept.replace(/x\\d+/, 'x1'))",
        kept,
    )
    assert zoomed.evaluate("calibration()") is None


def test_small_print_is_as_tall_as_its_size_says(open_page, client, examination):
    page = patients_page(open_page, examination, size="tablet", device_scale_factor=2)
    calibrate(page, 6.0)
    show(client, page, examination, {"view": "near", "language": "ar"}, ".near-label")
    for n in (8, 18):
        # Rings stand in for small letters: their height is that of the letters.
        label = page.locator(".near-label", has_text=re.compile(f"^N{n}$")).bounding_box()
        middle = label["y"] + label["height"] / 2
        boxes = [one.bounding_box() for one in page.locator(".optotype").all()]
        ring = min(boxes, key=lambda box: abs(box["y"] + box["height"] / 2 - middle))
        assert ring["height"] / 6.0 == pytest.approx(n / 8 * M_UNIT_MM, rel=0.02)
    show(client, page, examination, {"view": "near", "language": "en"}, ".near-text")
    # An x of the typeface, measured by its own picture.
    page.evaluate(
        "document.querySelectorAll('.near-text').forEach((line, n) => {"
        " if (n) line.remove(); else line.textContent = 'xxxx' })"
    )
    page.evaluate("document.querySelectorAll('.near-label').forEach(one => one.remove())")
    dark = picture(page)[:-140]
    rows = np.flatnonzero(dark.max(axis=1) > 0.5)
    largest = 36 / 8 * M_UNIT_MM
    assert (np.ptp(rows) + 1) / (6.0 * 2) == pytest.approx(largest, rel=0.03)
