"""A wrong row of the data files is refused: file, line, field, what was found and expected."""

from __future__ import annotations

import shutil
from importlib.resources import as_file, files
from pathlib import Path

import pytest

from decussate.anatomy import read_atlas
from decussate.anatomy.pathways import Pathway
from decussate.errors import BadInput
from decussate.localisation.model import compile_model


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with as_file(files("decussate.anatomy") / "data") as data:
        shutil.copytree(data, tmp_path / "data")
    return tmp_path / "data"


def append(file: Path, row: str) -> int:
    """Add a row at the end of a data file; its line number."""
    text = file.read_text(encoding="utf-8").rstrip("\n") + "\n"
    file.write_text(text + row + "\n", encoding="utf-8")
    return text.count("\n") + 1


PLACE = (
    "- {{id: new_place, name: new, region: pons, sides: {sides}, prior: {prior}, source: {source},"
    " causes: {{{cause}: 1}}, parts: [{part}]}}"
)
NINE_PARTS = ", ".join(["{take: [pprf], chance: 0.5}"] * 9)
GOOD = {
    "sides": "each",
    "prior": "1",
    "source": "brazis_2011",
    "cause": "ischaemia",
    "part": "{take: [pprf]}",
}


@pytest.mark.parametrize(
    ("change", "field", "found"),
    [
        ({"part": "{take: [pprg]}"}, "structure", "pprg"),
        ({"part": "{take: [pprf.middle]}"}, "take", "pprf.middle"),
        ({"part": "{take: [pprf], chance: 1.2}"}, "chance", "1.2"),
        ({"part": "{each: [pprf]}"}, "each", "pprf"),
        ({"part": "{grab: [pprf]}"}, "part", "grab"),
        ({"cause": "bad_luck"}, "causes", "bad_luck"),
        ({"source": "nobody_1999"}, "source", "nobody_1999"),
        ({"prior": "0"}, "prior", "0"),
        ({"prior": "often"}, "prior", "often"),
        ({"sides": "right"}, "sides", "right"),
        ({"sides": "midline", "part": "{take: [pprf.right]}"}, "parts", "one side only"),
        ({"part": NINE_PARTS}, "parts", "9 free parts"),
    ],
)
def test_bad_place(folder: Path, change: dict[str, str], field: str, found: str) -> None:
    line = append(folder / "places" / "07_pons.yaml", PLACE.format(**(GOOD | change)))
    with pytest.raises(BadInput) as refused:
        read_atlas(folder)
    message = str(refused.value)
    assert message.startswith(f"07_pons.yaml, line {line} (new_place): {field}: found ")
    assert found in message
    assert "expected" in message


def test_a_good_new_place_is_taken_in(folder: Path) -> None:
    append(folder / "places" / "07_pons.yaml", PLACE.format(**GOOD))
    assert read_atlas(folder).places["new_place"].paired


@pytest.mark.parametrize(
    ("row", "field"),
    [
        ("- {id: p, name: p, source: brazis_2011, chain: [pprf, nowhere]}", "part of a pathway"),
        ("- {id: p, name: p, source: brazis_2011, chain: [p]}", "pathway"),
        ("- {id: pprf, name: p, source: brazis_2011, chain: [mlf]}", "id"),
        ("- {id: p, name: p, source: brazis_2011}", "pathway"),
        ("- {id: p, name: p, sides: midline, source: brazis_2011, chain: [pprf]}", "side"),
        ("- {id: p, name: p, source: brazis_2011, chain: ['pprf over']}", "part of a pathway"),
        ("- {id: p, name: p, source: brazis_2011, chain: [pprf], colour: red}", "field name"),
    ],
)
def test_bad_pathway(folder: Path, row: str, field: str) -> None:
    line = append(folder / "pathways.yaml", row)
    with pytest.raises(BadInput) as refused:
        read_atlas(folder)
    assert str(refused.value).startswith(f"pathways.yaml, line {line} (")
    assert refused.value.field == field


SIGN = (
    "- {{id: s, name: s, sides: each, scale: loss, level: {level}, background: 0.01,"
    " source: judgement}}"
)


@pytest.mark.parametrize(
    "level",
    ['"lost(nothing_known)"', '"lost(pprf"', '"pprf ** 2"', '"open(pprf)"', '"pprf.there"'],
)
def test_bad_level(folder: Path, level: str) -> None:
    line = append(folder / "signs.yaml", SIGN.format(level=level))
    with pytest.raises(BadInput) as refused:
        compile_model(read_atlas(folder))
    assert str(refused.value).startswith(f"signs.yaml, line {line} (s): level: found ")


def test_a_repeated_id_is_refused(folder: Path) -> None:
    append(folder / "causes.yaml", "- {id: ischaemia, name: again}")
    with pytest.raises(BadInput, match=r"causes.yaml, line \d+ \(ischaemia\): id: found"):
        read_atlas(folder)


def test_a_truncated_file_is_refused(folder: Path) -> None:
    file = folder / "causes.yaml"
    file.write_text(file.read_text(encoding="utf-8")[:-40], encoding="utf-8")
    with pytest.raises(
        BadInput, match=r"causes.yaml, line \d+: file: found .* expected valid YAML"
    ):
        read_atlas(folder)


def test_a_structure_with_no_side_word_is_refused(folder: Path) -> None:
    line = append(folder / "structures.csv", "new,new,both,pons,judgement")
    with pytest.raises(BadInput) as refused:
        read_atlas(folder)
    assert str(refused.value).startswith(f"structures.csv, line {line} (new): sides: found 'both'")


def test_every_structure_matters(folder: Path) -> None:
    """Each structure can be taken somewhere, and each is part of a pathway or sign."""
    atlas = read_atlas(folder)
    in_places = {
        p.structure for place in atlas.places.values() for q in place.parts for p in q.pieces
    }
    in_paths = {term.name for path in atlas.pathways.values() for term in path.terms}
    levels = " ".join(s.level + " ".join(s.categories.values()) for s in atlas.signs.values())
    assert set(atlas.structures) - in_places == set()
    assert {
        name for name in atlas.structures if name not in in_paths and name not in levels
    } == set()


def test_every_pathway_reaches_a_sign(folder: Path) -> None:
    atlas = read_atlas(folder)
    levels = " ".join(s.level + " ".join(s.categories.values()) for s in atlas.signs.values())

    def used(path: Pathway) -> bool:
        return path.id in levels or any(
            path.id in {term.name for term in other.terms} and used(other)
            for other in atlas.pathways.values()
        )

    assert [path.id for path in atlas.pathways.values() if not used(path)] == []


def test_the_atlas_is_as_large_as_it_should_be(folder: Path) -> None:
    atlas = read_atlas(folder)
    assert sum(place.kind == "place" for place in atlas.places.values()) >= 150


SCALE = "{{blur: 0.2, states: {states}, grades: {grades}}}"


@pytest.mark.parametrize(
    ("states", "grades", "field", "expected"),
    [
        ("{well: 0, ill: 1}", "{well: {better: 0}}", "grades", "abnormal states"),
        ("{well: 0, ill: 1}", "{sick: {a: 0.5}}", "grades", "abnormal states"),
        ("{well: 0, ill: 1}", "{ill: {b: 1, a: 0.5}}", "grades", "ascending levels"),
        ("{well: 0, ill: 1}", "{ill: {well: 0.5, a: 1}}", "grades", "each name once"),
        ("{well: 0.1, ill: 1}", "{}", "states", "include 0"),
        ("{ill: 1, well: 0}", "{}", "states", "ascending levels"),
    ],
)
def test_a_wrong_scale_is_refused(
    folder: Path, states: str, grades: str, field: str, expected: str
) -> None:
    append(folder / "scales.yaml", "new_scale: " + SCALE.format(states=states, grades=grades))
    with pytest.raises(BadInput) as caught:
        read_atlas(folder)
    assert caught.value.field == field
    assert expected in caught.value.expected
    assert "new_scale" in caught.value.where


@pytest.mark.parametrize("met", ["{b: 0.5, a: 0.5}", "{a: 0.9, b: 0.2}", "{a: 1}"])
def test_shares_met_without_a_lesion_name_every_grade_and_add_up(folder: Path, met: str) -> None:
    scale = SCALE.format(states="{well: 0, ill: 1}", grades="{ill: {a: 0.5, b: 1}}")
    append(folder / "scales.yaml", f"new_scale: {scale[:-1]}, met: {met}}}")
    with pytest.raises(BadInput) as caught:
        read_atlas(folder)
    assert caught.value.field == "met"
    assert "add up to 1" in caught.value.expected
