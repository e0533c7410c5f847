"""The pages of people and of the audit trail, for whoever looks after accounts."""

from __future__ import annotations

from collections import deque
from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import Response

from decussate.errors import BadInput
from decussate.records.chain import links
from decussate.records.people import Person
from decussate.records.roles import GRANTS, Permission, Role
from decussate.web.access import NotAdmitted, access_of, needs, person_of, visit_of
from decussate.web.rendering import templates

__all__ = ["router"]

router = APIRouter()

LINKS_SHOWN = 200
"""Newest links of the audit trail on its page; `decussate audit` prints more."""

APPOINTED = frozenset({Role.OWNER, Role.ADMINISTRATOR})
"""Roles that only an owner gives and takes."""


@router.get("/people")
@needs(Permission.PEOPLE)
def people_page(request: Request) -> Response:
    """List everybody with an account."""
    return _page(request)


@router.post("/people")
@needs(Permission.PEOPLE)
def add_person(
    request: Request, name: Annotated[str, Form()] = "", role: Annotated[str, Form()] = ""
) -> Response:
    """Make an account, and show the password for its first use this once."""
    try:
        wanted = _role(role)
        _require_appointing(request, wanted)
        person, password = access_of(request).people.add(name, wanted)
    except BadInput as problem:
        return _page(request, said=problem, name=name, status=422)
    return _page(request, given=(person.name, password))


@router.post("/people/role")
@needs(Permission.PEOPLE)
def change_role(
    request: Request, name: Annotated[str, Form()], role: Annotated[str, Form()]
) -> Response:
    """Change what a person may do; it counts from that person's next request."""
    try:
        wanted = _role(role)
        _require_appointing(request, _person(request, name).role, wanted)
        access_of(request).people.set_role(name, wanted)
    except BadInput as problem:
        return _page(request, said=problem, status=422)
    return _page(request, done=f"{name} is {wanted} now.")


@router.post("/people/password")
@needs(Permission.PEOPLE)
def reset_password(request: Request, name: Annotated[str, Form()]) -> Response:
    """Give a person a password for one use, and end every use of the old one."""
    try:
        _require_appointing(request, _person(request, name).role)
        password = access_of(request).people.reset_password(name)
    except BadInput as problem:
        return _page(request, said=problem, status=422)
    return _page(request, given=(name, password))


@router.post("/people/close")
@needs(Permission.PEOPLE)
def close_account(request: Request, name: Annotated[str, Form()]) -> Response:
    """Close an account: signed out everywhere at once."""
    try:
        _require_appointing(request, _person(request, name).role)
        access_of(request).people.close(name)
    except BadInput as problem:
        return _page(request, said=problem, status=422)
    return _page(request, done=f"The account of {name} is closed.")


@router.post("/people/second-factor")
@needs(Permission.PEOPLE)
def take_off_second_factor(request: Request, name: Annotated[str, Form()]) -> Response:
    """Take the second factor of a person off who has lost phone and recovery codes."""
    try:
        person = _person(request, name)
        _require_appointing(request, person.role)
        access_of(request).factors.remove(person)
    except BadInput as problem:
        return _page(request, said=problem, status=422)
    return _page(request, done=f"{name} signs in by the password alone until a new one is set up.")


@router.post("/people/second-factor-for-all")
@needs(Permission.PEOPLE)
def require_second_factor(request: Request, wanted: Annotated[str, Form()]) -> Response:
    """Ask everybody for a second factor from the next sign-in on, or no longer."""
    access_of(request).factors.require(wanted=wanted == "yes")
    return _page(request, done="Saved.")


@router.get("/trail")
@needs(Permission.TRAIL)
def trail_page(request: Request) -> Response:
    """Show the newest links of the audit trail, the last first."""
    access = access_of(request)
    with access.store.database.reading() as connection:
        newest = deque((link for link, _ in links(connection)), maxlen=LINKS_SHOWN)
    names = {person.id: person.name for person in access.people.all()}
    lines = [(link, _subject(link.subject, names)) for link in reversed(newest)]
    return templates.TemplateResponse(request, "trail.html", {"lines": lines})


def _page(
    request: Request,
    *,
    said: BadInput | None = None,
    done: str = "",
    given: tuple[str, str] | None = None,
    name: str = "",
    status: int = 200,
) -> Response:
    me = person_of(request)
    everybody = access_of(request).people.all()
    context = {
        "open": [one for one in everybody if one.closed_at is None and not one.demonstrator],
        "closed": [one for one in everybody if one.closed_at is not None],
        "roles": [role for role in Role if _may_appoint(me, role)],
        "grants": GRANTS,
        "holders": access_of(request).factors.holders(),
        "required": access_of(request).factors.required_since(),
        "mine": [one.id for one in everybody if _may_appoint(me, one.role)],
        "said": said,
        "done": done,
        "given": given,
        "name": name,
    }
    return templates.TemplateResponse(request, "people.html", context, status_code=status)


def _may_appoint(me: Person, role: Role) -> bool:
    return role not in APPOINTED or me.may(Permission.APPOINT)


def _require_appointing(request: Request, *roles: Role) -> None:
    me = person_of(request)
    if not all(_may_appoint(me, role) for role in roles):
        words = f"The role {me.role} does not include {Permission.APPOINT}."
        raise NotAdmitted("role", words, visit_of(request))


def _person(request: Request, name: str) -> Person:
    found = access_of(request).people.get(name)
    if found.demonstrator:
        raise BadInput("person", name, "a person; this one is invented")
    return found


def _role(text: str) -> Role:
    try:
        return Role(text)
    except ValueError:
        raise BadInput("role", text or "nothing", "one of " + ", ".join(Role)) from None


def _subject(subject: str, names: dict[str, str]) -> str:
    """Return what a link is about, with the names of people in place of their identities."""
    first, space, rest = subject.partition(" ")
    return names.get(first, first) + space + rest
