"""What is said to the patient, in the languages that have a data file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

from decussate.bibliography import check_source
from decussate.data_rows import Row, read_rows
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue

__all__ = ["NEAR_SENTENCES", "Language", "WordTest", "load_languages", "load_word_tests"]

NEAR_SENTENCES = 8
"""Sentences of a near card, one for each of its print sizes."""


@dataclass(frozen=True, slots=True)
class WordTest:
    """A test whose words can be shown, and the drawing of what to do."""

    test: str
    picture: str


@dataclass(frozen=True, slots=True)
class Language:
    """The patient's words in one language.

    Parameters
    ----------
    key : str
        Language tag, such as ``fr``.
    name, english_name : str
        Its name in itself, and in English.
    direction : str
        ``ltr`` or ``rtl``.
    reviewed_by : str
        The native speaker who read every row; empty when nobody has.
    not_reviewed : str
        Says in the language itself that nobody has.
    near : tuple of str
        Sentences of the near card, largest print first; empty where it shows rings instead.
    say : mapping of str to str
        The words for each test.
    outdated : frozenset of str
        Tests whose words were made from an earlier wording of the catalogue.
    """

    key: str
    name: str
    english_name: str
    direction: str
    reviewed_by: str
    not_reviewed: str
    near: tuple[str, ...]
    say: Mapping[str, str]
    outdated: frozenset[str]


def _folder() -> Traversable:
    return files(__package__) / "data" / "patient_words"


@cache
def load_word_tests() -> tuple[WordTest, ...]:
    """Return the tests whose words can be shown, in the order of the examination.

    Raises
    ------
    BadInput
        For a row that names an unknown test or source.
    """
    found = []
    for row in read_rows(_folder() / "tests.yaml"):
        row.only("id", "picture", "source")
        check_source(row["source"], row.where)
        if row["id"] not in load_catalogue():
            raise BadInput("test", row["id"], "a test of the catalogue", where=row.where)
        found.append(WordTest(row["id"], row["picture"]))
    return tuple(found)


@cache
def load_languages() -> Mapping[str, Language]:
    """Return the languages by key, English first.

    Returns
    -------
    mapping of str to Language
        One for each data file.

    Raises
    ------
    BadInput
        For a file without its first row, a test it lacks or should not have, or words left empty.
    """
    keys = sorted(
        (f.name.removesuffix(".yaml") for f in _folder().iterdir() if f.name.endswith(".yaml")),
        key=lambda key: (key != "en", key),
    )
    return {key: _read(key) for key in keys if key != "tests"}


def _read(key: str) -> Language:
    rows = read_rows(_folder() / f"{key}.yaml")
    head = rows[0]
    if head["id"] != "language":
        raise BadInput("first row", head["id"], "the row `language`", where=head.where)
    head.only(
        "id", "name", "english_name", "direction", "reviewed", "reviewed_by", "not_reviewed", "near"
    )
    if not isinstance(head["reviewed"], bool) or head["reviewed"] != bool(head["reviewed_by"]):
        raise BadInput(
            "reviewed", head["reviewed"], "true with a name, or false without", where=head.where
        )
    near = tuple(head["near"])
    if len(near) not in (0, NEAR_SENTENCES):
        expected = f"{NEAR_SENTENCES} sentences or none"
        raise BadInput("near", f"{len(near)} sentences", expected, where=head.where)
    # The English words are the catalogue's own: its file has the first row only.
    say, outdated = (_catalogue_words(), []) if key == "en" else _words(key, rows[1:])
    return Language(
        key=key,
        name=head["name"],
        english_name=head["english_name"],
        direction=head.one_of("direction", ("ltr", "rtl")),
        reviewed_by=head["reviewed_by"],
        not_reviewed=head["not_reviewed"],
        near=near,
        say=say,
        outdated=frozenset(outdated),
    )


def _catalogue_words() -> dict[str, str]:
    return {
        one.test: " ".join(load_catalogue().test(one.test).say.split()) for one in load_word_tests()
    }


def _words(key: str, rows: list[Row]) -> tuple[dict[str, str], list[str]]:
    current = _catalogue_words()
    say: dict[str, str] = {}
    outdated = []
    for row in rows:
        row.only("id", "english", "say")
        if row["id"] not in current:
            raise BadInput("test", row["id"], "a test of tests.yaml", where=row.where)
        if not str(row["say"]).strip():
            raise BadInput("say", "nothing", "the words for the patient", where=row.where)
        say[row["id"]] = row["say"]
        if row["english"] != current[row["id"]]:
            outdated.append(row["id"])
    lacking = sorted(set(current) - set(say))
    if lacking:
        expected = "every test of tests.yaml"
        raise BadInput("tests", "none for " + ", ".join(lacking), expected, where=f"{key}.yaml")
    return say, outdated
