"""A field drawn by drag, by taps or as a table is one record, and comes back as it was drawn."""

import re
from html import unescape
from uuid import uuid4

import pytest
from hands import until

from decussate.examination.record import Finding
from decussate.measures.as_findings.drawn_field import (
    TECHNIQUES,
    drawn_field_findings,
    drawn_field_in,
)
from decussate.measures.visual_field import FieldPosition
from decussate.measures.visual_field_drawn import full_drawn_field
from decussate.sides import Side
from decussate.web.field_outline_chart import field_charts

# A right homonymous hemianopia as a hand draws it, in degrees as the patient sees them.
RIGHT_HALF = [
    (-2, 66),
    (40, 66),
    (90, 30),
    (98, 0),
    (90, -40),
    (40, -80),
    (2, -84),
    (-3, -30),
    (3, 3),
]
SPOT = [(10, 6), (10, -8), (-8, -7), (-9, 6)]


def sent(points):
    return ";".join(f"{x},{y}" for x, y in points)


def by_hand(points, step=4):
    """The same line with points between, as a finger leaves them."""
    ring = zip(points, (*points[1:], points[0]), strict=True)
    return [
        (a + (c - a) * k / step, b + (d - b) * k / step)
        for (a, b), (c, d) in ring
        for k in range(step)
    ]


@pytest.fixture
def record(app, examination):
    def read() -> dict[tuple[str, Side | None], Finding]:
        found = app.state.store.examination(examination).present()
        return {(one.test, one.side): one for one in found}

    return read


def responses(record, eye):
    return {test: one.response for (test, side), one in record().items() if side is eye}


QUADRANTS = [
    f"peripheral_{height}_{half}" for height in ("upper", "lower") for half in ("temporal", "nasal")
]


def test_a_line_round_the_right_half_is_a_right_hemianopia_of_that_eye(enter, record):
    for eye in ("left", "right"):
        answer = enter("field-outline", eye=eye, drawn="lost", line=sent(by_hand(RIGHT_HALF)))
        assert answer.status_code == 200, answer.text
        assert 'hx-target="#field-outlines"' in answer.text
        assert 'hx-target="#pictures-fields"' in answer.text
    # The right half of space is the temporal field of the right eye, the nasal one of the left.
    for eye, lost, kept in ((Side.RIGHT, "temporal", "nasal"), (Side.LEFT, "nasal", "temporal")):
        assert responses(record, eye) == {
            **{f"peripheral_{height}_{lost}": "absent" for height in ("upper", "lower")},
            **{f"peripheral_{height}_{kept}": "normal" for height in ("upper", "lower")},
        }
    # What is recorded is what the measure gives.
    line = [FieldPosition.from_chart(x, y) for x, y in by_hand(RIGHT_HALF)]
    expected = drawn_field_findings(full_drawn_field(Side.LEFT).without(line), TECHNIQUES[0])
    found = record()
    for one in expected:
        stored = found[one.test, Side.LEFT]
        assert (stored.response, stored.measurement, stored.comment, stored.technique) == (
            one.response,
            one.measurement,
            one.comment,
            one.technique,
        )


def test_it_is_shown_again_as_drawn_and_says_whose_eye_it_is(client, enter, record, examination):
    enter("field-outline", eye="right", drawn="lost", line=sent(by_hand(RIGHT_HALF)))
    enter("field-outline", eye="right", drawn="lost", line=sent(by_hand(SPOT)))
    page = unescape(client.get(f"/examinations/{examination}").text)
    left, right = field_charts(record())
    assert (left.seen, left.said) == ("", "not drawn")
    assert right.seen in page
    assert all(path in page for path in right.lost)
    assert len(right.lost) == 1
    assert "Patient’s right eye:</b> looks like" in page
    assert "as the patient sees: the patient’s right is on the right" in page
    assert page.index('id="field-left"') < page.index('id="field-right"')
    # Half of the chart's outline lies at fixation: nothing is seen to the right of it.
    xs = [float(x) for x in re.findall(r"[ML](-?\d+\.\d) ", right.seen)]
    assert max(xs) == right.x
    assert min(xs) < right.x - 40 * right.unit


def test_the_table_gives_the_same_record_as_the_line(enter, record):
    enter("field-outline", eye="left", drawn="lost", line=sent(by_hand(RIGHT_HALF)))
    by_line = responses(record, Side.LEFT)
    rows = {row.meridian: row.value for row in field_charts(record())[0].rows}
    assert rows[90] == "45/0"
    assert rows[270] == "0/65"
    enter("field-outline", eye="left", drawn="none")
    assert responses(record, Side.LEFT) == {}
    typed = {f"at {meridian}": value for meridian, value in rows.items()}
    assert enter("field-outline", eye="left", drawn="extents", **typed).status_code == 200
    assert responses(record, Side.LEFT) == by_line
    assert {row.meridian: row.value for row in field_charts(record())[0].rows} == rows


def test_rows_between_the_principal_meridians_may_be_left_empty(enter, record):
    normal = {f"at {row.meridian}": row.normal for row in field_charts({})[1].rows if row.principal}
    assert len(normal) == 8
    answer = enter("field-outline", eye="right", drawn="extents", technique="red pin", **normal)
    assert answer.status_code == 200
    assert set(responses(record, Side.RIGHT).values()) == {"normal"}
    assert record()["red_pin_centre", Side.RIGHT].technique == "red pin"
    spot = {"spot temporal": "0", "spot up": "0", "spot wide": "14", "spot high": "12"}
    enter("field-outline", eye="right", drawn="extents", technique="red pin", **normal, **spot)
    assert responses(record, Side.RIGHT)["red_pin_centre"] == "present"


def test_what_only_the_drawing_showed_goes_with_it(enter, record):
    enter("field-outline", eye="right", drawn="lost", line=sent(by_hand(SPOT)))
    assert responses(record, Side.RIGHT)["red_pin_centre"] == "present"
    enter("field-outline", eye="right", drawn="full")
    assert "red_pin_centre" not in responses(record, Side.RIGHT)
    # A centre that was tested on its own stays.
    enter("findings", test="red_pin_centre", choice="record right present")
    enter("field-outline", eye="right", drawn="none")
    assert responses(record, Side.RIGHT) == {"red_pin_centre": "present"}
    assert enter("field-outline", eye="right", drawn="none").status_code == 422


def test_undo_takes_back_one_line(app, enter, record, examination):
    enter("field-outline", eye="right", drawn="lost", line=sent(by_hand(RIGHT_HALF)))
    once = responses(record, Side.RIGHT)
    enter(
        "field-outline",
        eye="right",
        drawn="lost",
        line=sent(by_hand([(-60, 4), (-60, 50), (-4, 50), (-4, 4)])),
    )
    assert responses(record, Side.RIGHT) != once
    last = app.state.store.history(examination)[-1].entry.id
    answer = enter("undo", undoes=str(last))
    assert 'hx-target="#field-outlines"' in answer.text
    assert responses(record, Side.RIGHT) == once


def test_the_same_line_sent_twice_is_drawn_once(app, enter, record, examination):
    token = str(uuid4())
    for _ in range(2):
        answer = enter(
            "field-outline", token=token, eye="right", drawn="lost", line=sent(by_hand(SPOT))
        )
        assert answer.status_code == 200
    assert len(app.state.store.history(examination)) == 1
    drawn, _ = drawn_field_in(record(), Side.RIGHT)
    assert len(drawn.areas) == 1


def test_a_quadrant_recorded_by_its_buttons_ends_the_drawing(enter, record):
    enter("field-outline", eye="right", drawn="full")
    assert field_charts(record())[1].seen
    enter("findings", test="peripheral_upper_nasal", choice="record right absent")
    assert not field_charts(record())[1].seen


def test_lines_that_say_nothing_are_refused_in_words(enter, record):
    for form in (
        {"eye": "right", "drawn": "lost", "line": ""},
        {"eye": "right", "drawn": "lost", "line": "1,2;3,4"},
        {"eye": "right", "drawn": "lost", "line": "1,2;x,4;5,6"},
        {"eye": "right", "drawn": "lost", "line": "nan,2;inf,4;5,6"},
        {"eye": "right", "drawn": "lost", "line": "1,2,3;3,4,5;9,9,9"},
        {"eye": "right", "drawn": "lost", "line": ";".join(["1,2"] * 3000)},
        {"eye": "both", "drawn": "full"},
        {"eye": "right", "drawn": "sideways"},
        {"eye": "right", "drawn": "full", "technique": "guess"},
        {"eye": "right", "drawn": "extents", "at 0": "85"},
        {"eye": "right", "drawn": "extents"} | {f"at {m}": "400" for m in range(0, 360, 45)},
    ):
        answer = enter("field-outline", **form)
        assert answer.status_code == 422, form
        assert "expected" in answer.text.lower() or "Expected" in answer.text
    assert record() == {}


def place(page, eye, points):
    """Give points in degrees as places on the screen."""
    svg = page.locator(f"#field-{eye} svg")
    svg.scroll_into_view_if_needed()
    chart = svg.evaluate(
        "s => { const m = s.getScreenCTM(); return [m.a, m.d, m.e, m.f, +s.dataset.x, +s.dataset.y,"
        " +s.dataset.unit]; }"
    )
    a, d, e, f, x, y, unit = chart
    return [(a * (x + px * unit) + e, d * (y - py * unit) + f) for px, py in points]


def drag(page, eye, points):
    first, *rest = place(page, eye, points)
    page.mouse.move(*first)
    page.mouse.down()
    for one in rest:
        page.mouse.move(*one, steps=5)
    page.mouse.up()


def open_charts(page):
    page.locator("#group-fields > details > summary").click()
    page.locator("#picture-field-outline > summary").click()


@pytest.mark.browser
def test_a_drag_draws_the_half_field_and_a_reload_shows_it(open_page, examination, record):
    page = open_page(f"/examinations/{examination}", size="laptop", scheme="dark")
    open_charts(page)
    drag(page, "right", RIGHT_HALF)  # nothing is chosen to draw: the chart only scrolls
    page.wait_for_timeout(200)
    assert record() == {}
    page.locator("input[name=field-way][value=lost]").check()
    drag(page, "right", RIGHT_HALF)
    until(page, "document.querySelector('#field-right .seen') !== null")
    assert responses(record, Side.RIGHT) == {
        "peripheral_upper_temporal": "absent",
        "peripheral_lower_temporal": "absent",
        "peripheral_upper_nasal": "normal",
        "peripheral_lower_nasal": "normal",
    }
    assert page.locator("input[name=field-way][value=lost]").is_checked()
    assert page.locator("#field-right .line > *").count() == 0
    drawn = page.locator("#field-right .seen").get_attribute("d")
    page.reload()
    assert page.locator("#field-right .seen").get_attribute("d") == drawn
    page.locator(".dock form button").click()
    until(page, "document.querySelector('#field-right .seen') === null")
    assert record() == {}


@pytest.mark.browser
def test_taps_set_the_corners_of_a_line(open_page, examination, record):
    """No dragging is needed: WCAG 2.2, success criterion 2.5.7."""
    page = open_page(f"/examinations/{examination}", size="phone")
    open_charts(page)
    page.locator("input[name=field-way][value=lost]").check()
    for corner in [(-2, 60), (60, 60), (95, 3), (-2, 2)]:
        ((x, y),) = place(page, "right", [corner])
        page.touchscreen.tap(x, y)
    page.locator("#field-right .close-line").click()
    until(page, "document.querySelector('#field-right .seen') !== null")
    assert responses(record, Side.RIGHT)["peripheral_upper_temporal"] == "absent"
    assert list(responses(record, Side.RIGHT).values()).count("normal") == 3


@pytest.mark.browser
def test_the_table_is_filled_by_keyboard(open_page, examination, record):
    page = open_page(f"/examinations/{examination}")
    open_charts(page)
    summary = page.locator("#field-table-left > summary")
    summary.focus()
    page.keyboard.press("Enter")
    for meridian in range(0, 360, 45):
        page.locator(f"#field-left input[name='at {meridian}']").focus()
        page.keyboard.type("10")
    page.locator("#field-left .action").focus()
    page.keyboard.press("Enter")
    until(page, "document.querySelector('#field-left .seen') !== null")
    assert set(responses(record, Side.LEFT).values()) == {"absent"}
    assert "looks like" in page.locator("#field-left .said").inner_text()


@pytest.mark.browser
def test_a_line_drawn_without_a_server_waits_and_is_sent(open_page, examination, record):
    page = open_page(f"/examinations/{examination}")
    open_charts(page)
    page.locator("input[name=field-way][value=lost]").check()
    page.route("**/field-outline", lambda route: route.abort())
    drag(page, "left", RIGHT_HALF)
    page.locator("#waiting p").first.wait_for()
    assert "1 entry waits" in page.locator("#waiting").inner_text()
    assert page.locator("#field-left .line polygon").count() == 1  # the line stays in sight
    assert record() == {}
    open_page.trouble.clear()  # the browser complains of the request that was cut off
    page.unroute("**/field-outline")
    page.locator("#waiting button").first.click()
    until(page, "document.querySelector('#field-left .seen') !== null")
    assert responses(record, Side.LEFT)["peripheral_upper_nasal"] == "absent"
    assert len(responses(record, Side.LEFT)) == 4
    open_page.trouble.clear()
