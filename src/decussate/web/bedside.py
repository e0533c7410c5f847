"""How the bedside page sets out the catalogue: parts in order, each with its usual tests."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files

from decussate.bibliography import check_source
from decussate.data_rows import read_rows
from decussate.errors import BadInput
from decussate.examination.catalogue import Catalogue, Test, load_catalogue

__all__ = [
    "ChanceWord",
    "Part",
    "ShortPath",
    "chance_words",
    "common_reasons",
    "load_parts",
    "load_paths",
    "part_of",
]


@dataclass(frozen=True, slots=True)
class Part:
    """One collapsible part of the page.

    Parameters
    ----------
    key, title : str
        Its name in addresses, and on the page.
    routine : tuple of Test
        Tests of a usual examination, in order; the ones that one touch records as normal.
    further : tuple of Test
        The other tests of the part.
    sweep : str
        The word on that touch: ``normal`` or ``usual``.
    """

    key: str
    title: str
    routine: tuple[Test, ...]
    further: tuple[Test, ...]
    sweep: str

    @property
    def tests(self) -> tuple[Test, ...]:
        """All tests of the part, in order."""
        return self.routine + self.further


@cache
def load_parts(path: str = "") -> tuple[Part, ...]:
    """Return the parts of the page; together they hold every test of the catalogue once.

    Parameters
    ----------
    path : str
        Key of a short path; its tests are then the routine ones. Empty for the whole examination.

    Returns
    -------
    tuple of Part
        In the order of the examination; on a short path, the parts it asks for come first.

    Raises
    ------
    BadInput
        For a row that names an unknown test, a test of another nerve, or one named before.
    """
    if path:
        return _shortened(load_parts(), load_paths()[path])
    catalogue = load_catalogue()
    rows = list(read_rows(files(__package__) / "data" / "bedside.yaml"))
    named: set[str] = set()
    picked: dict[str, tuple[list[Test], list[Test]]] = {}
    last_part: dict[str, str] = {}
    for row in rows:
        row.only("id", "title", "nerve", "sweep", "routine", "further", "source")
        check_source(row["source"], row.where)
        lists = tuple(
            [_pick(catalogue, name, row["nerve"], named, row.where) for name in row.get(kind, ())]
            for kind in ("routine", "further")
        )
        picked[row["id"]] = (lists[0], lists[1])
        last_part[row["nerve"]] = row["id"]
    for test in catalogue:
        if test.id in named or test.story is not None:
            continue
        if test.nerve not in last_part:
            raise BadInput(
                "nerve", test.nerve, "a nerve that has a part in bedside.yaml", where=test.id
            )
        picked[last_part[test.nerve]][1].append(test)
    return tuple(
        Part(
            row["id"],
            row["title"],
            tuple(picked[row["id"]][0]),
            tuple(picked[row["id"]][1]),
            row.get("sweep", "normal"),
        )
        for row in rows
    )


def _pick(catalogue: Catalogue, name: str, nerve: str, named: set[str], where: str) -> Test:
    if name not in catalogue or name in named:
        raise BadInput("test", name, "a test of the catalogue not named before", where=where)
    test = catalogue.test(name)
    if test.nerve != nerve or test.story is not None:
        raise BadInput("test", name, f"a test of the nerve {nerve}", where=where)
    named.add(name)
    return test


@dataclass(frozen=True, slots=True)
class ShortPath:
    """The tests that a complaint asks for first.

    Parameters
    ----------
    key, title : str
        Its name in the record, and on the page.
    tests : frozenset of str
        Ids of its tests.
    """

    key: str
    title: str
    tests: frozenset[str]


@cache
def load_paths() -> dict[str, ShortPath]:
    """Return the short paths by key.

    Returns
    -------
    dict of str to ShortPath
        In the order they are offered.

    Raises
    ------
    BadInput
        For a row that names an unknown test, or one twice.
    """
    paths = {}
    for row in read_rows(files(__package__) / "data" / "paths.yaml"):
        row.only("id", "title", "tests", "source")
        check_source(row["source"], row.where)
        tests = frozenset(row["tests"])
        unknown = sorted(tests - set(part_of()))
        if unknown or len(tests) != len(row["tests"]):
            found = ", ".join(unknown) or "a test named twice"
            raise BadInput("tests", found, "tests of the page, each once", where=row.where)
        paths[row["id"]] = ShortPath(row["id"], row["title"], tests)
    return paths


def _shortened(parts: tuple[Part, ...], path: ShortPath) -> tuple[Part, ...]:
    laid_out = [
        replace(
            part,
            routine=tuple(test for test in part.tests if test.id in path.tests),
            further=tuple(test for test in part.tests if test.id not in path.tests),
        )
        for part in parts
    ]
    return tuple(sorted(laid_out, key=lambda part: not part.routine))


@cache
def part_of() -> dict[str, Part]:
    """Return the part in which each test stands, by test id.

    Returns
    -------
    dict of str to Part
        One item for each test on the page.
    """
    return {test.id: part for part in load_parts() for test in part.tests}


@dataclass(frozen=True, slots=True)
class ChanceWord:
    """Words for probabilities from `start` up to the next word's.

    Parameters
    ----------
    start : float
        Least probability it names.
    words : str
        The words.
    source : str
        Where the bounds come from.
    """

    start: float
    words: str
    source: str


@cache
def chance_words() -> tuple[ChanceWord, ...]:
    """Return the words for probabilities, from the most to the least likely.

    Returns
    -------
    tuple of ChanceWord
        The last begins at 0.

    Raises
    ------
    BadInput
        For a bad row.

    References
    ----------
    Mastrandrea MD et al. Guidance Note for Lead Authors of the IPCC Fifth Assessment Report on
    Consistent Treatment of Uncertainties. IPCC 2010, table 1.
    """
    words = []
    for row in read_rows(files(__package__) / "data" / "chance_words.yaml"):
        row.only("id", "from", "words", "source")
        source = check_source(row["source"], row.where)
        words.append(ChanceWord(row.number("from", 0.0, 1.0), row["words"], source))
    return tuple(words)


@cache
def common_reasons(purpose: str) -> tuple[str, ...]:
    """Return the usual reasons offered by touch.

    Parameters
    ----------
    purpose : {"reason", "although"}
        Why a test could not be done, or why one held back was done all the same.

    Returns
    -------
    tuple of str
        In words, as they are recorded.

    Raises
    ------
    BadInput
        For a bad row.
    """
    words = []
    for row in read_rows(files(__package__) / "data" / "reasons.yaml"):
        row.only("id", "for", "words", "source")
        check_source(row["source"], row.where)
        if row["for"] not in ("reason", "although"):
            raise BadInput("for", row["for"], "reason or although", where=row.where)
        if row["for"] == purpose:
            words.append(str(row["words"]))
    return tuple(words)
