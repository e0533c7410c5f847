"""Export without identity: no name, number, date or word of a person survives; findings do."""

import csv
import io
import json
import re
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from decussate.cohort import source
from decussate.errors import BadInput
from decussate.examination.document import MeasuredValue
from decussate.examination.record import Finding, Story, UnreadText
from decussate.records import Entry, Store, acting_as
from decussate.records.attachments import attach
from decussate.records.deidentified import export_without_identity, without_identity
from decussate.records.demo import load_demo

CANARIES = ("Quillfeather", "943 476 5919", "1931-02-03", "q.feather@example.org", "Elm Road 7")
"""A name, a number of a health service, a date of birth, an address of two kinds; all invented."""

QUICK = (Phase.explicit, Phase.reuse, Phase.generate)
"""Without making a failing example small: each example writes a database."""

canary = st.sampled_from(CANARIES).map("Mrs {} said so".format)
WHEN = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)

plain = st.one_of(
    st.builds(
        Finding,
        test=st.sampled_from(["light_direct", "light_consensual"]),
        side=st.sampled_from(["right", "left"]),
        response=st.sampled_from(["normal", "reduced", "absent"]),
        comment=st.none() | canary,
        technique=st.none() | canary,
        by=st.none() | canary,
        at=st.none() | st.timedeltas(timedelta(0), timedelta(days=900)).map(WHEN.__add__),
    ),
    st.builds(
        Finding,
        test=st.just("light_consensual"),
        side=st.just("left"),
        response=st.just("could_not_be_tested"),
        reason=canary,
    ),
    st.builds(
        Finding,
        test=st.just("distance_acuity"),
        side=st.sampled_from(["right", "left"]),
        response=st.just("reduced"),
        measurement=st.sampled_from(["6/18", "6/36", "6/18-2"]).map(
            lambda written: MeasuredValue(value=written, unit="as written")
        ),
    ),
)
typed_into_codes = st.one_of(
    st.builds(Finding, test=canary, response=st.just("normal")),
    st.builds(Finding, test=st.just("weber"), response=canary),
    st.builds(
        Finding,
        test=st.just("distance_acuity"),
        side=st.just("right"),
        response=st.just("reduced"),
        measurement=st.builds(
            MeasuredValue, value=canary.map("6/18 {}".format), unit=st.just("as written")
        ),
    ),
    st.builds(
        Finding,
        test=st.just("pupil_size_light"),
        side=st.just("right"),
        response=st.just("normal"),
        measurement=st.builds(MeasuredValue, value=st.just(3.0), unit=canary),
    ),
)
"""Findings as an import may bring them: the catalogue has no such test, response, value or unit."""

stories = st.builds(
    Story,
    age=st.none() | st.integers(0, 120).map(float),
    sex=st.sampled_from([None, "female", "male"]),
    onset=st.sampled_from([None, "sudden", "days"]),
)
visits = st.lists(
    st.tuples(stories, st.lists(plain, max_size=5), st.lists(typed_into_codes, max_size=2)),
    min_size=1,
    max_size=3,
)


def fill(store: Store, visits_of_patient) -> None:
    patient = store.add_patient(" ".join(CANARIES), invented=False)
    unread = tuple(
        UnreadText(text=word, line=1, column=1, reason="not a word it knows") for word in CANARIES
    )
    with acting_as("Dr Quillfeather", device="Elm Road 7"):
        for story, findings, odd in visits_of_patient:
            examination = store.begin(patient)
            entry = Entry(id=uuid4(), findings=(*findings, *odd), story=story, unread=unread)
            store.append(examination, entry)
            name = "Quillfeather 943 476 5919.pdf"
            attach(store, examination, name, b"%PDF-1.7 Quillfeather")


def essence(findings) -> Counter:
    """What a finding says, apart from who, when and what was typed."""
    return Counter(
        (f.test, f.side, f.response, f.measurement and (f.measurement.value, f.measurement.unit))
        for f in findings
    )


@given(visits)
@settings(
    max_examples=25, phases=QUICK, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
def test_no_identity_survives_and_findings_and_intervals_do(
    tmp_path_factory: pytest.TempPathFactory, visits_of_patient
):
    folder = tmp_path_factory.mktemp("export")
    store = Store(folder / "records.db", by="Mr Quillfeather")
    fill(store, visits_of_patient)
    for name in ("all.jsonl", "all.csv"):
        report = export_without_identity(store, folder / name)
        for file in (folder / name, folder / f"{name}.report.txt"):
            written = file.read_text()
            for part in (*CANARIES, "Quill", "5919", "Elm", "1931", "example.org", "Mrs"):
                assert part not in written, (part, file.name)
            for head in store.examinations():
                assert head.id not in written
                assert head.patient not in written
    kept = {
        found.label: found
        for found in (entry.read() for entry in source.entries(folder / "all.jsonl"))
    }
    heads = sorted(store.examinations(), key=lambda head: head.opened_at)
    assert report.examinations == len(kept) == len(heads) == len(visits_of_patient)
    shifts = set()
    for number, (head, given_visit) in enumerate(zip(heads, visits_of_patient, strict=True), 1):
        full = store.examination(head.id)
        one = kept[f"Patient 1, examination {number} of {len(heads)}"]
        _, findings, odd = given_visit
        measured = [f for f in odd if f.measurement is not None]
        assert essence(one.findings) == essence(findings) + essence(
            f.model_copy(update={"measurement": None}) for f in measured
        )
        assert report.left_out.get("findings of no test of this catalogue", 0) == sum(
            f.measurement is None for _, _, odd in visits_of_patient for f in odd
        )
        inside = [f for f in full.findings if f not in odd or f.measurement is not None]
        inside = [
            f for f in inside if f.measurement is not None or essence([f]) & essence(findings)
        ]
        shifts |= {before.at - after.at for before, after in zip(inside, one.findings, strict=True)}
        age = full.story.age
        assert one.story.age == (age if age is None or age < 90 else 90)
        assert (one.story.sex, one.story.onset) == (full.story.sex, full.story.onset)
    assert len(shifts) <= 1  # one span for all of a patient: every interval is as it was
    assert all(timedelta(0) < shift < timedelta(days=7301) for shift in shifts)
    with io.StringIO((folder / "all.csv").read_text(), newline="") as table:
        read = list(csv.DictReader(table))
    assert len(read) == report.findings == sum(len(found.findings) for found in kept.values())
    store.close()


@pytest.fixture
def demo(tmp_path: Path) -> Store:
    store = Store(tmp_path / "records.db", by="an invented owner")
    load_demo(store)
    return store


def test_every_span_is_another_and_is_kept_nowhere(demo: Store):
    """Two exports of the same records cannot be laid side by side to undo the spans."""

    def moments() -> dict[tuple, datetime]:
        return {
            tuple(sorted(essence(one.findings).items(), key=repr)): one.findings[0].at
            for _, one in without_identity(demo, Counter())
        }

    first, second = moments(), moments()
    assert first.keys() == second.keys()
    patients = {head.patient for head in demo.examinations()}
    assert len({second[key] - first[key] for key in first}) == len(patients) > 4


def test_patients_come_in_another_order_each_time(demo: Store):
    orders = set()
    for _ in range(6):
        orders.add(tuple(len(one.findings) for _, one in without_identity(demo, Counter())))
    assert len(orders) > 1


@pytest.mark.parametrize(
    ("age", "written"), [(89.0, 89.0), (89.5, 90.0), (90.0, 90.0), (112.0, 90)]
)
def test_ages_above_89_are_one_group(tmp_path: Path, age: float, written: float):
    """45 CFR 164.514(b)(2)(i)(C): ages over 89 in a single category of age 90 or older."""
    store = Store(tmp_path / "records.db")
    examination = store.begin(store.add_patient("Bed 1", invented=True))
    store.append(examination, Entry(id=uuid4(), story=Story(age=age)))
    counts: Counter[str] = Counter()
    ((_, one),) = without_identity(store, counts)
    assert one.story.age == written
    assert counts["ages above 89, written as 90"] == (written == 90)
    store.close()


def test_the_cohort_reads_it_and_the_trail_says_it_was_made(demo: Store, tmp_path: Path):
    report = export_without_identity(demo, tmp_path / "all.jsonl")
    heads = demo.examinations()
    patients = {head.patient for head in heads}
    assert (report.patients, report.examinations) == (len(patients), len(heads))
    read = [entry.read() for entry in source.entries(tmp_path / "all.jsonl")]
    assert len(read) == len(heads)
    assert sum((essence(one.findings) for one in read), Counter()) == sum(
        (essence(demo.examination(head.id).findings) for head in demo.examinations()), Counter()
    )
    assert (tmp_path / "all.jsonl").stat().st_mode & 0o077 == 0
    with demo.database.reading() as connection:
        last = connection.exec_driver_sql(
            "select action, subject from audit order by sequence desc limit 1"
        ).one()
    assert tuple(last) == ("exported", "all.jsonl, without identity")
    with pytest.raises(BadInput, match="a new name"):
        export_without_identity(demo, tmp_path / "all.jsonl")


def test_the_report_says_what_remains(demo: Store, tmp_path: Path):
    report = export_without_identity(demo, tmp_path / "all.csv")
    text = (tmp_path / "all.csv.report.txt").read_text()
    assert text == report.text
    names = len({head.patient for head in demo.examinations()})
    for words in (
        f"names of patients: {names}",
        "What remains:",
        "164.514(b)(2)",
        "rare combination",
    ):
        assert words in text


def test_dates_are_the_only_thing_that_looks_like_one(demo: Store, tmp_path: Path):
    export_without_identity(demo, tmp_path / "all.jsonl")
    for line in (tmp_path / "all.jsonl").read_text().splitlines():
        document = json.loads(line)
        moments = {f.pop("at") for f in document["findings"]}
        assert len(moments) >= 1
        assert not re.search(r"\d{4}-\d\d-\d\dT", json.dumps(document))
