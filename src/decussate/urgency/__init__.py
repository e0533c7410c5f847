"""Urgency: guideline rules as data, and the alerts they raise on findings, story and place."""

from __future__ import annotations

from decussate.urgency.alerts import Alert, evaluate
from decussate.urgency.rules import Level, Rule, load_rules

__all__ = ["Alert", "Level", "Rule", "evaluate", "load_rules"]
