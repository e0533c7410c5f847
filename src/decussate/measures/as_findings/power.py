"""Power as findings: grades of muscles, and the side to which a midline part moves."""

from __future__ import annotations

from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Finding
from decussate.measures.as_findings.writing import measured, stated
from decussate.measures.power import MrcGrade
from decussate.sides import Side

__all__ = ["deviation_findings", "power_findings"]

_UNIT = "MRC"
_MIDLINE = {
    "jaw on opening": "jaw_opening",
    "tongue on protrusion": "tongue_protrusion",
    "uvula": "uvula_movement",
}


def power_findings(test: str, grade: MrcGrade, side: Side | None = None) -> tuple[Finding, ...]:
    """Write the power of a muscle or limb.

    Parameters
    ----------
    test : str
        A test measured in MRC grades (``sternomastoid_power``, ``arm_power`` ...).
    grade : MrcGrade
    side : Side, optional
        The side of the muscle, for a test of each side.

    Returns
    -------
    tuple of Finding
        By the bands of the catalogue. Grades between (``4-``, ``4+``) are kept in the comment and
        measured as the grade they belong to.

    Raises
    ------
    BadInput
        If the test is not one of power.
    """
    catalogue = load_catalogue()
    scale = catalogue.test(test).measurement
    if scale is None or scale.unit != _UNIT:
        graded = (t.id for t in catalogue if t.measurement and t.measurement.unit == _UNIT)
        raise BadInput("test of power", test, "one of " + ", ".join(graded))
    between = f"grade {grade.value}" if len(grade.value) > 1 else None
    return (measured(test, float(grade.value[0]), side, comment=between),)


def deviation_findings(part: str, towards: Side | None) -> tuple[Finding, ...]:
    """Write the side to which a midline part moves.

    Parameters
    ----------
    part : str
        ``"jaw on opening"``, ``"tongue on protrusion"`` or ``"uvula"``.
    towards : Side or None
        None when it stays in the midline.

    Returns
    -------
    tuple of Finding

    Raises
    ------
    BadInput
        If the part is not known.
    """
    if part not in _MIDLINE:
        raise BadInput("midline part", part, "one of " + "; ".join(_MIDLINE))
    return (stated(_MIDLINE[part], towards.value if towards else "normal"),)
