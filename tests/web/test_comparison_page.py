"""Examinations of one patient side by side, and the sentence in the note."""

import re
from html import unescape
from uuid import uuid4

import pytest

FRAGMENT = {"hx-request": "true"}


@pytest.fixture
def again(client):
    """Begin an examination, of a patient already there or a new one, and enter shorthand."""

    def examine(text: str, patient: str = "") -> str:
        identity = str(uuid4())
        form = {"examination": identity, "label": f"Bed {identity[:4]}, invented"}
        form |= {"patient": patient} if patient else {"invented": "yes"}
        client.post("/examinations", data=form, follow_redirects=False)
        if text:
            data = {"entry": str(uuid4()), "text": text}
            answer = client.post(f"/examinations/{identity}/shorthand", data=data, headers=FRAGMENT)
            assert "all understood" in answer.text, text
        return identity

    return examine


@pytest.fixture
def patient_of(app):
    return lambda examination: app.state.store.head(examination).patient


def page_of(client, examination: str) -> str:
    return unescape(client.get(f"/examinations/{examination}/comparison").text)


def group(page: str, title: str) -> str:
    found = re.search(rf"{title} \(\d+\)</h3></summary>(.*?)</details>", page, re.S)
    return found[1] if found else ""


def test_new_worse_gone_and_not_repeated_are_told_apart(client, again, patient_of):
    first = again("R ptosis partial. L abduction -2. Weber to L. L gag absent.")
    second = again(
        "R ptosis none. L abduction -4. Weber to L. R light reaction absent.", patient_of(first)
    )
    page = page_of(client, second)
    assert "looking outwards" in group(page, "Worse")
    assert "upper lid" in group(page, "Gone")
    assert "Weber" in group(page, "Unchanged")
    assert "gag" in group(page, "Not tested this time: not known, and not gone")
    assert "direct light" in group(page, "Newly tested")
    for other in ("Gone", "Better"):
        assert "gag" not in group(page, other)
    assert "Where the lesion may be, then and now" in page


def test_the_note_and_the_letter_say_it_in_one_sentence(client, again, patient_of):
    first = again("L abduction -2.")
    second = again("L abduction -4.", patient_of(first))
    for form in ("note.txt", "letter.md"):
        text = client.get(f"/examinations/{second}/{form}").text
        assert text.count("Compared with") == 1
        assert "worse" in text
        assert "Compared with" not in client.get(f"/examinations/{first}/{form}").text


def test_more_than_two_are_each_compared_with_the_one_before_and_the_last_with_the_first(
    client, again, patient_of
):
    first = again("VA R 6/6, L 6/6. L abduction -1.")
    second = again("VA R 6/12, L 6/6. L abduction -2.", patient_of(first))
    third = again("VA R 6/60, L 6/6. L abduction -3.", patient_of(first))
    for examination in (first, second, third):
        page = page_of(client, examination)
        assert page.count('class="step"') == 3
        assert "From first to last" in page
        assert "Measurements over time" in page
        assert page.count("<svg") >= 1 + 3  # the plots, and the gaze of each
        assert "Visual acuity" in page or "acuity" in page.lower()


def test_fields_gaze_face_hearing_and_swallow_are_shown_over_time(client, again, patient_of):
    """The subjects that the brief names: numbers as plots, patterns as drawings side by side."""
    first = again("VA R 6/6, L 6/6. L abduction -1.")
    second = again("VA R 6/60, L 6/6. L abduction -3.", patient_of(first))
    levels = {"500": "30", "1000": "40", "2000": "50", "4000": "60"}
    for n, examination in enumerate((first, second)):
        sent = [
            (
                "audiogram",
                {f"level right air {hz}": str(int(db) + 20 * n) for hz, db in levels.items()},
            ),
            *(
                ("findings", {"test": test, "choice": f"record {choice}"})
                for test in ("raise_brows", "close_eyes", "show_teeth")
                for choice in ("left reduced", "right normal")
            ),
            *(
                ("findings", {"test": f"peripheral_{quarter}", "choice": f"record {side} {code}"})
                for side in ("right", "left")
                for quarter in ("upper_temporal", "lower_temporal", "upper_nasal", "lower_nasal")
                for code in ("absent" if quarter == "upper_temporal" else "normal",)
            ),
            (
                "findings",
                {"test": "facial_grade", "choice": "measure left", "value left": str(3 + n)},
            ),
            (
                "timers/swallow",
                {"gate": "yes", "sips": "normal", "given_ml": "150", "seconds": str(20 + 20 * n)}
                | {"cough": "no", "wet_voice": "no", "stopped": "no"},
            ),
        ]
        for where, form in sent:
            address = f"/examinations/{examination}/{where}"
            answer = client.post(address, data={"entry": str(uuid4())} | form, headers=FRAGMENT)
            assert answer.status_code == 200, (where, answer.text[:300])
    page = page_of(client, second)
    plots = page.split('id="plots-title"')[1].split("</section>")[0].lower()
    for subject in ("distance acuity", "looking outwards", "water swallow", "audiogram", "fac"):
        assert subject in plots, subject
    for drawing in ("fields", "eye movements", "facial movement", "audiogram"):
        strip = re.search(
            rf'aria-label="[^"]*{drawing}[^"]*, over time"(.*?)</section>', page, re.S | re.I
        )
        assert strip is not None, drawing
        assert strip[1].count("<figure>") == 2, drawing


def test_one_examination_alone_is_not_compared(client, again):
    page = page_of(client, again("Weber to L."))
    assert "nothing to compare" in page
    assert 'class="step"' not in page


def test_another_patient_is_never_compared_with(client, again):
    again("L abduction -4.")
    assert "nothing to compare" in page_of(client, again("L abduction -1."))


def test_what_cannot_be_one_patient_is_refused_in_words(client, again, patient_of):
    first = again("Weber to L.")
    second = again("Weber to L.", patient_of(first))
    for examination, sex in ((first, "male"), (second, "female")):
        told = {"entry": str(uuid4()), "sex": sex}
        client.post(f"/examinations/{examination}/story", data=told, headers=FRAGMENT)
    page = page_of(client, second)
    assert "Not compared." in page
    assert "two people" in page
    note = unescape(client.get(f"/examinations/{second}/note").text)
    assert "Not compared with the examination before: sex" in note


@pytest.mark.browser
@pytest.mark.parametrize(("size", "scheme"), [("phone", "dark"), ("tablet", "light")])
def test_axe_finds_nothing_on_comparison_note_and_letter(
    open_page, client, again, patient_of, size, scheme
):
    from axe_playwright_python.sync_playwright import Axe

    first = again("VA R 6/6, L 6/6. L abduction -1. R light reaction absent.")
    second = again("VA R 6/60, L 6/6. L abduction -3. R ptosis complete.", patient_of(first))
    page = open_page(
        f"/examinations/{second}/comparison", size=size, scheme=scheme, bypass_csp=True
    )
    for place in ("comparison", "note", "letter"):
        page.goto(page.url.rsplit("/", 1)[0] + f"/{place}")
        page.evaluate(
            "document.querySelectorAll('main details').forEach(one => { one.open = true })"
        )
        options = {
            "resultTypes": ["violations"],
            "runOnly": {
                "type": "tag",
                "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
            },
        }
        found = Axe().run(page, options=options).response["violations"]
        assert [f"{v['id']}: {v['nodes'][0]['html'][:150]}" for v in found] == [], place
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
