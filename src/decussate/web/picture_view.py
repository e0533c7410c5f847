"""What the template shows of a picture: panels, shapes to touch, and what a touch will record."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

from decussate.drawings.convention import Convention
from decussate.examination.catalogue import Caution, load_catalogue
from decussate.examination.record import COULD_NOT_BE_TESTED, Finding
from decussate.sides import Side
from decussate.web.pictures import Picture, Spot
from decussate.web.settings import Settings
from decussate.web.view import response_words, side_words

__all__ = ["PanelView", "PictureView", "ShapeView", "picture_view"]

WIDTH = 364.0
PUPIL_UNIT = 3.4
"""Drawing units of one millimetre of iris or pupil."""
IRIS_MM = 12.0
NOUNS = {"fields": " eye", "eyes": " eye", "ears": " ear", "face": ""}
LOOKS = {"normal": "well", "reduced": "part", "partial": "part"}
UNTESTED = "?"

Step = tuple[str, str, str, str]
"""What a step sends, shows on the picture, how it is hatched, and how it is read out."""


@dataclass(frozen=True, slots=True)
class ShapeView:
    """One shape to touch, as it now stands.

    `steps` holds, for every step of its cycle, what is sent, shown, hatched and said, as JSON;
    `now` is the step it stands at (the last is "not tested").
    """

    key: str
    path: str
    place: str
    x: float
    y: float
    word: str
    said: str
    look: str
    spoken: str
    inks: tuple[tuple[str, str, bool], ...]
    iris: tuple[float, float, float, float] | None
    rest: str
    steps: str
    now: int


@dataclass(frozen=True, slots=True)
class PanelView:
    """One eye or one half of the face: its words, where they stand, and its shapes."""

    side: Side
    words: str
    x: float
    shapes: tuple[ShapeView, ...]


@dataclass(frozen=True, slots=True)
class PictureView:
    """A picture, with the side convention in words, cautions, and looks that can be painted."""

    key: str
    title: str
    width: float
    height: float
    middle: float
    convention: tuple[str, str]
    cautions: tuple[Caution, ...]
    panels: tuple[PanelView, ...]
    brushes: tuple[tuple[str, str], ...]


def picture_view(
    picture: Picture, present: Mapping[tuple[str, Side | None], Finding], settings: Settings
) -> PictureView:
    """Return a picture as it now stands.

    Parameters
    ----------
    picture : Picture
        The picture.
    present : mapping of (str, Side or None) to Finding
        Findings that stand.
    settings : Settings
        Which way pictures are drawn.

    Returns
    -------
    PictureView
    """
    # Fields are drawn as the patient sees them: the right eye on the right.
    convention = Convention.OWN if picture.view == "fields" else settings.convention
    panels = []
    for place, side in enumerate(convention.sides):
        # On the panel of a face the midline is shared; an eye's own panel has its own.
        x = WIDTH / 2 if picture.view == "face" else WIDTH / 4 + place * WIDTH / 2
        outward = -1 if place == 0 else 1  # away from the midline of the picture
        shapes = tuple(
            _shape(picture, spot, side, number, outward, x, present)
            for number, spot in enumerate(picture.spots)
            if not spot.midline or place == 1
        )
        words = f"Patient’s {side}{NOUNS[picture.view]}"
        panels.append(PanelView(side, words, 90 if place == 0 else WIDTH - 90, shapes))
    return PictureView(
        key=picture.key,
        title=picture.title,
        width=WIDTH,
        height=picture.height + 66,
        middle=picture.middle + 26,
        convention=_convention(picture.view, convention),
        cautions=tuple(
            load_catalogue().cautions[key]
            for key in dict.fromkeys(key for spot in picture.spots for key in spot.test.cautions)
        ),
        panels=tuple(panels),
        brushes=_brushes(picture.spots[0]) if picture.painted else (),
    )


def _brushes(spot: Spot) -> tuple[tuple[str, str], ...]:
    """Return the looks of a shape with their words, to be painted over the other shapes too."""
    looks = ((look, words) for words, look in (_looks(spot, code) for code in spot.steps))
    return (*dict(looks).items(), ("none", "not tested"))


def _convention(view: str, convention: Convention) -> tuple[str, str]:
    how = "As the patient sees"
    if view != "fields":
        facing = convention is Convention.FACING
        how = "As you face the patient" if facing else "From the patient’s own side"
    return f"{how}:", f"the patient’s right is on the {convention.right_side} of the picture."


def _shape(
    picture: Picture,
    spot: Spot,
    side: Side,
    number: int,
    outward: int,
    x: float,
    present: Mapping[tuple[str, Side | None], Finding],
) -> ShapeView:
    of = side if spot.test.paired else None
    found = present.get((spot.test.id, of))
    key = of.value if of else "whole"
    codes = (side.value,) if spot.own else spot.steps
    verb = "measure" if spot.measures else "record"
    where = f"{spot.test.name}, {side_words(of)}" if of else spot.test.name
    cycle = [
        (f"{spot.test.id} {verb} {key} {code}", *_looks(spot, code), _spoken(spot, code))
        for code in codes
    ]
    cycle.append((f"{spot.test.id} withdraw {key} -", UNTESTED, "none", "not tested"))
    now, shown = _standing(spot, codes, found, cycle)
    at = x + outward * spot.at[0]
    iris = None
    if spot.pupil_mm:
        radius = IRIS_MM / 2 * PUPIL_UNIT
        chosen = float(codes[now]) if now < len(codes) else spot.pupil_mm
        iris = (at, picture.middle + 26 + spot.at[1] - 10, radius, chosen / 2 * PUPIL_UNIT)
    return ShapeView(
        key=f"spot-{picture.key}-{number}-{side.value}",
        path=spot.path,
        place=f"translate({x:g} {picture.middle + 26:g}) scale({outward} 1)",
        x=at,
        y=picture.middle + 26 + spot.at[1],
        word=spot.word,
        said=shown[1],
        look=shown[2],
        spoken=f"{where}: {shown[3]}",
        inks=tuple(
            (state, path, state in ("any", _ink_state(spot, found)))
            for state, path in spot.ink.items()
        ),
        iris=iris,
        rest=f"{spot.pupil_mm:g}" if spot.pupil_mm else UNTESTED,
        steps=json.dumps([list(step) for step in cycle], ensure_ascii=False),
        now=now,
    )


def _standing(
    spot: Spot, codes: tuple[str, ...], found: Finding | None, cycle: list[Step]
) -> tuple[int, Step]:
    """Return the step at which a shape stands, and what it shows."""
    if found is None:
        return len(codes), cycle[-1]
    if found.response == COULD_NOT_BE_TESTED:
        said = response_words(spot.test, found)
        return len(codes), ("", "could not", "none", said)
    if spot.measures:
        value = found.measurement.value if found.measurement else None
        matching = [n for n, code in enumerate(codes) if float(code) == value]
        if matching:
            return matching[0], cycle[matching[0]]
        if spot.pupil_mm:
            return len(codes), cycle[-1]
        # Recorded in another way: shown as it is; the next touch begins the steps anew.
        shown = f"{value:g}" if isinstance(value, float) else _short(spot, found.response)
        words = response_words(spot.test, found)
        return len(codes), ("", shown, LOOKS.get(found.response, "full"), words)
    if found.response in codes:
        now = codes.index(found.response)
        return now, cycle[now]
    if len(codes) == 1:  # one of several shapes of the test: another one is chosen
        return 1, cycle[-1]
    words = response_words(spot.test, found)
    return 0, ("", "abnormal", "full", words)


def _looks(spot: Spot, code: str) -> tuple[str, str]:
    if not spot.measures:
        return _short(spot, code), LOOKS.get(code, "full")
    assert spot.test.measurement is not None  # noqa: S101  (checked when the picture was read)
    response = spot.test.measurement.response_for(float(code)) or "normal"
    shown = code.replace("-", "−") if not spot.pupil_mm else code
    return shown, LOOKS.get(response, "full")


def _short(spot: Spot, code: str) -> str:
    label = spot.test.responses[code].label if code in spot.test.responses else "abnormal"
    return spot.short.get(code, label)


def _spoken(spot: Spot, code: str) -> str:
    if not spot.measures:
        patients = side_words(code) if not spot.test.paired and code in ("right", "left") else ""
        return ", ".join(filter(None, (spot.test.responses[code].label, patients)))
    unit = spot.test.measurement.unit if spot.test.measurement else ""
    if unit.endswith("grade"):
        return f"{unit} {code.replace('-', '−')}"
    return f"{code} {unit}"


def _ink_state(spot: Spot, found: Finding | None) -> str:
    if found is None or found.response == COULD_NOT_BE_TESTED:
        return "normal"
    return found.response if found.response in spot.ink else "absent"
