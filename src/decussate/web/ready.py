"""What is made ready when the server starts, so that no examiner waits for it."""

from __future__ import annotations

import gc

from decussate.examination.record import Examination, Finding
from decussate.localisation import localise, two_lesions
from decussate.sides import Side
from decussate.urgency import evaluate

__all__ = ["make_ready"]


def make_ready() -> None:
    """Load, or after an upgrade compute, what conclusions need; then let it rest.

    What is loaded stays until the server ends. Python's garbage collector would go through all of
    it again and again, each time for a fifth of a second, and a touch would wait for that.
    """
    finding = Finding(test="light_direct", side=Side.RIGHT, response="absent")
    examination = Examination(id="ready", findings=(finding,))
    evaluate(examination, localise(examination))
    two_lesions(examination)
    gc.collect()
    gc.freeze()
