"""The story: how age, sex, onset, course and context move the odds of causes, and so of places."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping

from decussate.anatomy import Atlas, Cause, Place
from decussate.anatomy.causes import AGE_BANDS, COURSES, ONSETS
from decussate.examination.record import Story

__all__ = ["cause_factor", "cause_factors", "cause_shares", "story_factor"]

POPULATION = (0.22, 0.26, 0.26, 0.16, 0.10)
"""Shares of people in the five age bands (roughly a European population; judgement)."""


def cause_factor(cause: Cause, story: Story) -> float:
    """Return how many times more likely the story is under this cause than by chance.

    Parameters
    ----------
    cause : Cause
        The cause.
    story : Story
        What is known; what is not given says nothing.

    Returns
    -------
    float
        Above 0.
    """
    factor = 1.0
    if story.onset:
        factor *= cause.onset[story.onset] * len(ONSETS)
    if story.course:
        factor *= cause.course[story.course] * len(COURSES)
    if story.age is not None:
        mean = sum(share * risk for share, risk in zip(POPULATION, cause.age, strict=True))
        factor *= cause.age[bisect_right(AGE_BANDS, story.age)] / mean
    if story.sex:
        factor *= 2 * (cause.female if story.sex == "female" else 1 - cause.female)
    for context in story.context:
        factor *= cause.context.get(context, 1.0)
    if story != Story() and cause.context.keys().isdisjoint(story.context):
        factor *= cause.unmentioned
    return factor


def cause_factors(atlas: Atlas, story: Story) -> Mapping[str, float]:
    """Return `cause_factor` of every cause of the atlas."""
    return {key: cause_factor(cause, story) for key, cause in atlas.causes.items()}


def cause_shares(place: Place, factors: Mapping[str, float]) -> Mapping[str, float]:
    """Return the probability of each cause of a lesion known to sit in a place, given the story.

    Parameters
    ----------
    place : Place
        Where the lesion is.
    factors : Mapping of str to float
        From `cause_factors`.
    """
    odds = {cause: share * factors[cause] for cause, share in place.causes.items()}
    total = sum(odds.values())
    return {cause: odd / total for cause, odd in odds.items()}


def story_factor(place: Place, factors: Mapping[str, float]) -> float:
    """Return how many times more likely the story is with a lesion of this place than by chance.

    Parameters
    ----------
    place : Place
        Where the lesion would be.
    factors : Mapping of str to float
        From `cause_factors`.
    """
    return sum(share * factors[cause] for cause, share in place.causes.items())
