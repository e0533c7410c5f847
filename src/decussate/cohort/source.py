"""Reading a cohort: a folder of examinations, or one file with an examination a line."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from decussate.errors import BadInput
from decussate.examination.record import Examination, read_examination
from decussate.examination.shorthand import read_shorthand

__all__ = ["Entry", "chunks", "entries", "fingerprint"]

SUFFIXES = (".json", ".txt")
"""Files of a folder that are examinations: documents, and shorthand."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One examination as written.

    Attributes
    ----------
    name : str
        File name, or ``line 12``.
    raw : bytes
        Its content.
    shorthand : bool
        Whether it is shorthand rather than a JSON document.
    """

    name: str
    raw: bytes
    shorthand: bool = False

    def read(self) -> Examination:
        """Return the examination.

        Raises
        ------
        BadInput
            If it cannot be read or has a problem.
        """
        try:
            text = self.raw.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            hint = f"Byte {error.start + 1} is not UTF-8."
            raise BadInput("text", self.name, "text in UTF-8", hint=hint) from error
        if self.shorthand:
            return read_shorthand(text).examination(Path(self.name).stem)
        return read_examination(text)


def entries(source: Path) -> Iterator[Entry]:
    """Yield every examination of a cohort, in the order of file names or lines.

    Parameters
    ----------
    source : Path
        A folder whose ``.json`` and ``.txt`` files are examinations, or a file with one JSON
        document a line (NDJSON). Empty lines are passed over.

    Raises
    ------
    BadInput
        If the source cannot be read, or a folder has no examination.
    """
    try:
        if source.is_dir():
            for file in _files(source):
                yield Entry(file.name, file.read_bytes(), file.suffix == ".txt")
        else:
            with source.open("rb") as lines:
                for number, line in enumerate(lines, 1):
                    if line.strip():
                        yield Entry(f"line {number}", line.strip())
    except OSError as error:
        raise BadInput(
            "cohort", str(source), "a folder or a file that can be read", hint=f"{error.strerror}."
        ) from error


def chunks(source: Path, size: int) -> Iterator[list[Entry]]:
    """Yield the examinations of a cohort in chunks of a size, the last one shorter."""
    rest = entries(source)
    while chunk := list(islice(rest, size)):
        yield chunk


def fingerprint(source: Path) -> str:
    """Return a digest of a cohort's content, to tell whether it is the same as before."""
    digest = hashlib.sha256()
    for entry in entries(source):
        digest.update(entry.name.encode() + b"\0" + entry.raw + b"\0")
    return digest.hexdigest()


def _files(folder: Path) -> list[Path]:
    files = sorted(file for file in folder.iterdir() if file.suffix in SUFFIXES)
    if not files:
        raise BadInput(
            "cohort", str(folder), f"files ending in {' or '.join(SUFFIXES)}", hint="None is there."
        )
    return files
