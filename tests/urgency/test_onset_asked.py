"""Asking for the onset passes over the rules that no onset could raise, and over no other."""

from __future__ import annotations

import pytest
from hypothesis import given, settings

from decussate.examination.document import Examination
from decussate.localisation import localise
from decussate.sides import Side
from decussate.urgency import alerts, evaluate
from strategies import examinations


@settings(max_examples=40, deadline=None)
@given(examinations(40))
def test_the_same_is_asked_as_when_every_rule_is_tried(examination: Examination) -> None:
    story = examination.story.model_copy(update={"onset": None})
    unasked = examination.model_copy(update={"story": story})
    place = localise(unasked)
    found = evaluate(unasked, place)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(alerts, "_could_hold", lambda rule, evidence: True)
        assert evaluate(unasked, place) == found


@settings(max_examples=40, deadline=None)
@given(examinations(40))
def test_a_rule_that_follows_no_side_says_the_same_of_both(examination: Examination) -> None:
    evidence = alerts.gather_evidence(examination, localise(examination))
    for rule in alerts.load_rules():
        if len(rule.sides_tried) == 1:
            right, left = (rule.when.weigh(evidence, side, assume=True) for side in Side)
            assert right == left
            if rule.unless is not None:
                right, left = (rule.unless.weigh(evidence, side, assume=False) for side in Side)
                assert right == left
