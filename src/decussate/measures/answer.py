"""Yes, no, or not to be told from what was measured: rules never guess the third."""

from __future__ import annotations

from enum import StrEnum

__all__ = ["Answer"]


class Answer(StrEnum):
    """The outcome of a rule on incomplete measurements."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "not computable"

    @staticmethod
    def any(answers: list[Answer]) -> Answer:
        """Yes if one is yes; no only if every one is no."""
        if Answer.YES in answers:
            return Answer.YES
        return Answer.UNKNOWN if Answer.UNKNOWN in answers or not answers else Answer.NO

    @staticmethod
    def all(answers: list[Answer]) -> Answer:
        """No if one is no; yes only if every one is yes."""
        if Answer.NO in answers:
            return Answer.NO
        return Answer.UNKNOWN if Answer.UNKNOWN in answers or not answers else Answer.YES
