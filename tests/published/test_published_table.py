"""The table of checks in docs is what the checks give now, and counts each publication once."""

import importlib.util
import sys
from pathlib import Path

import pytest
from published_check import PublishedCheck

TOOL = Path(__file__).parents[2] / "tools" / "published_checks.py"


@pytest.fixture(scope="module")
def tool():
    spec = importlib.util.spec_from_file_location("published_checks", TOOL)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def lines(tool):
    return [tool.run(check) for check in tool.collect()]


@pytest.fixture(scope="module")
def known(tool):
    return tool.yaml.safe_load(tool.PUBLICATIONS.read_text(encoding="utf-8"))


def row(what="a value", source="Nobody 1900;1:1", expected=1.0, obtained=1.0, **more):
    return PublishedCheck("a subject", what, source, expected, lambda: obtained, **more)


def test_the_table_is_up_to_date(tool, lines):
    written = tool.TABLE.read_text(encoding="utf-8")
    assert written == tool.table(lines), "run: python tools/published_checks.py"


def test_enough_checks_from_enough_publications_hold(tool, lines, known):
    assert all(line.holds for line in lines)
    assert len(lines) >= 250
    named = {
        one.name
        for line in lines
        if not line.check.mark
        for one in tool.publications_behind(line.check.source, known)
        if one.kind == "publication"
    }
    assert len(named) >= 40


def test_every_source_is_recognised_and_every_row_of_the_list_is_used(tool, lines, known):
    found = [tool.publications_behind(line.check.source, known) for line in lines]
    unrecognised = [line.check.source for line, one in zip(lines, found, strict=True) if not one]
    assert unrecognised == [], "add a row to tools/publications.yaml"
    used = {one.name for publications in found for one in publications}
    assert {entry["name"] for entry in known} - used == set()


@pytest.mark.parametrize(
    "sources",
    [
        ("Kerr NM et al. Neurology 2010;74:1184-1190 (301 eyes)", "Kerr 2010, Neurology 74:1184"),
        ("Blanks et al., Acta Otolaryngol 1975;80:185", "Blanks 1975;80:185, worked out by hand"),
        ("NICE NG98 (2018) and QS185", "NICE NG98, Hearing loss in adults, 2018"),
        ("Someone 2007, PMID 18090558", "Relative defect, PMID 18090558"),
    ],
)
def test_a_publication_is_one_however_it_is_written(tool, known, sources):
    assert len({one for s in sources for one in tool.publications_behind(s, known)}) == 1


def test_two_publications_in_one_source_are_two_and_a_definition_is_none(tool, known):
    two = tool.publications_behind("First 2001;10:20; Second 2002;30:40", known)
    assert [one.name for one in two] == ["10:20", "30:40"]
    assert tool.publications_behind("a remark", known) == []
    (one,) = tool.publications_behind("definition of optical density", known)
    assert one.kind == "definition"


def test_a_changed_value_and_a_failing_check_show_in_the_table(tool):
    before = tool.table([tool.run(row())])
    assert tool.table([tool.run(row(obtained=1.5, tolerance=1.0))]) != before
    failing = tool.table([tool.run(row(obtained=2.0))])
    assert "| that do not hold | 1 |" in failing
    assert "**2**" in failing


def test_values_are_shown_to_four_figures_and_never_break_a_cell(tool):
    assert tool.shown(3.14159265) == "3.142"
    assert tool.shown(-0.0) == "0"
    assert tool.shown(True) == "True"
    assert tool.shown((1.0, "a|b", (0.125,))) == "1, a|b, 0.125"
    assert "a\\|b" in tool.table([tool.run(row(what="a|b"))])
