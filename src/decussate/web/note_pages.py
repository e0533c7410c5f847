"""The note: read, edited, kept, copied and printed; what was generated stays beside it."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response

from decussate.documents.note import write_note
from decussate.errors import BadInput
from decussate.localisation import two_lesions
from decussate.records import ExaminationHead, Store, StoredEntry, WrittenText, kept_texts
from decussate.records.roles import Permission
from decussate.records.written import LONGEST
from decussate.web.access import needs
from decussate.web.before import compared_with_before
from decussate.web.conclusions import conclude
from decussate.web.entering import append_entry
from decussate.web.pages import invented_words
from decussate.web.rendering import is_fragment, templates
from decussate.web.state import store_of

__all__ = ["Difference", "differences", "router", "same_findings"]

router = APIRouter(prefix="/examinations/{examination_id}")


@router.get("/note")
@needs(Permission.READ, shows="note")
def note_page(request: Request, examination_id: str) -> Response:
    """Show the note as it was kept, or else as the program writes it now."""
    store = store_of(request)
    head = store.head(examination_id)
    before = compared_with_before(store, head)
    generated = _note(store, head, markdown=False)
    kept = kept_texts(store.history(examination_id), "note")
    context = {
        "head": head,
        "invented": invented_words(head),
        "alerts": conclude(store.examination(head.id)).alerts,
        "not_compared": before.refused,
        **kept_context(generated, kept),
    }
    return templates.TemplateResponse(request, "note.html", context)


@router.post("/note")
@needs(Permission.EXAMINE)
def keep_note(
    request: Request,
    examination_id: str,
    entry: Annotated[str, Form()],
    text: Annotated[str, Form()],
    generated: Annotated[str, Form()],
) -> Response:
    """Keep the note as it was edited, beside what the program had written."""
    written = {"document": "note", "text": text, "generated": generated}
    keep(store_of(request), examination_id, entry, **written)
    if is_fragment(request):
        return Response(headers={"HX-Refresh": "true"})
    return RedirectResponse(f"/examinations/{examination_id}/note", 303)


@router.get("/note.txt")
@needs(Permission.READ, shows="note as text")
def note_text(request: Request, examination_id: str) -> Response:
    """Give the note as plain text: as it was kept, or else as the program writes it."""
    store = store_of(request)
    kept = kept_texts(store.history(examination_id), "note")
    written = kept[-1].entry.written if kept else None
    text = written.text if written else _note(store, store.head(examination_id), markdown=False)
    return PlainTextResponse(text)


@router.get("/note.md")
@needs(Permission.READ, shows="note as Markdown")
def note_markdown(request: Request, examination_id: str) -> Response:
    """Give the note as Markdown, as the program writes it."""
    store = store_of(request)
    text = _note(store, store.head(examination_id), markdown=True)
    return PlainTextResponse(text, media_type="text/markdown")


def _note(store: Store, head: ExaminationHead, *, markdown: bool) -> str:
    examination = store.examination(head.id)
    conclusion = conclude(examination)
    return write_note(
        examination,
        conclusion.localisation,
        conclusion.alerts,
        markdown=markdown,
        comparison=compared_with_before(store, head).comparison,
        second=two_lesions(examination) if conclusion.used else None,
    )


def keep(store: Store, examination_id: str, token: str, **written: Any) -> None:  # noqa: ANN401
    """Keep a text as an entry.

    Raises
    ------
    BadInput
        If it is empty or too long.
    """
    for name in ("text", "generated"):
        written[name] = "\n".join(written[name].splitlines()).strip("\n") + "\n"
        if len(written[name]) > LONGEST:
            found = f"{len(written[name])} characters"
            raise BadInput("text", found, f"at most {LONGEST} characters")
    if not written["text"].strip():
        hint = "To go back to what the program writes, use its text."
        raise BadInput("text", "nothing", "the text to be kept", hint=hint)
    append_entry(store, examination_id, token, {"written": WrittenText(**written)})


@dataclass(frozen=True, slots=True)
class Difference:
    """Lines that two texts share, or that one has and the other has not."""

    kind: str
    lines: tuple[str, ...]


def differences(before: str, after: str) -> tuple[Difference, ...]:
    """Return how a text became another, line by line.

    Parameters
    ----------
    before, after : str

    Returns
    -------
    tuple of Difference
        ``same``, ``out`` (in the first alone) or ``in`` (in the second alone), in reading order.
    """
    first, second = before.splitlines(), after.splitlines()
    found: list[Difference] = []
    for tag, a, b, c, d in SequenceMatcher(None, first, second, autojunk=False).get_opcodes():
        if tag == "equal":
            found.append(Difference("same", tuple(first[a:b])))
            continue
        if a < b:
            found.append(Difference("out", tuple(first[a:b])))
        if c < d:
            found.append(Difference("in", tuple(second[c:d])))
    return tuple(found)


def same_findings(first: str, second: str) -> bool:
    """Whether two generated texts say the same, whoever and whichever program wrote them when."""
    return _said(first) == _said(second)


def _said(text: str) -> list[str]:
    identifying = ("Examined ", "Decussate ", "*Decussate ")
    return [line for line in text.strip().splitlines() if not line.startswith(identifying)]


def kept_context(generated: str, kept: tuple[StoredEntry, ...]) -> dict[str, Any]:
    """Return what a page says of a text that was kept, and of the one the program writes now.

    Parameters
    ----------
    generated : str
        What the program writes now.
    kept : tuple of StoredEntry
        What was kept, oldest first.

    Returns
    -------
    dict
        Template variables.
    """
    last = kept[-1] if kept else None
    written = last.entry.written if last else None
    stale = written is not None and not same_findings(written.generated, generated)
    return {
        "generated": generated,
        "shown": written.text if written else generated,
        "kept": last,
        "by_hand": differences(written.generated, written.text)
        if written and written.edited
        else (),
        "stale": differences("\n".join(_said(written.generated)), "\n".join(_said(generated)))
        if written and stale
        else (),
        "earlier": tuple(reversed(kept[:-1])),
    }
