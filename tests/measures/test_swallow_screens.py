import pytest
from hypothesis import given
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.measures.swallow import WaterSwallow
from decussate.measures.swallow_screens import (
    BEFORE_KEYS,
    STOP_KEYS,
    after_failure,
    continuous_drinking_screen,
    gugging_score,
    screen_likelihood_ratio,
    stop_reasons,
    swallow_gate,
)

RECORDED = st.dictionaries(st.sampled_from(BEFORE_KEYS), st.none() | st.booleans())


@given(RECORDED)
def test_water_is_offered_only_when_everything_is_recorded_as_met(recorded):
    gate = swallow_gate(recorded)
    assert gate.offered == all(recorded.get(key) is True for key in BEFORE_KEYS)
    assert len(gate.not_met) + len(gate.not_recorded) == sum(
        recorded.get(key) is not True for key in BEFORE_KEYS
    )


def test_consciousness_not_recorded_means_not_offered():
    gate = swallow_gate({key: True for key in BEFORE_KEYS if key != "awake"})
    assert not gate.offered
    assert gate.not_recorded == ("awake and able to stay so",)


def test_stop_reasons():
    assert stop_reasons({}) == ()
    for key in STOP_KEYS:
        assert len(stop_reasons({key: True})) == 1
    assert stop_reasons({}, oxygen_before_percent=97, oxygen_now_percent=94)
    assert not stop_reasons({}, oxygen_before_percent=97, oxygen_now_percent=95)


def test_a_clean_glass_passes_and_each_fault_fails():
    assert continuous_drinking_screen(WaterSwallow(90, 10)).passed
    for fault in ({"left_ml": 5}, {"interrupted": True}, {"coughed": True}, {"wet_voice": True}):
        result = continuous_drinking_screen(WaterSwallow(90, 10, **fault))
        assert not result.passed
        assert len(result.reasons) == 1


def test_after_failure_names_tablets():
    assert "tablets" in after_failure()[0]


@given(st.lists(st.integers(0, 5), min_size=1, max_size=4))
def test_gugging_stops_at_the_first_part_below_full(parts):
    reached = next((i for i, p in enumerate(parts) if p < 5), len(parts) - 1) + 1
    complete = parts[reached - 1] < 5 or reached == 4
    if reached == len(parts) and complete:
        assert gugging_score(parts).total == sum(parts)
    else:
        with pytest.raises(BadInput):
            gugging_score(parts)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: swallow_gate({"happy": True}), "condition before"),
        (lambda: stop_reasons({"coughing": True}), "reason to stop"),
        (
            lambda: stop_reasons({}, oxygen_before_percent=0.97, oxygen_now_percent=0.9),
            "fraction",
        ),
        (lambda: continuous_drinking_screen(WaterSwallow(150, 10)), "90 mL"),
        (lambda: screen_likelihood_ratio("a study", failed=True), "90 mL"),
        (lambda: gugging_score([5, 4, 5]), "stops after the semisolid"),
        (lambda: gugging_score([6]), "0 to 5"),
        (lambda: gugging_score([5, 5]), "liquid part next"),
        (lambda: gugging_score([]), "1 to 4"),
    ],
)
def test_bad_input(call, says):
    with pytest.raises(BadInput, match=says):
        call()
