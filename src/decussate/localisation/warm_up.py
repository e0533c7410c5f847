"""Compile the model and the sums over pairs once, so that no patient waits for it.

Run as ``python -m decussate.localisation.warm_up``; it takes some seconds and prints nothing.
"""

from __future__ import annotations

from decussate.examination.record import Examination, Finding
from decussate.localisation.three_lesions import three_lesions
from decussate.localisation.two_lesions import two_lesions

__all__ = ["main"]


def main() -> None:
    """Localise an examination of one finding, and let what was compiled be kept."""
    found = Finding(test="uvula_movement", response="right")
    examination = Examination(id="warm-up", invented=True, findings=(found,))
    two_lesions(examination)
    three_lesions(examination)


if __name__ == "__main__":
    main()
