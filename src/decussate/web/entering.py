"""What the bedside page sends: each request adds one entry, saved before it is answered.

A form carries a token made when it was shown. The entry's identity is made from the token and from
what is entered, so the same touch sent twice is one entry, and another touch on the same form is
another. A page that runs its script is answered with the parts that changed; a plain form is sent
back to the page.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any
from uuid import UUID, uuid5

from fastapi import APIRouter, Form, Request
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, RedirectResponse, Response

from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, Finding, Story, UnreadText
from decussate.examination.shorthand import read_shorthand
from decussate.examination.wording import RECORDED_TOGETHER
from decussate.records import Entry, Store, StoredEntry, present_state
from decussate.records.roles import Permission
from decussate.web.access import needs
from decussate.web.acuity_words import acuity_as_written
from decussate.web.bedside import load_parts, load_paths, part_of
from decussate.web.held_back import (
    changed_by,
    done_all_the_same,
    holding_back,
    names_held_back,
)
from decussate.web.pages import check_identity
from decussate.web.pictures import load_pictures
from decussate.web.rendering import is_fragment, templates
from decussate.web.settings import settings_of
from decussate.web.state import bedside_state, path_of, store_of
from decussate.web.touched import (
    key_of,
    marked_form,
    refuse_problems,
    side_named,
    touched_finding,
)
from decussate.web.view import sides_of

__all__ = ["answer_changes", "append_entry", "router"]

router = APIRouter(prefix="/examinations/{examination_id}")

WRITTEN = frozenset({"story", "shorthand"})
"""Parts with typed text, sent back only when they may have changed: typing is not disturbed."""


@router.post("/findings")
@needs(Permission.EXAMINE)
async def enter_finding(request: Request, examination_id: str) -> Response:
    """Record what one touch on a test says."""
    form = {name: str(value) for name, value in (await request.form()).items()}
    if "mark" in form:
        form |= marked_form(form["mark"])
    return await run_in_threadpool(_enter_finding, request, examination_id, form)


def _enter_finding(request: Request, examination_id: str, form: dict[str, str]) -> Response:
    test = load_catalogue().test(form.get("test", ""))
    settings = settings_of(request)
    for name in [name for name in form if name.startswith("value ")]:
        form[name] = acuity_as_written(test, form[name].strip(), settings)
    verb, key, *code = [*form.get("choice", "").split(" "), "", ""]
    sides = sides_of(test) if key == "both" else (side_named(test, key),)
    store = store_of(request)
    content: dict[str, Any]
    if verb in ("old", "new"):
        field = "known_old" if verb == "old" else "not_old"
        content = {field: tuple((test.id, side) for side in sides)}
    else:
        findings = tuple(
            touched_finding(verb, code[0], test, side, form, store, examination_id)
            for side in sides
        )
        refuse_problems(findings)
        content = {"findings": findings}

    def with_reasons(content: dict[str, Any], examination: Examination) -> dict[str, Any]:
        reasons = {side: form.get(f"although {key_of(side)}", "") for side in sides}
        found = done_all_the_same(content.get("findings", ()), examination, reasons)
        return content | {"findings": found}

    append_entry(store, examination_id, form.get("entry", ""), content, completed=with_reasons)
    return answer_changes(request, store, examination_id, frozenset({test.id}), f"#test-{test.id}")


@router.post("/sweep")
@needs(Permission.EXAMINE)
def enter_sweep(
    request: Request,
    examination_id: str,
    group: Annotated[str, Form()],
    entry: Annotated[str, Form()],
) -> Response:
    """Record as normal the routine tests of a part that are not yet recorded."""
    store = store_of(request)
    parts = load_parts(path_of(store.history(examination_id)))
    part = next((part for part in parts if part.key == group), None)
    if part is None:
        raise BadInput("part of the examination", group, "a part of the page")
    examination = store.examination(examination_id)
    present = {(f.test, f.side) for f in examination.present()}
    held_back = holding_back(examination)  # what is held back is never swept along
    findings = tuple(
        Finding(test=test.id, side=side, response="normal", technique=RECORDED_TOGETHER)
        for test in part.routine
        for side in sides_of(test)
        if (test.id, side) not in present and not held_back(test, side)
    )
    if findings:
        append_entry(store, examination_id, entry, {"findings": findings})
    tests = frozenset(finding.test for finding in findings)
    return answer_changes(request, store, examination_id, tests, f"#group-{part.key}")


@router.post("/path")
@needs(Permission.EXAMINE)
def choose_path(
    request: Request,
    examination_id: str,
    entry: Annotated[str, Form()],
    path: Annotated[str, Form()] = "",
) -> Response:
    """Choose a short path, or the whole examination again; the page is laid out anew."""
    if path and path not in load_paths():
        raise BadInput("short path", path, "one of " + ", ".join(load_paths()))
    append_entry(store_of(request), examination_id, entry, {"path": path})
    if is_fragment(request):
        return Response(headers={"HX-Refresh": "true"})
    return RedirectResponse(f"/examinations/{examination_id}", 303)


@router.post("/undo")
@needs(Permission.EXAMINE)
def enter_undo(
    request: Request,
    examination_id: str,
    undoes: Annotated[str, Form()],
    entry: Annotated[str, Form()],
) -> Response:
    """Take an entry back; it stays in the history."""
    store = store_of(request)
    target = UUID(check_identity(undoes))
    undone = next((s.entry for s in store.history(examination_id) if s.entry.id == target), None)
    if undone is None:
        raise BadInput("entry to undo", undoes, "an entry of this examination")
    append_entry(store, examination_id, entry, {"undoes": target})
    if undone.path is not None and is_fragment(request):
        return Response(headers={"HX-Refresh": "true"})  # the page is laid out anew
    return answer_changes(request, store, examination_id, undone.tests, "", WRITTEN)


@router.post("/shorthand")
@needs(Permission.EXAMINE)
def enter_shorthand(
    request: Request,
    examination_id: str,
    entry: Annotated[str, Form()],
    text: Annotated[str, Form()] = "",
) -> Response:
    """Read the shorthand box, record what was understood and keep what was not."""
    store = store_of(request)
    reading = read_shorthand(text, load_catalogue())
    content: dict[str, Any] = {
        "findings": tuple(reading.findings),
        "unread": tuple(reading.unread),
        "known_old": tuple(reading.known_old),
    }
    if reading.story is not None and reading.story != Story():
        known = store.examination(examination_id).story
        told = {name: value for name, value in reading.story if value is not None}
        told["context"] = tuple(dict.fromkeys((*known.context, *reading.story.context)))
        content["story"] = known.model_copy(update=told)
    if not (content["findings"] or content["unread"] or "story" in content):
        raise BadInput("shorthand", text, "at least one finding", hint="Such as: R ptosis partial.")
    before = store.examination(examination_id)
    append_entry(store, examination_id, entry, content)
    count = len(reading.findings)
    words = f"Recorded {count} {'finding' if count == 1 else 'findings'}" + (
        f"; {len(reading.unread)} not understood." if reading.unread else "; all understood."
    )
    # What is written was done already: it is recorded, and said where the record held it back.
    held = names_held_back(content["findings"], before)
    if held:
        words += f" Recorded although held back: {'; '.join(held)}."
    tests = frozenset(finding.test for finding in reading.findings)
    return answer_changes(request, store, examination_id, tests, "#shorthand", WRITTEN, words)


@router.post("/settled")
@needs(Permission.EXAMINE)
def enter_settled(
    request: Request,
    examination_id: str,
    entry: Annotated[str, Form()],
    text: Annotated[str, Form()],
    line: Annotated[int, Form()],
    column: Annotated[int, Form()],
    reason: Annotated[str, Form()] = "",
) -> Response:
    """Mark text that was not understood as dealt with; it stays in the history."""
    store = store_of(request)
    wanted = UnreadText(text=text, line=line, column=column, reason=reason)
    if wanted not in store.examination(examination_id).unread:
        raise BadInput("text", text, "text that is still not understood", hint="Reload the page.")
    append_entry(store, examination_id, entry, {"settled": (wanted,)})
    return answer_changes(request, store, examination_id, frozenset(), "#shorthand", WRITTEN)


@router.post("/story")
@needs(Permission.EXAMINE)
async def enter_story(request: Request, examination_id: str) -> Response:
    """Record the story as it now stands."""
    form = await request.form()
    fields: dict[str, Any] = {
        name: str(form[name]) for name in ("sex", "onset", "course") if form.get(name)
    }
    if form.get("age"):
        fields["age"] = str(form["age"]).strip().removesuffix("years").strip()
    fields["context"] = tuple(str(key) for key in form.getlist("context"))
    entry = str(form.get("entry", ""))
    return await run_in_threadpool(_enter_story, request, examination_id, entry, fields)


def _enter_story(
    request: Request, examination_id: str, entry: str, fields: dict[str, Any]
) -> Response:
    try:
        story = Story(**fields)
    except ValidationError as problem:
        first = problem.errors()[0]
        field = str(first["loc"][0]) if first["loc"] else "story"
        expected = "years from 0 to 120, such as 54" if field == "age" else first["msg"]
        raise BadInput(field, first.get("input"), expected) from None
    store = store_of(request)
    if story != store.examination(examination_id).story:
        append_entry(store, examination_id, entry, {"story": story})
    return answer_changes(
        request, store, examination_id, frozenset(), "#story", frozenset({"story"})
    )


def append_entry(
    store: Store,
    examination_id: str,
    token: str,
    content: dict[str, Any],
    *,
    completed: Callable[[dict[str, Any], Examination], dict[str, Any]] | None = None,
) -> None:
    """Save one entry; its identity follows from the form's token and from what is entered.

    What `completed` checks or adds depends on the record as it stands (its second argument), and so
    is no part of the identity: the same act sent again after the record has changed is still the
    same act.
    """
    made_from = Entry(id=UUID(int=0), **content).model_dump_json(exclude={"id"})
    identity = uuid5(UUID(check_identity(token)), made_from)
    if completed is not None:
        history = store.history(examination_id)
        if any(stored.entry.id == identity for stored in history):
            return
        content = completed(content, present_state(examination_id, "", False, history))
    store.append(examination_id, Entry(id=identity, **content))


def answer_changes(
    request: Request,
    store: Store,
    examination_id: str,
    tests: frozenset[str],
    anchor: str,
    also: frozenset[str] = frozenset(),
    read_words: str = "",
) -> Response:
    """Answer with the parts of the page that an entry changed, or send a plain form back."""
    if not is_fragment(request):
        return RedirectResponse(f"/examinations/{examination_id}{anchor}", 303)
    state = bedside_state(store, examination_id, settings_of(request), read_words=read_words)
    newer = _since(state["history"], _seen(request, state["seen"]))
    held = _held_since(state, _seen(request, state["seen"] - 1))
    return _changes(state, tests | newer.tests | held, also | newer.also, anew=newer.path)


@router.get("/changes")
@needs(Permission.READ, looks=True)
def changes_of_others(request: Request, examination_id: str, after: int = 0) -> Response:
    """Give the parts of the page changed since an entry, by whatever device; nothing if none."""
    store = store_of(request)
    history = store.history(examination_id)
    newer = _since(history, after)
    if not newer.any:
        return Response(status_code=204)
    state = bedside_state(store, examination_id, settings_of(request))
    held = _held_since(state, after)
    return _changes(state, newer.tests | held, newer.also, anew=newer.path)


@dataclass(frozen=True, slots=True)
class _Newer:
    """What entries after a known one touch."""

    any: bool
    tests: frozenset[str]
    also: frozenset[str]
    path: bool


def _since(history: Sequence[StoredEntry], after: int) -> _Newer:
    by_id = {stored.entry.id: stored.entry for stored in history}
    entries = [stored.entry for stored in history if stored.sequence > after]
    undone = [by_id[entry.undoes] for entry in entries if entry.undoes in by_id]
    every = entries + undone
    written = any(e.story is not None or e.unread or e.settled for e in every)
    return _Newer(
        any=bool(entries),
        tests=frozenset(test for entry in every for test in entry.tests),
        also=WRITTEN if written else frozenset(),
        path=any(entry.path is not None for entry in every),
    )


def _held_since(state: dict[str, Any], after: int) -> frozenset[str]:
    """Return the tests held back, or no longer, by entries after a known one."""
    head = state["head"]
    known = [stored for stored in state["history"] if stored.sequence <= after]
    then = present_state(head.id, head.label, head.invented, known)
    return changed_by(then, state["examination"])


def _seen(request: Request, newest: int) -> int:
    """Return the last entry the page knows of; one that says nothing is taken to be up to date."""
    text = request.headers.get("seen-entry", "")
    sent = text.isascii() and text.isdigit() and len(text) < 19  # else it is not from our page
    return int(text) if sent else newest


def _changes(
    state: dict[str, Any], tests: frozenset[str], also: frozenset[str], *, anew: bool
) -> Response:
    touched = {part_of()[test].key for test in tests if test in part_of()}
    state["changed_groups"] = [group for group in state["groups"] if group.key in touched]
    state["changed_tests"] = [test for test in load_catalogue() if test.id in tests]
    state["changed_pictures"] = dict.fromkeys(p.part for p in load_pictures() if p.tests & tests)
    state["also"] = also
    headers = {"HX-Refresh": "true"} if anew else None  # another device chose another path
    return HTMLResponse(templates.get_template("changes.html").render(state), headers=headers)
