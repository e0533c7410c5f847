"""The story line of the shorthand: age, sex, onset, course, context, and for how long."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from decussate.examination.shorthand_lexicon import Lexicon
from decussate.examination.shorthand_tokens import Atom, duration_at, names_in, words_after

__all__ = ["Told", "story_of"]

LONGEST_NAME = 8
"""Most words looked at for a name that begins like story (`variable weakness`)."""
_MAY_OPEN = frozenset({"age", "sex", "onset", "course"})


@dataclass(slots=True)
class Told:
    """Story read from the start of a fragment.

    Attributes
    ----------
    fields : list of (str, object)
        Field of the story and its value.
    lasting : list of (int, int, str)
        First atom, atom after the last, and onset suggested by a length of time.
    used : int
        Number of atoms read.
    """

    fields: list[tuple[str, Any]] = field(default_factory=list)
    lasting: list[tuple[int, int, str]] = field(default_factory=list)
    used: int = 0


def story_of(atoms: Sequence[Atom], lexicon: Lexicon) -> Told | None:
    """Read a fragment that is all story, or the story that opens it (``68M sudden vertigo``).

    Returns
    -------
    Told or None
        None when the fragment does not begin with story.
    """
    whole = _read(atoms, lexicon)
    if whole.used == len(atoms):
        return whole if whole.fields or whole.lasting else None
    names = names_in(atoms, lexicon)
    if not names:
        return None
    opening = _read(atoms, lexicon, before=words_after(names, lexicon))
    return opening if opening.fields else None


def _read(
    atoms: Sequence[Atom], lexicon: Lexicon, before: set[tuple[str, ...]] | None = None
) -> Told:
    """Read story phrases from the start; `before` holds words that findings have first call on."""
    told = Told()
    while told.used < len(atoms):
        at = told.used
        length, onset = duration_at(atoms, at, lexicon) if before is None else (0, "")
        if length:
            told.lasting.append((at, at + length, onset))
            told.used += length
            continue
        reach = max(lexicon.longest.get(atoms[at].key, 0), lexicon.longest.get("#", 0))
        for length in range(min(reach, len(atoms) - at), 0, -1):
            part = atoms[at : at + length]
            key = tuple("#" if atom.kind == "NUMBER" else atom.key for atom in part)
            fields = lexicon.story.get(key)
            if fields is None:
                continue
            if before is not None:
                keys = [atom.key for atom in atoms[at : at + LONGEST_NAME]]
                names = (tuple(keys[:more]) for more in range(length, len(keys) + 1))
                if any(name in lexicon.heads for name in names):
                    continue
                if not _opens(key, fields, before, told):
                    continue
            number = next((float(atom.text) for atom in part if atom.kind == "NUMBER"), None)
            told.fields += [(name, number if name == "age" else value) for name, value in fields]
            told.used += length
            break
        else:
            return told
    return told


def _opens(
    key: tuple[str, ...],
    fields: Sequence[tuple[str, object]],
    before: set[tuple[str, ...]],
    told: Told,
) -> bool:
    """Whether a phrase that stands before findings is surely story: not `M`, nor `steady gait`."""
    if key in before or not _MAY_OPEN.issuperset(name for name, _ in fields):
        return False
    letter = len(key) == 1 and len(key[0]) == 1 and bool(fields)
    return not letter or any(name == "age" for name, _ in told.fields)
