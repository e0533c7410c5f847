"""The invented patients: one examined twice, and a start that was interrupted."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from decussate.comparison import follow
from decussate.localisation import localise
from decussate.records import Store
from decussate.records.authors import authors_of
from decussate.records.demo import demo_examinations, load_demo
from decussate.records.people import DEMONSTRATOR
from decussate.records.tables import audit

SEEN_AGAIN = "Signe Arkwright"


@pytest.fixture
def store(tmp_path):
    made = Store(tmp_path / "records.db")
    yield made
    made.close()


def test_one_patient_is_examined_again_after_a_week(store: Store):
    load_demo(store)
    again, first = (h for h in store.examinations() if h.label.startswith(SEEN_AGAIN))
    assert first.patient == again.patient
    assert timedelta(days=7) <= again.opened_at - first.opened_at < timedelta(days=8)
    both = [store.examination(head.id) for head in (first, again)]
    course = follow(both, places=[localise(one) for one in both])
    assert course.warnings == ()
    assert {track.test for track in course.tracks} == {"audiogram_average", "facial_grade"}
    assert course.whole.sentence.startswith("Compared with 7 days before")
    assert "left audiogram" in course.whole.sentence
    assert "beyond repeat error" in course.whole.sentence


def test_every_invented_patient_says_so():
    for examination in demo_examinations():
        assert examination.invented
        assert examination.label.endswith("Lindenmere Hospital (invented)")


def test_what_nobody_saw_carries_the_name_of_nobody(store: Store):
    load_demo(store)
    for head in store.examinations():
        assert [author.name for author in authors_of(store, head.id)] == [DEMONSTRATOR]
    assert "invented" in DEMONSTRATOR.lower()
    written = select(audit.c.by).where(audit.c.kind.in_(("patient", "examination", "entry")))
    with store.database.reading() as connection:
        assert set(connection.scalars(written)) == {DEMONSTRATOR}
    assert store.verify().problems == ()


@pytest.mark.parametrize("stopped", ["begin", "append"])
def test_a_start_that_was_interrupted_is_finished_by_the_next(store, monkeypatch, stopped):
    """Stopped between a patient and its examination, or between that and its findings."""
    with monkeypatch.context() as broken:
        broken.setattr(Store, stopped, lambda *_, **__: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            load_demo(store)
    assert load_demo(store) == len(demo_examinations())
    heads = store.examinations()
    assert len(heads) == len(demo_examinations())
    assert all(head.entries == 1 for head in heads)
    assert len({head.patient for head in heads}) == len({head.label for head in heads})
