"""The note: short, sides in words, urgent matters first, nothing untested read as normal."""

import re
from collections import Counter
from datetime import UTC, datetime, timedelta
from importlib.metadata import version
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.comparison import compare
from decussate.documents.letter import referral_letter
from decussate.documents.note import (
    note_sections,
    note_words,
    proposed_in_words,
    proposed_tests,
    write_note,
)
from decussate.documents.typesetting import as_markdown
from decussate.examination.catalogue import load_catalogue
from decussate.examination.document import (
    Examination,
    Finding,
    MeasuredValue,
    Story,
    UnreadText,
)
from decussate.examination.record import read_examination
from decussate.examination.shorthand import read_shorthand
from decussate.localisation import NextTest, data_digest, localise, two_lesions
from decussate.sides import Side
from decussate.urgency import evaluate

MEDULLA = """
touch_forehead right normal; touch_forehead left normal; pin_forehead right reduced;
pin_forehead left normal; pin_cheek right reduced; corneal_touch_direct right reduced;
pupil_comparison left; upper_lid_position right partial; upper_lid_position left normal;
light_direct right normal; light_direct left normal; nystagmus_straight_ahead left;
ask_vertigo present; palate_rise right reduced; uvula_movement left; voice present;
ask_swallowing reduced; body_pin left reduced; body_pin right normal; finger_nose right reduced;
arm_power right normal; arm_power left normal; leg_power right normal; leg_power left normal;
gaze_out right normal; gaze_out left normal; raise_brows right normal; raise_brows left normal;
show_teeth right normal; show_teeth left normal; tongue_protrusion normal; walking reduced
"""
THIRD = """
upper_lid_position right complete; gaze_in right reduced; gaze_up right absent;
gaze_down right reduced; gaze_out right normal; gaze_out left normal; pupil_size_light right large;
light_direct right absent; light_direct left normal; light_consensual right absent;
distance_acuity right normal; distance_acuity left normal; touch_forehead right normal;
touch_forehead left normal; show_teeth right normal; show_teeth left normal; ask_headache present
"""
FACE = """
raise_brows left absent; close_eyes left reduced; show_teeth left absent; raise_brows right normal;
close_eyes right normal; show_teeth right normal; taste_front left present;
sound_tolerance left present; ear_and_palate_skin left normal; touch_cheek left normal;
touch_cheek right normal; gaze_out left normal; gaze_out right normal; arm_power left normal;
arm_power right normal; leg_power left normal; leg_power right normal
"""


def examination(text: str, **story: object) -> Examination:
    found = []
    for item in filter(None, (part.split() for part in text.replace("\n", " ").split(";"))):
        side = Side(item[1]) if len(item) == 3 else None
        found.append(Finding(test=item[0], side=side, response=item[-1]))
    return Examination(
        id="invented",
        label="An invented patient",
        invented=True,
        story=Story.model_validate(story),
        findings=tuple(found),
    )


def dated(found: Examination) -> Examination:
    """Give the findings a minute each and an examiner."""
    start = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
    findings = (
        one.model_copy(update={"at": start + timedelta(minutes=index), "by": "An Examiner"})
        for index, one in enumerate(found.findings)
    )
    return found.model_copy(update={"findings": tuple(findings)})


def note(found: Examination, *, markdown: bool = False) -> str:
    located = localise(found)
    return write_note(found, located, evaluate(found, located), markdown=markdown)


def section(text: str, heading: str) -> str:
    """Return the lines of one section of a plain note."""
    return text.split(heading.upper() + "\n", 1)[1].split("\n\n", 1)[0]


def findings_of(text: str) -> str:
    return section(text, note_words()["headings"]["findings"])


def spoken(text: str) -> int:
    """Count words, bullets and dashes not being read aloud."""
    return sum(any(mark.isalnum() for mark in word) for word in text.split())


@pytest.mark.parametrize(
    ("text", "story"),
    [
        (MEDULLA, {"age": 63, "sex": "male", "onset": "sudden", "context": ["hypertension"]}),
        (THIRD, {"age": 58, "sex": "female", "onset": "sudden"}),
        (FACE, {"age": 41, "sex": "female", "onset": "hours", "course": "steady"}),
    ],
    ids=["lateral medulla", "third nerve", "face"],
)
def test_all_but_the_list_of_findings_is_read_aloud_within_a_minute(text: str, story: dict) -> None:
    """Mean rate of reading aloud 183 words a minute: Brysbaert, J Mem Lang 2019;109:104047.

    The two lines that identify the note (when and by whom, and the program) are not read aloud.
    """
    written = note(dated(examination(text, **story)))
    lines = written.splitlines()
    identifying = [line for line in lines if line.startswith(("Examined ", "Decussate "))]
    assert len(identifying) == 2
    unread = spoken(findings_of(written)) + sum(spoken(line) for line in identifying)
    assert note_words()["words"] == 183
    assert spoken(written) - unread <= note_words()["words"]


def test_what_cannot_wait_comes_before_everything_found() -> None:
    written = note(examination(THIRD, onset="sudden"))
    places = [
        written.index(heading.upper())
        for heading in (
            note_words()["headings"][key] for key in ("urgent", "findings", "place", "next")
        )
    ]
    assert places == sorted(places)
    assert "EMERGENCY" in written


def test_a_quiet_examination_says_that_silence_covers_only_what_was_tested() -> None:
    written = note(examination("light_direct right normal; light_direct left normal"))
    assert note_words()["phrases"]["no_alert"] in written


def test_normal_findings_are_grouped_and_both_sides_said_once() -> None:
    written = findings_of(note(examination("light_direct right normal; light_direct left normal")))
    assert "Normal: right and left direct light reaction." in written


def test_one_normal_side_is_never_told_of_the_other() -> None:
    written = findings_of(note(examination("light_direct right normal")))
    assert "Normal: right direct light reaction." in written
    assert "left" not in written


def test_an_empty_examination_claims_nothing() -> None:
    written = findings_of(note(examination("")))
    assert "Nothing was tested." in written
    assert "Normal:" not in written
    for name in note_words()["nerves"].values():
        assert name in written


def test_what_could_not_be_tested_keeps_its_reason() -> None:
    found = examination("light_direct left normal")
    lens = Finding(
        test="corneal_touch_direct",
        side=Side.RIGHT,
        response="could_not_be_tested",
        reason="lens in",
    )
    written = findings_of(note(found.model_copy(update={"findings": (*found.findings, lens)})))
    assert (
        "Right: corneal touch, blink of the touched eye – could not be tested (lens in)." in written
    )


def test_a_withdrawn_finding_is_not_in_the_note() -> None:
    written = findings_of(
        note(examination("light_direct left absent; light_direct left not_tested"))
    )
    assert "light reaction" not in written


def test_a_measurement_is_written_with_its_unit() -> None:
    size = Finding(
        test="pupil_size_light",
        side=Side.LEFT,
        response="large",
        measurement=MeasuredValue(value=7.5, unit="mm"),
    )
    found = Examination(id="invented", findings=(size,))
    assert "pupil size in the light – large (7.5 mm)" in findings_of(note(found))


def test_what_was_set_aside_or_not_understood_is_said() -> None:
    found = examination("upper_lid_position right complete").model_copy(
        update={
            "known_old": (("upper_lid_position", Side.RIGHT),),
            "unread": (UnreadText(text="glabella ?", line=3, column=1, reason="unknown"),),
        }
    )
    written = findings_of(note(found))
    assert "Known for long, taken to be an old lesion: right upper lid position." in written
    assert "“glabella ?” (line 3)" in written


def test_the_note_says_when_and_by_whom_as_far_as_is_known() -> None:
    found = examination("light_direct left absent; light_direct right normal")
    assert "Examined 2026-03-01 09:00 to 09:01 UTC by An Examiner." in note(dated(found))
    assert "Examined" not in note(found)


def test_the_note_names_the_program_and_the_data_it_rests_on() -> None:
    for markdown in (False, True):
        written = note(examination(FACE), markdown=markdown)
        assert f"Decussate {version('decussate')}, data {data_digest()}" in written


def test_the_note_says_who_decides_and_never_calls_itself_a_diagnosis() -> None:
    for markdown in (False, True):
        written = note(examination(MEDULLA), markdown=markdown)
        assert "a licensed clinician decides" in written
        assert "Not a diagnosis" in written


def test_without_a_localisation_the_note_says_so() -> None:
    written = write_note(examination(THIRD), None, ())
    assert note_words()["phrases"]["no_place"] in written


def test_no_lesion_that_leads_for_want_of_findings_never_reassures() -> None:
    """Published case C64: facial pain alone recorded, a tumour at the cerebellopontine angle."""
    case = Path(__file__).parents[1] / "published" / "cases" / "C64.json"
    written = note(read_examination(case))
    assert "Too little was recorded to point to a lesion" in written
    assert "othing further" not in written
    assert note_words()["phrases"]["all_explained"] not in written
    assert "does not exclude one" in written


def test_markdown_has_headings_and_keeps_what_people_wrote_from_being_markup() -> None:
    found = examination("light_direct left absent").model_copy(
        update={"label": "Bed *4* <script> [x](y) #1"}
    )
    written = note(found, markdown=True)
    assert "## What cannot wait" in written
    assert r"Bed \*4\* \<script\> \[x\](y) \#1" in written


@pytest.mark.parametrize("markdown", [False, True])
def test_what_people_wrote_cannot_pass_for_a_heading(markdown: bool) -> None:
    found = examination("light_direct left absent").model_copy(
        update={"label": "Bed 4\n\nWHAT WAS FOUND\n## What was found"}
    )
    written = note(found, markdown=markdown)
    heading = "## What was found\n" if markdown else "\nWHAT WAS FOUND\n"
    assert written.count(heading) == 1


def test_every_nerve_of_the_catalogue_has_a_place_in_the_note() -> None:
    nerves = {test.nerve for test in load_catalogue() if test.responses}
    assert nerves == set(note_words()["nerves"])


SIGNED = {test.id: test for test in load_catalogue() if test.responses and test.sign}


@st.composite
def examinations(draw: st.DrawFn) -> Examination:
    names = draw(st.lists(st.sampled_from(sorted(SIGNED)), max_size=10, unique=True))
    found = []
    for name in names:
        sides = list(Side) if SIGNED[name].paired else [None]
        for side in draw(st.lists(st.sampled_from(sides), min_size=1, unique=True)):
            response = draw(st.sampled_from(sorted(SIGNED[name].responses)))
            found.append(Finding(test=name, side=side, response=response))
    onset = draw(st.sampled_from([None, "sudden", "weeks"]))
    return Examination(id="drawn", story=Story(onset=onset), findings=tuple(found))


OTHER = {"right": "left", "left": "right", "Right": "Left", "Left": "Right"}


def swapped(text: str) -> str:
    """Exchange right and left; ``right and left`` stays as it is written."""
    return re.sub(
        r"\bright and left\b|\b(?:right|left)\b",
        lambda found: OTHER.get(found[0], found[0]),
        text,
        flags=re.IGNORECASE,
    )


def statements(lines: tuple[str, ...]) -> Counter[str]:
    """Split lines into statements, whose order may follow the side named first."""
    pieces = (piece for line in lines for piece in re.split(r"[.;] ?|: ", line))
    return Counter(piece.strip().lower() for piece in pieces if piece.strip())


@settings(max_examples=60, deadline=None)
@given(examinations())
def test_the_mirrored_patient_gets_findings_and_alerts_with_sides_exchanged(
    found: Examination,
) -> None:
    mirrored = found.mirrored()
    here = note_sections(found, None, evaluate(found))
    there = note_sections(mirrored, None, evaluate(mirrored))
    for mine, theirs in zip(here, there, strict=True):
        exchanged = tuple(swapped(line) for line in mine.lines)
        assert statements(exchanged) == statements(theirs.lines)


def test_a_mirrored_lesion_is_placed_on_the_other_side_in_the_note() -> None:
    found = examination(MEDULLA, onset="sudden")
    place = note_words()["headings"]["place"]
    here, there = section(note(found), place), section(note(found.mirrored()), place)
    assert "right lateral medulla" in here
    assert swapped(here).splitlines()[0] == there.splitlines()[0]


@settings(max_examples=40, deadline=None)
@given(examinations())
def test_every_recorded_side_and_no_other_is_named_with_its_test(found: Examination) -> None:
    for line in note_sections(found, None, ())[1].lines:
        if line.startswith(("Not tested", "Elsewhere", "Nothing")):
            continue
        nerve = next(key for key, name in note_words()["nerves"].items() if line.startswith(name))
        tested = {f.side for f in found.present() if SIGNED[f.test].nerve == nerve and f.side}
        labels = "".join(
            SIGNED[f.test].name + SIGNED[f.test].responses[f.response].label
            for f in found.present()
        )
        for side in Side:
            if side not in tested and side.value not in labels:
                assert side.value not in line.lower()
            if side in tested:
                assert side.value in line.lower()


EARLIER = {
    # The same three people some days before, each with less, other and more than now.
    "lateral medulla": "ask_vertigo present; body_pin left normal; palate_rise right normal; "
    "upper_lid_position right normal; voice normal; walking normal; finger_nose right normal",
    "third nerve": "upper_lid_position right partial; light_direct right normal; "
    "gaze_in right normal; pupil_size_light right normal; ask_headache normal; "
    "gaze_up right normal",
    "face": "raise_brows left reduced; show_teeth left reduced; taste_front left normal; "
    "arm_power left normal; arm_power right normal",
}


@pytest.mark.parametrize(
    ("text", "case", "story"),
    [
        (MEDULLA, "lateral medulla", {"age": 63, "sex": "male", "onset": "sudden"}),
        (THIRD, "third nerve", {"age": 58, "sex": "female", "onset": "sudden"}),
        (FACE, "face", {"age": 41, "sex": "female", "onset": "hours"}),
    ],
)
def test_a_note_compared_with_the_one_before_is_still_read_within_a_minute(text, case, story):
    """The rate as above; the sentence of comparison is read aloud too."""
    now = dated(examination(text, **story))
    before = dated(examination(EARLIER[case], **story))
    days = timedelta(days=3)
    findings = tuple(f.model_copy(update={"at": f.at - days}) for f in before.findings)
    before = before.model_copy(update={"findings": findings})
    places = (localise(before), localise(now))
    compared = compare(before, now, places=places)
    written = write_note(now, places[1], evaluate(now, places[1]), comparison=compared)
    said = section(written, note_words()["headings"]["changed"])
    assert said.startswith("- Compared with 3 days before: ")
    assert said.count(". ") == 0  # one sentence
    assert "newly abnormal" in said or "worse" in said
    identifying = [li for li in written.splitlines() if li.startswith(("Examined ", "Decussate "))]
    unread = spoken(findings_of(written)) + sum(spoken(line) for line in identifying)
    assert spoken(written) - unread <= note_words()["words"]
    assert written.index("WHAT CHANGED") < written.index("WHERE IT MAY BE")
    for alert in evaluate(now, places[1]):
        assert alert.title in written  # what cannot wait is never shortened away


def test_a_first_note_says_nothing_of_a_change() -> None:
    assert note_words()["headings"]["changed"].upper() not in note(examination(THIRD))


def test_a_second_lesion_that_is_needed_is_said_beside_the_place_and_no_other() -> None:
    """Sight of the right eye and the left third and seventh nerves: no one place takes all."""
    written = "L facial palsy; R upper temporal field lost; R RAPD; R VA 6/60; L third nerve palsy"
    far_apart = read_shorthand(written).examination("a")
    for found, needed in ((far_apart, True), (examination(FACE), False)):
        second = two_lesions(found)
        assert second.needed == needed
        located = localise(found)
        alerts = evaluate(found, located)
        note = write_note(found, located, alerts, second=second)
        letter = as_markdown(referral_letter(found, located, alerts, second=second))
        said = "One lesion hardly explains this; two are likely"
        assert (said in note, said in letter) == (needed, needed)
        assert said not in write_note(found, located, alerts)
    read = note_sections(far_apart, localise(far_apart), (), second=two_lesions(far_apart))
    place = next(one for one in read if one.heading == note_words()["headings"]["place"])
    assert place.lines[1].startswith(said)


def test_a_test_wanted_on_both_sides_stands_once() -> None:
    def wanted(test: str, side: Side | None) -> NextTest:
        return NextTest(test, side, test, 0.1, 5.0, ())

    ranked = [wanted("raise_brows", Side.LEFT), wanted("voice", None)]
    ranked += [wanted("raise_brows", Side.RIGHT), wanted("close_eyes", Side.LEFT)]
    proposed = proposed_tests(ranked, 2)
    assert [[one.side for one in test] for test in proposed] == [[Side.RIGHT, Side.LEFT], [None]]
    assert proposed_in_words(proposed[0]).endswith("(right and left)")
    assert len(proposed_tests(ranked, 5)) == 3


def test_the_rest_that_a_note_calls_normal_is_told_from_what_was_examined_alone() -> None:
    found = read_shorthand("light R 3+ L 3+; rest of cranial nerves normal").examination("a")
    lines = write_note(found, None, ()).splitlines()
    (line,) = (one for one in lines if note_words()["phrases"]["together"] in one)
    assert "Tongue (XII)" in line
    alone = read_shorthand("tongue midline; face normal").examination("a")
    assert note_words()["phrases"]["together"] not in write_note(alone, None, ())
