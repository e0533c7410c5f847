"""Signing in and out, locking and unlocking, the first owner, and one's own account."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from decussate.errors import BadInput
from decussate.records import acting_as
from decussate.records.passwords import SHORTEST
from decussate.records.people import DEMONSTRATOR, LOCK_MINUTES, Person, name_key
from decussate.records.roles import GRANTS, Permission
from decussate.records.signed_in import ABSOLUTE
from decussate.web.access import (
    NotAdmitted,
    access_of,
    address_of,
    cookie_name,
    hand_over,
    needs,
    person_of,
    visit_of,
)
from decussate.web.access_guesses import TooManyGuesses
from decussate.web.rendering import is_fragment, templates

__all__ = ["answer_not_admitted", "checked_person", "router", "status_of"]

router = APIRouter()

PAGES = {
    "first": "first_owner.html",
    "nobody": "sign_in.html",
    "another": "sign_in.html",
    "locked": "locked.html",
    "change": "change_password.html",
    "enrol": "second_factor_first.html",
    "role": "not_allowed.html",
}
"""What is shown at an address in place of its page, by why nobody was let in."""


async def answer_not_admitted(request: Request, refused: Exception) -> Response:
    """Answer who was not let in with the page that helps, at the address that was asked for.

    Parameters
    ----------
    request : Request
        The request.
    refused : NotAdmitted
        Why not.

    Returns
    -------
    Response
        A page; for a page that runs its script a message, which makes it ask for the whole page.
    """
    assert isinstance(refused, NotAdmitted)  # noqa: S101  (registered for this class only)
    if is_fragment(request):
        # What the page would send is kept in its outbox; see access.js for what follows.
        body = templates.get_template("_not_admitted.html").render({"words": refused.detail})
        return HTMLResponse(body, refused.status_code, {"Not-Admitted": refused.reason})
    visit = refused.visit
    if refused.reason == "role" and visit and request.url.path == "/":
        # The first page is of patients: who sees none begins elsewhere.
        return RedirectResponse(
            "/people" if visit.person.may(Permission.PEOPLE) else "/catalogue", 303
        )
    return _page(request, refused.reason, _return_to(request), refused=refused)


def _page(
    request: Request,
    reason: str,
    back: str,
    *,
    refused: NotAdmitted | None = None,
    said: BadInput | None = None,
    name: str = "",
    status: int = 0,
) -> Response:
    access = access_of(request)
    visit = refused.visit if refused else access.visit(request)
    context = {
        "back": back,
        "said": said,
        "name": name,
        "person": visit.person if visit else None,
        "demonstration": access.demonstration,
        "words": refused.detail if refused else "",
        "sent": request.method != "GET" and refused is not None,
        "shortest": SHORTEST,
    }
    status = status or (refused.status_code if refused else 200)
    return templates.TemplateResponse(request, PAGES[reason], context, status_code=status)


@router.get("/sign-in")
@needs(Permission.OPEN)
def sign_in_page(request: Request) -> Response:
    """Show the page to sign in on; whoever is signed in already is sent on."""
    access = access_of(request)
    visit = access.visit(request)
    if visit is not None and not visit.browser.locked:
        return RedirectResponse("/", 303)
    if not access.demonstration and not access.owned():
        return _page(request, "first", "/")
    return _page(request, "nobody", "/")


@router.post("/sign-in")
@needs(Permission.OPEN)
def sign_in(
    request: Request,
    name: Annotated[str, Form()] = "",
    password: Annotated[str, Form()] = "",
    back: Annotated[str, Form()] = "/",
) -> Response:
    """Sign a person in by name and password; whoever has a second factor is asked for it next."""
    try:
        person = checked_person(request, name, password)
    except BadInput as problem:
        return _page(request, "nobody", back, said=problem, name=name, status=status_of(problem))
    access = access_of(request)
    if access.factors.of(person) is not None:
        return code_page(request, access.tickets.give(person.name), back)
    return signed_in_answer(request, person, back, "signed in")


@router.post("/sign-in/code")
@needs(Permission.OPEN)
def sign_in_by_code(
    request: Request,
    ticket: Annotated[str, Form()] = "",
    code: Annotated[str, Form()] = "",
    back: Annotated[str, Form()] = "/",
) -> Response:
    """Sign in whoever gave the password before, by a code of the app or a recovery code."""
    access = access_of(request)
    person = access.people.named(access.tickets.whose(ticket) or "")
    if person is None or person.closed_at is not None:
        late = BadInput("sign-in", "a code that came too late", "name and password once more")
        return _page(request, "nobody", back, said=late, status=422)
    address = address_of(request)
    keys = (("code", person.id), ("address", address))
    try:
        access.guesses.begin(*keys)
        if not access.factors.accept(person, code):
            access.visits.refused(person, address)
            hint = "Each code counts once; wait for the next. The clock of the phone must be right."
            raise BadInput("code", "one that is wrong or was used", "the present one", hint=hint)
    except BadInput as problem:
        return code_page(request, ticket, back, said=problem, status=status_of(problem))
    access.guesses.succeeded(*keys)
    access.tickets.end(ticket)
    return signed_in_answer(request, person, back, "signed in")


def code_page(
    request: Request, ticket: str, back: str, *, said: BadInput | None = None, status: int = 200
) -> Response:
    """Ask for the code that follows the password."""
    context = {"ticket": ticket, "back": back, "said": said}
    return templates.TemplateResponse(request, "sign_in_code.html", context, status_code=status)


@router.post("/unlock")
@needs(Permission.OPEN)
def unlock(
    request: Request,
    password: Annotated[str, Form()] = "",
    back: Annotated[str, Form()] = "/",
) -> Response:
    """Unlock this browser by the password of whoever is signed in."""
    access = access_of(request)
    visit = access.visit(request)
    if visit is None:
        return _page(request, "nobody", back)
    if visit.person.demonstrator:
        return signed_in_answer(request, visit.person, back, "unlocked")
    try:
        person = checked_person(request, visit.person.name, password)
    except BadInput as problem:
        return _page(request, "locked", back, said=problem, status=status_of(problem))
    return signed_in_answer(request, person, back, "unlocked")


@router.post("/demonstration")
@needs(Permission.OPEN)
def begin_demonstration(request: Request, back: Annotated[str, Form()] = "/") -> Response:
    """Sign the invented examiner in; only where the demonstration may be given."""
    access = access_of(request)
    if not access.demonstration:
        raise NotAdmitted("nobody", "There is no demonstration here.")
    return signed_in_answer(request, access.people.get(DEMONSTRATOR), back, "signed in")


@router.post("/first-owner")
@needs(Permission.OPEN)
def make_first_owner(
    request: Request,
    name: Annotated[str, Form()] = "",
    password: Annotated[str, Form()] = "",
) -> Response:
    """Make the owner of a database that has none, and sign the owner in."""
    access = access_of(request)
    if access.demonstration or access.owned():
        raise NotAdmitted("nobody", "There is an owner already.")
    try:
        owner = access.people.add_owner(name, password)
    except BadInput as problem:
        return _page(request, "first", "/", said=problem, name=name, status=422)
    return signed_in_answer(request, owner, "/", "signed in")


@router.post("/lock")
@needs(Permission.OPEN)
def lock(request: Request, back: Annotated[str, Form()] = "/") -> Response:
    """Lock this browser at once."""
    access = access_of(request)
    visit = access.visit(request)
    if visit is not None and not visit.browser.locked:
        access.visits.lock(visit)
    return RedirectResponse(_own(back), 303)


@router.post("/sign-out")
@needs(Permission.OPEN)
def sign_out(request: Request) -> Response:
    """Sign this browser out."""
    access = access_of(request)
    visit = access.visit(request)
    if visit is not None:
        access.visits.end(visit.person, visit.browser.number)
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(
        cookie_name(tls=access.tls), path="/", secure=access.tls, httponly=True, samesite="strict"
    )
    return answer


@router.post("/still-here")
@needs(Permission.OWN)
def still_here() -> Response:
    """Take note that somebody reads or touches the page, so that it does not lock."""
    return Response(status_code=204)


@router.get("/account")
@needs(Permission.OWN)
def account_page(request: Request, said: str = "") -> Response:
    """Show a person's own account: what it may do, its password, its browsers."""
    return _account(request, said if said in SAID else "")


SAID = {
    "lock": "Saved.",
    "ended": "Signed out there.",
    "off": "The second factor is taken off.",
}
"""What was just done, by the word in the address."""


def _account(
    request: Request, said: str = "", problem: BadInput | None = None, status: int = 200
) -> Response:
    visit = visit_of(request)
    person = person_of(request)
    context = {
        "person": person,
        "grant": GRANTS[person.role],
        "permissions": [p for p in Permission if person.may(p) and p is not Permission.OPEN],
        "browsers": access_of(request).visits.of(person),
        "factor": access_of(request).factors.of(person),
        "this": visit.browser.number if visit else "",
        "lock_minutes": LOCK_MINUTES,
        "absolute_hours": round(ABSOLUTE.total_seconds() / 3600),
        "shortest": SHORTEST,
        "said": SAID.get(said, ""),
        "problem": problem,
    }
    return templates.TemplateResponse(request, "account.html", context, status_code=status)


@router.post("/account/lock")
@needs(Permission.OWN)
def set_lock(request: Request, minutes: Annotated[int, Form()]) -> Response:
    """Set after how many minutes without a touch this person's browsers lock."""
    access_of(request).people.set_lock(person_of(request).name, minutes)
    return RedirectResponse("/account?said=lock", 303)


@router.post("/account/password")
@needs(Permission.OWN)
def change_password(
    request: Request,
    password: Annotated[str, Form()] = "",
    new: Annotated[str, Form()] = "",
    back: Annotated[str, Form()] = "/",
) -> Response:
    """Change one's own password; every other browser is signed out."""
    person = person_of(request)
    if person.demonstrator:
        raise BadInput("password", "the invented examiner", "a person with a password")
    try:
        checked_person(request, person.name, password)
        if new == password:
            raise BadInput("password", "the old one", "a new one")
        access_of(request).people.set_password(person.name, new)
    except BadInput as problem:
        if person.must_change:
            return _page(request, "change", back, said=problem, status=status_of(problem))
        return _account(request, problem=problem, status=status_of(problem))
    return signed_in_answer(request, person, back, "signed in")


@router.post("/account/browsers")
@needs(Permission.OWN)
def end_browser(
    request: Request, number: Annotated[str, Form()], password: Annotated[str, Form()] = ""
) -> Response:
    """Sign one's own account out of a browser, after the password was given once more."""
    person = person_of(request)
    try:
        if not person.demonstrator:
            checked_person(request, person.name, password)
    except BadInput as problem:
        return _account(request, problem=problem, status=status_of(problem))
    access_of(request).visits.end(person, number)
    return RedirectResponse("/account?said=ended", 303)


def checked_person(request: Request, name: str, password: str) -> Person:
    """Return the person whose name and password these are; count and slow down what is wrong."""
    access = access_of(request)
    address = address_of(request)
    known = access.people.named(name)
    keys = (("account", name_key(name)), ("address", address))
    access.guesses.begin(*keys)
    person = access.people.check(name, password)
    if person is None:
        access.visits.refused(known, address)
        hint = "Spaces count, and capitals do. A password given to you is good for a week."
        raise BadInput("sign-in", "a name or password that is wrong", "both right", hint=hint)
    access.guesses.succeeded(*keys)
    return person


def signed_in_answer(request: Request, person: Person, back: str, action: str) -> Response:
    access = access_of(request)
    name = cookie_name(tls=access.tls)
    with acting_as(person.name):
        secret = access.visits.begin(
            person,
            device=request.headers.get("user-agent", ""),
            address=address_of(request),
            instead=request.cookies.get(name, ""),
            action=action,
        )
    answer = RedirectResponse(_own(back), 303)
    hand_over(answer, name, secret, tls=access.tls)
    return answer


def status_of(problem: BadInput) -> int:
    """Return the HTTP status of a try that failed: 429 where it came too early."""
    return 429 if isinstance(problem, TooManyGuesses) else 422


def _own(back: str) -> str:
    """Return an address of this program to go back to, and of no other."""
    plain = back.isprintable() and "\\" not in back
    return back if plain and back.startswith("/") and not back.startswith("//") else "/"


def _return_to(request: Request) -> str:
    """Return where to go after signing in: the page asked for, or the one a form was sent from."""
    path = request.url.path
    if request.method == "GET":
        return f"{path}?{request.url.query}" if request.url.query else path
    parts = path.split("/")
    return "/".join(parts[:3]) if parts[1] == "examinations" and len(parts) > 3 else "/"


templates.env.globals.update(visit=visit_of, access=access_of, Permission=Permission)
