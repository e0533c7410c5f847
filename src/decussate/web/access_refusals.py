"""What was refused goes into the audit trail: but not so often that it fills the disk.

Of each who was refused some links an hour are written, and some for all together; what comes beyond
is counted, and the next link says how many there were.

References
----------
OWASP Application Security Verification Standard 5.0, 16.3.2 and 16.3.3.
"""

from __future__ import annotations

from collections import Counter
from threading import Lock

from limits import RateLimitItemPerHour
from limits.storage import MemoryStorage
from limits.strategies import FixedWindowRateLimiter

from decussate.records import NotSaved, Store
from decussate.records.chain import add_link

__all__ = ["ALL_AN_HOUR", "EACH_AN_HOUR", "LONGEST", "NOBODY", "Refusals"]

EACH_AN_HOUR, ALL_AN_HOUR = 20, 500
"""Links written an hour of one who is refused, and of all (judgement): some 100 kB."""

LONGEST = 200
"""Letters kept of what was asked for: it may be a stranger's choice."""

NOBODY = "nobody known"


class Refusals:
    """Puts refused requests into the trail of a store.

    Parameters
    ----------
    store : Store
        Whose trail it is.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._written = FixedWindowRateLimiter(MemoryStorage())
        self._left_out: Counter[str] = Counter()
        self._lock = Lock()

    def note(self, reason: str, asked: str, address: str, *, by: str = NOBODY) -> None:
        """Write a refused request down, or count it.

        Parameters
        ----------
        reason : str
            Why, in a word or two.
        asked : str
            What was asked for: method and path.
        address : str
            Where from.
        by : str
            Who, if that is known.
        """
        each, everyone = RateLimitItemPerHour(EACH_AN_HOUR), RateLimitItemPerHour(ALL_AN_HOUR)
        key = f"{by} {address}"
        with self._lock:
            if not (self._written.hit(each, key) and self._written.hit(everyone, "all")):
                if key in self._left_out or len(self._left_out) < ALL_AN_HOUR:
                    self._left_out[key] += 1
                return
            more = self._left_out.pop(key, 0)
        words = "".join(sign if sign.isprintable() else " " for sign in asked)[:LONGEST]
        about = f"{reason}: {words} from {address}"
        if more:
            about += f"; {more} more before it were not written down"
        try:
            self._store.write(lambda c: add_link(c, "refused", "request", about, by=by))
        except NotSaved:
            return  # it was refused all the same
