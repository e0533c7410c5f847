"""Where the lesion may be, as pictures; whether there are two; and what a lesion predicts."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import HTMLResponse, Response

from decussate.anatomy import load_atlas
from decussate.examination.catalogue import load_catalogue
from decussate.localisation import two_lesions
from decussate.localisation.localise import posterior_of
from decussate.localisation.predicted import PredictedSign, predicted_signs
from decussate.records.roles import Permission
from decussate.sides import Side
from decussate.web.access import needs
from decussate.web.conclusions import chance, conclude, hundred
from decussate.web.pages import invented_words
from decussate.web.place_pictures import place_pictures
from decussate.web.rendering import is_fragment, templates
from decussate.web.state import store_of
from decussate.web.view import side_words

__all__ = ["router"]

router = APIRouter()

LEAST_EXCESS = 0.02
"""A sign that the lesion makes hardly more frequent than health does is not listed (judgement)."""
FIRST_PLACE = "medulla_lateral"


@router.get("/examinations/{examination_id}/where")
@needs(Permission.READ)
def where_pictures(request: Request, examination_id: str) -> Response:
    """Give the pictures of the likely places and the line on two lesions.

    It is asked for after the main panel, so that an entry need not wait for it.
    """
    store = store_of(request)
    head = store.head(examination_id)
    examination = store.examination(examination_id)
    conclusion = conclude(examination)
    context = {
        "head": head,
        "invented": invented_words(head),
        "used": conclusion.used,
        "pictures": place_pictures(conclusion.localisation, posterior_of(examination)),
        "second": two_lesions(examination).text if conclusion.used else "",
    }
    if is_fragment(request):
        return HTMLResponse(templates.get_template("where_changes.html").render(context))
    return templates.TemplateResponse(request, "where.html", context)


@dataclass(frozen=True, slots=True)
class SignView:
    """A predicted sign in words, with its chance here and in health."""

    name: str
    side: str
    words: str
    hundred: str
    percent: float
    health: str
    states: str
    tests: tuple[tuple[str, str], ...]


@router.get("/explore")
@needs(Permission.LEARN)
def explore_page(
    request: Request,
    place: Annotated[str, Query()] = FIRST_PLACE,
    side: Annotated[str, Query()] = "right",
) -> Response:
    """Show the signs that a lesion of a place predicts."""
    atlas = load_atlas()
    chosen = atlas.places.get(place)
    of = Side(side) if side in ("right", "left") and (chosen is None or chosen.paired) else None
    signs = predicted_signs(place, of)
    ordered = sorted(atlas.places.values(), key=lambda one: (one.kind, one.region, one.name))
    context = {
        "regions": [
            (region, [(one.id, one.name) for one in places])
            for (_, region), places in groupby(ordered, key=lambda one: (one.kind, one.region))
        ],
        "place": place,
        "side": side,
        "paired": atlas.places[place].paired,
        "title": f"{of} {atlas.places[place].name}" if of else atlas.places[place].name,
        "signs": [_sign(one) for one in signs if one.excess >= LEAST_EXCESS],
    }
    return templates.TemplateResponse(request, "explore.html", context)


def _sign(one: PredictedSign) -> SignView:
    tests = tuple((test.id, test.name) for test in load_catalogue() if test.sign == one.sign)
    states = [
        f"{side_words(state) if state in ('right', 'left') else state.replace('_', ' ')} "
        f"{hundred(probability)}"
        for state, probability in one.states.items()
        if probability >= LEAST_EXCESS
    ]
    return SignView(
        name=one.name,
        side=side_words(one.side) if one.side else "",
        words=chance(one.abnormal),
        hundred=hundred(one.abnormal),
        percent=round(100 * one.abnormal, 1),
        health=hundred(one.in_health),
        states=", ".join(states) if len(states) > 1 or not one.side else "",
        tests=tests,
    )
