"""Optotypes as outlines: letters on the 5 by 5 grid, and the Landolt ring in eight positions.

References
----------
.. [1] ISO 8596, Visual acuity testing: the Landolt ring subtends 5 minutes of arc at acuity 1.0,
with
   stroke and gap of 1 minute, in eight positions.
.. [2] Sloan LL. New test charts for the measurement of visual acuity. Am J Ophthalmol
1959;48:807-813
   (letters as tall as wide, stroke one fifth of the height).
"""

from __future__ import annotations

import math
from enum import StrEnum
from functools import cache
from importlib.resources import files
from typing import Any

import yaml

from decussate.errors import BadInput

__all__ = ["Gap", "letter_sets", "optotype_height_mm", "optotype_svg"]


class Gap(StrEnum):
    """Where the gap of a Landolt ring points, as the reader sees it."""

    RIGHT = "right"
    DOWN_RIGHT = "down and right"
    DOWN = "down"
    DOWN_LEFT = "down and left"
    LEFT = "left"
    UP_LEFT = "up and left"
    UP = "up"
    UP_RIGHT = "up and right"

    @property
    def degrees_clockwise(self) -> int:
        """Turn from pointing right, degrees clockwise."""
        return 45 * tuple(Gap).index(self)

    @property
    def oblique(self) -> bool:
        """Whether it is one of the four slanting positions."""
        return self.degrees_clockwise % 90 != 0


@cache
def _drawings() -> dict[str, Any]:
    text = files("decussate.documents").joinpath("data", "optotypes.yaml").read_text("utf-8")
    drawings: dict[str, Any] = yaml.safe_load(text)
    return drawings


def letter_sets() -> dict[str, Any]:
    """Give the sets of letters a chart may use, by name, with their source."""
    sets: dict[str, Any] = _drawings()["sets"]
    return sets


def optotype_height_mm(logmar: float, distance_m: float) -> float:
    """Find the height of an optotype that subtends 5 times the angle of resolution.

    Parameters
    ----------
    logmar : float
    distance_m : float
        Test distance, metres.

    Returns
    -------
    float
        Millimetres: 2 d tan(2.5 minutes of arc x 10^logMAR) [1]_. The stroke is one fifth of it.

    Raises
    ------
    BadInput
        When the distance is not 0.1 to 10 m.
    """
    if not 0.1 <= distance_m <= 10.0:
        hint = "Is it in centimetres or feet?"
        raise BadInput("test distance", distance_m, "0.1 to 10 metres", hint=hint)
    return 2000.0 * distance_m * math.tan(math.radians(2.5 / 60.0) * 10.0**logmar)


def optotype_svg(symbol: str | Gap, x_mm: float, y_mm: float, height_mm: float) -> str:
    """Draw one optotype as SVG elements, in millimetres.

    Parameters
    ----------
    symbol : str or Gap
        A letter, or the position of a ring's gap.
    x_mm, y_mm : float
        Left and top of the square it fills.
    height_mm : float
        Side of that square.

    Returns
    -------
    str
        A ``g`` element, to be placed in an SVG whose unit is the millimetre.

    Raises
    ------
    BadInput
        When the letter has no drawing.
    """
    turn = ""
    if isinstance(symbol, Gap):
        turn = f" rotate({symbol.degrees_clockwise} 2.5 2.5)"
        # The letter C of this set is the ring with its gap to the right.
        symbol = "C"
    strokes = _drawings()["letters"].get(symbol)
    if strokes is None:
        raise BadInput("letter", symbol, "one of " + " ".join(_drawings()["letters"]))
    paths = "".join(f'<path d="{stroke}"/>' for stroke in strokes)
    move = f"translate({x_mm:.4f} {y_mm:.4f}) scale({height_mm / 5.0:.6f})"
    return f'<g transform="{move}{turn}">{paths}</g>'
