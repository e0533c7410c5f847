"""Search: by the patient, by what stands, all words of a part in one place."""

from uuid import uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.errors import BadInput
from decussate.examination.record import Finding, Story, UnreadText
from decussate.records import Entry, Store, acting_as
from decussate.records.attachments import attach
from decussate.records.demo import load_demo
from decussate.records.search import search as find


@pytest.fixture
def ward(store: Store) -> dict[str, str]:
    """Three examinations by a short name."""
    made = {}
    for name, label in (("one", "Åsa Ωmega, bed 4"), ("two", "Bed 42"), ("three", "Bed 5")):
        made[name] = store.begin(store.add_patient(f"{label}, invented", invented=True))

    def add(name: str, *findings: tuple[str, str | None, str], **more) -> Entry:
        given = tuple(Finding(test=t, side=s, response=r) for t, s, r in findings)
        entry = Entry(id=uuid4(), findings=given, **more)
        store.append(made[name], entry)
        return entry

    add("one", ("upper_lid_position", "right", "partial"), ("light_direct", "left", "normal"))
    add("two", ("upper_lid_position", "left", "partial"), ("light_direct", "right", "reduced"))
    mistake = add("three", ("light_direct", "right", "absent"))
    add("three", undoes=mistake.id)
    add(
        "three",
        story=Story(onset="sudden"),
        unread=(UnreadText(text="50% zig_zag", line=1, column=1, reason="not a word it knows"),),
    )
    return made


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("bed", {"one", "two", "three"}),
        ("bed 4", {"one"}),  # a number is whole: not bed 42
        ("BED 42", {"two"}),
        ("åsa", {"one"}),
        ("ÅSA ωMEGA", {"one"}),
        ("right lid partial", {"one"}),
        ("left lid partial", {"two"}),
        ("upper_lid_position", {"one", "two"}),
        ("sluggish", {"two"}),  # the catalogue's label of `reduced`
        ("slugg", {"two"}),
        ("light, lid", {"one", "two"}),
        ("bed 4, light", {"one"}),
        ("bed 5, light", set()),  # that entry was taken back
        ("absent", set()),
        ("sudden", {"three"}),
        ("zig zag", {"three"}),
        ("50", {"three"}),
        ("nobody", set()),
    ],
)
def test_what_is_found(store: Store, ward: dict[str, str], words: str, found: set[str]):
    names = {identity: name for name, identity in ward.items()}
    assert {names[hit.head.id] for hit in find(store, words)} == found


def test_the_findings_that_fit_are_given(store: Store, ward: dict[str, str]):
    (hit,) = find(store, "bed 4, right lid")
    assert [(f.test, f.side) for f in hit.findings] == [("upper_lid_position", "right")]


def test_nothing_to_look_for_is_refused(store: Store):
    for words in ("", " , ", "%", "_"):
        with pytest.raises(BadInput, match="a word to look for"):
            find(store, words)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory):
    store = Store(tmp_path_factory.mktemp("search") / "records.db")
    load_demo(store)
    yield store
    store.close()


WORDS = ["right", "lid", "red", "bed", "vale", "normal", "6", "r", "abs", "é"]


@given(words=st.lists(st.sampled_from(WORDS), min_size=1))
@settings(max_examples=40, deadline=None)
def test_asking_the_database_first_changes_nothing_found(demo: Store, words):
    asked = ",".join(words)
    quick = find(demo, asked)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("decussate.records.search._may_hold", lambda word: None)
        assert find(demo, asked) == quick


def test_an_examination_is_found_by_who_wrote_it_and_by_what_is_attached(store: Store):
    one = store.begin(store.add_patient("Bed 4, invented", invented=True))
    other = store.begin(store.add_patient("Bed 5, invented", invented=True))
    with acting_as("Dr Amara Ödegaard"):
        store.append(one, Entry(id=uuid4(), story=Story(age=61)))
    with acting_as("Ben Example"):
        attach(store, other, "Audiogram Lindenmere.pdf", b"%PDF-1.7")
    for words, wanted in (
        ("amara", {one}),
        ("Ödegaard, bed 4", {one}),
        ("ödegaard, bed 5", set()),
        ("amara example", set()),  # two people are not one
        ("audiogram lind", {other}),
        ("ben", {other}),
        ("lindenmere, ben", {other}),
    ):
        assert {hit.head.id for hit in find(store, words)} == wanted, words
