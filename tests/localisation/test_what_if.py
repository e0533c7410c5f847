"""The findings that carry a conclusion, those that would turn it, and slips worth asking about."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings

from decussate.data_rows import read_rows
from decussate.examination.record import Examination, Finding
from decussate.localisation import localise
from decussate.localisation.what_if import (
    SLIP_GAIN,
    carrying_findings,
    recording_slips,
    turning_findings,
)
from decussate.sides import Side
from strategies import examinations

# Classical syndromes (sources beside each row) of which one recorded side is turned round.
SYNDROMES = {
    row["id"]: row for row in read_rows(Path(__file__).parents[1] / "published" / "syndromes.yaml")
}
SWAPPED = [
    ("lateral_medulla", "finger_nose"),
    ("cavernous_sinus", "gaze_out"),
    ("jugular_foramen", "throat_touch"),
    ("posterior_communicating_third", "gaze_in"),
    ("cerebellopontine_angle", "whisper_near"),
]


def examination_of(name: str) -> Examination:
    findings = tuple(
        Finding(test=test, side=None if side == "whole" else Side(side), response=response)
        for test, side, response in SYNDROMES[name]["signs"]
    )
    return Examination(id=name, findings=findings)


@pytest.mark.parametrize(("syndrome", "test"), SWAPPED)
def test_a_swapped_side_is_asked_about_first(syndrome: str, test: str) -> None:
    true = examination_of(syndrome)
    findings = tuple(f.mirrored() if f.test == test else f for f in true.findings)
    slips = recording_slips(Examination(id="swapped", findings=findings))
    assert slips, "no slip was asked about"
    assert slips[0].instead in true.findings
    assert slips[0].log10 >= SLIP_GAIN


@pytest.mark.parametrize("syndrome", [name for name, _ in SWAPPED])
def test_nothing_is_asked_when_everything_fits(syndrome: str) -> None:
    assert recording_slips(examination_of(syndrome)) == ()


@pytest.mark.parametrize("syndrome", ["lateral_medulla", "cavernous_sinus", "optic_tract"])
def test_the_carrying_findings_carry_the_conclusion_alone(syndrome: str) -> None:
    whole = examination_of(syndrome)
    carried = carrying_findings(whole)
    assert 0 < len(carried) < len(whole.findings)
    alone = localise(whole.model_copy(update={"findings": carried})).candidates[0]
    first = localise(whole).candidates[0]
    assert (alone.place, alone.side) == (first.place, first.side)
    assert alone.probability >= first.probability / 2


@pytest.mark.parametrize("syndrome", ["optic_tract", "junctional_scotoma"])
def test_what_turns_the_answer_does_so(syndrome: str) -> None:
    whole = examination_of(syndrome)
    turn = turning_findings(whole)[0]
    rest = tuple(f for f in whole.findings if f != turn.finding)
    without = localise(whole.model_copy(update={"findings": rest}))
    assert turn.first == without.candidates[0].name
    then = {(c.place, c.side): c.probability for c in without.candidates}
    now = {(c.place, c.side): c.probability for c in localise(whole).candidates}
    moved = sum(abs(then[key] - now[key]) for key in now) / 2
    assert turn.moved == pytest.approx(moved, abs=1e-9)


@settings(max_examples=10, deadline=None)
@given(examinations(6))
def test_asking_changes_nothing_and_mirrors(examination: Examination) -> None:
    slips = recording_slips(examination)
    mirrored = recording_slips(examination.mirrored())
    assert [s.finding.mirrored() for s in slips] == [s.finding for s in mirrored]
    assert [s.log10 for s in mirrored] == pytest.approx([s.log10 for s in slips], abs=1e-6)
