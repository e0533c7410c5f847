"""Printable charts of distance acuity, laid out in millimetres and set as PDF.

The layout is worked out here; the template only places it. Rows are 0.1 log units apart, hold five
optotypes one optotype width apart, and stand one height of the lower row apart.

References
----------
.. [1] Bailey IL, Lovie JE. New design principles for visual acuity letter charts.
   Am J Optom Physiol Opt 1976;53:740-745.
.. [2] Ferris FL et al. Relative letter and position difficulty on visual acuity charts.
   Am J Ophthalmol 1993;116:735-740.
.. [3] ISO 8596 (Landolt ring, eight positions) and ISO 10938 (size within 5 percent of the detail).
"""

from __future__ import annotations

import json
import math
import random
from dataclasses import dataclass
from importlib.resources import as_file, files

import typst

from decussate.documents.optotypes import (
    Gap,
    letter_sets,
    optotype_height_mm,
    optotype_svg,
)
from decussate.errors import BadInput
from decussate.measures.acuity_notation import nearest_line
from decussate.measures.distance_acuity import from_logmar

__all__ = [
    "PAPERS_MM",
    "RINGS",
    "RULER_MM",
    "ChartRow",
    "DistanceChart",
    "PlacedOptotype",
    "chart_pdf",
    "lay_out_chart",
    "set_pdf",
]

PAPERS_MM = {
    "A4 landscape": (297.0, 210.0),
    "A4 portrait": (210.0, 297.0),
    "A3 landscape": (420.0, 297.0),
    "A3 portrait": (297.0, 420.0),
}
RULER_MM = 100.0
RINGS = "rings"
_PER_ROW = 5
_STEP = 0.1
_SIDE_MM, _TOP_MM, _FOOT_MM, _LABEL_MM = 12.0, 12.0, 28.0, 24.0
_TOLERANCE = 0.05


@dataclass(frozen=True, slots=True)
class PlacedOptotype:
    """An optotype on the page.

    Parameters
    ----------
    symbol : str or Gap
    x_mm, y_mm : float
        Left and top of the square it fills, from the left and top of the page.
    """

    symbol: str | Gap
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True)
class ChartRow:
    """A row of a chart.

    Parameters
    ----------
    logmar : float
    height_mm : float
        Height and width of each optotype.
    label, six_metre_label : str
        The fraction at the test distance, and the equivalent at 6 m.
    optotypes : tuple of PlacedOptotype
    """

    logmar: float
    height_mm: float
    label: str
    six_metre_label: str
    optotypes: tuple[PlacedOptotype, ...]


@dataclass(frozen=True, slots=True)
class DistanceChart:
    """A chart laid out for one distance and one paper.

    Parameters
    ----------
    distance_m : float
    paper : str
    optotypes : str
        Name of a set of letters, or ``"rings"``.
    version : int
        Another version has other letters in the same sizes, so that a chart is not learnt by heart.
    pages : tuple of tuple of ChartRow
        Rows page by page, largest first.
    """

    distance_m: float
    paper: str
    optotypes: str
    version: int
    pages: tuple[tuple[ChartRow, ...], ...]

    @property
    def rows(self) -> tuple[ChartRow, ...]:
        """All rows, largest first."""
        return tuple(row for page in self.pages for row in page)


def lay_out_chart(
    distance_m: float,
    *,
    optotypes: str = "ten letters",
    paper: str = "A4 landscape",
    largest: float | None = None,
    smallest: float | None = None,
    version: int = 1,
    printer_dpi: int = 600,
) -> DistanceChart:
    """Lay out a chart of distance acuity.

    Parameters
    ----------
    distance_m : float
        Distance it will be read from, metres, 1 to 6.5.
    optotypes : str
        Name of a set of letters (see `letter_sets`), or ``"rings"``.
    paper : str
        A key of `PAPERS_MM`.
    largest, smallest : float, optional
        LogMAR of the first and last row; by default the largest that fits with five optotypes (at
        most 1.0) and the smallest the printer can hold to size (at least -0.3).
    version : int
    printer_dpi : int
        Dots per inch of the printer. A stroke needs ten dots, so that half a dot is 5 percent of
        it [3]_.

    Returns
    -------
    DistanceChart

    Raises
    ------
    BadInput
        When a row does not fit the paper or is too fine for the printer, saying what would do.
    """
    if not 1.0 <= distance_m <= 6.5:
        hint = "Is it in centimetres or feet? 4 m is 4."
        raise BadInput("test distance of the chart", distance_m, "1 to 6.5 metres", hint=hint)
    if paper not in PAPERS_MM:
        raise BadInput("paper", paper, "one of " + ", ".join(PAPERS_MM))
    if optotypes != RINGS and optotypes not in letter_sets():
        raise BadInput("optotypes", optotypes, "one of " + ", ".join([*letter_sets(), RINGS]))
    width_mm = PAPERS_MM[paper][0] - 2 * _SIDE_MM - _LABEL_MM
    top_row, last_row = _row_limits(distance_m, width_mm, printer_dpi)
    top = _tenths(largest, min(10, top_row), "largest row")
    last = _tenths(smallest, max(-3, last_row), "smallest row")
    if top > top_row:
        raise BadInput(
            "largest row",
            largest,
            f"at most logMAR {top_row / 10:.1f} on {paper} at {distance_m:g} m",
            hint="Use larger paper or a shorter distance.",
        )
    if last < last_row:
        raise BadInput(
            "smallest row",
            smallest,
            f"at least logMAR {last_row / 10:.1f} at {distance_m:g} m and {printer_dpi} dpi",
            hint="Use a longer distance or a finer printer.",
        )
    if last > top:
        raise BadInput("rows", (largest, smallest), "a largest row above the smallest")
    # Not for secrecy: the same version must print the same chart.
    chance = random.Random(f"{optotypes} {version}")  # noqa: S311
    tenths = range(top, last - 1, -1)
    sizes = [(n * _STEP, optotype_height_mm(n * _STEP, distance_m)) for n in tenths]
    symbols = [_symbols(optotypes, chance) for _ in sizes]
    pages = _paginate(sizes, symbols, distance_m, paper)
    return DistanceChart(distance_m, paper, optotypes, version, pages)


def _row_limits(distance_m: float, width_mm: float, printer_dpi: int) -> tuple[int, int]:
    """Find the largest row that fits and the finest the printer holds, in tenths of a log unit."""
    if not 150 <= printer_dpi <= 4800:
        raise BadInput("printer resolution", printer_dpi, "150 to 4800 dots per inch")
    unit = optotype_height_mm(0.0, distance_m)
    widest = width_mm / (2 * _PER_ROW - 1)
    finest = 5.0 * (0.5 * 25.4 / printer_dpi) / _TOLERANCE
    return (
        math.floor(10.0 * math.log10(widest / unit)),
        math.ceil(10.0 * math.log10(finest / unit)),
    )


def _tenths(logmar: float | None, default: int, field: str) -> int:
    if logmar is None:
        return default
    tenths = round(logmar * 10.0)
    if abs(tenths - logmar * 10.0) > 1e-6 or not -3 <= tenths <= 13:
        raise BadInput(field, logmar, "logMAR -0.3 to 1.3 in steps of 0.1")
    return tenths


def _symbols(optotypes: str, chance: random.Random) -> tuple[str | Gap, ...]:
    """Five optotypes for a row: none twice, the hard ones in every row alike [2]_."""
    if optotypes == RINGS:
        upright, oblique = [g for g in Gap if not g.oblique], [g for g in Gap if g.oblique]
        more = chance.choice((2, 3))
        picked: list[str | Gap] = [
            *chance.sample(upright, more),
            *chance.sample(oblique, _PER_ROW - more),
        ]
    else:
        letters = letter_sets()[optotypes]
        hard = letters["round_per_row"]
        picked = [
            *chance.sample(letters["round"], hard),
            *chance.sample(letters["straight"], _PER_ROW - hard),
        ]
    chance.shuffle(picked)
    return tuple(picked)


def _paginate(
    sizes: list[tuple[float, float]],
    symbols: list[tuple[str | Gap, ...]],
    distance_m: float,
    paper: str,
) -> tuple[tuple[ChartRow, ...], ...]:
    page_width, page_height = PAPERS_MM[paper]
    bottom = page_height - _FOOT_MM
    middle = (page_width - _LABEL_MM) / 2.0
    pages: list[list[ChartRow]] = [[]]
    y = _TOP_MM
    for (logmar, height), row_symbols in zip(sizes, symbols, strict=True):
        if pages[-1]:
            y += height
            if y + height > bottom:
                pages.append([])
                y = _TOP_MM
        left = middle - height * (2 * _PER_ROW - 1) / 2.0
        placed = tuple(
            PlacedOptotype(symbol, left + 2.0 * height * n, y)
            for n, symbol in enumerate(row_symbols)
        )
        acuity = from_logmar(logmar)
        label = nearest_line(acuity, test_distance=distance_m)
        pages[-1].append(ChartRow(logmar, height, label, nearest_line(acuity), placed))
        y += height
    return tuple(tuple(page) for page in pages)


def chart_pdf(chart: DistanceChart) -> bytes:
    """Set a chart as PDF, with a line to check the print scale.

    Parameters
    ----------
    chart : DistanceChart

    Returns
    -------
    bytes
        The same chart gives the same bytes.
    """
    width, height = PAPERS_MM[chart.paper]
    kind = "Landolt rings" if chart.optotypes == RINGS else f"Letters ({chart.optotypes})"
    return set_pdf(
        "test_chart.typ",
        {
            "width_mm": width,
            "height_mm": height,
            "ruler_mm": RULER_MM,
            "side_mm": _SIDE_MM,
            "label_mm": _LABEL_MM,
            "distance": f"{chart.distance_m:g} m",
            "title": f"{kind} for {chart.distance_m:g} m, version {chart.version}",
            "pages": [_page(rows, width, height) for rows in chart.pages],
        },
    )


def _page(rows: tuple[ChartRow, ...], width: float, height: float) -> dict[str, object]:
    marks = "".join(
        optotype_svg(o.symbol, o.x_mm, o.y_mm, row.height_mm) for row in rows for o in row.optotypes
    )
    return {
        "svg": f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm"'
        f' viewBox="0 0 {width} {height}">{marks}</svg>',
        "rows": [
            {
                "label": row.label,
                "six_metre": row.six_metre_label if row.six_metre_label != row.label else "",
                "logmar": f"{row.logmar:.1f}".replace("-0.0", "0.0"),
                "middle_mm": row.optotypes[0].y_mm + row.height_mm / 2.0,
            }
            for row in rows
        ],
    }


def set_pdf(template: str, content: dict[str, object]) -> bytes:
    """Set a template of this room with its content, using only the typefaces that come with it.

    Parameters
    ----------
    template : str
        File name beside this module.
    content : dict
        What the template reads, as JSON.

    Returns
    -------
    bytes
    """
    with as_file(files("decussate.documents").joinpath(template)) as path:
        pdf = typst.compile(
            str(path),
            root=str(path.parent),
            font_paths=[],
            ignore_system_fonts=True,
            format="pdf",
            sys_inputs={"content": json.dumps(content)},
            # Fixed, so that the same content always gives the same bytes.
            timestamp=0,
        )
    if not isinstance(pdf, bytes):
        raise TypeError("one PDF was expected of the typesetter")
    return pdf
