"""Impairment, substitution, change and pinhole: order, limits, and refusals."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.acuity_interpretation import (
    Direction,
    change,
    impairment,
    pinhole,
    substitute,
)
from decussate.measures.acuity_notation import parse
from decussate.measures.distance_acuity import from_logmar
from decussate.measures.published_rows import check_tables, read_tables, row_named

METHOD = "letter by letter on a logarithmic chart"


@given(st.floats(-0.3, 2.5), st.floats(-0.3, 2.5))
@settings(max_examples=60)
def test_worse_acuity_is_never_a_milder_category(one, other):
    better, worse = sorted((one, other))
    for edition in ("ICD-11", "ICD-10 (2010)"):
        assert (
            impairment(from_logmar(better), edition=edition).category
            <= impairment(from_logmar(worse), edition=edition).category
        )


def test_the_reason_and_the_borderline_are_said():
    mild = impairment(parse("6/18"))
    assert (mild.name, mild.reason) == (
        "mild vision impairment",
        "presenting distance acuity, worse than 6/12, 6/18 or better",
    )
    assert impairment(parse("6/24")).remarks == ()
    assert "metres 2" in impairment(parse("20/70")).remarks[0]


def test_a_small_field_counts_and_never_improves_a_category():
    assert impairment(parse("6/6"), field_radius_degrees=10.0).category == 3
    assert impairment(parse("6/6"), field_radius_degrees=10.1).category == 0
    assert impairment(parse("HM"), field_radius_degrees=5.0).category == 5
    assert any("unconfirmed" in r for r in impairment(parse("6/6"), field_radius_degrees=9).remarks)
    with pytest.raises(BadInput, match="field radius"):
        impairment(parse("6/6"), field_radius_degrees=200)


def test_fingers_need_their_distance():
    with pytest.raises(BadInput, match="fingers were counted"):
        impairment(parse("CF"))
    assert [impairment(parse(t)).category for t in ("CF 3 m", "CF 1 m", "CF 90 cm")] == [3, 4, 5]
    with pytest.raises(BadInput, match="ICD-11"):
        impairment(parse("6/6"), edition="ICD-9")


def test_substitution_names_its_table_and_refuses_what_it_lacks():
    value = substitute(parse("HM"), "measured (Lange 2009)")
    assert (value.logmar, value.table) == (2.28, "measured (Lange 2009)")
    assert "Graefes" in value.citation
    for text in ("PL", "NPL"):
        with pytest.raises(BadInput, match="Keep the category"):
            substitute(parse(text), "measured (Lange 2009)")
        with pytest.raises(BadInput, match="not an acuity"):
            substitute(parse(text), "by distance (Holladay 1997)")
    with pytest.raises(BadInput, match="metres"):
        substitute(parse("CF"), "by distance (Holladay 1997)")
    with pytest.raises(BadInput, match="one of"):
        substitute(parse("HM"), "a table of my own")


@given(st.floats(-0.3, 1.5), st.floats(-0.3, 1.5))
@settings(max_examples=60)
def test_change_reverses_with_time(before, after):
    forward = change(from_logmar(before), from_logmar(after), method=METHOD)
    back = change(from_logmar(after), from_logmar(before), method=METHOD)
    assert forward.logmar == pytest.approx(-back.logmar)
    assert forward.exceeds_noise == back.exceeds_noise == (abs(before - after) > 0.18 + 1e-6)
    opposite = {Direction.BETTER: Direction.WORSE, Direction.WORSE: Direction.BETTER}
    assert back.direction is opposite.get(forward.direction, Direction.UNCHANGED)


def test_below_the_chart_only_the_order_is_compared():
    worse = change(parse("6/60"), parse("HM"), method=METHOD)
    assert (worse.direction, worse.logmar, worse.limit_logmar) == (Direction.WORSE, None, None)
    assert change(parse("NPL"), parse("PL"), method=METHOD).direction is Direction.BETTER
    assert change(parse("HM"), parse("HM"), method=METHOD).direction is Direction.UNCHANGED


def test_pinhole_says_what_it_does_not_exclude():
    better = pinhole(parse("6/36"), parse("6/9"), method=METHOD)
    assert better.direction is Direction.BETTER
    assert "does not exclude disease" in better.caution
    same = pinhole(parse("6/36"), parse("6/36"), method=METHOD)
    assert "does not exclude an error of focus" in same.caution
    assert pinhole(parse("6/9"), parse("6/36"), method=METHOD).direction is Direction.WORSE
    with pytest.raises(BadInput):
        pinhole(parse("6/9"), parse("6/6"), method="by eye")


@pytest.mark.parametrize(
    "file", ["distance_acuity.yaml", "near_acuity.yaml", "pupils.yaml", "lids_and_orbit.yaml"]
)
def test_every_row_of_the_knowledge_files_has_its_source(file):
    tables = read_tables(file)
    assert sum(len(rows) for rows in tables.values()) > 5
    assert all(row.citation for rows in tables.values() for row in rows)


def test_a_row_without_a_source_is_refused_by_file_table_and_number():
    content = {"tables": {"t": [{"source": "rosser_2001"}, {"source": "nobody_1900"}]}}
    with pytest.raises(BadInput, match="t, row 2"):
        check_tables(content, "x.yaml")
    content["tables"]["t"] = [{"source": "judgement", "mark": "surely"}]
    with pytest.raises(BadInput, match="mark"):
        check_tables(content, "x.yaml")
    rows = check_tables({"tables": {"t": [{"name": "n", "source": "judgement"}]}}, "x")
    assert row_named(rows["t"], "n", "thing")["name"] == "n"
    assert rows["t"][0].get("absent") is None
