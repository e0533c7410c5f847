"""Examinations written in one line, for the tests of urgency."""

from typing import Any

from decussate.examination.document import Examination, Finding, Story
from decussate.sides import Side


def examination(findings: str = "", **story: Any) -> Examination:
    """Read ``"gaze_in right absent, ask_headache present"``; ``both`` stands for each side."""
    found = []
    for item in filter(None, (part.split() for part in findings.split(","))):
        test, response = item[0], item[-1]
        sides: list[Side | None] = [None]
        if len(item) == 3:
            sides = list(Side) if item[1] == "both" else [Side(item[1])]
        for side in sides:
            reason = "a reason" if response == "could_not_be_tested" else None
            found.append(Finding(test=test, side=side, response=response, reason=reason))
    return Examination(id="invented", invented=True, story=Story(**story), findings=tuple(found))
