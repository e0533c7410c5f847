"""The likely places as pictures for the results panel, each shape tied to a place of the list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np
from markupsafe import Markup

from decussate.anatomy import Piece
from decussate.drawings.convention import Convention
from decussate.drawings.place_plans import Plan, load_plans
from decussate.drawings.places import BANDS, LETTERED, PlaceDrawing, draw_places, shaded_spots
from decussate.localisation import Localisation, Posterior
from decussate.localisation.localise import in_100
from decussate.sides import Side
from decussate.web.conclusions import listed_candidates
from decussate.web.rendering import slug

__all__ = ["PlacePicture", "own_patterns", "place_pictures"]

CROP_WIDTH, CROP_TOP = 476.0, 60.0
"""What of a drawing the panel shows: its anatomy. The words at its right are given as a list."""
SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True, slots=True)
class PlacePicture:
    """A picture of one region.

    Parameters
    ----------
    plan, name, view : str
        Key and name of the region, and the side convention in words.
    svg : Markup
        The picture.
    words : str
        The same in words.
    taken : tuple of (str, str, str)
        Letter, words with the probability, and the place of the list that takes it.
    """

    plan: str
    name: str
    view: str
    svg: Markup
    words: str
    taken: tuple[tuple[str, str, str], ...]


def place_pictures(
    localisation: Localisation, posterior: Posterior, convention: Convention = Convention.FACING
) -> tuple[PlacePicture, ...]:
    """Return the regions in which the lesion is likely to be, the likeliest first.

    Parameters
    ----------
    localisation : Localisation
        Of the examination.
    posterior : Posterior
        Of the same examination.
    convention : Convention
        Which way the pictures face.

    Returns
    -------
    tuple of PlacePicture
        Empty when nothing points to a region that can be drawn.
    """
    plans = {plan.id: plan for plan in load_plans().plans}
    return tuple(
        _cropped(plans[drawn.plan], drawn, localisation, posterior, convention)
        for drawn in draw_places(localisation, posterior, convention=convention)
    )


def _cropped(
    plan: Plan,
    drawing: PlaceDrawing,
    localisation: Localisation,
    posterior: Posterior,
    convention: Convention,
) -> PlacePicture:
    ET.register_namespace("", "http://www.w3.org/2000/svg")
    root = ET.fromstring(drawing.svg)  # noqa: S314  (drawn by this program)
    root.set("viewBox", f"0 {CROP_TOP:g} {CROP_WIDTH:g} {plan.height + 40:g}")
    for element in root.findall(f"{SVG}text"):
        outside = (
            float(element.get("y", "0")) < CROP_TOP or float(element.get("x", "0")) > CROP_WIDTH
        )
        if outside:
            root.remove(element)
    for group in root.iter(f"{SVG}g"):
        structure = group.get("data-structure")
        if structure:
            place = _place_taking(
                [structure], _side(group.get("data-side")), localisation, posterior
            )
            group.set("data-place", place)
    shaded = [one for one in shaded_spots(plan, posterior) if one.probability >= BANDS[-1][0]]
    taken = tuple(
        (
            chr(65 + n),
            f"{one.name}: {in_100(one.probability)}",
            _place_taking(one.spot.structures, one.side, localisation, posterior),
        )
        for n, one in enumerate(shaded[:LETTERED])
    )
    drawn = own_patterns(ET.tostring(root, encoding="unicode"), plan.id)
    return PlacePicture(
        plan.id,
        plan.name,
        convention.words(plan.view),
        Markup(drawn),  # noqa: S704  (made of the atlas's own names)
        drawing.words,
        taken,
    )


def own_patterns(svg: str, owner: str) -> str:
    """Name the patterns of a drawing after its owner: drawings on one page must not share them."""
    return svg.replace('id="place-', f'id="{owner}-place-').replace(
        "url(#place-", f"url(#{owner}-place-"
    )


def _side(word: str | None) -> Side | None:
    return Side(word) if word in ("right", "left") else None


def _place_taking(
    structures: Sequence[str], side: Side | None, localisation: Localisation, posterior: Posterior
) -> str:
    """Return the anchor of the listed place that most probably takes a structure; empty if none."""
    lesions = posterior.lesions
    model = posterior.model
    taking = np.zeros(len(model.lesions.sites))
    for structure in structures:
        columns, amount = model.lesions.damage.get(Piece(structure, side), _NOTHING)
        hit = columns[amount > 0]
        np.add.at(taking, model.lesions.site_of[hit], lesions[hit])
    sites = {(site.place, site.side): n for n, site in enumerate(model.lesions.sites)}
    listed = listed_candidates(localisation)
    best = max(listed, key=lambda one: taking[sites[one.place, one.side]])
    if taking[sites[best.place, best.side]] <= 0:
        return ""
    return f"place-{slug(best.name)}"


_NOTHING = (np.zeros(0, dtype=np.intp), np.zeros(0))
