"""Slowing down who guesses: each failure makes the next try wait longer, up to a limit.

Failures are counted for the account and for the address that asks. The first few are free, then the
wait doubles with each. It never grows beyond a minute, so that nobody is shut out for good by
somebody else's guesses, and at most some sixty guesses an hour can be made at one account (OWASP
ASVS 4.0.3, 2.2.1 allows a hundred). Counts are kept in memory: whoever can start the program anew
needs no guessing.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil
from threading import Lock

from decussate.errors import BadInput

__all__ = ["FORGOTTEN_AFTER", "FREE", "LONGEST_WAIT", "Guesses", "TooManyGuesses"]

FREE = {"account": 4, "code": 4, "address": 10, "pairing": 4}
"""Failures without a wait, by what is counted (judgement): many people share an address."""

LONGEST_WAIT = timedelta(minutes=1)
FORGOTTEN_AFTER = timedelta(minutes=30)
KEPT = 10_000
"""Counts kept at once; the oldest goes first."""


@dataclass(frozen=True, slots=True)
class _Failures:
    count: int
    last: datetime
    until: datetime


class TooManyGuesses(BadInput):
    """A try that came too early.

    Parameters
    ----------
    wait_s : int
        Seconds until the next may be made.
    """

    def __init__(self, wait_s: int) -> None:
        self.wait_s = wait_s
        seconds = "1 second" if wait_s == 1 else f"{wait_s} seconds"
        super().__init__("sign-in", "several wrong tries", f"the next in {seconds}")


class Guesses:
    """Failures, and how long the next try must wait.

    Parameters
    ----------
    clock : callable
        Gives the present time in UTC.
    """

    def __init__(self, clock: Callable[[], datetime]) -> None:
        self._clock = clock
        self._failures: OrderedDict[tuple[str, str], _Failures] = OrderedDict()
        self._lock = Lock()

    def begin(self, *keys: tuple[str, str]) -> None:
        """Begin a try, or refuse one that comes too early.

        It counts as a failure until `succeeded` says otherwise, so that many tries at once are no
        way round the wait.

        Parameters
        ----------
        *keys : tuple of str
            What is counted (``account``, ``code``, ``address``, ``pairing``), and which one.

        Raises
        ------
        TooManyGuesses
            With the time to wait; such a try is not counted.
        """
        now = self._clock()
        with self._lock:
            wait = max((self._of(key, now).until - now for key in keys), default=timedelta())
            if wait > timedelta():
                raise TooManyGuesses(ceil(wait.total_seconds()))
            for key in keys:
                count = self._of(key, now).count + 1
                beyond = count - FREE[key[0]]
                until = now + min(timedelta(seconds=2 ** min(beyond, 10)), LONGEST_WAIT)
                self._failures[key] = _Failures(count, now, until if beyond > 0 else now)
                self._failures.move_to_end(key)
            while len(self._failures) > KEPT:
                self._failures.popitem(last=False)

    def succeeded(self, *keys: tuple[str, str]) -> None:
        """Forget the failures of an account, and of an address the try that was none."""
        now = self._clock()
        with self._lock:
            for key in keys:
                found = self._failures.pop(key, None)
                if found is not None and key[0] == "address" and found.count > 1:
                    self._failures[key] = _Failures(found.count - 1, found.last, now)

    def _of(self, key: tuple[str, str], now: datetime) -> _Failures:
        found = self._failures.get(key)
        if found is None or now - found.last > FORGOTTEN_AFTER:
            return _Failures(0, now, now)
        return found
