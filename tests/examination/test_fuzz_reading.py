"""Hostile inputs to everything that reads what others wrote: each is accepted or refused in words.

A short run; `make soak` tries 100,000 and more (tools/soak_fuzz.py, docs/soak.md).
"""

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from decussate.examination.shorthand import read_shorthand
from fuzz_inputs import hostile_text
from fuzz_targets import AUDIOGRAM, TARGETS, Target, refusing


@pytest.mark.parametrize("target", TARGETS, ids=lambda target: target.name)
def test_hostile_inputs_are_read_or_refused_in_words(target: Target):
    @settings(
        max_examples=max(8, round(400 * target.share)),
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(target.inputs())
    def tried(hostile):
        target.read(hostile)

    tried()


def test_a_reader_that_breaks_is_noticed():
    """The check itself can fail: a careless reader of numbers does not survive it."""

    @settings(max_examples=300, deadline=None, database=None, phases=[Phase.generate])
    @given(hostile_text([AUDIOGRAM]))
    def careless(hostile):
        refusing(lambda text: [float(row.split(",")[3]) for row in text.splitlines()[1:]])(hostile)

    with pytest.raises(BaseException):  # noqa: B017, PT011  (whatever broke first)
        careless()


@pytest.mark.parametrize(
    "line",
    [
        "L arm 0/5 leg " + "9" * 400,
        "leg " + "9" * 400 + "/5",
        "pupils R " + "1" * 300 + " mm",
        "Power 1e999/5 throughout",
        "R ptosis for " + "9" * 5000 + " days",
    ],
)
def test_an_endless_number_in_shorthand_is_kept_as_not_understood(line):
    """Found by the long run: such a number is infinite, and no measurement."""
    reading = read_shorthand(line)
    assert reading.unread
    assert all("9" * 40 not in str(finding.measurement) for finding in reading.findings)
