"""The examination document: shape, schema, checks against the catalogue, mirroring."""

import json
from datetime import UTC, datetime, timedelta, timezone
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from decussate.data_rows import read_rows
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.document import CONTEXT_KEYS
from decussate.examination.record import (
    Examination,
    Finding,
    MeasuredValue,
    Story,
    Truth,
    UnreadText,
    examine_document,
    json_schema,
    read_examination,
    write_examination,
)
from decussate.sides import Side

PUBLISHED = Path(__file__).parents[2] / "docs" / "schema" / "examination-1.json"
CATALOGUE = load_catalogue()
BEDSIDE = [test for test in CATALOGUE if not test.story]
ZONES = st.sampled_from((UTC, timezone(timedelta(hours=5, minutes=30))))


def a_document(**fields):
    return json.dumps({"id": "invented-1", "invented": True} | fields)


def one_finding(**fields):
    return a_document(findings=[fields])


@st.composite
def findings(draw):
    """Any response to any test, with what may accompany it."""
    test = draw(st.sampled_from(BEDSIDE))
    code = draw(st.sampled_from((*test.codes, "could_not_be_tested", "not_tested")))
    return Finding(
        test=test.id,
        side=draw(st.sampled_from(list(Side))) if test.paired else None,
        response=code,
        reason="tube in place" if code == "could_not_be_tested" else None,
        comment=draw(st.none() | st.text(min_size=1).filter(str.strip)),
        by=draw(st.none() | st.just("A. Examiner")),
        at=draw(st.none() | st.datetimes(datetime(2020, 1, 1), timezones=ZONES)),
    )


@st.composite
def examinations(draw):
    done = tuple(draw(st.lists(findings(), max_size=8)))
    story = Story(
        age=draw(st.none() | st.integers(0, 120)),
        sex=draw(st.sampled_from((None, "female", "male"))),
        onset=draw(st.sampled_from((None, "sudden", "weeks"))),
        context=draw(st.lists(st.sampled_from(("cancer", "injury")), max_size=2)),
    )
    old = tuple((found.test, found.side) for found in done[:1])
    truth = draw(st.none() | st.builds(Truth, places=st.just(("pons",)), side=st.just("left")))
    return Examination(id="invented-1", story=story, findings=done, known_old=old, truth=truth)


QUICK = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@QUICK
@given(examinations())
def test_a_document_reads_back_as_written_and_meets_the_published_schema(examination):
    text = write_examination(examination)
    assert read_examination(text) == examination
    schema = json.loads(PUBLISHED.read_text(encoding="utf-8"))
    Draft202012Validator(schema).validate(json.loads(text))


@QUICK
@given(examinations())
def test_the_mirror_image_is_a_valid_examination_and_its_mirror_image_is_the_first(examination):
    mirrored = examination.mirrored()
    assert mirrored.mirrored() == examination
    assert read_examination(write_examination(mirrored)) == mirrored
    for found, other in zip(examination.findings, mirrored.findings, strict=True):
        assert (other.side is None) == (found.side is None)
        assert found.side is None or other.side is found.side.other
    if examination.truth:
        assert mirrored.truth.side == "right"


def test_every_code_that_names_a_side_has_its_mirror_image_in_the_catalogue():
    for test in BEDSIDE:
        for code in test.codes:
            mirrored = Finding(test=test.id, response=code).mirrored()
            assert mirrored.test in CATALOGUE, test.id
            assert mirrored.response in CATALOGUE.test(mirrored.test).codes, (test.id, code)


def test_the_published_schema_is_the_one_of_this_version():
    assert json.loads(PUBLISHED.read_text(encoding="utf-8")) == json_schema()
    Draft202012Validator.check_schema(json_schema())


def test_the_contexts_of_the_story_are_those_the_anatomy_knows():
    rows = read_rows(files("decussate.anatomy") / "data" / "contexts.yaml")
    assert set(CONTEXT_KEYS) == {row["id"] for row in rows}


def test_the_schema_refuses_what_the_reader_refuses():
    validator = Draft202012Validator(json_schema())
    for text in (
        one_finding(test="gag", side="middle", response="normal"),
        a_document(story={"age": 400}),
        a_document(surprise=1),
        "{}",
    ):
        assert list(validator.iter_errors(json.loads(text)))
        with pytest.raises(BadInput):
            read_examination(text)


def test_a_later_finding_supersedes_and_the_earlier_one_is_kept():
    first = Finding(test="gag", side="right", response="absent")
    other = Finding(test="gag", side="left", response="normal")
    later = Finding(test="gag", side="right", response="normal")
    examination = Examination(id="x", findings=(first, other, later))
    assert examination.present() == (later, other)
    assert examination.findings == (first, other, later)
    withdrawn = Finding(test="gag", side="right", response="not_tested")
    assert Examination(id="x", findings=(first, withdrawn)).present() == ()


MISTAKES = {
    "wrong side": (
        one_finding(test="gag", side="rigth", response="normal"),
        "findings[0].side",
        "right or left",
    ),
    "side missing": (one_finding(test="gag", response="normal"), "findings[0].side", "each side"),
    "side of a test that has none": (
        one_finding(test="weber", side="left", response="normal"),
        "findings[0].side",
        "Was the response 'left'?",
    ),
    "unknown test": (
        one_finding(test="pupil_size_lihgt", side="left", response="normal"),
        "findings[0].test",
        "'pupil_size_light'",
    ),
    "response of another test": (
        one_finding(test="gag", side="left", response="abscent"),
        "findings[0].response",
        "Did you mean 'absent'?",
    ),
    "response by its label": (
        one_finding(test="light_direct", side="left", response="sluggish"),
        "findings[0].response",
        "Did you mean 'reduced'?",
    ),
    "40 mm pupil": (
        one_finding(
            test="pupil_size_light", side="left", response="large",
            measurement={"value": 40, "unit": "mm"},
        ),
        "findings[0].measurement",
        "right unit?",
    ),
    "wrong unit": (
        one_finding(
            test="pupil_size_light", side="left", response="large",
            measurement={"value": 0.7, "unit": "cm"},
        ),
        "findings[0].measurement",
        "'mm'",
    ),
    "acuity 6/0": (
        one_finding(
            test="distance_acuity", side="left", response="absent",
            measurement={"value": "6/0", "unit": "as written"},
        ),
        "findings[0].measurement",
        "greater than zero",
    ),
    "value against response": (
        one_finding(
            test="pupil_size_light", side="left", response="small",
            measurement={"value": 7, "unit": "mm"},
        ),
        "findings[0].response",
        "'large'",
    ),
    "measurement where there is none": (
        one_finding(
            test="gag", side="left", response="absent", measurement={"value": 7, "unit": "mm"}
        ),
        "findings[0].measurement",
        "without a measurement",
    ),
    "no reason": (
        one_finding(test="gag", side="left", response="could_not_be_tested"),
        "findings[0]",
        "a reason is needed",
    ),
    "story among the findings": (
        one_finding(test="story_age", response="normal"),
        "findings[0].test",
        "story block",
    ),
    "misspelt field": (a_document(storry={}), "storry", "Did you mean 'story'?"),
    "impossible age": (a_document(story={"age": 680}), "story.age", "120"),
    "time without zone": (
        one_finding(test="gag", side="left", response="normal", at="2026-01-31T10:00:00"),
        "findings[0].at",
        "zone",
    ),
    "truncated": (one_finding(test="gag", side="left", response="no")[:-9], "line 1", "cut off"),
    "shorthand in a document": ("VA R 6/9", "line 1", ".txt"),
    "same key twice": ('{"id": "a", "id": "b"}', "the document", "each key once"),
    "not a number": ('{"id": "a", "story": {"age": NaN}}', "the document", "finite"),
    "a list": ("[]", "the document", "one examination"),
    "nesting": ("[" * 100_000, "the document", "nesting"),
    "known old, unknown": (a_document(known_old=[["gagg", "left"]]), "known_old[0][0]", "'gag'"),
    "too long": (" " * 5_000_000, "the document", "2,000,000"),
}  # fmt: skip


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_named_with_its_place_and_remedy(mistake):
    text, place, remedy = MISTAKES[mistake]
    with pytest.raises(BadInput) as caught:
        read_examination(text)
    assert place in caught.value.sentence
    assert remedy in caught.value.sentence


def test_every_problem_is_listed_with_its_line():
    text = json.dumps(
        {
            "id": "x",
            "findings": [
                {"test": "gag", "response": "normal"},
                {"test": "gagg", "side": "left", "response": "normal"},
            ],
        },
        indent=1,
    )
    examination, problems = examine_document(text)
    assert examination is not None
    assert [problem.where for problem in problems] == [
        "the document, line 4, column 3, findings[0].side",
        "the document, line 9, column 12, findings[1].test",
    ]
    with pytest.raises(BadInput, match="1 more problem in this document"):
        read_examination(text)


def test_a_file_is_named_in_its_errors(tmp_path):
    file = tmp_path / "case.json"
    with pytest.raises(BadInput, match=r"case\.json"):
        read_examination(file)
    file.write_bytes(b'{"id": "\xff"}')
    with pytest.raises(BadInput, match="UTF-8"):
        read_examination(file)
    file.write_text(a_document(), encoding="utf-8-sig")
    assert read_examination(file).id == "invented-1"


def test_a_value_that_agrees_with_its_response_is_accepted():
    # 6/9 is logMAR 0.18 and NPL is no vision: bands of the catalogue (distance acuity).
    for value, unit, response in (
        ("6/9", "as written", "normal"),
        ("NPL", "as written", "absent"),
        (0.5, "logMAR", "reduced"),
        (0.5, "logMAR", "abnormal"),
    ):
        found = Finding(
            test="distance_acuity",
            side="left",
            response=response,
            measurement=MeasuredValue(value=value, unit=unit),
        )
        examination = Examination(id="x", findings=(found,))
        assert read_examination(write_examination(examination)) == examination


def test_unread_text_keeps_its_spaces():
    kept = UnreadText(text=" as written ", line=1, column=1, reason="not understood")
    examination = Examination(id="x", unread=(kept,))
    assert read_examination(write_examination(examination)).unread == (kept,)
