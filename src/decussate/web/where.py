"""Where the lesion may be, as pictures; what each finding argues; and what a lesion predicts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import HTMLResponse, Response

from decussate.anatomy import load_atlas
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.localisation import two_lesions
from decussate.localisation.localise import posterior_of
from decussate.localisation.predicted import PredictedSign, predicted_signs
from decussate.records.roles import Permission
from decussate.sides import Side
from decussate.web.access import needs
from decussate.web.arguing import (
    argument_views,
    doubt_view,
    one_argument,
    pathway_of_finding,
    pathway_of_place,
)
from decussate.web.conclusions import chance, conclude, hundred, listed_candidates
from decussate.web.pages import invented_words
from decussate.web.place_pictures import place_pictures
from decussate.web.rendering import is_fragment, templates
from decussate.web.settings import settings_of
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
    posterior = posterior_of(examination)
    way = settings_of(request).convention
    context = {
        "head": head,
        "invented": invented_words(head),
        "used": conclusion.used,
        "pictures": place_pictures(conclusion.localisation, posterior, way),
        "second": two_lesions(examination).text if conclusion.used else "",
        "arguments": argument_views(posterior),
        "doubt": doubt_view(examination, conclusion.localisation.candidates[0].name)
        if conclusion.used
        else None,
    }
    if is_fragment(request):
        return HTMLResponse(templates.get_template("where_changes.html").render(context))
    context |= {
        "undecided": conclusion.undecided,
        "reservations": conclusion.reservations,
        "side_words": conclusion.side_words,
        "places": conclusion.places,
        "unexplained": conclusion.unexplained,
    }
    return templates.TemplateResponse(request, "where.html", context)


@router.get("/examinations/{examination_id}/where/finding")
@needs(Permission.READ)
def finding_told(request: Request, examination_id: str, test: str, side: str = "") -> Response:
    """Tell for which places a finding speaks and against which, with the pathway it tests."""
    posterior = posterior_of(store_of(request).examination(examination_id))
    argument = one_argument(posterior, test, side)
    context = {
        "argument": argument,
        "heading": argument.text,
        "pathways": pathway_of_finding(
            posterior, test, _side(side), settings_of(request).convention
        ),
    }
    return _told(request, examination_id, "_argument.html", "What a finding argues", context)


@router.get("/examinations/{examination_id}/where/place")
@needs(Permission.READ)
def place_told(request: Request, examination_id: str, place: str, side: str = "") -> Response:
    """Draw the pathways of the findings that put a place on the list, through the place."""
    examination = store_of(request).examination(examination_id)
    listed = listed_candidates(conclude(examination).localisation)
    candidate = next((c for c in listed if (c.place, c.side or "") == (place, side)), None)
    if candidate is None:
        raise BadInput("place", " ".join((side, place)), "a place of the list")
    way = settings_of(request).convention
    context = {
        "heading": candidate.name[:1].upper() + candidate.name[1:],
        "pathways": pathway_of_place(posterior_of(examination), candidate, way),
    }
    return _told(request, examination_id, "_pathways.html", "Pathways through a place", context)


def _told(
    request: Request, examination_id: str, told: str, title: str, context: Mapping[str, object]
) -> Response:
    head = store_of(request).head(examination_id)
    page = {"head": head, "invented": invented_words(head), "told": told, "title": title, **context}
    if is_fragment(request):
        return HTMLResponse(templates.get_template(told).render(page))
    return templates.TemplateResponse(request, "where_told.html", page)


def _side(word: str) -> Side | None:
    return Side(word) if word in ("right", "left") else None


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
