"""The examinations of one patient side by side: what changed, places then and now, plots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import Response

from decussate.comparison import Change, Comparison, Course, Kind, follow
from decussate.documents.document import Figure
from decussate.documents.drawn_findings import drawn_findings
from decussate.documents.typesetting import named_apart
from decussate.drawings.over_time import draw_over_time
from decussate.errors import BadInput
from decussate.localisation.localise import in_100
from decussate.records import ExaminationHead
from decussate.records.roles import Permission
from decussate.web.access import needs
from decussate.web.before import examinations_of
from decussate.web.conclusions import conclude
from decussate.web.pages import invented_words
from decussate.web.rendering import templates
from decussate.web.state import store_of

__all__ = ["router"]

router = APIRouter()

GROUPS: tuple[tuple[str, str, tuple[Kind, ...]], ...] = (
    ("New", "+", (Kind.NEW,)),
    ("Worse", "▼", (Kind.WORSE,)),
    ("Gone", "−", (Kind.GONE,)),
    ("Better", "▲", (Kind.BETTER,)),
    ("Different", "≠", (Kind.DIFFERENT, Kind.UNRANKED)),
    ("Could not be tested this time", "?", (Kind.COULD_NOT_BE_TESTED,)),
    ("Newly tested", "·", (Kind.NEWLY_TESTED,)),
    ("Not tested this time: not known, and not gone", "○", (Kind.NO_LONGER_TESTED,)),
    ("Unchanged", "=", (Kind.UNCHANGED,)),
)
"""Headings of the changes in reading order, each with its mark."""

FOLDED = {"Newly tested", "Not tested this time: not known, and not gone", "Unchanged"}
"""Groups that are closed until they are asked for."""


@dataclass(frozen=True, slots=True)
class StepView:
    """One examination beside an earlier one."""

    title: str
    sentence: str
    groups: tuple[tuple[str, str, tuple[str, ...], bool], ...]
    places: tuple[tuple[str, str, str, str], ...]


@dataclass(frozen=True, slots=True)
class StripView:
    """One drawing of every examination at which it could be made."""

    title: str
    drawings: tuple[tuple[str, Markup], ...]


@router.get("/examinations/{examination_id}/comparison")
@needs(Permission.READ, shows="comparison")
def comparison_page(request: Request, examination_id: str) -> Response:
    """Show what changed between the examinations of this patient."""
    store = store_of(request)
    head = store.head(examination_id)
    heads = [
        one for one in examinations_of(store, head.patient) if store.examination(one.id).present()
    ]
    context = {
        "head": head,
        "invented": invented_words(head),
        "alerts": conclude(store.examination(head.id)).alerts,
        "visits": heads,
        "steps": (),
        "warnings": (),
        "refused": "",
        "plots": None,
        "strips": (),
    }
    if len(heads) > 1:
        examinations = [store.examination(one.id) for one in heads]
        places = [conclude(one).localisation for one in examinations]
        try:
            course = follow(examinations, places=places)
        except BadInput as problem:
            context["refused"] = (
                f"{problem.field}: found {problem.found}, expected {problem.expected}. "
                f"{problem.hint}"
            )
        else:
            context |= _shown(course, heads)
    return templates.TemplateResponse(request, "comparison.html", context)


def _shown(course: Course, heads: Sequence[ExaminationHead]) -> dict[str, object]:
    opened = {head.id: f"{head.opened_at.astimezone():%-d %B %Y, %H:%M}" for head in heads}
    steps = [_step(step, opened) for step in reversed(course.steps)]
    if len(course.steps) > 1:
        steps.append(_step(course.whole, opened, "From first to last: "))
    # On a phone the plots stand below each other; which is shown is the style sheet's to say.
    columns = {"beside": 2, "below": 1} if course.tracks else {}
    return {
        "steps": tuple(steps),
        "warnings": course.warnings,
        # Drawn by this program; what people typed is escaped in it.
        "plots": {
            name: Markup(named_apart(draw_over_time(course, columns=number), f"{name}-"))  # noqa: S704
            for name, number in columns.items()
        },
        "strips": _strips(course, opened),
    }


def _step(step: Comparison, opened: dict[str, str], lead: str = "") -> StepView:
    then, now = (opened[one.examination.id] for one in (step.earlier, step.later))
    groups = tuple(
        (title, mark, texts, title in FOLDED)
        for title, mark, kinds in GROUPS
        if (texts := tuple(_text(change) for change in step.changes if change.kind in kinds))
    )
    shifts = step.places.shifts if step.places else ()
    places = tuple(
        (
            shift.name[:1].upper() + shift.name[1:],
            in_100(shift.then),
            in_100(shift.now),
            ""
            if abs(shift.shift) < 0.1
            else "▲ more likely"
            if shift.shift > 0
            else "▼ less likely",
        )
        for shift in shifts
    )
    return StepView(f"{lead}{then} and {now}", step.sentence, groups, places)


def _text(change: Change) -> str:
    return change.text[:1].upper() + change.text[1:]


def _strips(course: Course, opened: dict[str, str]) -> tuple[StripView, ...]:
    """Return the drawings of fields, gaze, face and the rest, one examination beside the other."""
    strips: dict[str, list[tuple[str, Markup]]] = {}
    for number, occasion in enumerate(course.occasions):
        for place, block in enumerate(drawn_findings(occasion.examination)):
            if isinstance(block, Figure):
                svg = named_apart(block.svg, f"then-{number}-{place}-")
                when = opened[occasion.examination.id]
                strips.setdefault(block.title, []).append((when, Markup(svg)))  # noqa: S704
    return tuple(StripView(title, tuple(drawn)) for title, drawn in strips.items())
