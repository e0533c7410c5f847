"""Published repeatability of measured tests: the rows of ``data/repeatability.yaml``, checked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType

from decussate.bibliography import check_source
from decussate.data_rows import Row, read_rows
from decussate.errors import BadInput
from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.measures.published_rows import MARKS, read_tables, row_named

__all__ = ["RULES", "Repeatability", "load_repeatability", "read_repeatability"]

RULES = ("difference", "distance acuity", "near acuity", "cover test")
WAYS_OF_WRITING = ("whole line", "letters on the line", "logarithmic")


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Published repeatability of one or several measured tests.

    Attributes
    ----------
    id : str
    tests : tuple of str
        Ids of the tests it holds for.
    unit : str
        Of the figures: that of the tests, but logMAR for near acuity; empty where there is none.
    rule : str
        One of `RULES`: how a change is held against it.
    any_examiner, same_examiner : float or None
        95 percent of repeats differ by no more, whoever measured, or when one examiner did.
    within : float or None
        Repeats differ by this much too often to count it; no 95 percent limit was found.
    methods : Mapping of str to str
        For distance acuity: way of writing to a row of ``measures/data/distance_acuity.yaml``.
    same_circumstances : tuple of str
        Tests whose findings must agree for the figure to apply.
    people, basis : str
        In whom, and how the figure was obtained.
    source, mark : str
        Key of the bibliography, and how far the figure was checked.
    """

    id: str
    tests: tuple[str, ...]
    unit: str
    rule: str
    any_examiner: float | None
    same_examiner: float | None
    within: float | None
    methods: Mapping[str, str]
    same_circumstances: tuple[str, ...]
    people: str
    basis: str
    source: str
    mark: str

    @property
    def known(self) -> bool:
        """Whether any figure was found."""
        figures = (self.any_examiner, self.same_examiner, self.within)
        return self.rule != "difference" or any(figure is not None for figure in figures)


@cache
def load_repeatability() -> Mapping[str, Repeatability]:
    """Return the row of each measured test, from the data of the package.

    Raises
    ------
    BadInput
        For a bad row, naming file, row and field.
    """
    file = files("decussate.comparison").joinpath("data/repeatability.yaml")
    return read_repeatability(read_rows(file), load_catalogue())


def read_repeatability(rows: list[Row], catalogue: Catalogue) -> Mapping[str, Repeatability]:
    """Check rows of repeatability against the catalogue.

    Parameters
    ----------
    rows : list of Row
    catalogue : Catalogue

    Returns
    -------
    Mapping of str to Repeatability
        By test id.

    Raises
    ------
    BadInput
        For a test that is unknown, not measured, in another unit or in two rows; an unknown rule,
        source or mark; or a figure that is not a number above 0.
    """
    by_test: dict[str, Repeatability] = {}
    for row in rows:
        read = _read(row)
        for name in read.tests:
            scale = catalogue.test(name).measurement if name in catalogue else None
            if scale is None:
                raise BadInput("tests", name, "a test that is measured", where=row.where)
            if name in by_test:
                expected = f"a test not yet in row {by_test[name].id}"
                raise BadInput("tests", name, expected, where=row.where)
            if read.known and read.rule == "difference" and read.unit != scale.unit:
                raise BadInput("unit", read.unit, f"{scale.unit!r}, as {name}", where=row.where)
            by_test[name] = read
        for name in read.same_circumstances:
            if name not in catalogue:
                raise BadInput("same_circumstances", name, "the id of a test", where=row.where)
    return MappingProxyType(by_test)


def _read(row: Row) -> Repeatability:
    row.only(
        "id", "tests", "unit", "rule", "any_examiner", "same_examiner", "within", "methods",
        "same_circumstances", "people", "basis", "source", "mark",
    )  # fmt: skip
    rule = row.one_of("rule", RULES, "difference")
    methods = dict(row.get("methods", {}))
    if (rule == "distance acuity") != (tuple(methods) == WAYS_OF_WRITING):
        expected = f"{', '.join(WAYS_OF_WRITING)}, for the rule distance acuity only"
        raise BadInput("methods", methods, expected, where=row.where)
    for method in methods.values():
        row_named(read_tables("distance_acuity.yaml")["repeatability"], method, "method")
    return Repeatability(
        id=row["id"],
        tests=tuple(row["tests"]),
        unit=row.get("unit", ""),
        rule=rule,
        any_examiner=_figure(row, "any_examiner"),
        same_examiner=_figure(row, "same_examiner"),
        within=_figure(row, "within"),
        methods=MappingProxyType(methods),
        same_circumstances=tuple(row.get("same_circumstances", ())),
        people=row.get("people", ""),
        basis=row.get("basis", ""),
        source=check_source(row["source"], row.where),
        mark=row.one_of("mark", MARKS, ""),
    )


def _figure(row: Row, name: str) -> float | None:
    return row.number(name, 1e-6, 1e3) if name in row else None
