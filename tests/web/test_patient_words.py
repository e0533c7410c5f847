"""The patient's words: every language whole, marked until a native speaker has read it."""

import re
import unicodedata
from pathlib import Path

import pytest

import decussate.web
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.web import patient_words
from decussate.web.patient_words import load_languages, load_word_tests

ROOM = Path(decussate.web.__file__).parent
FILES = ROOM / "data" / "patient_words"
OTHERS = [key for key in load_languages() if key != "en"]
# Unicode scripts of the languages (Unicode Standard, property Script).
SCRIPTS = {"ar": "ARABIC"}


def test_there_are_at_least_twenty_five_tests_and_five_languages_beside_english():
    assert len(load_word_tests()) >= 25
    assert len(OTHERS) >= 5
    assert next(iter(load_languages())) == "en"


def test_english_is_word_for_word_the_catalogue():
    for test, words in load_languages()["en"].say.items():
        assert words == " ".join(load_catalogue().test(test).say.split())


@pytest.mark.parametrize("key", OTHERS)
def test_a_language_is_whole_current_and_in_its_own_script(key):
    language = load_languages()[key]
    english = load_languages()["en"].say
    assert set(language.say) == set(english)
    assert language.outdated == frozenset()
    for test, words in language.say.items():
        assert words != english[test]
        letters = [unicodedata.name(c).split()[0] for c in words if c.isalpha()]
        assert set(letters) == {SCRIPTS.get(key, "LATIN")}, (test, words)


def test_arabic_runs_from_right_to_left_and_the_others_do_not():
    directions = {key: one.direction for key, one in load_languages().items()}
    assert directions.pop("ar") == "rtl"
    assert set(directions.values()) == {"ltr"}


def test_every_file_is_marked_unreviewed_until_someone_is_named():
    for key, language in load_languages().items():
        text = (FILES / f"{key}.yaml").read_text()
        assert ("reviewed: false" in text) == (language.reviewed_by == "")
        assert language.not_reviewed


def test_every_drawing_named_is_drawn():
    drawn = set(
        re.findall(r'id="picture-(\w+)"', (ROOM / "templates/patient_pictures.html").read_text())
    )
    assert {one.picture for one in load_word_tests()} == drawn


@pytest.fixture
def broken(tmp_path, monkeypatch):
    """Load one language after a change to its file."""

    def load(old: str, new: str):
        for file in FILES.iterdir():
            (tmp_path / file.name).write_text(file.read_text())
        text = (tmp_path / "fr.yaml").read_text()
        assert old in text
        (tmp_path / "fr.yaml").write_text(text.replace(old, new, 1))
        monkeypatch.setattr(patient_words, "_folder", lambda: tmp_path)
        return load_languages.__wrapped__()

    return load


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ("reviewed: false", "reviewed: true", "true with a name"),
        ("direction: ltr", "direction: up", "ltr, rtl"),
        ("- id: cough", "- id: sneeze", "a test of tests.yaml"),
        ('    - "Le chat dort"\n', "", "8 sentences"),
        ("- id: language", "- id: langue", "the row `language`"),
    ],
)
def test_a_faulty_file_is_refused_with_its_place(broken, old, new, found):
    with pytest.raises(BadInput, match=re.escape(found)) as refused:
        broken(old, new)
    assert "fr.yaml" in refused.value.where


def test_a_changed_wording_of_the_catalogue_is_noticed(broken):
    languages = broken('english: "Give me one strong cough."', 'english: "Cough."')
    assert languages["fr"].outdated == {"cough"}


def test_a_named_reviewer_takes_the_mark_away(broken):
    languages = broken(
        'reviewed: false\n  reviewed_by: ""', "reviewed: true\n  reviewed_by: A. Martin (invented)"
    )
    assert languages["fr"].reviewed_by == "A. Martin (invented)"
