"""Where a finger, pin or light lies in the visual field of one eye, in degrees from fixation.

Every position in this and the neighbouring modules is *as the patient sees it*: ``x`` grows to
the patient's right, ``y`` upward, and a meridian is counted anticlockwise from the patient's right
(0 right, 90 up, 180 left, 270 down). The temporal field of the right eye is therefore to the right
of the chart, that of the left eye to the left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from decussate.errors import BadInput
from decussate.sides import Side

__all__ = [
    "FieldPosition",
    "arc_offset_mm",
    "chart_exaggeration",
    "field_position",
    "flat_offset_mm",
    "growth_with_distance",
    "shared_target_deg",
    "target_diameter_deg",
    "temporal_sign",
]

_NEAREST_MM, _FARTHEST_MM = 50.0, 10_000.0


@dataclass(frozen=True, slots=True)
class FieldPosition:
    """A direction from fixation, as the patient sees it.

    Parameters
    ----------
    meridian_deg : float
        Anticlockwise from the patient's right, 0 to under 360 degrees.
    eccentricity_deg : float
        Angle from fixation, 0 to 120 degrees (the temporal field passes 90).
    """

    meridian_deg: float
    eccentricity_deg: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.eccentricity_deg <= 120.0:
            raise BadInput(
                "eccentricity",
                self.eccentricity_deg,
                "0 to 120 degrees from fixation",
                hint="Was this a distance in mm?",
            )
        if not math.isfinite(self.meridian_deg):
            raise BadInput("meridian", self.meridian_deg, "an angle in degrees")
        object.__setattr__(self, "meridian_deg", self.meridian_deg % 360.0)

    @classmethod
    def from_chart(cls, x_deg: float, y_deg: float) -> FieldPosition:
        """Read a position from the chart, where the distance from the middle is the eccentricity.

        This is the azimuthal equidistant chart of perimetry, with the axes of the DICOM visual
        field modules: right and up are positive.
        """
        if not (math.isfinite(x_deg) and math.isfinite(y_deg)):
            raise BadInput("field position", (x_deg, y_deg), "two numbers, in degrees")
        return cls(math.degrees(math.atan2(y_deg, x_deg)), math.hypot(x_deg, y_deg))

    @property
    def x_deg(self) -> float:
        """Chart position to the patient's right (negative: left), in degrees."""
        return self.eccentricity_deg * math.cos(math.radians(self.meridian_deg))

    @property
    def y_deg(self) -> float:
        """Chart position upward (negative: down), in degrees."""
        return self.eccentricity_deg * math.sin(math.radians(self.meridian_deg))

    def mirrored(self) -> FieldPosition:
        """Give the same position with the patient's right and left exchanged."""
        return FieldPosition(180.0 - self.meridian_deg, self.eccentricity_deg)


def temporal_sign(eye: Side) -> int:
    """Sign of ``x`` in the temporal field: +1 for the right eye, -1 for the left.

    Parameters
    ----------
    eye : Side

    Returns
    -------
    int
    """
    return 1 if eye is Side.RIGHT else -1


def field_position(right_mm: float, up_mm: float, forward_mm: float) -> FieldPosition:
    """Direction of a target from its place in space, measured from the tested eye.

    Parameters
    ----------
    right_mm, up_mm : float
        Distance of the target to the patient's right of, and above, the line from the tested eye
        to the fixation point, in millimetres (left and down are negative). Measured from the eye
        under test: from the bridge of the nose the answer is wrong by about 30 mm.
    forward_mm : float
        Distance in front of the eye along that line, in millimetres. Zero or negative when the
        target is beside or behind the eye, as a finger brought in from the temporal side may be.

    Returns
    -------
    FieldPosition

    Raises
    ------
    BadInput
        If the target is nearer than 50 mm or farther than 10 m, or more than 120 degrees out.

    References
    ----------
    Plane and spherical trigonometry: eccentricity = atan2(hypot(right, up), forward). On a flat
    screen this is the tangent rule of the tangent screen.
    """
    distance = math.hypot(right_mm, up_mm, forward_mm)
    if not _NEAREST_MM <= distance <= _FARTHEST_MM:
        raise BadInput(
            "distance of the target from the eye",
            distance,
            "50 to 10000 mm",
            hint="Were these centimetres or metres? Give millimetres.",
        )
    lateral = math.hypot(right_mm, up_mm)
    return FieldPosition(
        math.degrees(math.atan2(up_mm, right_mm)) if lateral > 0.0 else 0.0,
        math.degrees(math.atan2(lateral, forward_mm)),
    )


def flat_offset_mm(eccentricity_deg: float, distance_mm: float) -> float:
    """Distance from fixation on a flat screen: ``distance * tan(eccentricity)``.

    Parameters
    ----------
    eccentricity_deg : float
        0 to under 90 degrees.
    distance_mm : float
        From eye to screen, in millimetres.

    Returns
    -------
    float
        In millimetres.

    Raises
    ------
    BadInput
        Outside those limits.
    """
    _check_distance(distance_mm)
    if not 0.0 <= eccentricity_deg < 90.0:
        raise BadInput(
            "eccentricity on a flat screen",
            eccentricity_deg,
            "0 to under 90 degrees",
            hint="A flat screen cannot reach 90 degrees.",
        )
    return distance_mm * math.tan(math.radians(eccentricity_deg))


def arc_offset_mm(eccentricity_deg: float, radius_mm: float) -> float:
    """Distance from fixation along the arc of a perimeter: ``radius * angle``.

    Parameters
    ----------
    eccentricity_deg : float
        0 to 120 degrees.
    radius_mm : float
        Radius of the arc, in millimetres.

    Returns
    -------
    float
        In millimetres.
    """
    _check_distance(radius_mm)
    return radius_mm * math.radians(FieldPosition(0.0, eccentricity_deg).eccentricity_deg)


def target_diameter_deg(diameter_mm: float, distance_mm: float) -> float:
    """Angle subtended by a round target facing the eye: ``2 atan(diameter / 2 distance)``.

    Parameters
    ----------
    diameter_mm : float
        0.1 to 300 mm.
    distance_mm : float
        50 to 10000 mm.

    Returns
    -------
    float
        In degrees.

    Raises
    ------
    BadInput
        If the diameter is not 0.1 to 300 mm, or the distance not 50 to 10000 mm.
    """
    _check_distance(distance_mm)
    if not 0.1 <= diameter_mm <= 300.0:
        raise BadInput("target diameter", diameter_mm, "0.1 to 300 mm")
    return math.degrees(2.0 * math.atan(diameter_mm / (2.0 * distance_mm)))


def shared_target_deg(
    offset_mm: float, to_patient_mm: float, to_examiner_mm: float
) -> tuple[float, float]:
    """Eccentricity of one target for the patient and for the examiner who faces them.

    The comparison with the examiner's own field is fair only when the target is held midway.

    Parameters
    ----------
    offset_mm : float
        Distance of the target from the line joining the two eyes, in millimetres, 0 or more.
    to_patient_mm, to_examiner_mm : float
        Distances along that line from the target's plane to each eye, in millimetres.

    Returns
    -------
    patient_deg, examiner_deg : float
        Equal when the plane is midway.
    """
    if not 0.0 <= offset_mm <= _FARTHEST_MM:
        raise BadInput("offset of the target", offset_mm, "0 mm or more")
    _check_distance(to_patient_mm)
    _check_distance(to_examiner_mm)
    return (
        math.degrees(math.atan2(offset_mm, to_patient_mm)),
        math.degrees(math.atan2(offset_mm, to_examiner_mm)),
    )


def growth_with_distance(
    near_size_mm: float, near_distance_mm: float, far_size_mm: float, far_distance_mm: float
) -> float:
    """How far a field on a flat screen grew with distance, as a part of what geometry asks.

    Parameters
    ----------
    near_size_mm, far_size_mm : float
        Width of the seen field at the two distances, in millimetres, target enlarged likewise.
    near_distance_mm, far_distance_mm : float
        Nearer and farther distance of the screen, in millimetres.

    Returns
    -------
    float
        1 when the angle stays the same, as geometry asks; the ratio of the distances (0.5 when the
        distance is doubled) when the field stays the same in millimetres, a tubular field.

    References
    ----------
    Similar triangles; the tubular field as a sign is common practice and does not rule out disease.
    """
    _check_distance(near_distance_mm)
    _check_distance(far_distance_mm)
    if not far_distance_mm > near_distance_mm:
        raise BadInput(
            "farther distance", far_distance_mm, f"more than {near_distance_mm:g} mm, the nearer"
        )
    for name, size in (("near", near_size_mm), ("far", far_size_mm)):
        if not 0.0 < size <= 20_000.0:
            raise BadInput(f"{name} size of the field", size, "above 0, up to 20000 mm")
    return (far_size_mm / far_distance_mm) / (near_size_mm / near_distance_mm)


def chart_exaggeration(eccentricity_deg: float) -> float:
    """How many times too large the chart draws areas at an eccentricity: ``r / sin r``.

    Parameters
    ----------
    eccentricity_deg : float
        0 to 120 degrees.

    Returns
    -------
    float
        Area on the chart over area on the sphere, 1 at fixation.

    References
    ----------
    Cartography in perimetry, Klin Monatsbl Augenheilkd, doi:10.1055/s-2008-1045939: tangential
    enlargement +5 % at 30, +20 % at 60 and +57 % at 90 degrees.
    """
    r = math.radians(FieldPosition(0.0, eccentricity_deg).eccentricity_deg)
    return r / math.sin(r) if r > 0.0 else 1.0


def _check_distance(distance_mm: float) -> None:
    if not _NEAREST_MM <= distance_mm <= _FARTHEST_MM:
        raise BadInput(
            "distance",
            distance_mm,
            "50 to 10000 mm",
            hint="Were these centimetres or metres? Give millimetres.",
        )
