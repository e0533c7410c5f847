"""Eight published cases entered wholly by touch, wholly by keys and in shorthand: one record.

Each case is a file of tests/published/cases, which carries its citation; the kinds are chosen to
use every part of the page. What the pages cannot express is the free text beside a finding.
"""

from __future__ import annotations

from pathlib import Path
from uuid import uuid4

import pytest
from hands import Keys, Touch, saved

from decussate.examination.record import Examination, read_examination
from decussate.examination.shorthand_writer import write_shorthand
from decussate.localisation import localise

pytestmark = pytest.mark.browser

FOLDER = Path(__file__).parents[1] / "published" / "cases"
CASES = {
    # Obiudu et al., Niger Med J 2009;50:68: aneurysm of the posterior communicating artery.
    "B03": "third nerve",
    # Thitiwichienlert et al., Ramathibodi Med J 2026, 10.33165/rmj.2026.e273522: apoplexy.
    "B25": "chiasm and both third nerves",
    # Case Western Reserve University, neuroscience syllabus: posterior inferior cerebellar artery.
    "C29": "lateral medulla with Horner's signs",
    # Case abstract on incudostapedial joints, discovery.researcher.life, 22074488.
    "B82": "facial palsy and conductive loss after an injury",
    # Horizontal canal positional vertigo, case report reproduced at entokey.com.
    "C04": "positional vertigo in attacks",
    # BMC Musculoskelet Disord 2020, 10.1186/s12891-020-03737-w: power measured on the MRC scale.
    "B61": "accessory nerve, measured",
    # Kakou et al., Open J Mod Neurosurg 2017;7:142, 10.4236/ojmn.2017.74015: trigeminal schwannoma.
    "C36": "cavernous sinus",
    # Umapathy et al., Kauvery Hospital: internuclear ophthalmoplegia, with an old hemiparesis.
    "A67": "internuclear ophthalmoplegia, old weakness set aside",
}


def case(name: str) -> Examination:
    return read_examination(FOLDER / f"{name}.json")


def told(examination: Examination) -> dict[str, object]:
    """Give what a record says, but for the free text and the order of entry."""
    return {
        "findings": {(f.test, f.side, f.response, f.measurement) for f in examination.present()},
        "story": examination.story,
        "old": set(examination.known_old),
        "unread": examination.unread,
    }


def where(examination: Examination) -> dict[tuple[str, object], float]:
    return {(c.place, c.side): c.probability for c in localise(examination).candidates}


@pytest.fixture
def begun(app):
    """Begin an examination of an invented patient."""

    def begin() -> str:
        store = app.state.store
        patient = store.add_patient("Bed 11, invented", invented=True)
        store.begin(patient, examination=(identity := str(uuid4())))
        return identity

    return begin


@pytest.mark.parametrize("name", CASES, ids=CASES.get)
def test_three_ways_of_entry_give_the_record_and_the_localisation_of_the_case(
    open_page, app, begun, name, record_property
):
    published = case(name)
    by_touch, by_keys, by_shorthand = begun(), begun(), begun()

    finger = Touch(open_page(f"/examinations/{by_touch}", size="phone"))
    finger.enter(published)
    record_property("touches", finger.touches)

    keys = Keys(open_page(f"/examinations/{by_keys}"))
    keys.enter(published)
    record_property("keys", keys.presses)

    page = open_page(f"/examinations/{by_shorthand}")
    page.locator("#shorthand > details > summary").click()
    page.locator("#shorthand-text").fill(write_shorthand(published))
    page.get_by_role("button", name="Read and record").click()
    page.get_by_text("all understood").wait_for()
    saved(page)

    print(f"{name} ({CASES[name]}): {finger.touches} touches, {keys.presses} keys")
    expected = where(published)
    shown = set()
    for identity, its_page in zip(
        (by_touch, by_keys, by_shorthand), (finger.page, keys.page, page), strict=True
    ):
        entered = app.state.store.examination(identity)
        assert told(entered) == told(published)
        assert where(entered) == pytest.approx(expected, abs=1e-12)
        shown.add(its_page.locator(".places").text_content())
    assert len(shown) == 1
