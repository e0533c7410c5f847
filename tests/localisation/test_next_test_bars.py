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
        held = [test for test in catalogue if bar.cautions & set(test.cautions)]
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
