"""The pages' forms and the read interface as targets for hostile inputs.

The forms are gathered from the pages themselves, so a new form is tried as soon as a page shows it;
an address that takes a post and stands in no form is tried with fields of our own.
"""

from __future__ import annotations

import functools
import itertools
import json
import logging
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit
from uuid import uuid4

import schemathesis
from fastapi.testclient import TestClient
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import response_schema_conformance, status_code_conformance

from decussate.records.people import Person
from decussate.records.roles import Role
from decussate.web.api import router
from decussate.web.api_document import openapi_document
from decussate.web.app import create_app
from decussate.web.bedside import load_parts
from fuzz_inputs import NASTY_VALUES, nasty_words
from fuzz_targets import Target
from signing_in import PASSWORD, an_owner, signed_in

__all__ = ["WEB_TARGETS", "Form", "Site", "site"]

INSIDE = ("Traceback (most recent call last)", 'File "/', "site-packages", "sqlalchemy", "sqlite3.")
"""Words that would show the inside of the program."""
LARGEST_ANSWER = 3_000_000
"""Bytes of one answer."""
FRESH_AFTER = 300
"""Inputs after which a new examination is begun, so that none grows without end."""
OTHERWISE = {
    "entry": ("{token}",),
    "name": ("Invented examiner", "Olga Example, invented owner", "Somebody new"),
    "password": (PASSWORD, "another invented word"),
    "back": ("/", "//elsewhere.example", "/new\r\nx: y"),
    "side": ("right", "left"),
    "view": ("chart", "near", "words"),
    "distance_m": ("3", "0.4"),
    "row": ("6",),
    "width": ("1200",),
    "height": ("800",),
    "px_per_mm": ("5.1",),
    "ratio": ("2",),
}
"""Fields for an address whose form stands on no page."""
USUAL = {
    "text": ("R ptosis partial", "L CN VI palsy, 54 y M, sudden", "VA R 6/9 L 6/60", ""),
    "label": ("Bed 1, invented",),
    "age": ("54", ""),
    "invented": ("yes", ""),
    "level": ("35", "70", ""),
}
"""What is typed where a page offers nothing, by the first word of the field's name."""
JSON_ADDRESSES = ("/screen/state", "/screen/report")
NOT_READ = "right something that nobody writes"


@dataclass(frozen=True, slots=True)
class Form:
    """One form of a page, or an address that takes a post.

    Parameters
    ----------
    action : str
        Where it is sent, with ``{examination}`` for the one at hand.
    fields : dict of str to tuple of str
        Names with the values the page offers.
    """

    action: str
    fields: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class Filled:
    """A form as it is sent.

    Parameters
    ----------
    form : Form
        Which.
    pairs : tuple of (str, str)
        Names with values, in order.
    kind : str
        ``form``, ``files``, ``json``, ``multipart`` or ``bytes``.
    value : object
        For JSON, what stands beside the pairs or, if there are none, instead of them.
    raw : bytes
        For ``multipart`` and ``bytes``.
    headers : dict
        Of the request.
    examination : str
        What stands in the address instead of the identity, if anything.
    """

    form: Form
    pairs: tuple[tuple[str, str], ...]
    kind: str
    value: Any
    raw: bytes
    headers: dict[str, Any]
    examination: str

    def body(self, words: dict[str, str]) -> tuple[dict[str, Any], dict[str, str]]:
        """Return the body and its headers, with the words for placeholders put in."""
        pairs = [(name, words.get(text, text)) for name, text in self.pairs]
        match self.kind:
            case "bytes":
                return {"content": self.raw}, {}
            case "multipart":
                kind = {"content-type": "multipart/form-data; boundary=x"}
                return {"content": b"--x\r\n" + self.raw}, kind
            case "json":
                value = {name: _number(text) for name, text in pairs} if pairs else self.value
                if pairs and self.raw[:1] > b"\xc0":
                    value["more"] = self.value
                return {"content": json.dumps(value).encode("utf-8", "surrogatepass")}, {}
            case "files":
                files = [(name, (name, text.encode("utf-8", "replace"))) for name, text in pairs]
                return {"files": files or {"file": ("x", b"")}}, {}
        data: dict[str, list[str]] = {}
        for name, text in pairs:
            data.setdefault(name, []).append(text)
        return {"data": data}, {}


def _number(text: str) -> Any:
    try:
        return float(text)
    except ValueError:
        return text


class _Forms(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, list[str]]]] = []
        self.open: list[tuple[str, dict[str, list[str]]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        action = given.get("hx-post") or (
            given.get("action", "") if given.get("method", "").lower() == "post" else ""
        )
        if tag == "form" or given.get("hx-post"):
            fields: dict[str, list[str]] = {}
            if given.get("hx-vals"):
                fields = {k: [str(v)] for k, v in json.loads(given["hx-vals"]).items()}
            self.found.append((action, fields))
            if tag == "form":
                self.open.append(self.found[-1])
        name = given.get("name")
        if name and self.open and tag in ("input", "button", "select", "textarea"):
            self.open[-1][1].setdefault(name, []).append(given.get("value", ""))
        if tag == "option" and self.open and self.open[-1][1]:
            last = list(self.open[-1][1])[-1]
            self.open[-1][1][last].append(given.get("value", ""))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form" and self.open:
            self.open.pop()


class Site:
    """The whole application with the demonstration, and somebody signed in."""

    def __init__(self) -> None:
        self.kept = tempfile.TemporaryDirectory(prefix="decussate-fuzz-")  # until the end
        folder = Path(self.kept.name)
        self.app = create_app(folder / "examinations.db", demo=True)
        own = {"sec-fetch-site": "same-origin"}
        self.client = TestClient(self.app, base_url="http://127.0.0.1:8000", headers=own)
        self.patient = self.app.state.store.examinations()[0].patient
        self.used = 0
        self.made = ""
        self.statuses: dict[str, dict[int, int]] = {}
        self.sign_in()
        self.begin()
        self.forms = self._gather()
        self.actions = sorted({form.action for form in self.forms})

    def sign_in(self) -> None:
        self.client.cookies.clear()
        self.client.cookies.set("signed-in", signed_in(self.app, self.owner()))
        self.client.cookies.set("display", "scheme=dark&acuity=none&fields=%00")

    def owner(self) -> Person:
        """An owner who can still do everything: a form may have closed or changed the last one."""
        people = self.app.state.access.people
        for name in itertools.chain([an_owner(self.app).name], map(str, itertools.count())):
            person = people.named(name)
            if person is None:
                people.add(name, Role.OWNER)
                people.set_password(name, PASSWORD)
                person = people.get(name)
            if person.role is Role.OWNER and not person.must_change and not person.closed_at:
                return person
        raise AssertionError("there is always another name")

    def token(self) -> str:
        """A read token that counts: a form may have ended the last one."""
        tokens, person = self.app.state.access.tokens, self.owner()
        if not self.made or tokens.whose(self.made) is None:
            self.made = tokens.make(person, f"reads {uuid4()}")
        return self.made

    def begin(self) -> None:
        """Begin an examination in which there is something to take back and to settle."""
        self.examination = self.app.state.store.begin(self.patient)
        text = f"R ptosis partial\n{NOT_READ}"
        where = f"/examinations/{self.examination}/shorthand"
        self.client.post(where, data={"text": text, "entry": str(uuid4())})

    def words(self) -> dict[str, str]:
        """What is put in for the placeholders."""
        last = self.app.state.store.history(self.examination)[-1].entry.id
        return {"{token}": str(uuid4()), "{last}": str(last), "{new}": str(uuid4())}

    def posts(self) -> Iterator[str]:
        """Every address that takes a post."""
        for included in self.app.routes:
            router = getattr(included, "original_router", None)
            for route in router.routes if router else (included,):
                takes = getattr(route, "methods", None) or ()
                if "POST" in takes and not route.path.startswith("/api/"):
                    yield route.path

    def _gather(self) -> tuple[Form, ...]:
        here = f"/examinations/{self.examination}"
        pages = ["/", "/new", "/settings", "/account", "/people", here]
        pages += [f"{here}/parts/{part.key}" for part in load_parts()]
        pages += [f"{here}/{what}" for what in ("screen", "timers", "note", "history", "where")]
        found: dict[Form, None] = {}
        for page in pages:
            answer = self.client.get(page)
            reader = _Forms()
            reader.feed(answer.text)
            for action, fields in reader.found:
                path = urlsplit(action or page).path.replace(self.examination, "{examination}")
                named = tuple((name, tuple(values)) for name, values in fields.items())
                found[Form(path, named)] = None
        sent = {form.action for form in found}
        others = {path.replace("{examination_id}", "{examination}") for path in self.posts()} - sent
        own = tuple(OTHERWISE.items())
        return (*found, *(Form(path, own) for path in sorted(others)))

    def post(self, filled: Filled) -> bool:
        """Send a form as it was filled in; return whether it was accepted."""
        self.used += 1
        if self.used % FRESH_AFTER == 0:
            self.begin()
        body, headers = filled.body(self.words())
        examination = filled.examination or self.examination
        answer = self.client.post(
            filled.form.action.replace("{examination}", examination),
            headers=filled.headers | headers,
            follow_redirects=False,
            **body,
        )
        check(answer)
        counts = self.statuses.setdefault(filled.form.action, {})
        counts[answer.status_code] = counts.get(answer.status_code, 0) + 1
        if not filled.form.action.startswith("/examinations/") or answer.status_code == 401:
            self.sign_in()  # it may have signed out, locked, or signed another in
        return bool(answer.status_code < 400)


def check(answer: Any) -> None:
    """No server error, no inside shown, no endless answer."""
    assert answer.status_code < 500, f"{answer.status_code}: {answer.text[:300]}"
    assert len(answer.content) < LARGEST_ANSWER
    for words in INSIDE:
        assert words not in answer.text


@functools.cache
def site() -> Site:
    logging.getLogger("httpx").setLevel(logging.WARNING)
    return Site()


HEADERS: tuple[dict[str, Any], ...] = (
    {},
    {"hx-request": "true"},
    {"hx-request": "true", "seen-entry": "1"},
    {"hx-request": "true", "seen-entry": "²".encode("latin-1")},
    {"hx-request": "true", "seen-entry": "9" * 5000},
)
KINDS = ("form",) * 8 + ("files", "json", "multipart", "bytes")
PLACEHOLDERS = {"entry": "{token}", "undoes": "{last}", "examination": "{new}"}


@st.composite
def filled(draw: st.DrawFn) -> Filled:
    """A form of some page, filled in mostly as offered and partly as nobody would."""
    action = draw(st.sampled_from(site().actions))  # each address alike, however many forms it has
    form = draw(st.sampled_from([form for form in site().forms if form.action == action]))
    pairs: list[tuple[str, str]] = []
    hostile = draw(st.integers(0, 3))
    for number, (name, values) in enumerate(form.fields):
        typed = () if any(values) else USUAL.get(name.split(" ")[0], ())
        offered = draw(st.sampled_from(typed or values or ("",)))
        pair = (name, PLACEHOLDERS.get(name, offered))
        if hostile and draw(st.integers(0, max(1, len(form.fields) // hostile))) == 0:
            word = draw(nasty_words())
            pairs += draw(
                st.sampled_from(([], [(name, word)], [(name, word)], [pair, (name, word)]))
            )
        elif number < 200:
            pairs.append(pair)
    if draw(st.integers(0, 5)) == 0:
        pairs.append((draw(nasty_words()), draw(nasty_words())))
    return Filled(
        form=form,
        pairs=tuple(pairs),
        kind=draw(st.sampled_from(("json",) * 9 if action.endswith(JSON_ADDRESSES) else KINDS)),
        value=draw(st.sampled_from(NASTY_VALUES)),
        raw=draw(st.binary(max_size=300)),
        headers=draw(st.sampled_from(HEADERS)),
        examination=quote(draw(nasty_words())[:50], safe="")
        if draw(st.integers(0, 19)) == 0
        else "",
    )


@functools.cache
def interface() -> Any:
    return schemathesis.openapi.from_dict(openapi_document(router.routes))


@st.composite
def questions(draw: st.DrawFn) -> Any:
    """A request of the read interface, as its description has it or against it."""
    operations = [found.ok() for found in interface().get_all_operations()]
    operation = draw(st.sampled_from(operations))
    mode = draw(st.sampled_from((GenerationMode.POSITIVE, GenerationMode.NEGATIVE)))
    try:
        case = draw(operation.as_strategy(generation_mode=mode))
    except schemathesis.errors.SchemathesisError:
        case = draw(operation.as_strategy())  # nothing that its description forbids
    heads = site().app.state.store.examinations()
    for name in case.path_parameters or ():
        if draw(st.integers(0, 3)):
            known = [h.id for h in heads[:10]] if name != "test_id" else ["gaze_out"]
            case.path_parameters[name] = draw(st.sampled_from(known))
    if draw(st.integers(0, 7)):
        case.headers = {**(case.headers or {}), "Authorization": f"Bearer {site().token()}"}
    return case


def ask(case: Any) -> bool:
    """Ask the read interface; its answer must be one that it describes."""
    answer = site().client.request(
        case.method, case.formatted_path, params=case.query or {}, headers=dict(case.headers or {})
    )
    check(answer)
    case.validate_response(
        answer,
        checks=[not_a_server_error, status_code_conformance, response_schema_conformance],
    )
    if answer.status_code in (401, 403):
        site().sign_in()
    return answer.status_code < 400


WEB_TARGETS = (
    Target("forms of the pages", filled, lambda form: site().post(form), 0.06),
    Target("read interface", questions, ask, 0.04),
)
