"""What each role may do: one table, which the pages, the command and the tests read.

The least that a role needs (NIST SP 800-53, AC-6; 45 CFR 164.312(a)(1)); who needs what is our
judgement. An administrator looks after people and need not see patients to do so.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["GRANTS", "Grant", "Permission", "Role"]


class Permission(StrEnum):
    """What a page or an act may ask for; the value says it in words."""

    OPEN = "what anyone may see"
    OWN = "your own account"
    LEARN = "the catalogue, the sources and the explorer"
    READ = "patients and their examinations"
    EXAMINE = "recording an examination"
    SCREEN = "the patient’s screen"
    TAKE_OUT = "taking records out"
    PEOPLE = "people and their accounts"
    APPOINT = "owners and administrators"
    TRAIL = "the audit trail"


class Role(StrEnum):
    """What a person is to this program."""

    OWNER = "owner"
    ADMINISTRATOR = "administrator"
    EXAMINER = "examiner"
    READER = "reader"
    TEACHER = "teacher"


@dataclass(frozen=True, slots=True)
class Grant:
    """What a role may do.

    Parameters
    ----------
    may : frozenset of Permission
        The permissions.
    invented_only : bool
        Whether it sees invented patients alone.
    words : str
        The role in one line.
    """

    may: frozenset[Permission]
    invented_only: bool
    words: str


_EVERYONE = {Permission.OPEN, Permission.OWN, Permission.LEARN}
_AT_THE_BED = {Permission.READ, Permission.EXAMINE, Permission.SCREEN}
_OFFICE = {Permission.PEOPLE, Permission.TRAIL}

GRANTS: dict[Role, Grant] = {
    Role.OWNER: Grant(
        frozenset(Permission),
        invented_only=False,
        words="everything, and who else is owner or administrator",
    ),
    Role.ADMINISTRATOR: Grant(
        frozenset(_EVERYONE | _OFFICE),
        invented_only=False,
        words="accounts and the audit trail; no patients",
    ),
    Role.EXAMINER: Grant(
        frozenset(_EVERYONE | _AT_THE_BED),
        invented_only=False,
        words="examines, reads and writes about every patient",
    ),
    Role.READER: Grant(
        frozenset(_EVERYONE | {Permission.READ}),
        invented_only=False,
        words="reads about every patient; records nothing",
    ),
    Role.TEACHER: Grant(
        frozenset(_EVERYONE | _AT_THE_BED),
        invented_only=True,
        words="examines, reads and writes about invented patients alone",
    ),
}
"""Everything a role may do; what is not here it may not."""
