"""Each rule, raised by an examination made for it, and quiet when what decides is normal."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import yaml
from examinations import examination

from decussate.examination.document import Examination
from decussate.urgency import evaluate, load_rules

RAISED: dict[str, dict[str, Any]] = yaml.safe_load(
    Path(__file__).with_name("rules_raised.yaml").read_text(encoding="utf-8")
)

POINTING = {
    "points_to_brainstem": ("pons", "", 0.5, {"onset": "days"}),
    "points_to_aneurysm": ("", "third_cistern_compressed", 0.3, {}),
    "points_to_neuropathy": ("", "acute_polyneuropathy", 0.3, {}),
    "points_to_junction": ("", "junction_general", 0.5, {}),
    "points_to_pressure": ("", "raised_pressure", 0.3, {}),
}


def raised(found: Examination, localisation: Any = None) -> set[str]:
    return {alert.rule for alert in evaluate(found, localisation)}


def test_no_rule_is_left_untried() -> None:
    assert {rule.id for rule in load_rules()} == set(RAISED) | set(POINTING)


@pytest.mark.parametrize("rule", RAISED)
def test_the_rule_is_raised_by_its_signs(rule: str) -> None:
    case = RAISED[rule]
    assert rule in raised(examination(case["findings"], **case.get("story", {})))


@pytest.mark.parametrize("rule", RAISED)
def test_the_rule_is_quiet_when_the_deciding_finding_is_normal(rule: str) -> None:
    case = RAISED[rule]
    items = [item.split() for item in case["findings"].split(",")]
    normal = ", ".join(
        " ".join([*item[:-1], "normal"] if item[0] == case["decides"] else item) for item in items
    )
    assert normal != case["findings"]
    assert rule not in raised(examination(normal, **case.get("story", {})))


@pytest.mark.parametrize(
    "rule", [rule for rule, case in RAISED.items() if "onset" in case.get("story", {})]
)
def test_a_missing_onset_never_leaves_the_signs_without_an_alert(rule: str) -> None:
    """The rule holds anyhow, is included, or is named by the alert that asks for the onset."""
    case = RAISED[rule]
    story = {key: value for key, value in case["story"].items() if key != "onset"}
    alerts = evaluate(examination(case["findings"], **story))
    rules = {row.id: row for row in load_rules()}
    assert any(
        alert.rule == rule
        or rule in rules[alert.rule].includes
        or (alert.rule == "onset_not_recorded" and rules[rule].title in alert.advice)
        for alert in alerts
    )


@pytest.mark.parametrize("rule", POINTING)
def test_a_rule_on_the_place_needs_its_probability(rule: str) -> None:
    region, place, least, story = POINTING[rule]

    def pointing(probability: float) -> Any:
        candidate = SimpleNamespace(place=place, region=region, probability=probability, side=None)
        return SimpleNamespace(candidates=(candidate,))

    assert rule in raised(examination(**story), pointing(least + 0.01))
    assert rule not in raised(examination(**story), pointing(least - 0.01))
    assert rule not in raised(examination(**story))
