"""A touch on a picture records just what the buttons of the test record, on the side it shows."""

import json
import re
from html import unescape
from uuid import uuid4

import pytest

from decussate.examination.catalogue import load_catalogue
from decussate.sides import Side
from decussate.web.picture_view import picture_view
from decussate.web.pictures import load_pictures, pictures_of
from decussate.web.settings import Settings

PICTURES = load_pictures()


def shapes(picture, settings=None):
    for panel in picture_view(picture, {}, settings or Settings()).panels:
        for shape in panel.shapes:
            yield panel.side, shape


def found(app, examination):
    return [
        (f.test, f.side, f.response, f.measurement)
        for f in app.state.store.examination(examination).present()
    ]


@pytest.mark.parametrize("picture", PICTURES, ids=lambda picture: picture.key)
def test_a_picture_and_the_buttons_of_its_tests_record_the_same(client, app, picture):
    def record(forms) -> list:
        identity = str(uuid4())
        form = {"examination": identity, "label": "Bed 4, invented", "invented": "yes"}
        client.post("/examinations", data=form)
        seen = []
        for form in forms:
            answer = client.post(
                f"/examinations/{identity}/findings",
                data={"entry": str(uuid4())} | form,
                follow_redirects=False,
            )
            assert answer.status_code == 303, answer.text
            seen.append(found(app, identity))
        return seen

    marks = [step[0] for _, shape in shapes(picture) for step in json.loads(shape.steps)]
    by_picture = record({"mark": mark} for mark in marks)
    by_buttons = []
    for mark in marks:
        test, verb, key, what = mark.split(" ")
        assert test in load_catalogue()
        form = {"test": test, "choice": f"{verb} {key} {what}".removesuffix(" -")}
        if verb == "measure":
            form = {"test": test, "choice": f"measure {key}", f"value {key}": what}
        by_buttons.append(form)
    assert by_picture == record(by_buttons)
    assert any(len(state) > 0 for state in by_picture)
    assert by_picture[-1] == []  # the last step of every shape is "not tested"


@pytest.mark.parametrize("picture", PICTURES, ids=lambda picture: picture.key)
@pytest.mark.parametrize("settings", [Settings(), Settings(faces="own")])
def test_every_picture_says_whose_side_is_where_and_keeps_to_it(picture, settings):
    view = picture_view(picture, {}, settings)
    first, second = view.panels
    assert first.x < second.x
    where = "left" if first.side is Side.RIGHT else "right"
    assert view.convention[1] == f"the patient’s right is on the {where} of the picture."
    for panel in view.panels:
        assert str(panel.side) in panel.words
        for shape in panel.shapes:
            for step in json.loads(shape.steps):
                sides = {"right", "left"} & set(step[0].split(" "))
                assert sides <= {panel.side.value}, (shape.key, step)


def test_fields_are_drawn_as_the_patient_sees_them_and_faces_as_the_examiner_does():
    # Convention of the design; temporal is away from the nose: a right eye's to the right.
    for picture in PICTURES:
        first = picture_view(picture, {}, Settings()).panels[0]
        assert first.side is (Side.LEFT if picture.view == "fields" else Side.RIGHT)
    fields = pictures_of("fields")[0]
    temporal = {side: s for side, s in shapes(fields) if "upper temporal" in s.spoken}
    nasal = {side: s for side, s in shapes(fields) if "upper nasal" in s.spoken}
    assert temporal[Side.LEFT].x < nasal[Side.LEFT].x < nasal[Side.RIGHT].x
    assert nasal[Side.RIGHT].x < temporal[Side.RIGHT].x


def test_the_page_shows_what_was_recorded_by_either_way(client, enter, examination):
    enter("findings", test="peripheral_upper_temporal", choice="record right absent")
    answer = enter("findings", mark="gaze_out measure left -4")
    assert 'hx-target="#pictures-movements"' in answer.text
    page = unescape(client.get(f"/examinations/{examination}").text)
    assert re.search(r'class="spot full"[^>]*upper temporal[^>]*right: lost"', page, re.IGNORECASE)
    assert re.search(r'class="spot full"[^>]*left: grade −4"', page)
    assert re.search(r'class="spot none"[^>]*: not tested"', page)


def test_cautions_stand_before_the_shapes_of_their_tests(client, examination):
    page = unescape(client.get(f"/examinations/{examination}").text)
    seen = 0
    for picture in PICTURES:
        drawn = page.split(f'id="picture-{picture.key}"')[1].split("</svg>")[0]
        for key in {key for spot in picture.spots for key in spot.test.cautions}:
            caution = load_catalogue().cautions[key]
            for words in (caution.name, caution.text):
                assert drawn.index(words) < drawn.index("<svg")
            seen += 1
    assert seen >= 2


def test_a_shape_that_is_not_one_is_refused(enter, present):
    for mark in ("", "weber", "weber record whole", "no_test record right normal"):
        assert enter("findings", mark=mark).status_code == 422
    assert present() == set()


@pytest.mark.browser
def test_quick_touches_and_keys_step_through_a_shape(open_page, app, examination):
    page = open_page(f"/examinations/{examination}", size="phone")
    page.locator("#group-movements > details > summary").tap()
    out = page.locator("#picture-gaze .spot[aria-label^='Looking outwards'][aria-label*='’s left']")
    for _ in range(3):  # 0, -1, -2: faster than the server answers
        out.tap()
    up = page.locator("#picture-gaze .spot[aria-label^='Looking up (']").first
    up.focus()
    page.keyboard.press("Enter")
    page.keyboard.press(" ")
    page.locator("#test-gaze_out .cell.left.abnormal").wait_for(state="attached")
    page.locator("#test-gaze_up .cell.right.abnormal").wait_for(state="attached")
    page.wait_for_timeout(300)
    assert out.get_attribute("aria-label").endswith("patient’s left: grade −2")
    assert up.get_attribute("aria-label").endswith("patient’s right: grade −1")
    assert {(t, s, r, m.value) for t, s, r, m in found(app, examination)} == {
        ("gaze_out", Side.LEFT, "reduced", -2.0),
        ("gaze_up", Side.RIGHT, "reduced", -1.0),
    }
    # Once more round, and one touch of the buttons shows on the picture.
    page.locator("#test-gaze_in .cell.left .choice.well").tap()
    within = page.locator(
        "#picture-gaze .spot[aria-label^='Looking inwards'][aria-label*='’s left']"
    )
    page.locator("#picture-gaze .spot.well").wait_for()
    assert within.get_attribute("aria-label").endswith(": full")


@pytest.mark.browser
def test_a_drag_paints_every_shape_it_crosses_and_a_key_paints_one(open_page, app, examination):
    page = open_page(f"/examinations/{examination}", size="laptop")
    page.locator("#group-trigeminal > details > summary").click()
    page.locator("#picture-face_touch .brushes input[value=part]").check()
    spots = {
        (test, side): page.locator(f"#spot-face_touch-{number}-{side}")
        for number, test in enumerate(("touch_forehead", "touch_cheek", "touch_jaw"))
        for side in Side
    }
    spots["touch_jaw", Side.LEFT].scroll_into_view_if_needed()
    # By the words of each shape, which lie inside it.
    boxes = [
        spots[test, Side.LEFT].locator(".said").bounding_box()
        for test in ("touch_forehead", "touch_cheek", "touch_jaw")
    ]
    first, *rest = [(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2) for box in boxes]
    page.mouse.move(*first)
    page.mouse.down()
    for place in rest:
        page.mouse.move(*place, steps=12)
    page.mouse.up()
    spots["touch_forehead", Side.RIGHT].focus()
    page.keyboard.press("Enter")
    page.locator("#test-touch_jaw .cell.left.abnormal").wait_for(state="attached")
    page.locator("#test-touch_forehead .cell.right.abnormal").wait_for(state="attached")
    assert {(t, s, r) for t, s, r, _ in found(app, examination)} == {
        ("touch_forehead", Side.LEFT, "reduced"),
        ("touch_cheek", Side.LEFT, "reduced"),
        ("touch_jaw", Side.LEFT, "reduced"),
        ("touch_forehead", Side.RIGHT, "reduced"),
    }
    # The choice outlives the answers, and painting the same again changes nothing.
    assert page.locator("#picture-face_touch .brushes input[value=part]").is_checked()
    spots["touch_cheek", Side.LEFT].locator(".said").click()
    page.wait_for_timeout(300)
    assert len(app.state.store.history(examination)) == 4


CROSSING = """() => [...document.querySelectorAll("[id] > .area")].flatMap((area) => {
  const spot = area.parentElement, text = spot.querySelector("text");
  if (spot.querySelector(".iris")) return [];
  const said = text.querySelector(".said");
  const within = area.getCTM().inverse().multiply(text.getCTM());
  return [...new Set(JSON.parse(spot.dataset.steps).map(([, shown]) => shown))].flatMap((shown) => {
    said.textContent = shown;
    return [...text.querySelectorAll("tspan")].filter((line) => {
      const boxes = [...line.textContent].map((_, n) => line.getExtentOfChar(n));
      const left = Math.min(...boxes.map((box) => box.x)) - 1.5;
      const right = Math.max(...boxes.map((box) => box.x + box.width)) + 1.5;
      const { y, height } = boxes[0];
      const corners = [left, right].flatMap((x) => [[x, y + 0.3 * height], [x, y + 0.75 * height]]);
      return !corners.every(([x, at]) =>
        area.isPointInFill(new DOMPoint(x, at).matrixTransform(within)));
    }).map((line) => `${spot.id}: ${line.textContent}`);
  });
})"""
"""The words that cross the outline of their shape, at any step (by corners of small letters)."""


@pytest.mark.browser
def test_the_words_of_a_shape_stay_inside_it_at_every_step(open_page, examination):
    page = open_page(f"/examinations/{examination}", size="phone")
    page.evaluate(
        "document.querySelectorAll('.group > details, .picture').forEach(d => { d.open = true })"
    )
    assert page.locator(".picture .spot:not(:has(.iris))").count() > 100
    assert page.evaluate(CROSSING) == []
