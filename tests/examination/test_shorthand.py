"""The written shorthand: what it reads, what it keeps unread, and that it writes what it reads."""

import re
import time
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from decussate.data_rows import read_rows
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.checking import check_findings, measured_response
from decussate.examination.document import (
    CONTEXT_KEYS,
    Examination,
    Finding,
    MeasuredValue,
    Story,
)
from decussate.examination.shorthand import LONGEST_NOTE, read_shorthand, write_shorthand
from decussate.examination.shorthand_lexicon import phrase
from decussate.examination.shorthand_words import lexicon_of
from decussate.sides import Side

CATALOGUE = load_catalogue()
BEDSIDE = [test for test in CATALOGUE if not test.story]
QUICK = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def said(text):
    """Findings of a note as ``test side response`` words; everything must be understood."""
    reading = read_shorthand(text)
    assert not reading.unread, reading.unread
    return {" ".join(filter(None, (f.test, f.side, f.response))) for f in reading.findings}


# What clinicians write, and what it means. Terms by their definition (Brazis, Masdeu and Biller,
# Localization in Clinical Neurology, 6th ed; Walsh and Hoyt, 6th ed); short forms common practice.
WRITTEN = {
    "VA R 6/9 L 6/60": {"distance_acuity right normal", "distance_acuity left absent"},
    "VA L 6/60 ph 6/12": {"distance_acuity left absent", "pinhole_acuity left present"},
    "VA L 6/60 ph 6/60": {"distance_acuity left absent", "pinhole_acuity left normal"},
    "VA OD CF 1 m, OS NPL": {"distance_acuity right absent", "distance_acuity left absent"},
    "near vision R N8 at 40 cm": {"near_acuity right reduced"},
    "RAPD L": {"swinging_light left"},
    "no RAPD": {"swinging_light normal"},
    "pupils R 6 mm fixed, L 3 mm brisk": {
        "pupil_size_light right large",
        "light_direct right absent",
        "light_consensual right absent",
        "pupil_size_light left normal",
        "light_direct left normal",
        "light_consensual left normal",
    },
    "ptosis R complete": {"upper_lid_position right complete"},
    "complete R ptosis": {"upper_lid_position right complete"},
    "R abduction -3": {"gaze_out right reduced"},
    "abduction L -4": {"gaze_out left absent"},
    "EOM full": {
        f"{gaze} {side} normal"
        for gaze in ("gaze_out", "gaze_in", "gaze_up", "gaze_down")
        for side in ("right", "left")
    },
    "fields: L homonymous hemianopia": {
        "peripheral_upper_temporal left absent",
        "peripheral_lower_temporal left absent",
        "peripheral_upper_nasal right absent",
        "peripheral_lower_nasal right absent",
    },
    "R upper quadrantanopia": {
        "peripheral_upper_temporal right absent",
        "peripheral_upper_nasal left absent",
    },
    "bitemporal hemianopia": {
        f"peripheral_{half}_temporal {side} absent"
        for half in ("upper", "lower")
        for side in ("right", "left")
    },
    "corneal R absent": {"corneal_touch_direct right absent"},
    "corneals intact": {"corneal_touch_direct right normal", "corneal_touch_direct left normal"},
    "V1 pin R reduced": {"pin_forehead right reduced"},
    "LMN face R": {
        "raise_brows right abnormal",
        "close_eyes right abnormal",
        "show_teeth right abnormal",
    },
    "UMN face L": {"raise_brows left normal", "show_teeth left abnormal"},
    "VII: L LMN": {
        "raise_brows left abnormal",
        "close_eyes left abnormal",
        "show_teeth left abnormal",
    },
    "HB 4 R": {"facial_grade right grade_4"},
    "Rinne R neg L pos, Weber R": {"rinne right present", "rinne left normal", "weber right"},
    "HIT R positive": {"head_impulse right present"},
    "DHT R upbeat torsional": {"positional_test right upbeat_torsional"},
    "DHT L negative": {"positional_test left normal"},
    "nystagmus to left": {"nystagmus_straight_ahead left"},
    "downbeat nystagmus": {"nystagmus_vertical_beat down"},
    "gaze-evoked nystagmus both": {
        "nystagmus_side_gaze right present",
        "nystagmus_side_gaze left present",
    },
    "uvula to left": {"uvula_movement left"},
    "gag R absent": {"gag right absent"},
    "no gag R": {"gag right absent"},
    "tongue deviates R, wasted R": {"tongue_protrusion right", "tongue_bulk right present"},
    "tongue deviates R and wasted R": {"tongue_protrusion right", "tongue_bulk right present"},
    "tongue deviates R, wasted L": {"tongue_protrusion right", "tongue_bulk left present"},
    "R ptosis with L miosis": {"upper_lid_position right abnormal", "pupil_size_light left small"},
    "R arm and leg 4/5": {"arm_power right reduced", "leg_power right reduced"},
    "no ptosis, diplopia or tinnitus": {
        "upper_lid_position right normal",
        "upper_lid_position left normal",
        "ask_double_vision normal",
        "ask_tinnitus right normal",
        "ask_tinnitus left normal",
    },
    "L hypertropia worse on R gaze and L tilt": {
        "alternate_cover_vertical left",
        "vertical_deviation_by_gaze right",
        "vertical_deviation_by_tilt left",
    },
    "SCM R 3/5": {"sternomastoid_power right reduced"},
    "INO R": {
        "gaze_in right abnormal",
        "saccade_inward right present",
        "outward_eye_in_side_gaze left present",
    },
    "R CN III palsy complete pupil spared": {
        "upper_lid_position right complete",
        "gaze_in right absent",
        "gaze_up right absent",
        "gaze_down right absent",
        "pupil_size_light right normal",
        "light_direct right normal",
    },
    "L 4th nerve palsy": {
        "gaze_down_and_in left abnormal",
        "alternate_cover_vertical left",
        "vertical_deviation_by_gaze right",
        "vertical_deviation_by_tilt left",
    },
    "Horner L": {"upper_lid_position left partial", "pupil_size_light left small"},
    "gaze palsy to R": {"gaze_together_sideways right abnormal"},
    "skew R hyper": {"alternate_cover_vertical right"},
    "disc swollen both": {"disc_margin right present", "disc_margin left present"},
    "plantar L up": {"plantar left present"},
    "plantars downgoing": {"plantar right normal", "plantar left normal"},
    "R arm 3/5": {"arm_power right reduced"},
    "no facial weakness": {
        f"{part} {side} normal"
        for part in ("raise_brows", "close_eyes", "show_teeth")
        for side in ("right", "left")
    },
    "no ptosis or diplopia": {
        "upper_lid_position right normal",
        "upper_lid_position left normal",
        "ask_double_vision normal",
    },
    "PERRLA": {"pupil_comparison normal"}
    | {
        f"{test} {side} normal"
        for test in ("pupil_shape", "light_direct", "light_consensual", "near_response")
        for side in ("right", "left")
    },
    "L ptosis, miosis and anhidrosis": {
        "upper_lid_position left abnormal",
        "pupil_size_light left small",
        "face_sweating left present",
    },
    "gag NT": {"gag right not_tested", "gag left not_tested"},
    "R gag unable (tube in place)": {"gag right could_not_be_tested"},
    "GCS 14": {"consciousness present"},
    "voice hoarse; bovine cough": {"voice present", "cough bovine"},
    "nystagmus absent": {
        "nystagmus_straight_ahead normal",
        "nystagmus_vertical_beat normal",
        "nystagmus_side_gaze right normal",
        "nystagmus_side_gaze left normal",
    },
}  # fmt: skip


@pytest.mark.parametrize("text", WRITTEN)
def test_it_reads_what_clinicians_write(text):
    assert said(text) == WRITTEN[text]


@pytest.mark.parametrize("text", WRITTEN)
def test_the_mirrored_text_reads_as_the_mirrored_findings(text):
    plain = read_shorthand(text).examination("x").mirrored()
    mirrored = read_shorthand(mirror(text)).examination("x")
    assert set(mirrored.findings) == set(plain.findings)


@pytest.mark.parametrize("text", WRITTEN)
def test_what_it_reads_the_catalogue_accepts(text):
    assert check_findings(read_shorthand(text).examination("x"), CATALOGUE) == ()


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("pupil R 40 mm", "right unit?"),
        ("pupil R 0.6 dB", "unit"),
        ("VA R 6/0", "greater than zero"),
        ("SCM R 7/5", "0 to 5"),
        ("pupils R 7 mm small", "both"),
        ("ptosis", "the side is missing"),
        ("corneal R", "no response is given"),
        ("Weber both", "one side only"),
        ("voice R hoarse", "has no side"),
        ("? ptosis R", "uncertain"),
        ("possible ptosis R", "uncertain"),
        ("mother had ptosis R", "not an observation"),
        ("ptosis R improved", "change over time"),
        ("ptosis R purple", "'purple'"),
        ("bitemporal hemianopia R", "both sides"),
        ("no INO", "say which"),
        ("pinhole R 6/6", "needs distance acuity"),
        ("gag R absent [by: ]", "[by: "),
        ("68 y M; 70 y", "already given"),
        ("680 y", "0 to 120"),
        ("(alone)", "no finding"),
        ("ptosis R and L miosis", "whose side"),
        ("no ptosis and R miosis", "how far `no` reaches"),
        ("no ptosis, diplopia", "whether `no` covers this"),
        ("Weber R L", "both right and left"),
        ("gag absent R, present R", "just before"),
        ("power R 4/5", "Name it"),
        ("pupils R 3-", "sign after the number"),
        ("R arm 5-/5", "between normal and weak"),
        ("hearing R > L", "which side is the worse"),
        ("ptosis L purple, complete R", "continues text"),
    ],
)
def test_what_cannot_be_read_is_kept_with_its_reason(text, reason):
    reading = read_shorthand(text)
    assert reading.unread
    assert reason in reading.unread[-1].reason
    kept = reading.unread[-1]
    assert text[kept.column - 1 :].startswith(kept.text)


def test_a_pinhole_acuity_may_stand_on_a_later_line():
    assert "pinhole_acuity left present" in said("VA L 6/60\nRAPD L\nph L 6/12")


def test_an_unread_fragment_has_its_line_and_column_and_spoils_nothing_else():
    reading = read_shorthand("RAPD L; xyzzy plugh\ngag R absent, frobs L odd. HIT R positive\n")
    assert [(kept.text, kept.line, kept.column) for kept in reading.unread] == [
        ("xyzzy plugh", 1, 9),
        ("frobs L odd", 2, 15),
    ]
    assert [found.test for found in reading.findings] == ["swinging_light", "gag", "head_impulse"]


def test_story_lines():
    story = read_shorthand("68 y M; sudden onset; worsening; vascular risk, diabetes").story
    assert story == Story(
        age=68,
        sex="male",
        onset="sudden",
        course="worsening",
        context=("vascular_risk", "diabetes"),
    )
    assert read_shorthand("68-year-old woman, over 3 days").story == Story(
        age=68, sex="female", onset="days"
    )
    assert read_shorthand("aged 40; progressive").story == Story(age=40, course="worsening")


def test_old_deficits_are_set_apart():
    reading = read_shorthand("known old L facial weakness; old: gag R; ptosis R")
    assert ("show_teeth", Side.LEFT) in reading.known_old
    assert ("gag", Side.RIGHT) in reading.known_old
    assert [found.test for found in reading.findings] == ["show_teeth", "upper_lid_position"]


def test_the_rest_normal_says_nothing_of_what_the_note_speaks_of():
    normal = said("R facial weakness; V1 pin L reduced; diplopia; rest of cranial nerves normal")
    assert "raise_brows left normal" in normal
    assert "raise_brows right normal" not in normal
    assert "touch_forehead right normal" in normal
    assert "touch_forehead left normal" not in normal
    assert "gaze_out right normal" not in normal
    assert "arm_power right normal" not in normal
    assert "arm_power right normal" in said("rest of neurological examination normal")


def test_not_tested_is_never_normal():
    examination = read_shorthand("gag not tested").examination("x")
    assert examination.present() == ()


# ---------------------------------------------------------------- round trips


@st.composite
def findings(draw):
    test = draw(st.sampled_from(BEDSIDE))
    response = draw(st.sampled_from((*test.codes, "could_not_be_tested", "not_tested")))
    words = st.text(min_size=1, max_size=30).map(str.strip).filter(bool)
    return Finding(
        test=test.id,
        side=draw(st.sampled_from(list(Side))) if test.paired else None,
        response=response,
        reason=draw(words) if response == "could_not_be_tested" else None,
        technique=draw(st.none() | words),
        comment=draw(st.none() | words),
        by=draw(st.none() | words),
        at=draw(st.none() | st.just(datetime(2026, 1, 31, 10, 5, tzinfo=UTC))),
    )


stories = st.builds(
    Story,
    age=st.none() | st.integers(0, 120) | st.floats(0, 120).map(lambda age: round(age, 2)),
    sex=st.sampled_from((None, "female", "male")),
    onset=st.sampled_from((None, "sudden", "hours", "days", "weeks", "months", "years")),
    course=st.sampled_from((None, "improving", "steady", "worsening", "fluctuating", "attacks")),
    context=st.lists(st.sampled_from(CONTEXT_KEYS), unique=True).map(tuple),
)


def assert_round_trip(examination):
    reading = read_shorthand(write_shorthand(examination))
    assert reading.unread == ()
    assert reading.findings == examination.findings
    assert reading.story == examination.story
    assert reading.known_old == examination.known_old


@QUICK
@given(st.lists(findings(), max_size=5).map(tuple), stories)
def test_every_finding_and_story_reads_back(found, story):
    old = tuple(dict.fromkeys((one.test, one.side) for one in found[:2]))
    assert_round_trip(Examination(id="x", story=story, findings=found, known_old=old))


def test_every_response_of_every_test_on_every_side_reads_back():
    found = tuple(
        Finding(test=test.id, side=side, response=code)
        for test in BEDSIDE
        for side in (tuple(Side) if test.paired else (None,))
        for code in (*test.codes, "not_tested")
    )
    assert len(found) > 1000
    assert_round_trip(Examination(id="x", findings=found))


def test_every_measurement_reads_back_with_its_unit():
    found = []
    for test in BEDSIDE:
        scale = test.measurement
        if scale is None:
            continue
        if scale.reader:
            texts = {"distance_acuity": ("6/9-2", "HM", "CF 1 m"), "near_acuity": ("N8 at 40 cm",)}
            values = [MeasuredValue(value=v, unit="as written") for v in texts[scale.reader]]
        else:
            edges = {scale.low, scale.high, *((b.low + b.high) / 2 for b in scale.bands)}
            values = [MeasuredValue(value=v, unit=scale.unit) for v in sorted(edges)]
        if scale.kind == "fraction":
            values.append(MeasuredValue(value="3/4", unit=scale.unit))
        for value in values:
            response = measured_response(test, value) or test.codes[-1]
            side = Side.LEFT if test.paired else None
            found.append(Finding(test=test.id, side=side, response=response, measurement=value))
    assert len(found) > 100
    assert_round_trip(Examination(id="x", findings=tuple(found)))


def mirror(text):
    """Exchange the side words of a text, as a reader in a mirror would."""
    pairs = [("R", "L"), ("right", "left"), ("OD", "OS")]
    other = {a: b for pair in pairs for a, b in (pair, pair[::-1])}
    words = r"(?<![A-Za-z])(R|L|right|left|OD|OS)(?![A-Za-z])"
    return re.sub(words, lambda word: other[word[0]], text)


@QUICK
@given(st.lists(findings(), max_size=4).map(tuple))
def test_the_mirror_image_of_a_written_note_reads_as_the_mirrored_findings(found):
    bare = tuple(
        one.model_copy(update={"comment": None, "technique": None, "by": None}) for one in found
    )
    bare = tuple(one.model_copy(update={"reason": "tube"}) if one.reason else one for one in bare)
    examination = Examination(id="x", findings=bare)
    reading = read_shorthand(mirror(write_shorthand(examination)))
    assert reading.findings == examination.mirrored().findings


# ---------------------------------------------------------------- nothing dropped, nothing endless

NOTE_LIKE = st.lists(
    st.sampled_from(
        [*WRITTEN, "R", "L", ",", ";", "\n", ". ", "(", ")", '"', "[by: x]", "[at: 3]", "6/", "-3"]
    )
    | st.text(max_size=6),
    max_size=12,
).map(" ".join)


@QUICK
@given(NOTE_LIKE)
@example("ptosis R\r\nxyz\u2028L \x85 gag, , ;; R absent.\n\n zzz")
def test_every_character_is_understood_or_kept_unread(text):
    reading = read_shorthand(text)
    owners = [0] * len(text)
    for span in reading.understood:
        for at in range(span.start, span.end):
            owners[at] += 1
    starts = [0, *(at + 1 for at, letter in enumerate(text) if letter == "\n")]
    for kept in reading.unread:
        start = starts[kept.line - 1] + kept.column - 1
        assert text[start : start + len(kept.text)] == kept.text
        for at in range(start, start + len(kept.text)):
            owners[at] += 1
    for letter, count in zip(text, owners, strict=True):
        assert count == 1 or (count == 0 and (letter.isspace() or letter in ",;.\x1c\x1d\x1e\x85"))


def test_five_megabytes_of_noise_are_refused_at_once():
    began = time.perf_counter()
    with pytest.raises(BadInput, match="200,000") as caught:
        read_shorthand("R ptosis? " * 500_000)
    assert "right file" in caught.value.hint
    assert time.perf_counter() - began < 1.0


@pytest.mark.parametrize(
    "piece", ["x9 (", "R L ", "ptosis R; ", "((((", '"', "[a:", "no no ", "6/6 ", "old ", "é,"]
)
def test_the_longest_note_of_noise_takes_seconds(piece):
    text = (piece * (LONGEST_NOTE // len(piece)))[:LONGEST_NOTE]
    began = time.perf_counter()
    reading = read_shorthand(text)
    assert time.perf_counter() - began < 15  # 2 to 4 s measured on two cores
    assert reading.findings or reading.unread


# ---------------------------------------------------------------- the data behind it


def test_the_page_of_examples_is_read_whole():
    page = Path(__file__).parents[2] / "docs" / "shorthand.md"
    lines = page.read_text(encoding="utf-8").splitlines()
    note = "\n".join(line for line in lines if line.startswith("    "))
    reading = read_shorthand(note)
    assert reading.unread == ()
    assert len(reading.findings) > 40
    assert check_findings(reading.examination("x"), CATALOGUE) == ()


TERMS = read_rows(files("decussate.examination") / "data" / "shorthand_terms.yaml")


@pytest.mark.parametrize("row", TERMS, ids=[row["id"] for row in TERMS])
def test_every_name_and_word_of_a_term_is_read(row):
    keys = (*row.get("words", {}), *row.get("adds", {}))
    words = [word.strip() for key in keys for word in key.split("|")]
    for name in row["names"]:
        notes = [f"{name} {word}" for word in words]
        notes += [name] if "findings" in row else []
        notes += [f"{name} normal"] if "normal" in row or "rest" in row else []
        assert notes, name
        for note in notes:
            readings = [read_shorthand(note + side) for side in (" R", " both", "")]
            whole = [one for one in readings if not one.unread]
            assert whole, (note, readings[0].unread[0].reason)
            for reading in whole:
                assert reading.findings
                assert check_findings(reading.examination("x"), CATALOGUE) == ()


def test_every_name_of_a_test_reads_as_that_test_or_as_a_term_of_the_same_part():
    lexicon = lexicon_of(CATALOGUE)
    for test in BEDSIDE:
        for name in lexicon.names[test.id]:
            written = " ".join(phrase(name))
            readings = [
                read_shorthand(f"{written} {side} not tested") for side in ("R", "both", "")
            ]
            found = [one.findings for one in readings if not one.unread]
            assert found, (name, readings[0].unread[0].reason)
            parts = {CATALOGUE.test(each.test).nerve for one in found for each in one}
            signs = {CATALOGUE.test(each.test).sign for one in found for each in one}
            assert test.nerve in parts or test.sign in signs, (name, parts)


@pytest.mark.parametrize(
    "text",
    ["old: R ptosis partial\nR ptosis complete", "R ptosis complete\nold: R ptosis partial"],
)
def test_an_old_deficit_never_sets_aside_what_is_so_now(text):
    reading = read_shorthand(text, load_catalogue())
    assert reading.known_old == ()
    assert [f.response for f in reading.findings] == ["partial", "complete"]
    assert reading.unread == ()
