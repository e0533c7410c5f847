"""The gate before every page: who asks, whether they may, and the line in the audit trail.

Every route names with `needs` what it asks for; one that names nothing lets nobody in. Whoever is
let in acts under their own name until the answer is given, so that what is saved carries it, and
what a page shows of a patient is in the audit trail before it is shown.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from datetime import datetime
from threading import Lock
from typing import Any, TypeVar

from fastapi import Request
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import Response

from decussate.errors import BadInput
from decussate.records import Store, acting_as
from decussate.records.outbox_keys import outbox_key
from decussate.records.people import People, Person, now_utc
from decussate.records.read_tokens import ReadTokens
from decussate.records.roles import Permission
from decussate.records.second_factors import SecondFactors
from decussate.records.signed_in import Visit, Visits
from decussate.web.access_guesses import Guesses
from decussate.web.access_pairing import Pairings, paired_cookie
from decussate.web.access_rate import RequestRate
from decussate.web.access_refusals import NOBODY, Refusals
from decussate.web.access_tickets import Tickets

__all__ = [
    "Access",
    "Need",
    "NotAdmitted",
    "access_of",
    "address_of",
    "cookie_name",
    "gate",
    "hand_over",
    "need_of",
    "needs",
    "person_of",
    "visit_of",
]

SIGNED_IN_AS = "signed-in-as"
"""Header in which a page says whose it is, so that nothing is saved in another's name."""

OF_A_PATIENT = frozenset({Permission.READ, Permission.EXAMINE})
"""What shows something of a patient, were it only the answer to an entry."""

READ_INTERFACE = "/api/"
"""Addresses at which a read token counts; nothing can be changed at any of them."""

F = TypeVar("F", bound=Callable[..., Any])


@dataclass(frozen=True, slots=True)
class Need:
    """What a route asks for.

    Parameters
    ----------
    permission : Permission
        Which the role must give.
    shows : str
        What it shows of a patient, for the audit trail; empty when it shows nothing, or only parts
        of a page that was shown before.
    looks : bool
        Whether a page asks by itself, so that no person need be there.
    """

    permission: Permission
    shows: str = ""
    looks: bool = False


def needs(permission: Permission, *, shows: str = "", looks: bool = False) -> Callable[[F], F]:
    """Name what a route asks for; stands below the line that names its address.

    Parameters
    ----------
    permission, shows, looks
        As in `Need`.

    Returns
    -------
    callable
        A decorator.
    """

    def name(endpoint: F) -> F:
        endpoint.need = Need(permission, shows, looks)  # type: ignore[attr-defined]
        return endpoint

    return name


def need_of(endpoint: object) -> Need | None:
    """Return what a route asks for; None when it does not say."""
    need: Need | None = getattr(endpoint, "need", None)
    return need


class NotAdmitted(HTTPException):
    """Nobody is signed in (401), or whoever is may not (403).

    Parameters
    ----------
    reason : str
        ``first`` (there is no account yet), ``nobody``, ``locked``, ``another`` (the page is
        another person's), ``change`` (the password must be changed first) or ``role``.
    words : str
        The reason in words.
    visit : Visit, optional
        Whose browser it is.
    """

    def __init__(self, reason: str, words: str, visit: Visit | None = None) -> None:
        super().__init__(403 if reason in ("role", "change", "enrol") else 401, words)
        self.reason = reason
        self.visit = visit


class Access:
    """What one application knows about who may use it.

    Parameters
    ----------
    store : Store
        Where accounts are kept.
    demonstration : bool
        Whether the invented examiner may be signed in with one touch.
    tls : bool
        Whether the pages are served encrypted.
    clock : callable, optional
        Gives the present time in UTC.
    """

    def __init__(
        self,
        store: Store,
        *,
        demonstration: bool,
        tls: bool,
        clock: Callable[[], datetime] = now_utc,
    ) -> None:
        self.store = store
        self.people = People(store, clock)
        self.visits = Visits(store, clock)
        self.tokens = ReadTokens(store, clock)
        self.factors = SecondFactors(store, clock)
        self.guesses = Guesses(clock)
        self.tickets = Tickets(clock)
        self.pairings = Pairings(clock)
        self.rate = RequestRate()
        self.refusals = Refusals(store)
        self.tls = tls
        self.demonstration = demonstration
        self._owned = False
        self._shown: set[tuple[str, str]] = set()
        self._shown_lock = Lock()

    def owned(self) -> bool:
        """Whether there is an owner; once there is one there always is."""
        self._owned = self._owned or self.people.has_owner()
        return self._owned

    def outbox_key(self, person: Person) -> str:
        """Return with what the pages of a person seal what waits to be sent."""
        return outbox_key(self.store, person)

    def admit(self, request: Request, need: Need) -> Visit | None:
        """Let a request in, or say why not.

        Parameters
        ----------
        request : Request
            The request, its route known.
        need : Need
            What the route asks for.

        Returns
        -------
        Visit or None
            Who asks; None for a patient's screen that was paired.

        Raises
        ------
        NotAdmitted
            With the reason.
        BadInput
            If the examination is not there for this person.
        """
        examination = request.path_params.get("examination_id", "")
        visit = self.visit(request, touched=not need.looks)
        if need.permission is Permission.SCREEN and not _directs(visit):
            secret = request.cookies.get(paired_cookie(tls=self.tls), "")
            if self.pairings.allows(secret, examination):
                return None
        if visit is None or visit.browser.locked:
            raise self._nobody(visit)
        claimed = request.headers.get(SIGNED_IN_AS, visit.person.id)
        if claimed != visit.person.id:
            raise NotAdmitted("another", "The page is another person’s: sign in as that person.")
        if visit.person.must_change and need.permission is not Permission.OWN:
            raise NotAdmitted("change", "Choose a password of your own first.", visit)
        if need.permission is not Permission.OWN and self._lacks_factor(request, visit):
            raise NotAdmitted("enrol", "Set up a second factor first.", visit)
        if not visit.person.may(need.permission):
            words = f"The role {visit.person.role} does not include {need.permission}."
            raise NotAdmitted("role", words, visit)
        with acting_as(visit.person.name):
            self._note(need, visit, examination)
        return visit

    def visit(self, request: Request, *, touched: bool = False) -> Visit | None:
        """Return who is signed in, locked or not, in the browser that asks; or whose token came."""
        if _by_token(request):
            return self.tokens.visit(request.headers["authorization"])
        secret = request.cookies.get(cookie_name(tls=self.tls), "")
        visit = self.visits.visit(secret, touched=touched)
        if visit is not None and visit.person.demonstrator and not self.demonstration:
            return None
        return visit

    def _lacks_factor(self, request: Request, visit: Visit) -> bool:
        """Whether a person who signed in since everybody is asked for a second factor has none."""
        if visit.person.demonstrator or _by_token(request):
            return False
        since = self.factors.required_since()
        if since is None or visit.browser.began_at < since:
            return False
        return self.factors.of(visit.person) is None

    def _nobody(self, visit: Visit | None) -> NotAdmitted:
        if visit is not None:
            return NotAdmitted("locked", "Locked: the password is needed.", visit)
        if not self.demonstration and not self.owned():
            return NotAdmitted("first", "There is no account yet.")
        return NotAdmitted("nobody", "Nobody is signed in.")

    def _note(self, need: Need, visit: Visit, examination: str) -> None:
        """Put into the trail what is about to be shown; keep real patients from who may not."""
        by_token = f", token {visit.token}" if visit.token else ""
        if not examination:
            if need.shows:
                self.store.record_act("seen", need.shows + by_token)
            return
        if visit.person.invented_only and not self.store.head(examination).invented:
            hint = "Open it from the list."
            raise BadInput("examination", examination, "one that you may see", hint=hint)
        # Parts of a page belong to the page: they are noted when it was not shown in this browser.
        pair = (visit.mark, examination)
        if need.shows or (need.permission in OF_A_PATIENT and pair not in self._shown):
            self.store.saw(examination, (need.shows or "page") + by_token)
        with self._shown_lock:
            if len(self._shown) > 10_000:
                self._shown.clear()  # noted once more, at worst
            self._shown.add(pair)


def _directs(visit: Visit | None) -> bool:
    """Whether someone is signed in who directs the patient's screen; a paired device shows it."""
    return visit is not None and not visit.browser.locked and visit.person.may(Permission.SCREEN)


def _by_token(request: Request) -> bool:
    return request.url.path.startswith(READ_INTERFACE) and "authorization" in request.headers


def address_of(request: Request) -> str:
    """Return where a request comes from, as its connection says; no header of it is believed."""
    return request.client.host if request.client else "unknown"


def cookie_name(*, tls: bool) -> str:
    """Return the name of the cookie; with TLS one that only this host can set, for all of it."""
    return "__Host-signed-in" if tls else "signed-in"


def access_of(request: Request) -> Access:
    """Return what the application knows about who may use it."""
    access: Access = request.app.state.access
    return access


async def gate(request: Request) -> AsyncIterator[None]:
    """Let a request in under the name of whoever asks, or raise; stands before every route.

    Raises
    ------
    NotAdmitted
        If it may not be answered.
    """
    access = access_of(request)
    access.rate.count("address", address_of(request))
    need = need_of(request.scope.get("endpoint"))
    try:
        if need is None:
            raise NotAdmitted("role", "This address does not say what it asks for.")
        if need.permission is Permission.OPEN:
            yield
            return
        visit = await run_in_threadpool(access.admit, request, need)
        if visit is not None:
            access.rate.count("person", visit.person.id)
        request.state.visit = visit
        device = request.headers.get("user-agent", "")
        with acting_as(visit.person.name if visit else "the patient’s screen", device=device):
            yield
    except NotAdmitted as refused:
        if refused.reason == "role":
            who = refused.visit.person.name if refused.visit else NOBODY
            asked = f"{request.method} {request.url.path}"
            note = access.refusals.note
            await run_in_threadpool(note, "role", asked, address_of(request), by=who)
        raise


def visit_of(request: Request) -> Visit | None:
    """Return who was let in; None on pages that anyone may see."""
    visit: Visit | None = getattr(request.state, "visit", None)
    return visit


def person_of(request: Request) -> Person:
    """Return the person who was let in.

    Raises
    ------
    NotAdmitted
        If nobody was, as on pages that anyone may see.
    """
    visit = visit_of(request)
    if visit is None:
        raise NotAdmitted("nobody", "Nobody is signed in.")
    return visit.person


def hand_over(response: Response, name: str, secret: str, *, tls: bool) -> None:
    """Give a browser its id: not for scripts, not for other sites, gone when it is closed."""
    response.set_cookie(name, secret, httponly=True, samesite="strict", secure=tls, path="/")
