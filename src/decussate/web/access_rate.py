"""How many requests a minute are answered: more than hands can make, fewer than a program can.

Counted for the address that asks and for the person signed in, in whole minutes. At the bedside an
examiner who reads quickly makes some ten touches a second; a page asks a little by itself. Whoever
is told to wait loses nothing: an entry waits in the browser and is sent again. Files of the program
itself are not counted.

References
----------
OWASP Application Security Verification Standard 5.0, 2.4.1. RFC 6585, section 4 (429). The figures
are our judgement.
"""

from __future__ import annotations

import time
from math import ceil

from limits import RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import FixedWindowRateLimiter
from starlette.exceptions import HTTPException

__all__ = ["A_MINUTE", "RequestRate", "TooManyRequests"]

A_MINUTE = {"person": 2_400, "address": 12_000}
"""Requests of one person, and of one address, which a whole department may share."""


class TooManyRequests(HTTPException):
    """A request beyond the limit.

    Parameters
    ----------
    kind : str
        Of what there are too many: ``person`` or ``address``.
    wait_s : int
        Seconds after which the next is answered.
    """

    def __init__(self, kind: str, wait_s: int) -> None:
        super().__init__(429, "Too many requests.", {"Retry-After": str(wait_s)})
        self.kind = kind
        self.wait_s = wait_s


class RequestRate:
    """Counts requests, in memory.

    Parameters
    ----------
    a_minute : dict, optional
        Requests a minute, by what is counted.
    """

    def __init__(self, a_minute: dict[str, int] | None = None) -> None:
        wanted = a_minute or A_MINUTE
        self._limits = {kind: RateLimitItemPerMinute(most) for kind, most in wanted.items()}
        self._counted = FixedWindowRateLimiter(MemoryStorage())

    def count(self, kind: str, which: str) -> None:
        """Count a request.

        Parameters
        ----------
        kind : str
            ``person`` or ``address``.
        which : str
            Which one.

        Raises
        ------
        TooManyRequests
            If there were too many in this minute.
        """
        limit = self._limits[kind]
        if not self._counted.hit(limit, kind, which):
            ends = self._counted.get_window_stats(limit, kind, which).reset_time
            raise TooManyRequests(kind, max(1, ceil(ends - time.time())))
