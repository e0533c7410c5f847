"""Division against zone, dissociation, and what to test next."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon
from shapely.ops import unary_union

from decussate.errors import BadInput
from decussate.measures.facial_sensation import (
    AREAS,
    Dissociation,
    Sensation,
    dissociation,
    face_areas,
    functional_signs,
    loss_patterns,
    read_sensation,
)
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
NORMAL, REDUCED, ABSENT = Sensation.NORMAL, Sensation.REDUCED, Sensation.ABSENT
found_maps = st.dictionaries(st.sampled_from(AREAS), st.sampled_from(Sensation), min_size=1)


@pytest.mark.parametrize("pattern", loss_patterns(), ids=lambda p: p.name)
@pytest.mark.parametrize("side", Side)
def test_every_pattern_is_recognised_when_all_areas_are_tested(pattern, side):
    found = {a: ABSENT if a in pattern.areas else NORMAL for a in AREAS}
    reading = read_sensation(side, found)
    assert [fit.pattern for fit in reading.leading] == [pattern]
    assert reading.leading[0].agreement == 1.0
    assert reading.side is side


@pytest.mark.parametrize("pattern", loss_patterns(), ids=lambda p: p.name)
@pytest.mark.parametrize("wrong", AREAS)
def test_one_wrong_area_is_named_as_what_speaks_against_the_pattern(pattern, wrong):
    found = {a: ABSENT if a in pattern.areas else NORMAL for a in AREAS}
    found[wrong] = NORMAL if found[wrong] is ABSENT else ABSENT
    reading = read_sensation(RIGHT, found)
    (fit,) = (fit for fit in reading.ranking if fit.pattern is pattern)
    assert fit.contradict == (wrong,)
    assert len(reading.leading[0].contradict) <= 1


def test_three_usual_areas_cannot_tell_v1_from_the_outer_zone():
    reading = read_sensation(RIGHT, {"forehead": REDUCED, "cheek": NORMAL, "chin": NORMAL})
    assert {fit.pattern.name for fit in reading.leading} == {"V1 alone", "outer zone"}
    assert "nose tip" in reading.test_next
    assert any(reason.startswith("cannot tell") for reason in reading.reasons)
    settled = read_sensation(
        RIGHT,
        {"forehead": REDUCED, "cheek": NORMAL, "chin": NORMAL, "nose tip": REDUCED},
    )
    assert [fit.pattern.name for fit in settled.leading] == ["V1 alone"]


@settings(max_examples=50)
@given(found_maps)
def test_the_two_sides_are_read_alike(found):
    one, other = read_sensation(RIGHT, found), read_sensation(LEFT, found)
    assert one.ranking == other.ranking
    assert one.test_next == other.test_next
    assert not set(one.test_next) & set(found)


@settings(max_examples=50)
@given(found_maps)
def test_agreeing_and_contradicting_areas_are_those_tested(found):
    for fit in read_sensation(LEFT, found).ranking:
        assert sorted((*fit.agree, *fit.contradict)) == sorted(found)
        assert 0.0 <= fit.agreement <= 1.0


def test_dissociation():
    all_normal, all_lost = dict.fromkeys(AREAS, NORMAL), dict.fromkeys(AREAS, REDUCED)
    assert dissociation(all_normal, all_normal) is Dissociation.NONE
    assert dissociation(all_lost, all_normal) is Dissociation.PIN_ONLY
    assert dissociation(all_normal, all_lost) is Dissociation.TOUCH_ONLY
    assert dissociation(all_lost, all_lost) is Dissociation.BOTH
    assert dissociation({"chin": ABSENT}, {"forehead": NORMAL}) is Dissociation.UNKNOWN


def test_nothing_tested_is_not_normal():
    with pytest.raises(BadInput, match="Not tested is not the same as normal"):
        read_sensation(RIGHT, {})
    with pytest.raises(BadInput, match="angle of jaw"):
        read_sensation(RIGHT, {"elbow": NORMAL})
    with pytest.raises(BadInput, match="at least one area"):
        dissociation({}, {"chin": NORMAL})
    with pytest.raises(BadInput, match="splits the midline"):
        functional_signs("tuning fork on the nose")


def test_midline_splitting_occurs_in_organic_loss_too():
    split = functional_signs("pinprick loss splits the midline exactly")[0]
    assert split.organic > 0
    assert split.specificity_percent < 100.0


def test_areas_tile_the_face_without_overlap():
    polygons = [Polygon(a.outline) for a in face_areas()]
    assert all(p.is_valid for p in polygons)
    assert unary_union(polygons).area == pytest.approx(sum(p.area for p in polygons))
    assert unary_union(polygons).geom_type == "Polygon"


def test_divisions_and_zones_cross():
    cells = {(a.division, a.zone) for a in face_areas()}
    assert cells == {(f"V{d}", z) for d in (1, 2, 3) for z in (1, 2, 3)} | {("C2/3", 0)}
