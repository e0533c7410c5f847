"""Measure the painted outlines of a PDF page, in millimetres, whatever laid them out."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pdfplumber
import pypdfium2
from shapely import Polygon, unary_union

MM = 25.4 / 72.0
_STEPS = 24


@dataclass(frozen=True)
class Outline:
    """A closed path: its corners, and points along it."""

    corners: tuple[tuple[float, float], ...]
    points: np.ndarray
    grey: float

    @property
    def box(self):
        return (*self.points.min(axis=0), *self.points.max(axis=0))


@dataclass(frozen=True)
class Mark:
    """Outlines that touch or overlap: one printed symbol."""

    outlines: tuple[Outline, ...]

    @property
    def box(self):
        boxes = np.array([outline.box for outline in self.outlines])
        return (*boxes[:, :2].min(axis=0), *boxes[:, 2:].max(axis=0))

    @property
    def width(self):
        return self.box[2] - self.box[0]

    @property
    def height(self):
        return self.box[3] - self.box[1]

    @property
    def filled(self):
        """The black area: an outline wholly inside another of the mark is a hole in it."""
        shapes = sorted((Polygon(o.points) for o in self.outlines), key=lambda s: -s.area)
        holes = [s for i, s in enumerate(shapes) if any(b.contains(s) for b in shapes[:i])]
        return unary_union([s for s in shapes if s not in holes]).difference(unary_union(holes))


def marks(pdf: bytes) -> list[list[Mark]]:
    """The printed symbols of every page, text and lines left out."""
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        return [_group([_outline(o) for o in (*p.curves, *p.rects)]) for p in document.pages]


def lines_mm(pdf: bytes) -> list[list[float]]:
    """Length of every straight line of every page."""
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        return [
            [math.hypot(o["x1"] - o["x0"], o["bottom"] - o["top"]) * MM for o in page.lines]
            for page in document.pages
        ]


def words(pdf: bytes) -> str:
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        return " ".join(" ".join((page.extract_text() or "").split()) for page in document.pages)


def _outline(painted) -> Outline:
    corners: list[tuple[float, float]] = []
    points: list[tuple[float, float]] = []
    for operator, *at in painted["path"]:
        if operator in ("m", "l"):
            points.append(at[0])
        elif operator == "c":
            points += _bezier(points[-1], *at)
        else:
            assert operator == "h", operator
            continue
        corners.append(points[-1])
    colour = painted["non_stroking_color"]
    grey = max(colour) if isinstance(colour, tuple | list) else colour
    return Outline(tuple((x * MM, y * MM) for x, y in corners), np.array(points) * MM, float(grey))


def _bezier(start, one, two, end):
    t = np.linspace(0.0, 1.0, _STEPS + 1)[1:, None]
    a, b, c, d = (np.array(p) for p in (start, one, two, end))
    curve = (1 - t) ** 3 * a + 3 * (1 - t) ** 2 * t * b + 3 * (1 - t) * t**2 * c + t**3 * d
    return [tuple(p) for p in curve]


def _group(outlines: list[Outline]) -> list[Mark]:
    groups: list[list[Outline]] = []
    for outline in outlines:
        touching = [g for g in groups if any(_touch(outline.box, o.box) for o in g)]
        groups = [g for g in groups if g not in touching]
        groups.append([outline, *(o for g in touching for o in g)])
    return [Mark(tuple(group)) for group in groups]


def _touch(a, b) -> bool:
    slack = 1e-3
    return (
        a[0] <= b[2] + slack
        and b[0] <= a[2] + slack
        and a[1] <= b[3] + slack
        and b[1] <= a[3] + slack
    )


def rows(page: list[Mark]) -> list[list[Mark]]:
    """Symbols in rows, top to bottom and left to right."""
    ordered: list[list[Mark]] = []
    for mark in sorted(page, key=lambda m: m.box[1]):
        if ordered and mark.box[1] < ordered[-1][0].box[3]:
            ordered[-1].append(mark)
        else:
            ordered.append([mark])
    return [sorted(row, key=lambda m: m.box[0]) for row in ordered]


@dataclass(frozen=True)
class Ring:
    """A Landolt ring, measured."""

    diameter: float
    stroke: float
    gap: float
    gap_degrees_clockwise: int


def ring(mark: Mark) -> Ring:
    """Measure a ring: circles fitted to both edges, and the distance across the gap."""
    (outline,) = mark.outlines
    _, middle = _circle(outline.points)
    centre = outline.points.mean(axis=0)
    for _ in range(3):
        radii = np.hypot(*(outline.points - centre).T)
        centre, outer_radius = _circle(outline.points[radii > middle])
        _, inner_radius = _circle(outline.points[radii <= middle])
        middle = (outer_radius + inner_radius) / 2
    corners = np.array(outline.corners)
    on_outer = np.hypot(*(corners - centre).T) > middle
    # The outline starts at one side of the gap and leaves the outer edge at the other.
    first, last = corners[0], corners[int(np.flatnonzero(~on_outer)[0]) - 1]
    assert on_outer[0]
    towards = (first + last) / 2 - centre
    angle = math.degrees(math.atan2(towards[1], towards[0])) % 360
    return Ring(
        2 * outer_radius,
        outer_radius - inner_radius,
        math.hypot(*(first - last)),
        round(angle / 45) % 8 * 45,
    )


def _circle(points: np.ndarray) -> tuple[np.ndarray, float]:
    """Least-squares circle (Kasa 1976)."""
    design = np.column_stack([2 * points, np.ones(len(points))])
    (x, y, k), *_ = np.linalg.lstsq(design, (points**2).sum(axis=1), rcond=None)
    return np.array([x, y]), math.sqrt(k + x * x + y * y)


def letter_heights_mm(pdf: bytes, letter: str) -> list[float]:
    """Printed height of each small letter, from a fine rendering of the place where it stands."""
    document = pypdfium2.PdfDocument(pdf)
    heights = []
    for page in document:
        text = page.get_textpage()
        width, height = page.get_size()
        for index in range(text.count_chars()):
            if text.get_text_range(index, 1) != letter:
                continue
            left, bottom, right, top = text.get_charbox(index)
            room = 0.1 * (top - bottom)
            scale = 1200.0 / (top - bottom + 2 * room)
            crop = (left, bottom - room, width - right, height - top - room)
            ink = (
                1.0
                - np.asarray(page.render(scale=scale, crop=crop, grayscale=True).to_pil()) / 255.0
            )
            dark = np.flatnonzero(ink.max(axis=1) > 0.5)
            heights.append((dark[-1] - dark[0] + 1) / scale * MM)
    return heights


def gaps(row: list[Mark]) -> list[float]:
    return [right.box[0] - left.box[2] for left, right in pairwise(row)]
