from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings

from audiogram_strategies import air, audiograms
from decussate.drawings.audiogram import CHART_LEFT, CHART_TOP, OCTAVE, draw_audiogram
from decussate.measures.age_expected_hearing import expected_threshold
from decussate.measures.audiogram import Audiogram, Conduction, Threshold
from decussate.measures.sex import Sex
from decussate.sides import Side

SVG = "{http://www.w3.org/2000/svg}"


def drawn(audiogram, **options):
    return ET.fromstring(draw_audiogram(audiogram, **options))


def symbols(root):
    return [g for g in root.iter(f"{SVG}g") if g.get("data-ear")]


def words(root):
    return [t.text for t in root.iter(f"{SVG}text")]


@given(audiograms())
@settings(max_examples=30, deadline=None)
def test_every_threshold_is_drawn_once_and_said_in_words(audiogram):
    root = drawn(audiogram)
    assert len(symbols(root)) == len(audiogram.thresholds)
    said = root.find(f"{SVG}desc").text
    for side in Side:
        count = sum(t.side is side for t in audiogram.thresholds)
        assert said.count(f"{side} ear") == count
        assert sum(g.get("data-ear") == side for g in symbols(root)) == count


@given(audiograms())
@settings(max_examples=20, deadline=None)
def test_mirroring_the_ears_mirrors_the_symbols(audiogram):
    swap = {"right": "left", "left": "right"}
    here = sorted(g.find(f"{SVG}title").text for g in symbols(drawn(audiogram.mirrored())))
    there = sorted(
        swap[g.get("data-ear")] + g.find(f"{SVG}title").text.removeprefix(g.get("data-ear"))
        for g in symbols(drawn(audiogram))
    )
    assert here == there


def test_an_octave_is_as_long_as_twenty_decibels_and_levels_grow_downwards():
    places = [
        (float(c.get("cx")), float(c.get("cy")))
        for c in drawn(air([0, 20], [0, 20], (1000, 2000))).iter(f"{SVG}circle")
    ][:2]
    (x1, y1), (x2, y2) = places
    assert x2 - x1 == pytest.approx(y2 - y1) == pytest.approx(OCTAVE)
    assert x1 == pytest.approx(CHART_LEFT + OCTAVE / 2 + 3 * OCTAVE)
    assert y1 == pytest.approx(CHART_TOP + OCTAVE / 2)


def test_standard_symbols():
    kinds = {
        (Side.RIGHT, Conduction.AIR, False): "circle",
        (Side.RIGHT, Conduction.AIR, True): "Z",
        (Side.LEFT, Conduction.AIR, False): "M-6.5 -6.5L6.5 6.5",
        (Side.LEFT, Conduction.AIR, True): "H6.5V6.5H-6.5Z",
        (Side.RIGHT, Conduction.BONE, False): "L-4 0",
        (Side.LEFT, Conduction.BONE, False): "L4 0",
        (Side.RIGHT, Conduction.BONE, True): "H-3V",
        (Side.LEFT, Conduction.BONE, True): "H3V",
    }
    for (side, conduction, masked), mark in kinds.items():
        root = drawn(Audiogram((Threshold(side, 1000, conduction, 40, masked),)))
        (symbol,) = symbols(root)
        shapes = [c.get("d") or "circle" for c in symbol if not c.tag.endswith("title")]
        assert len(shapes) == 1
        assert mark in shapes[0]


def test_a_tone_not_heard_has_an_arrow_and_is_joined_to_nothing():
    a = Audiogram(
        (
            Threshold(Side.RIGHT, 1000, Conduction.AIR, 60),
            Threshold(Side.RIGHT, 2000, Conduction.AIR, 110, no_response=True),
        )
    )
    root = drawn(a)
    group = next(g for g in root.iter(f"{SVG}g") if g.get("id") == "line-right")
    assert len(group) == 0
    assert [len(g) for g in symbols(root)] == [2, 3]
    assert "not heard at this level" in words(root)


def test_ears_are_told_apart_without_colour():
    root = drawn(air(20, 50))
    dashes = {
        g.get("id"): {line.get("stroke-dasharray") for line in g}
        for g in root.iter(f"{SVG}g")
        if (g.get("id") or "").startswith("line-")
    }
    assert dashes["line-right"] != dashes["line-left"]
    assert {"right ear", "left ear"} <= set(words(root))
    assert "Sides are the patient's." in words(root)


def test_expected_line_is_named_with_its_standard():
    expected = [expected_threshold(60, Sex.MALE, hz) for hz in (500, 1000, 2000)]
    assert "median for age, ISO 7029:2017" in words(drawn(air(20, 30), expected=expected))
    assert not any("ISO 7029" in w for w in words(drawn(air(20, 30))))


def test_a_title_with_angle_brackets_is_escaped():
    assert "<b> & co" in words(drawn(air(20, 30), title="<b> & co"))
