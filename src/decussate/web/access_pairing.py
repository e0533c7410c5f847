"""Pairing a second device as the patient's screen, without signing anyone in on it.

The examiner's page shows a code; typed on the second device once, within ten minutes, it lets that
device show what the examiner chooses in this one examination, and nothing else. Kept in memory:
after a restart a device is paired again.
"""

from __future__ import annotations

import hashlib
import secrets
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from threading import Lock

from decussate.records.passwords import LETTERS

__all__ = ["CODE_FOR", "PAIRED_FOR", "Pairings", "paired_cookie"]

CODE_FOR = timedelta(minutes=10)
PAIRED_FOR = timedelta(hours=4)
CODE_LETTERS = 8
"""Letters of a code: 39 bits, good for one use within ten minutes, with guesses slowed down."""
KEPT = 1000


@dataclass(frozen=True, slots=True)
class _Until:
    examination: str
    until: datetime


class Pairings:
    """Codes that wait, and devices that are paired.

    Parameters
    ----------
    clock : callable
        Gives the present time in UTC.
    """

    def __init__(self, clock: Callable[[], datetime]) -> None:
        self._clock = clock
        self._codes: OrderedDict[str, _Until] = OrderedDict()
        self._devices: OrderedDict[str, _Until] = OrderedDict()
        self._lock = Lock()

    def new_code(self, examination: str) -> str:
        """Return a new code for an examination; an earlier one that waits no longer counts."""
        code = "".join(secrets.choice(LETTERS) for _ in range(CODE_LETTERS))
        with self._lock:
            for old in [c for c, kept in self._codes.items() if kept.examination == examination]:
                del self._codes[old]
            _keep(self._codes, code, _Until(examination, self._clock() + CODE_FOR))
        return f"{code[:4]} {code[4:]}"

    def pair(self, typed: str) -> tuple[str, str] | None:
        """Use a code up.

        Parameters
        ----------
        typed : str
            As typed; spaces, dashes and case do not matter.

        Returns
        -------
        tuple of str or None
            The examination and the id for the device; None when there is no such code.
        """
        code = "".join(letter for letter in typed.lower() if letter.isalnum())
        with self._lock:
            found = self._codes.pop(code, None)
            if found is None or found.until < self._clock():
                return None
            secret = secrets.token_urlsafe(32)
            until = self._clock() + PAIRED_FOR
            _keep(self._devices, _mark(secret), _Until(found.examination, until))
            return found.examination, secret

    def allows(self, secret: str, examination: str) -> bool:
        """Whether a device is paired: with this examination, or with any if none is named."""
        with self._lock:
            found = self._devices.get(_mark(secret)) if secret else None
        if found is None or found.until < self._clock():
            return False
        return examination in ("", found.examination)

    def end(self, examination: str) -> None:
        """End every pairing with an examination."""
        with self._lock:
            for kept in (self._codes, self._devices):
                for key in [key for key, one in kept.items() if one.examination == examination]:
                    del kept[key]


def paired_cookie(*, tls: bool) -> str:
    """Return the name of a paired device's cookie."""
    return "__Host-patient-screen" if tls else "patient-screen"


def _keep(kept: OrderedDict[str, _Until], key: str, value: _Until) -> None:
    kept[key] = value
    while len(kept) > KEPT:
        kept.popitem(last=False)


def _mark(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
