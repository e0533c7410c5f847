"""The bibliography: each publication once, every entry readable, every mark of doubt kept."""

import re
from collections import Counter
from importlib.resources import files

import pytest
import yaml

from decussate.bibliography import UNSOURCED, check_source, cite, load_sources
from decussate.errors import BadInput

CSL_FIELDS = {
    "type",
    "title",
    "author",
    "container-title",
    "publisher",
    "issued",
    "DOI",
    "URL",
    "note",
}


def test_no_key_is_given_twice():
    text = files("decussate.bibliography").joinpath("sources.yaml").read_text(encoding="utf-8")
    keys = [key.value for key, _ in yaml.compose(text).value]
    assert [key for key, times in Counter(keys).items() if times > 1] == []
    assert len(keys) == len(load_sources())


def test_no_publication_is_entered_under_two_keys():
    places = Counter(
        match.groups()
        for source in load_sources().values()
        if (match := re.match(r"(\d+)(?:\([^)]*\))?:([A-Za-z]?\d+)", str(source.get("note", ""))))
    )
    digital = Counter(
        source["DOI"].lower() for source in load_sources().values() if "DOI" in source
    )
    assert [place for place, times in (places + digital).items() if times > 1] == []
    assert len(places) > 80


def test_every_entry_has_a_title_and_only_fields_of_the_citation_style_language():
    for key, source in load_sources().items():
        assert source.get("title"), key
        assert set(source) <= CSL_FIELDS, key


def test_a_source_is_written_out_in_one_line():
    assert cite("lam_1987") == (
        "Lam BL, Thompson HS, Corbett JJ. The prevalence of simple anisocoria. "
        "American Journal of Ophthalmology 1987;104:69-73"
    )
    assert cite("gimsing_2010").startswith("Gimsing S. Vestibular schwannoma: when to look for it?")
    assert cite("hegemann_2007").endswith("2007; doi:10.1007/s10162-007-0095-6")
    assert {word: cite(word) for word in UNSOURCED} == {word: word for word in UNSOURCED}
    assert all("\n" not in cite(key) and len(cite(key)) > 10 for key in load_sources())


def test_an_unknown_key_is_refused_with_its_place():
    with pytest.raises(BadInput, match=r"pupils.yaml, row 3: source"):
        check_source("nobody_1900", "pupils.yaml, row 3")
    with pytest.raises(BadInput, match="nobody_1900"):
        cite("nobody_1900")
