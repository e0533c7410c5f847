"""Where as pictures, the explorer, and the settings of a browser."""

import re
from html import unescape
from uuid import uuid4
from xml.etree import ElementTree as ET

import pytest
from axe_playwright_python.sync_playwright import Axe

from decussate.anatomy import load_atlas
from decussate.localisation.localise import posterior_of
from decussate.records.demo import demo_examinations
from decussate.sides import Side
from decussate.web.bedside import load_parts
from decussate.web.conclusions import conclude
from decussate.web.picture_view import picture_view
from decussate.web.pictures import load_pictures
from decussate.web.place_pictures import place_pictures
from decussate.web.rendering import slug
from decussate.web.settings import OPTIONS, Settings

SWAP = {"right": "left", "left": "right"}
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def wren(app) -> str:
    return next(h.id for h in app.state.store.examinations() if "Wren" in h.label)


def pictured(examination):
    localisation = conclude(examination).localisation
    return localisation, place_pictures(localisation, posterior_of(examination))


def test_the_pictures_of_a_left_lesion_mirror_those_of_the_right():
    drawn = 0
    for examination in demo_examinations():
        right, left = (pictured(one)[1] for one in (examination, examination.mirrored()))
        assert [p.plan for p in right] == [p.plan for p in left]
        for one, other in zip(right, left, strict=True):
            drawn += 1
            mirrored = {
                re.sub(r"\b(right|left)\b", lambda m: SWAP[m[0]], words)
                for _, words, _ in one.taken
            }
            assert mirrored == {words for _, words, _ in other.taken}
    assert drawn > 4


def test_every_shaded_shape_leads_to_a_place_of_the_list():
    for examination in demo_examinations():
        _, pictures = pictured(examination)
        listed = {f"place-{slug(place.title)}" for place in conclude(examination).places}
        for picture in pictures:
            groups = list(ET.fromstring(str(picture.svg)).iter(f"{SVG}g"))
            assert {g.get("data-place") for g in groups if g.get("data-structure")} <= listed | {""}
            assert picture.taken
            assert {place for _, _, place in picture.taken} & listed
            assert "patient" in picture.view


def test_pictures_and_the_second_lesion_come_after_the_panel(client, wren):
    panel = client.get(f"/examinations/{wren}").text
    assert f'data-from="/examinations/{wren}/where"' in panel
    assert "<figure" not in panel
    answer = unescape(
        client.get(f"/examinations/{wren}/where", headers={"hx-request": "true"}).text
    )
    assert "One lesion is enough" in answer
    assert "the patient's right is on the left" in answer
    page = client.get(f"/examinations/{wren}/where").text
    assert "A licensed clinician decides" in page


def test_the_where_page_tells_what_each_finding_argues_and_how_firm_it_is(client, wren):
    page = unescape(client.get(f"/examinations/{wren}/where").text)
    assert "What each finding argues" in page
    assert "How firm this is" in page
    assert "A few findings that carry it by themselves" in page
    assert re.search(r"Right lateral medulla: (over )?\d+ to (over )?\d+ of 100", page)
    links = re.findall(rf'data-told="(/examinations/{wren}/where/finding[^"]+)"', page)
    findings = conclude(client.app.state.store.examination(wren)).used
    assert len(links) == findings > 20
    for link in links[:4]:
        told = unescape(client.get(link, headers={"hx-request": "true"}).text)
        assert "<html" not in told
        assert re.search(r"times (likelier|less likely) there than elsewhere \(log10 [+−]\d", told)
        assert "The pathway it tests" in told
        assert told.count("<svg") >= 1
        whole = client.get(link)
        assert whole.status_code == 200
        assert "<html" in whole.text
        assert "A licensed clinician decides" in whole.text


def test_a_place_has_the_pathways_of_its_findings_drawn_through_it(client, wren):
    page = unescape(client.get(f"/examinations/{wren}").text)
    (link, *_) = re.findall(rf'data-told="(/examinations/{wren}/where/place[^"]+)"', page)
    assert "place=medulla_lateral" in link
    told = client.get(link, headers={"hx-request": "true"}).text
    (svg,) = re.findall(r"<svg.*?</svg>", told, re.DOTALL)
    root = ET.fromstring(svg)
    taken = [
        group
        for group in root.iter(f"{SVG}g")
        if group.get("data-side") == "right" and group.find(f"{SVG}ellipse").get("fill") == "#222"
    ]
    assert taken
    assert root.findall(f".//{SVG}line")
    assert "the patient's right is on the left" in told
    assert (
        client.get(f"/examinations/{wren}/where/place?place=medulla_lateral&side=left").status_code
        == 422
    )
    assert client.get(f"/examinations/{wren}/where/finding?test=weber&side=left").status_code == 422


def test_no_lesion_found_has_neither_pathways_nor_causes(client, enter, app, examination):
    for part in load_parts():
        enter("sweep", group=part.key)
    first, *others = conclude(app.state.store.examination(examination)).places
    assert first.title == "No lesion found"
    page = unescape(client.get(f"/examinations/{examination}/where").text)
    parts = page.split('<li id="place-')
    (said,) = (part for part in parts if part.startswith("no-lesion-found"))
    assert "is not excluded" in said
    for offered in ("drawn through it", "Signs a lesion here predicts", "Causes to settle"):
        assert offered not in said
        assert page.count(offered) == len(others)


def test_a_finding_on_the_wrong_side_is_asked_about(client, enter, examination):
    """A left third-nerve palsy with one finding written on the right."""
    for test, side, response in (
        ("upper_lid_position", "left", "complete"),
        ("gaze_in", "left", "absent"),
        ("gaze_up", "left", "absent"),
        ("gaze_down", "left", "reduced"),
        ("pupil_size_light", "left", "large"),
        ("light_direct", "right", "absent"),
        ("light_consensual", "left", "absent"),
        ("gaze_out", "left", "normal"),
    ):
        answer = enter("findings", test=test, choice=f"record {side} {response}")
        assert answer.status_code == 200, (test, answer.text)
    page = unescape(client.get(f"/examinations/{examination}/where").text)
    assert "A slip of the pen?" in page
    assert re.search(r"Right direct light reaction: no reaction. Was it left direct", page)


@pytest.mark.parametrize("faces", ["facing", "own"])
def test_the_side_setting_turns_the_pictures_of_places_and_pathways(client, wren, faces):
    client.cookies.set("display", f"faces={faces}")
    try:
        page = client.get(f"/examinations/{wren}/where").text
        link = re.search(r'data-told="([^"]*/where/finding[^"]+)"', page)[1]
        told = client.get(unescape(link), headers={"hx-request": "true"}).text
    finally:
        client.cookies.delete("display")
    for text in (page, told):
        svgs = [ET.fromstring(svg) for svg in re.findall(r"<svg xmlns.*?</svg>", text, re.DOTALL)]
        assert svgs
        on = "left" if faces == "facing" else "right"
        assert f"the patient's right is on the {on}." in text
        for root in svgs:
            x = {t.text: float(t.get("x")) for t in root.iter(f"{SVG}text")}
            assert (x["patient's right"] < x["patient's left"]) is (faces == "facing")


def test_with_nothing_recorded_no_place_is_pictured(client, examination):
    page = client.get(f"/examinations/{examination}/where").text
    assert "Nothing recorded that points anywhere yet" in page
    assert "<figure" not in page


def test_next_follows_the_path_or_the_order_while_nothing_points_anywhere(
    client, enter, examination
):
    def first() -> str:
        page = client.get(f"/examinations/{examination}").text
        return re.search(r'class="next-tests">\s*<li><a href="[^"]*test=(\w+)', page)[1]

    assert first() == "consent"
    enter("findings", test="consent", choice="record whole normal")
    assert first() == "alertness"
    enter("path", path="hearing")
    assert first() == load_parts("hearing")[0].routine[0].id


def test_the_page_offers_every_context_the_anatomy_knows(client, enter, app, examination):
    page = unescape(client.get(f"/examinations/{examination}").text)
    contexts = load_atlas().contexts
    assert len(contexts) == 15
    places = [page.index(f'value="{key}"') for key in contexts]
    assert places == sorted(places)
    for words in contexts.values():
        assert words in page
    enter("story", context=list(contexts))
    assert set(app.state.store.examination(examination).story.context) == set(contexts)


@pytest.mark.parametrize("side", ["right", "left"])
def test_the_explorer_names_the_signs_and_the_patients_side(client, side):
    # Pin on the other side of the body in most of a series of lateral medullary infarcts:
    # Sacco RL et al. Arch Neurol 1993;50:609.
    page = unescape(client.get(f"/explore?place=medulla_lateral&side={side}").text)
    other = Side(side).other.value
    assert re.search(
        rf"Reduced pin or temperature on the body, patient’s {other}</b>"
        r" <span[^>]*>(very )?likely, [6-9]\d",
        page,
    )
    assert f"{side.capitalize()} lateral medulla" in page


def test_the_explorer_shows_every_place_and_refuses_others(client):
    for place in load_atlas().places.values():
        assert client.get(f"/explore?place={place.id}").status_code == 200
    assert client.get("/explore?place=nowhere").status_code == 422


def test_settings_change_what_is_shown_and_never_what_is_recorded(client, enter, app, examination):
    enter("findings", test="distance_acuity", choice="measure left", **{"value left": "6/12"})
    page = client.get(f"/examinations/{examination}").text
    assert "reduced, 6/12" in page
    chosen = {"scheme": "dark", "acuity": "feet", "faces": "own"}
    answer = client.post("/settings", data=chosen, follow_redirects=False)
    try:
        assert answer.status_code == 303
        cookie = answer.headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=strict" in cookie
        page = unescape(client.get(f"/examinations/{examination}").text)
        # 6/12, 20/40, decimal 0.5 and logMAR 0.30 are one acuity (Bailey and Lovie 1976).
        assert "20/40 (written 6/12)" in page
        assert 'data-scheme="dark"' in page
        assert "From the patient’s own side" in page
        assert "As the patient sees" in page
        client.post("/settings", data={"acuity": "decimal"})
        assert "decimal 0.5 (written 6/12)" in client.get(f"/examinations/{examination}").text
        enter("findings", test="distance_acuity", choice="measure right", **{"value right": "0.5"})
        client.post("/settings", data={"acuity": "logmar"})
        assert (
            "logMAR 0.30 (written decimal 0.5)" in client.get(f"/examinations/{examination}").text
        )
    finally:
        client.cookies.delete("display")
    kept = {f.side: f.measurement.value for f in app.state.store.examination(examination).present()}
    assert kept == {Side.LEFT: "6/12", Side.RIGHT: "decimal 0.5"}
    assert client.post("/settings", data={"acuity": "yards"}).status_code == 422


def test_a_bare_acuity_is_refused_while_no_notation_is_chosen(enter, present):
    answer = enter(
        "findings", test="distance_acuity", choice="measure right", **{"value right": "0.5"}
    )
    assert answer.status_code == 422
    assert "ambiguous" in answer.text
    assert present() == set()


def test_an_unknown_cookie_leaves_every_setting_at_its_first_choice(client):
    client.cookies.set("display", "scheme=pink&acuity=%22&fields=")
    try:
        page = client.get("/settings").text
    finally:
        client.cookies.delete("display")
    for name, (_, choices) in OPTIONS.items():
        assert re.search(rf'name="{name}" value="{choices[0][0]}" checked', page)


def test_every_picture_but_those_of_fields_can_be_turned_about():
    for picture in load_pictures():
        usual = picture_view(picture, {}, Settings()).panels
        turned = picture_view(picture, {}, Settings(faces="own")).panels
        expected = usual if picture.view == "fields" else tuple(reversed(usual))
        assert [p.side for p in turned] == [p.side for p in expected]
    assert {picture.view for picture in load_pictures()} == {"fields", "eyes", "ears", "face"}


@pytest.mark.browser
def test_touching_a_picture_or_its_list_opens_the_reasons_of_the_place(open_page, wren):
    page = open_page(f"/examinations/{wren}", size="phone")
    page.locator("#where-pictures figure").wait_for(state="attached", timeout=30000)
    page.locator(".dock .where").tap()
    place = page.locator("#where-pictures [data-place^='place-'][data-side=right]").first
    listed = page.locator(f"#{place.get_attribute('data-place')} > details")
    listed.evaluate("details => { details.open = false }")
    place.locator("ellipse").tap(force=True)
    assert listed.get_attribute("open") is not None
    listed.evaluate("details => { details.open = false }")
    page.locator("#where-pictures summary").first.tap()
    page.locator("#where-pictures li a").first.press("Enter")
    assert listed.get_attribute("open") is not None
    assert "Speaks for it" in listed.inner_text()
    assert page.locator("#results").evaluate("panel => panel.matches(':popover-open')")


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_touched_finding_tells_what_it_argues_beside_the_examination(open_page, wren, scheme):
    page = open_page(f"/examinations/{wren}", scheme=scheme, bypass_csp=True)
    page.locator("#where-findings .arguments > li").first.wait_for()
    page.locator("#where-findings .arguments summary").first.click()
    told = page.locator("#where-findings .told").first
    told.locator("figure svg").first.wait_for()
    assert "log10" in told.inner_text()
    page.locator("#conclusion .places .told-later > summary").first.click()
    page.locator("#conclusion .places .told figure svg").first.wait_for()
    # A touched structure is named.
    stop = told.locator("figure g[data-structure]").first
    stop.scroll_into_view_if_needed()
    box = stop.bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert told.locator(".named").first.inner_text()
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    options = {"resultTypes": ["violations"], "runOnly": {"type": "tag", "values": tags}}
    wrong = Axe().run(page, context="#results", options=options).response["violations"]
    assert [one["id"] for one in wrong] == []


def test_what_makes_a_place_less_sure_stands_before_the_places(client, app):
    """Drops on the pupil recorded by touch: the page says so on both parts that name places."""
    store = app.state.store
    examination = store.begin(store.add_patient("Drops, invented", invented=True))
    for test, choice in (("light_direct", "left absent"), ("eye_drops_and_drugs", "left widening")):
        form = {"entry": str(uuid4()), "test": test, "choice": f"record {choice}"}
        client.post(f"/examinations/{examination}/findings", data=form)
    for address in (f"/examinations/{examination}", f"/examinations/{examination}/where"):
        page = client.get(address).text
        assert "widens the pupil is recorded, left" in page.split('class="places"')[0]
