"""The pictures on which findings are entered: which shape stands for which test, read from data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from decussate.bibliography import check_source
from decussate.data_rows import Row, read_rows
from decussate.errors import BadInput
from decussate.examination.bedside_test import Test
from decussate.examination.catalogue import load_catalogue
from decussate.measures.facial_sensation import face_areas
from decussate.web.bedside import load_parts

__all__ = ["FACE_UNIT", "Picture", "Spot", "load_pictures", "pictures_of"]

FACE_UNIT = 1.75
"""Drawing units of a picture for one unit of the face map."""

VIEWS = ("fields", "eyes", "ears", "face")


@dataclass(frozen=True, slots=True)
class Spot:
    """A shape to touch, for one side; the other side's is its mirror image.

    Parameters
    ----------
    test : Test
        The test it enters.
    path : str
        Outline as SVG path data: outward from the midline positive, downwards positive.
    at : (float, float)
        Where its words stand.
    word : str
        What it is, in a word or two.
    midline : bool
        Drawn once, on the midline.
    steps : tuple of str
        What a touch records, in turn: a response code, or a number to be measured.
    measures : bool
        Whether the steps are measurements.
    own : bool
        A touch records the side on which the shape is drawn.
    short : mapping of str to str
        Words short enough for the picture, by response.
    ink : mapping of str to str
        Lines drawn over the shape, by response; ``any`` for always.
    pupil_mm : float
        Diameter of the pupil drawn in it; 0 for none.
    """

    test: Test
    path: str
    at: tuple[float, float]
    word: str
    midline: bool
    steps: tuple[str, ...]
    measures: bool
    own: bool
    short: Mapping[str, str]
    ink: Mapping[str, str]
    pupil_mm: float


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture of one part of the page.

    Parameters
    ----------
    key, part, title : str
        Its name, the part it stands in, its heading.
    view : str
        ``fields``, ``eyes``, ``ears`` or ``face``.
    height, middle : float
        Of a panel, and the height of its origin, in drawing units.
    spots : tuple of Spot
        In the order in which the keyboard reaches them.
    painted : bool
        Whether a state can be chosen first and painted over several shapes.
    """

    key: str
    part: str
    title: str
    view: str
    height: float
    middle: float
    spots: tuple[Spot, ...]
    painted: bool

    @property
    def tests(self) -> frozenset[str]:
        """Ids of the tests entered on it."""
        return frozenset(spot.test.id for spot in self.spots)


@cache
def load_pictures() -> tuple[Picture, ...]:
    """Return every picture, in the order of the page.

    Returns
    -------
    tuple of Picture

    Raises
    ------
    BadInput
        For a row that names an unknown part or test, a response the test does not have, or a
        measurement outside its scale.
    """
    parts = {part.key for part in load_parts()}
    pictures = []
    for row in read_rows(files(__package__) / "data" / "pictures.yaml"):
        row.only(
            "id", "part", "title", "view", "height", "middle", "short", "spots", "paint", "source"
        )
        check_source(row["source"], row.where)
        pictures.append(
            Picture(
                key=row["id"],
                part=row.one_of("part", tuple(parts)),
                title=row["title"],
                view=row.one_of("view", VIEWS),
                height=row.number("height", 50, 800),
                middle=row.number("middle", 0, 400),
                spots=tuple(_spot(fields, row) for fields in row["spots"]),
                painted=bool(row.get("paint", False)),
            )
        )
    return tuple(pictures)


@cache
def pictures_of(part: str) -> tuple[Picture, ...]:
    """Return the pictures that stand in a part of the page.

    Parameters
    ----------
    part : str
        Its key.

    Returns
    -------
    tuple of Picture
    """
    return tuple(picture for picture in load_pictures() if picture.part == part)


def _spot(fields: Mapping[str, Any], row: Row) -> Spot:
    one = Row(dict(fields), f"{row.where}, {fields.get('test')}")
    one.only(
        *("test", "path", "box", "areas", "at", "word", "midline", "grades", "values", "set"),
        *("short", "ink", "pupil"),
    )
    test = load_catalogue().test(one["test"])
    steps = _steps(one, test)
    path, centre = _outline(one)
    at = one.get("at", centre)
    return Spot(
        test=test,
        path=path,
        at=(float(at[0]), float(at[1])),
        word=one.get("word", ""),
        midline=bool(one.get("midline", False)),
        steps=steps,
        measures="grades" in one or "values" in one,
        own=one.get("set") == "own",
        short={**row.get("short", {}), **one.get("short", {})},
        ink=one.get("ink", {}),
        pupil_mm=float(one.get("pupil", 0)),
    )


def _steps(one: Row, test: Test) -> tuple[str, ...]:
    values: Sequence[float] = one.get("grades") or one.get("values") or ()
    if values:
        scale = test.measurement
        if scale is None or not all(scale.low <= value <= scale.high for value in values):
            raise BadInput(
                "steps", values, "measurements on the scale of the test", where=one.where
            )
        return tuple(f"{value:g}" for value in values)
    if "set" not in one:
        if not test.paired:
            raise BadInput("test", test.id, "a test of each side, or `set`", where=one.where)
        return tuple(test.responses)
    chosen = one.one_of("set", ("own", "normal"))
    wanted = {"right", "left"} if chosen == "own" else {chosen}
    if test.paired or not wanted <= set(test.responses):
        raise BadInput("set", chosen, "responses of a test without sides", where=one.where)
    return () if chosen == "own" else (chosen,)


def _outline(one: Row) -> tuple[str, tuple[float, float]]:
    if "box" in one:
        x, y, width, height = one["box"]
        left, top = x - width / 2, y - height / 2
        return f"M{left:g} {top:g}h{width:g}v{height:g}h{-width:g}Z", (x, y + 4)
    if "areas" in one:
        ((kind, wanted),) = one["areas"].items()
        outlines = [area.outline for area in face_areas() if getattr(area, kind) == wanted]
        if not outlines:
            raise BadInput("areas", one["areas"], "a division or zone of the face", where=one.where)
        rings = (
            "L".join(f"{FACE_UNIT * x:g} {FACE_UNIT * y:g}" for x, y in outline)
            for outline in outlines
        )
        return "".join(f"M{ring}Z" for ring in rings), (0.0, 0.0)
    return str(one["path"]), (0.0, 0.0)
