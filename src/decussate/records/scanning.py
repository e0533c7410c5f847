"""Having a file scanned for malware by a program of the department.

The only place where this program starts another one. Which one, with which words, the operator says
when the server is started; nothing of a request is ever among the words, and no shell reads them.
The file goes to its standard input. Exit status 0 means harmless; 1 means malware, as scanners have
it (common practice); anything else, or no answer in time, is a fault, and the file is refused then
too.

References
----------
OWASP Application Security Verification Standard 5.0, 5.4.3 and 1.2.5.
"""

from __future__ import annotations

import shlex
import shutil
import subprocess
from dataclasses import dataclass

from decussate.errors import BadInput

__all__ = ["SCAN_SECONDS", "Scanner"]

SCAN_SECONDS = 60.0
"""For one file; after that it is refused (judgement)."""


@dataclass(frozen=True, slots=True)
class Scanner:
    """The department's scanner.

    Parameters
    ----------
    words : tuple of str
        The program and its options.
    seconds : float
        How long it may take for one file.
    """

    words: tuple[str, ...]
    seconds: float = SCAN_SECONDS

    @classmethod
    def of_command(cls, command: str) -> Scanner | None:
        """Return the scanner that a line of a command names; None for an empty line.

        Raises
        ------
        BadInput
            If there is no such program, or its quotes do not close.
        """
        try:
            words = tuple(shlex.split(command))
        except ValueError as problem:
            raise BadInput("scan command", command, "words", hint=f"{problem}.") from None
        if not words:
            return None
        if shutil.which(words[0]) is None:
            hint = "The file to scan comes on its standard input."
            raise BadInput("scan command", words[0], "a program that is there", hint=hint)
        return cls(words)

    def require_harmless(self, name: str, content: bytes) -> None:
        """Refuse a file that the scanner does not pass.

        Parameters
        ----------
        name : str
            Of the file, for messages alone.
        content : bytes
            All of it.

        Raises
        ------
        BadInput
            If it is malware, or the scanner failed.
        """
        try:
            done = subprocess.run(  # noqa: S603  (the operator's words, no shell)
                self.words,
                input=content,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=self.seconds,
                check=False,
            )
            status: int | str = done.returncode
        except subprocess.TimeoutExpired:
            status = "no answer in time"
        except OSError as problem:
            status = str(problem.strerror)
        if status == 1:
            hint = "Nothing was kept. Tell whoever looks after this machine."
            found = "one that the scanner takes for malware"
            raise BadInput("file", found, "a harmless file", hint=hint, where=name)
        if status != 0:
            hint = "Nothing was kept. Tell whoever looks after this program; try again later."
            found = f"not scanned ({status})"
            raise BadInput("file", found, "one that the scanner has passed", hint=hint, where=name)
