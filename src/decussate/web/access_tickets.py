"""Between the password and the code: who has given the first and not yet the second.

The page that asks for the code holds a random ticket, good for a few minutes. It signs nobody in,
it only says whose password was right. Kept in memory: after a restart the password is asked again.
"""

from __future__ import annotations

import hashlib
import secrets
from collections import OrderedDict
from collections.abc import Callable
from datetime import datetime, timedelta
from threading import Lock

__all__ = ["TICKET_FOR", "Tickets"]

TICKET_FOR = timedelta(minutes=5)
KEPT = 1000


class Tickets:
    """Tickets that wait for a code.

    Parameters
    ----------
    clock : callable
        Gives the present time in UTC.
    """

    def __init__(self, clock: Callable[[], datetime]) -> None:
        self._clock = clock
        self._waiting: OrderedDict[str, tuple[str, datetime]] = OrderedDict()
        self._lock = Lock()

    def give(self, name: str) -> str:
        """Return a new ticket for the person of a name, whose password was right."""
        ticket = secrets.token_urlsafe(32)
        with self._lock:
            self._waiting[_mark(ticket)] = (name, self._clock() + TICKET_FOR)
            while len(self._waiting) > KEPT:
                self._waiting.popitem(last=False)
        return ticket

    def whose(self, ticket: str) -> str | None:
        """Return the name a ticket was given for; None when it never was one or is too old."""
        with self._lock:
            found = self._waiting.get(_mark(ticket))
        return found[0] if found is not None and self._clock() <= found[1] else None

    def end(self, ticket: str) -> None:
        """Have a ticket count no longer."""
        with self._lock:
            self._waiting.pop(_mark(ticket), None)


def _mark(ticket: str) -> str:
    return hashlib.sha256(ticket.encode("utf-8", "surrogateescape")).hexdigest()
