"""Writing one finding of the catalogue from one result: the response its own bands or rows give."""

from __future__ import annotations

from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.checking import AS_WRITTEN, measured_response
from decussate.examination.record import COULD_NOT_BE_TESTED, Finding, MeasuredValue
from decussate.measures.published_rows import PublishedRow, read_tables, row_named
from decussate.sides import Side

__all__ = [
    "could_not",
    "deviation_limit_pd",
    "graded",
    "measured",
    "response_to",
    "rows",
    "stated",
    "within_scale",
]

_FILE = "as_findings.yaml"


def rows(table: str) -> tuple[PublishedRow, ...]:
    """Give the rows of a table of ``data/as_findings.yaml``.

    Parameters
    ----------
    table : str

    Returns
    -------
    tuple of PublishedRow
    """
    return read_tables(_FILE)[table]


def measured(
    test: str,
    value: float | str,
    side: Side | None = None,
    *,
    technique: str | None = None,
    comment: str | None = None,
) -> Finding:
    """Write a finding whose response follows from the value, by the bands of the catalogue.

    Parameters
    ----------
    test : str
        Id of a test whose measurement has bands.
    value : float or str
        In the unit of the test; ``"k/n"``, or text in the clinician's notation where the test
        takes it.
    side : Side, optional
    technique, comment : str, optional

    Returns
    -------
    Finding

    Raises
    ------
    BadInput
        If the value lies outside the scale of the test, or the test has no bands.
    """
    found = _value(test, value)
    response = measured_response(load_catalogue().test(test), found)
    if response is None:
        raise BadInput("test", test, "a test whose measurement has bands")
    return stated(test, response, side, value=value, technique=technique, comment=comment)


def stated(
    test: str,
    response: str,
    side: Side | None = None,
    *,
    value: float | str | None = None,
    technique: str | None = None,
    comment: str | None = None,
) -> Finding:
    """Write a finding whose response is known, with the measured value where there is one.

    Parameters
    ----------
    test : str
        Id of a test.
    response : str
        A code of that test.
    side : Side, optional
    value : float or str, optional
        In the unit of the test.
    technique, comment : str, optional

    Returns
    -------
    Finding

    Raises
    ------
    BadInput
        If the test has no such response.
    """
    load_catalogue().test(test).state_of(response)
    return Finding(
        test=test,
        side=side,
        response=response,
        measurement=None if value is None else _value(test, value),
        technique=technique or None,
        comment=comment or None,
    )


def graded(test: str, scale: str, seen: object, side: Side | None = None) -> Finding:
    """Write a finding from a graded result, by the rows of ``data/as_findings.yaml``.

    Parameters
    ----------
    test : str
        Id of a test.
    scale : str
        Name of the scale in the data file.
    seen : object
        The grade; its text is looked up.
    side : Side, optional

    Returns
    -------
    Finding

    Raises
    ------
    BadInput
        If the scale has no such grade.
    """
    return stated(test, response_to(scale, seen), side)


def could_not(test: str, reason: str, side: Side | None = None) -> Finding:
    """Write that a test gave no answer, and why.

    Parameters
    ----------
    test : str
        Id of a test.
    reason : str
    side : Side, optional

    Returns
    -------
    Finding
    """
    load_catalogue().test(test)
    return Finding(test=test, side=side, response=COULD_NOT_BE_TESTED, reason=reason)


def response_to(scale: str, seen: object) -> str:
    """Give the response a graded result stands for.

    Parameters
    ----------
    scale : str
        Name of the scale in ``data/as_findings.yaml``.
    seen : object
        The grade; its text is looked up.

    Returns
    -------
    str
        Code of the response.

    Raises
    ------
    BadInput
        If the scale has no such grade.
    """
    known = [row for row in rows("responses") if row["scale"] == scale]
    for row in known:
        if str(row["seen"]) == str(seen):
            return str(row["response"])
    raise BadInput(scale, str(seen), "one of " + "; ".join(str(row["seen"]) for row in known))


def within_scale(test: str, value: float) -> float:
    """Bring a value into the scale of a test that stops short of what can be measured.

    Parameters
    ----------
    test : str
        Id of a test.
    value : float
        In the unit of the test.

    Returns
    -------
    float
        The nearest value of the scale.
    """
    scale = load_catalogue().test(test).measurement
    return value if scale is None else min(max(value, scale.low), scale.high)


def deviation_limit_pd(name: str) -> float:
    """Give the smallest deviation that is called one.

    Parameters
    ----------
    name : str
        ``"horizontal"`` or ``"vertical"``.

    Returns
    -------
    float
        Prism dioptres.
    """
    return float(row_named(rows("deviation_limits"), name, "deviation")["prism_dioptres"])


def _value(test: str, value: float | str) -> MeasuredValue:
    scale = load_catalogue().test(test).measurement
    if scale is None:
        raise BadInput("test", test, "a test that takes a measurement")
    written = isinstance(value, str) and scale.kind == "text"
    return MeasuredValue(
        value=value if isinstance(value, str) else float(value),
        unit=AS_WRITTEN if written else scale.unit,
    )
