"""A test is never proposed against what the record bars (cautions of the catalogue)."""

import pytest

from decussate.examination.bars import bars_against, load_bars
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, Finding, Story
from decussate.localisation.localise import posterior_of
from decussate.localisation.next_test import next_tests
from decussate.sides import Side

VERTIGO = (
    Finding(test="ask_vertigo", response="present"),
    Finding(test="ask_swallowing", response="reduced"),
    Finding(test="touch_forehead", side=Side.RIGHT, response="reduced"),
)
AWAKE = (
    Finding(test="alertness", response="normal"),
    Finding(test="neck_safe", response="normal"),
)


def proposed(*findings: Finding, **story: object) -> set[tuple[str, Side | None]]:
    """Return every test that would be proposed, however little it tells."""
    found = Examination(
        id="invented", story=Story.model_validate(story), findings=(*VERTIGO, *findings)
    )
    ranked = next_tests(posterior_of(found), found, load_catalogue(), most=1000)
    return {(test.test, test.side) for test in ranked}


def with_caution(tests: set[tuple[str, Side | None]], *cautions: str) -> set[str]:
    catalogue = load_catalogue()
    return {name for name, _ in tests if set(catalogue.test(name).cautions) & set(cautions)}


@pytest.mark.parametrize("response", ["limited", "unsafe"])
def test_the_neck_is_not_moved_where_it_is_recorded_unsafe(response: str) -> None:
    """Humphriss et al. 2003: the neck is cleared before a positional test."""
    assert with_caution(proposed(*AWAKE), "neck", "positional")
    neck = Finding(test="neck_safe", response=response)
    assert not with_caution(proposed(AWAKE[0], neck), "neck", "positional")


def test_an_injury_bars_the_neck_until_it_is_cleared() -> None:
    assert not with_caution(proposed(AWAKE[0], context=["injury"]), "neck", "positional")
    assert with_caution(proposed(*AWAKE, context=["injury"]), "neck", "positional")


def test_nothing_is_swallowed_unless_recorded_fully_awake() -> None:
    """Common practice: nothing in the mouth of someone not fully awake, or not known to be."""
    assert with_caution(proposed(*AWAKE), "swallowing")
    assert not with_caution(proposed(), "swallowing", "gag")
    drowsy = Finding(test="consciousness", response="present")
    assert not with_caution(proposed(*AWAKE, drowsy), "swallowing", "gag")


def test_a_red_eye_bars_touching_that_cornea_only() -> None:
    for side in Side:
        red = Finding(test="eye_redness", side=side, response="present")
        corneas = {place for test, place in proposed(*AWAKE, red) if test.startswith("corneal")}
        assert corneas == {side.other}


def test_every_bar_holds_back_some_test_and_says_why() -> None:
    catalogue = load_catalogue()
    for bar in load_bars():
        held = [test for test in catalogue if test.id in bar.tests]
        assert held, bar.id
        findings = [
            Finding(test=name, side=Side.LEFT if catalogue.test(name).paired else None, response=r)
            for name, responses in bar.found.items()
            for r in responses[:1]
        ]
        for story in (Story(), Story(context=bar.context)):
            found = Examination(id="x", story=story, findings=tuple(findings))
            if findings or story.context or bar.needs:
                assert bar.why in bars_against(held[0], Side.LEFT, found)


def test_what_clears_a_bar_is_never_held_back() -> None:
    """Else a neck once called unsafe could never be cleared, nor an alertness be recorded."""
    for bar in load_bars():
        assert not bar.tests & ({*bar.cleared, *bar.needs} - {"sip_swallow"}), bar.id


@pytest.mark.parametrize(
    ("sip", "held"), [("normal", False), ("reduced", True), ("absent", True), (None, True)]
)
def test_a_glass_of_water_waits_for_safe_sips(sip: str | None, held: bool) -> None:
    """Common practice: small volumes first, nothing larger after a failure (RCP, NHS pathways)."""
    sips = (Finding(test="sip_swallow", response=sip),) if sip else ()
    found = Examination(id="x", findings=(*AWAKE, *sips))
    assert bool(bars_against(load_catalogue().test("water_swallow"), None, found)) is held


def test_a_wet_voice_or_a_weak_cough_holds_back_sips_and_water() -> None:
    catalogue = load_catalogue()
    for bad in (
        Finding(test="voice_wet", response="present"),
        Finding(test="cough", response="present"),
        Finding(test="cough", response="bovine"),
    ):
        found = Examination(id="x", findings=(*AWAKE, bad))
        for name in ("sip_swallow", "water_swallow"):
            assert "a wet voice or a weak cough" in bars_against(catalogue.test(name), None, found)
    well = Examination(id="x", findings=AWAKE)
    assert bars_against(catalogue.test("sip_swallow"), None, well) == ()
    # Listening to the voice is how one learns that it is wet: never held back itself.
    assert bars_against(catalogue.test("voice_wet"), None, Examination(id="x")) == ()


def test_a_positional_test_waits_until_the_neck_was_asked_about() -> None:
    """Humphriss et al. 2003: the neck is cleared before a positional test."""
    test = load_catalogue().test("positional_test")
    assert bars_against(test, Side.LEFT, Examination(id="x"))
    assert not bars_against(test, Side.LEFT, Examination(id="x", findings=AWAKE))


def test_an_artificial_eye_is_not_asked_to_see_and_the_other_is() -> None:
    for side in Side:
        eye = Finding(test="artificial_eye", side=side, response="artificial")
        found = Examination(id="x", findings=(*AWAKE, eye))
        for name in ("distance_acuity", "light_direct", "disc_margin", "corneal_touch_felt"):
            test = load_catalogue().test(name)
            assert bars_against(test, side, found) == ("the eye is artificial",)
            assert bars_against(test, side.other, found) == ()


@pytest.mark.parametrize(("age", "barred"), [(0.5, True), (2.9, True), (3, False), (None, False)])
def test_apraclonidine_is_kept_from_small_children(age: float | None, barred: bool) -> None:
    """The caution of the catalogue: not in infants and toddlers (common practice)."""
    found = Examination(id="invented", story=Story(age=age), findings=())
    test = load_catalogue().test("apraclonidine_drops")
    why = " ".join(bars_against(test, Side.RIGHT, found))
    assert ("a small child" in why) == barred
