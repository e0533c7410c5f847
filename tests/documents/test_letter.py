"""The letter: headings, text as typed, sides in words, a PDF for people and machines."""

import json
import re
from collections import Counter
from html.parser import HTMLParser
from importlib.metadata import version
from io import BytesIO
from pathlib import Path

import pdfplumber
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from pdfminer.pdftypes import resolve1

from decussate.cli import main
from decussate.documents.document import Document, Figure, Part, Text
from decussate.documents.formal_tests import formal_tests, kind_of, request_words
from decussate.documents.letter import letter_words, referral_letter, request_sheet
from decussate.documents.letter_details import LetterDetails, read_details
from decussate.documents.typesetting import as_html, as_markdown, as_pdf
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.document import Examination, Finding
from decussate.localisation import data_digest, localise
from decussate.records.demo import demo_examinations
from decussate.sides import Side
from decussate.urgency import evaluate
from strategies import examinations

DEMOS = {one.id: one for one in demo_examinations()}
FACE = DEMOS["demo-4-weak-face"]
HEADINGS = (
    # Outpatient letter standard of the Professional Record Standards Body, row RS-1 of the
    # reference on records (from memory): the headings that concern a letter of referral.
    "Patient details",
    "Reason for referral",
    "History",
    "Examination findings",
    "Clinical summary and likely site",
    "Investigations requested",
    "Plan and requested actions",
    "Information and advice given",
    "Person completing this letter",
)
CONVENTIONS = re.compile(
    r"As [a-z ,]*?: the patient's right is on the left\.|As the patient sees: [^.]*\.|"
    r"Visual fields as the patient sees them, right eye on the right\.|"
    r"Right and left are the patient's[a-z ]*\.?|\(right and left are the patient's\)|"
    r"Right (and left\.|compared with left\.|and left compared)|right and left( compared)?",
    re.IGNORECASE,
)


def letter(found: Examination, details: LetterDetails | None = None) -> Document:
    located = localise(found)
    return referral_letter(found, located, evaluate(found, located), details)


def words_of(pdf: bytes) -> str:
    with pdfplumber.open(BytesIO(pdf)) as opened:
        return " ".join(" ".join((page.extract_text() or "").split()) for page in opened.pages)


@pytest.fixture(scope="module")
def face_pdf() -> bytes:
    return as_pdf(letter(FACE))


def test_the_headings_are_those_of_the_standard_in_its_order() -> None:
    written = [part.heading for part in letter(FACE).parts]
    assert tuple(one for one in written if one in HEADINGS) == HEADINGS
    assert written.index("What cannot wait") < written.index("History")


@pytest.mark.parametrize("name", list(DEMOS)[:4])
def test_the_text_of_the_pdf_can_be_taken_out(name: str) -> None:
    found = DEMOS[name]
    document = letter(found)
    written = words_of(as_pdf(document))
    for part in (*document.parts, *document.annex):
        assert part.heading in written
    assert found.label in written
    assert localise(found).candidates[0].name.split()[-1].strip("()") in written
    assert "a licensed clinician decides, and local pathways come first" in written
    assert "Invented person." in written


def test_the_pdf_carries_its_fonts_tags_language_and_title(face_pdf: bytes) -> None:
    """ISO 14289-1 (PDF/UA-1): 5 XMP, 7.1 tags and title, 7.2 language, 7.21.4 fonts embedded."""
    with pdfplumber.open(BytesIO(face_pdf)) as opened:
        catalogue = opened.doc.catalog
        assert resolve1(catalogue["MarkInfo"])["Marked"] is True
        assert "StructTreeRoot" in catalogue
        assert resolve1(catalogue["Lang"]) == b"en-GB"
        assert resolve1(catalogue["ViewerPreferences"])["DisplayDocTitle"] is True
        metadata = resolve1(catalogue["Metadata"]).get_data().decode("utf-8")
        assert re.search(r"<pdfuaid:part>1</pdfuaid:part>", metadata)
        assert letter_words()["title"] in metadata
        fonts = 0
        for page in opened.pages:
            for font in resolve1(page.page_obj.resources.get("Font", {})).values():
                (inner,) = resolve1(resolve1(font)["DescendantFonts"])
                described = resolve1(resolve1(inner)["FontDescriptor"])
                assert {"FontFile", "FontFile2", "FontFile3"} & set(described)
                fonts += 1
        assert fonts


def test_the_same_record_gives_the_same_bytes(face_pdf: bytes) -> None:
    assert as_pdf(letter(FACE)) == face_pdf


def test_the_letter_names_the_program_and_the_data_it_rests_on() -> None:
    assert f"Decussate {version('decussate')}, data {data_digest()}" in as_markdown(letter(FACE))


def test_what_people_type_stays_text() -> None:
    typed = "#panic() *b* _i_ <script>alert(1)</script> [x](y) $a$ \\ & @ref 1. one"
    details = LetterDetails(patient_name=typed, reason=f"{typed}\nsecond line", plan="- a\n# b")
    document = letter(FACE, details)
    written = words_of(as_pdf(document))
    assert " ".join(typed.split()) in written
    assert "second line" in written

    class Tags(HTMLParser):
        seen: list[str] = []  # noqa: RUF012

        def handle_starttag(self, tag: str, attrs: object) -> None:
            self.seen.append(tag)

    page = as_html(document)
    Tags().feed(page)
    assert "script" not in Tags.seen
    assert "&lt;script&gt;" in page
    marked = as_markdown(document)
    assert r"\<script\>" in marked
    assert "\n# b" not in marked
    assert "\n- a" not in marked


def test_a_name_in_a_script_without_a_typeface_is_set_or_named() -> None:
    sign = "\U00013000"
    document = letter(FACE, LetterDetails(patient_name=f"Orla {sign}"))
    refused = None
    try:
        assert "Orla" in words_of(as_pdf(document))
    except BadInput as error:
        refused = error
    assert refused is None or (sign in str(refused.found) and "HTML" in refused.hint)
    assert sign in as_html(document)


def test_two_drawings_on_a_page_do_not_share_an_id() -> None:
    (one,) = (part for part in letter(FACE).annex)
    figure = next(block for block in one.blocks if isinstance(block, Figure))
    twice = Document("T", "s", "", (), (Part("Drawings", (figure, figure)),), (), "")
    ids = re.findall(r'\bid="([^"]+)"', as_html(twice))
    assert ids
    assert len(ids) == len(set(ids))
    for used in re.findall(r"url\(#([^)]+)\)", as_html(twice)):
        assert used in ids


def test_the_page_says_its_language_and_has_one_main_heading() -> None:
    page = as_html(letter(FACE))
    assert '<html lang="en-GB">' in page
    assert page.count("<h1>") == 1
    assert page.count("<svg") == page.count('role="img"') > 0
    assert page.count("<table>") == page.count("<caption>")


def test_an_empty_record_claims_nothing() -> None:
    written = as_markdown(letter(Examination(id="empty")))
    assert "Nothing was tested." in written
    assert "Normal:" not in written
    assert "as expected" not in written
    assert "No finding yet that bears on the place of a lesion." in written
    assert written.count("not stated") >= 3


def test_without_a_localisation_the_letter_says_so() -> None:
    written = as_markdown(referral_letter(FACE, None, evaluate(FACE)))
    assert "No localisation was made." in written
    assert "No likely site: state the findings." in written


OTHER = {"right": "left", "left": "right", "Right": "Left", "Left": "Right"}


def swapped(text: str) -> str:
    return re.sub(r"\b([Rr]ight|[Ll]eft)\b", lambda one: OTHER[one[0]], text)


def statements(text: str) -> Counter[str]:
    """Split into statements, whose order may follow the side named first."""
    pieces = re.split(r"[.;|:,\n]| – | and ", text)
    return Counter(piece.strip(" *-#").lower() for piece in pieces if piece.strip(" *-#"))


def assert_mirrored(here: Document, there: Document) -> None:
    mine, theirs = (CONVENTIONS.sub("", as_markdown(one)) for one in (here, there))
    assert statements(swapped(mine)) == statements(theirs)


@pytest.mark.parametrize(
    "name", ["demo-1-drooping-lid", "demo-2-sudden-vertigo-and-hoarseness", "demo-4-weak-face"]
)
def test_the_mirrored_patients_letter_has_the_sides_exchanged_and_nothing_else(name: str) -> None:
    found = DEMOS[name]
    assert_mirrored(letter(found), letter(found.mirrored()))


@settings(max_examples=25, deadline=None)
@given(examinations())
def test_any_mirrored_record_gives_the_mirrored_letter(found: Examination) -> None:
    pair = (referral_letter(one, None, evaluate(one)) for one in (found, found.mirrored()))
    assert_mirrored(*pair)


def test_a_pdf_of_the_mirrored_patient_names_the_other_side() -> None:
    """The same check on what a reader sees, text of the drawings included."""
    here, there = (words_of(as_pdf(letter(one))) for one in (FACE, FACE.mirrored()))
    place = "facial nerve in its narrow first segment"
    assert f"right {place}" in here
    assert f"left {place}" not in here
    assert f"left {place}" in there
    assert f"right {place}" not in there


def test_every_formal_test_of_the_catalogue_is_of_a_known_kind() -> None:
    asked = 0
    for test in load_catalogue():
        for request in filter(None, (part.strip() for part in test.formal.rstrip(".").split(";"))):
            kind = kind_of(request)
            assert kind is None or kind.id != "other", request
            asked += 1
    assert asked > 100


def test_only_what_was_abnormal_or_could_not_be_tested_asks_for_a_formal_test() -> None:
    found = Examination(
        id="any",
        findings=(
            Finding(test="peripheral_upper_temporal", side=Side.RIGHT, response="absent"),
            Finding(test="peripheral_upper_temporal", side=Side.LEFT, response="normal"),
            Finding(test="whisper_far", side=Side.LEFT, response="could_not_be_tested", reason="x"),
            Finding(test="voice", response="normal"),
            Finding(test="upper_lid_position", side=Side.LEFT, response="partial"),
        ),
        known_old=(("upper_lid_position", Side.LEFT),),
    )
    asked = {test.kind.id: test for test in formal_tests(found)}
    assert set(asked) == {"perimetry", "audiogram"}
    assert asked["perimetry"].because == ("right peripheral field, upper temporal: lost",)
    written = as_markdown(request_sheet(found, None, ()))
    assert "vertical or the horizontal meridian" in written
    assert "Left whisper at about 60 cm: could not be tested (x)." in written


def test_what_settles_an_emergency_is_asked_for_first() -> None:
    found = Examination(
        id="a",
        findings=(
            Finding(test="corneal_touch_direct", side=Side.RIGHT, response="reduced"),
            Finding(test="palate_rise", side=Side.RIGHT, response="reduced"),
            Finding(test="ask_swallowing", response="reduced"),
        ),
    )
    kinds = [test.kind.id for test in formal_tests(found)]
    assert kinds.index("swallow") < kinds.index("imaging") < kinds.index("nerve_conduction")
    written = as_markdown(request_sheet(found, None, ()))
    assert "Imaging: of the " in written
    assert "maging of" not in written
    assert "as the rest suggests" not in written
    pupils = Finding(test="pupil_comparison", response="left")
    alone = request_sheet(Examination(id="a", findings=(pupils,)), None, ())
    assert "Imaging." in as_markdown(alone)
    listed = {row["id"] for row in request_words()["kinds"]}
    assert set(request_words()["first"]) <= listed


def test_details_are_read_as_they_are_written() -> None:
    details = read_details("written: 2026-02-01\npatient_number: 007\ncopies: [a, b]", "d.yaml")
    assert (details.written, details.patient_number) == ("2026-02-01", "007")
    assert details.copies == ("a", "b")
    assert read_details(json.dumps({"person": "Dr Invented"}), "d.json").person == "Dr Invented"


@pytest.mark.parametrize(
    ("text", "named"),
    [("patent_name: x", "patent_name"), ("plan: [1]", "plan"), ("a: [", "YAML"), ("x", "d.yaml")],
)
def test_details_that_cannot_be_used_are_refused_by_name(text: str, named: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_details(text, "d.yaml")
    assert named in refused.value.sentence


def test_free_text_stands_under_its_heading() -> None:
    document = letter(FACE, LetterDetails(plan="Please see this week.", salutation="Dear Ada,"))
    plan = next(part for part in document.parts if part.heading == "Plan and requested actions")
    assert plan.blocks[0] == Text("Please see this week.")
    assert document.opening == ("Dear Ada,",)


def test_the_command_writes_each_kind(tmp_path: Path) -> None:
    record = tmp_path / "note.json"
    record.write_text(FACE.model_dump_json())
    details = tmp_path / "details.yaml"
    details.write_text("patient_name: Ada Invented\n")
    run = CliRunner().invoke
    target = tmp_path / "letter.pdf"
    wrote = run(main, ["letter", str(record), "--pdf", str(target), "--details", str(details)])
    assert wrote.exit_code == 0, wrote.output
    assert "Ada Invented" in words_of(target.read_bytes())
    assert "# Referral letter" in run(main, ["letter", str(record)]).output
    assert "<h1>" in run(main, ["letter", str(record), "--html"]).output
    assert "plain words" in run(main, ["letter", str(record), "--summary"]).output
    assert "# Tests to request" in run(main, ["letter", str(record), "--requests"]).output
    assert run(main, ["letter", str(record), "--html", "--markdown"]).exit_code == 2
